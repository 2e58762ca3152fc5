"""The line: its rate, the bands at each rate, cloth on the vehicle, and the sense of turning."""

from collections.abc import Sequence

from ledger.assess.line_matching import LineMatching, RateCheck, bands_at
from ledger.model.ledger import Ledger
from ledger.report import words
from ledger.report.blocks import (
    Block,
    Bullets,
    Caution,
    Column,
    Heading,
    Link,
    Page,
    Paragraph,
    Spans,
    Table,
    left,
    right,
)
from ledger.report.pages.line_words import (
    check_words,
    cloth_speed_unit,
    contacts_unit,
    contacts_words,
    last_turning_words,
    length_words,
    line_speed_words,
    past_panel_words,
    same_cloth_words,
    turning_words,
)
from ledger.report.pages.method import pointer

PATH = "line.md"

CAUTION = (
    (
        "Sense of turning and speed are judged from outside the guards, with the machine in normal "
        "running. A brush that turns the wrong way is stopped and reported; only an electrician "
        "swaps phases, after lockout, and it is looked at again."
    ),
)

_SAME_CLOTH = (
    "At one pitch the conveyor goes with the line rate. A brush that goes with it gives each "
    "vehicle the cloth it gets at {rate} vehicles an hour and the target there, 100 %. The band "
    "comes first where the two differ: then the setting is the nearest one that is surely inside, "
    "and the cell says which limit of the band keeps the brush from following the line. In each "
    "cell: the setting, r/min there, and the cloth a vehicle gets. "
    "Settings for the target of each band stand on the page of "
)
_ON_VEHICLE = (
    "At the speeds above: how fast the cloth goes past the panel, with the speed of the brush's "
    "edge in brackets. The line adds to the edge where the brush turns against the travel and is "
    "taken off where it turns with it. Contacts are strips that strike each length of the vehicle."
)


def line_page(
    ledger: Ledger, matching: LineMatching, timed: Sequence[tuple[RateCheck, str]] = ()
) -> Page:
    """Depends on the sources only. `timed` are rates just timed, each with the words of how."""
    blocks: list[Block] = [
        Bullets(_line_facts(ledger, matching, timed)),
        pointer("Line and cloth"),
        Heading(2, "Bands by line rate"),
    ]
    if not matching.brushes:
        blocks.append(Paragraph("No machine's file states a speed band."))
        return Page(path=PATH, title="Line and cloth", blocks=blocks)
    rate = words.number_words(ledger.site.line.line_rate_per_h)
    blocks.extend(
        (
            Paragraph(
                "In r/min, with the target. Between the rates that a machine's file states, limits "
                "and target are drawn on a straight line; beyond them those of the nearest hold."
            ),
            _bands(matching),
            Heading(2, "The same cloth for every vehicle"),
            Paragraph(
                (
                    _SAME_CLOTH.format(rate=rate),
                    Link("recommended settings", "settings.md"),
                    ".",
                )
            ),
            _same_cloth(ledger, matching),
            Heading(2, "Cloth on the vehicle"),
            Paragraph(_ON_VEHICLE),
            _on_vehicle(ledger, matching),
            Heading(2, "Sense of turning"),
            Paragraph(
                "As it must be seen, with the driver on the vehicle's "
                f"{ledger.site.driver_side.value}. Shafts that lie across the line are looked at "
                "from the driver side."
            ),
            _turning(matching),
            Caution(CAUTION),
        )
    )
    return Page(path=PATH, title="Line and cloth", blocks=blocks)


def _line_facts(
    ledger: Ledger, matching: LineMatching, timed: Sequence[tuple[RateCheck, str]]
) -> list[Spans]:
    site = ledger.site
    line = site.line
    facts: list[Spans] = [check_words(check, how) for check, how in timed]
    stated = [f"{words.number_words(line.line_rate_per_h)} vehicles an hour in force"]
    if line.chain_speed_m_per_s is not None:
        stated.append(f"chain at {line_speed_words(line.chain_speed_m_per_s, site)}")
    if line.vehicle_pitch_m is not None:
        stated.append(f"{length_words(line.vehicle_pitch_m, site)} from front to front")
    facts.append(f"The site states {words.in_words(stated)}.")
    if matching.check is not None:
        facts.append(f"By chain and pitch: {check_words(matching.check, 'come through')}")
    else:
        facts.append(
            "Chain speed and pitch are not both stated, so the rate cannot be checked by them."
        )
    return facts


def _bands(matching: LineMatching) -> Table:
    by_machine: dict[str, list[str]] = {}
    for at in bands_at(matching):
        mark = " (nearest)" if at.clamped else "" if at.is_stated else " (between)"
        by_machine.setdefault(at.machine.ident, []).append(
            f"{words.range_words(at.band.low, at.band.high)}, "
            f"{words.number_words(round(at.target_rpm, 1))}{mark}"
        )
    return Table(
        (
            left("Machine"),
            *_by_rate(matching, ""),
        ),
        [
            (words.machine_link(brush.machine), *by_machine[brush.machine.ident])
            for brush in matching.brushes
            if brush.machine.ident in by_machine
        ],
    )


def _same_cloth(ledger: Ledger, matching: LineMatching) -> Table:
    return Table(
        (left("Machine"), *_by_rate(matching, "")),
        [
            (
                words.machine_link(brush.machine),
                *_cells(matching, [same_cloth_words(at, brush, ledger.site) for at in brush.rates]),
            )
            for brush in matching.brushes
        ],
    )


def _on_vehicle(ledger: Ledger, matching: LineMatching) -> Table:
    site = ledger.site
    return Table(
        (
            left("Machine"),
            left("Turns"),
            *_by_rate(matching, f"{cloth_speed_unit(site)} at "),
            *_by_rate(matching, f"Contacts {contacts_unit(site)} at "),
        ),
        [
            (
                words.machine_link(brush.machine),
                brush.machine.turns or words.NONE,
                *_cells(matching, [past_panel_words(at, site) for at in brush.rates]),
                *_cells(matching, [contacts_words(at.contacts_per_m, site) for at in brush.rates]),
            )
            for brush in matching.brushes
        ],
    )


def _by_rate(matching: LineMatching, what: str) -> list[Column]:
    return [right(f"{what}{words.number_words(rate)}/h") for rate in matching.rates_per_h]


def _cells(matching: LineMatching, said: Sequence[str]) -> Sequence[str]:
    """A cell a rate, also of a machine that has no target to start from."""
    return said or [words.NONE] * len(matching.rates_per_h)


def _turning(matching: LineMatching) -> Table:
    return Table(
        (left("Machine"), left("Turns"), left("Must be seen to turn"), left("Last seen")),
        [
            (
                words.machine_link(brush.machine),
                f"{brush.machine.turns} the travel" if brush.machine.turns else "not stated",
                turning_words(brush),
                last_turning_words(brush),
            )
            for brush in matching.brushes
        ],
    )

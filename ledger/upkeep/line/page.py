"""The line: its rate, the bands at each rate, cloth on the vehicle, direction of rotation."""

from collections.abc import Sequence

from ledger.book import words
from ledger.book.addresses import LINE_PAGE, TUNING_PAGE
from ledger.book.blocks import (
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
from ledger.book.plain import kept
from ledger.compute.band import SURE
from ledger.compute.line import ClothRow, HeldBy
from ledger.compute.numbers import convert, fixed, shown, shown_probability, significant
from ledger.model.ledger import Ledger
from ledger.model.readings import TURNING
from ledger.model.site import Site, Units
from ledger.upkeep.line.found import BrushOnLine, ClothAtRate, LineMatching, RateCheck
from ledger.upkeep.speeds.found import band_points
from ledger.values import dataclass


def cloth_speed_unit(site: Site) -> str:
    return "ft/min" if site.units is Units.US else "m/s"


def format_cloth_speed(m_s: float | None, site: Site) -> str:
    """A speed of cloth without its unit, which the column names; no finer than it is known."""
    if m_s is None:
        return words.NONE
    if site.units is Units.US:
        return fixed(round(convert(m_s, "m_s", "ft_min"), -1), 0)
    return fixed(m_s, 2)


def contacts_unit(site: Site) -> str:
    return "per ft" if site.units is Units.US else "per m"


def format_contacts(per_m: float | None, site: Site) -> str:
    if per_m is None:
        return words.NONE
    return significant(per_m * convert(1.0, "ft", "m") if site.units is Units.US else per_m, 3)


def format_check(check: RateCheck, how: str) -> str:
    """What was found beside what the site states. `how` says from what, as `by chain and pitch`."""
    found = (
        significant(check.found.per_h, 4)
        if check.found.u_per_h == 0
        else shown(check.found.per_h, 2 * check.found.u_per_h)
    )
    text = (
        f"{found} vehicles an hour {how}; the site states "
        f"{words.format_number(check.stated_per_h)}: "
    )
    if check.agrees:
        return text + "they agree."
    way = "higher" if check.fraction > 0 else "lower"
    return text + (
        f"they DISAGREE, the stated rate is {fixed(100 * abs(check.fraction), 1)} % {way}. "
        "Time the chain, measure front to front, and correct site.yaml."
    )


def format_turning(brush: BrushOnLine) -> str:
    """`counterclockwise seen from above`; by side where the machine has two."""
    if not brush.expected:
        return "not stated"
    parts = [
        f"{turning.sense} seen from {turning.seen_from}"
        + (f" ({side} side)" if len(brush.expected) > 1 else "")
        for side, turning in brush.expected
    ]
    return words.in_words(parts)


def format_last_turning(brush: BrushOnLine) -> str:
    if brush.last_seen is None:
        return "not noted yet"
    text = f"{brush.last_seen.readings[TURNING]} on {words.format_day(brush.last_seen.day)}"
    return f"{text}: WRONG WAY" if brush.turned_wrong else text


def format_same_cloth(at: ClothAtRate, brush: BrushOnLine, site: Site) -> str:
    """`39.5 Hz, 71.1 r/min, 133 % (lower limit)`; the chance of being in band where it is low."""
    parts = [] if at.setting is None else [words.format_setting(at.setting, brush.unit, site)]
    parts.extend((f"{fixed(at.rpm, 1)} r/min", f"{fixed(100 * at.cloth_share, 0)} %"))
    held = {HeldBy.LOW: " (lower limit)", HeldBy.HIGH: " (upper limit)", None: ""}
    unsure = ""
    if at.p_in_band is not None and at.p_in_band < SURE:
        unsure = f", only {shown_probability(at.p_in_band)} in band"
    return ", ".join(parts) + held[at.same_cloth.held_by] + unsure


def format_past_panel(at: ClothAtRate, site: Site) -> str:
    """`874 (818)`: past the panel, and the edge; the edge alone where the line's speed is open."""
    edge = format_cloth_speed(at.edge_m_s, site)
    return (
        f"{format_cloth_speed(at.cloth_m_s, site)} ({edge})" if edge != words.NONE else words.NONE
    )


CAUTION = (
    (
        "Judge direction of rotation and speed from outside the guards, with the machine in normal "
        "running. Stop and report a brush that turns the wrong way. Only an electrician swaps "
        "phases, after lockout; then the direction is checked again."
    ),
)


_SAME_CLOTH = (
    "At a fixed spacing the conveyor's speed follows the line rate. A brush whose speed follows it "
    "too gives every vehicle as much cloth as at {rate} vehicles an hour and the target there: "
    "100 %. Where the band does not allow that, the setting is the nearest one that is surely "
    "inside the band, and the cell names the limit that holds it back. Each cell shows the "
    "setting, its r/min and the cloth a vehicle gets. "
    "Settings for the target of each band are on the page of "
)

_ON_VEHICLE = (
    "At the speeds above: how fast the cloth goes past the panel, with the speed of the brush's "
    "edge in brackets. The line adds to the edge where the brush turns against the travel and is "
    "taken off where it turns with it. Contacts are strips that strike each length of the vehicle."
)


@kept
@dataclass(frozen=True, slots=True)
class LineRows:
    """What the page says of some machines, a row each in its four tables."""

    bands: Sequence[Sequence[Spans]]
    same_cloth: Sequence[Sequence[Spans]]
    on_vehicle: Sequence[Sequence[Spans]]
    turning: Sequence[Sequence[Spans]]


def line_rows(ledger: Ledger, matching: LineMatching) -> LineRows:
    """Of the brushes that were looked at."""
    site = ledger.site
    return LineRows(
        [
            (
                words.machine_link(brush.machine),
                *(format_band(at.same_cloth, brush) for at in brush.rates),
            )
            for brush in matching.brushes
            if brush.rates
        ],
        [
            (
                words.machine_link(brush.machine),
                *_cells(matching, [format_same_cloth(at, brush, site) for at in brush.rates]),
            )
            for brush in matching.brushes
        ],
        [
            (
                words.machine_link(brush.machine),
                brush.machine.turns or words.NONE,
                *_cells(matching, [format_past_panel(at, site) for at in brush.rates]),
                *_cells(matching, [format_contacts(at.contacts_per_m, site) for at in brush.rates]),
            )
            for brush in matching.brushes
        ],
        [
            (
                words.machine_link(brush.machine),
                f"{brush.machine.turns} the travel" if brush.machine.turns else "not stated",
                format_turning(brush),
                format_last_turning(brush),
            )
            for brush in matching.brushes
        ],
    )


def line_page(
    ledger: Ledger, matching: LineMatching, timed: Sequence[tuple[RateCheck, str]] = ()
) -> Page:
    """Depends on the sources only. `timed` are rates just timed, each with the words of how."""
    of = [line_rows(ledger, matching)]
    return page_of_rows(ledger, matching.check, matching.rates_per_h, of, timed)


def page_of_rows(
    ledger: Ledger,
    check: RateCheck | None,
    rates_per_h: Sequence[float],
    of: Sequence[LineRows],
    timed: Sequence[tuple[RateCheck, str]] = (),
) -> Page:
    """The page of all rows, which stand in walking order."""
    blocks: list[Block] = [
        Bullets(_line_facts(ledger, check, timed)),
        words.pointer("Line and cloth"),
        Heading(2, "Bands by line rate"),
    ]
    if not any(rows.turning for rows in of):
        blocks.append(Paragraph("No machine's file states a speed band."))
        return Page(path=LINE_PAGE, title="Line and cloth", blocks=blocks)
    site = ledger.site
    rate = words.format_number(site.line.line_rate_per_h)
    on_vehicle = (
        left("Machine"),
        left("Turns"),
        *_by_rate(rates_per_h, f"{cloth_speed_unit(site)} at "),
        *_by_rate(rates_per_h, f"Contacts {contacts_unit(site)} at "),
    )
    turning = left("Machine"), left("Turns"), left("Must be seen to turn"), left("Last seen")
    by_rate = left("Machine"), *_by_rate(rates_per_h, "")
    blocks.extend(
        (
            Paragraph(
                "In r/min, with the target. Between two rates that a machine's file states, limits "
                "and target are interpolated; outside them, those of the nearest rate apply."
            ),
            Table(by_rate, [row for rows in of for row in rows.bands]),
            Heading(2, "The same cloth for every vehicle"),
            Paragraph(
                (
                    _SAME_CLOTH.format(rate=rate),
                    Link("recommended settings", TUNING_PAGE),
                    ".",
                )
            ),
            Table(by_rate, [row for rows in of for row in rows.same_cloth]),
            Heading(2, "Cloth on the vehicle"),
            Paragraph(_ON_VEHICLE),
            Table(on_vehicle, [row for rows in of for row in rows.on_vehicle]),
            Heading(2, "Direction of rotation"),
            Paragraph(
                "As it must be seen, with the driver on the vehicle's "
                f"{site.driver_side.value}. Shafts that lie across the line are looked at "
                "from the driver side."
            ),
            Table(turning, [row for rows in of for row in rows.turning]),
            Caution(CAUTION),
        )
    )
    return Page(path=LINE_PAGE, title="Line and cloth", blocks=blocks)


def _line_facts(
    ledger: Ledger, check: RateCheck | None, timed: Sequence[tuple[RateCheck, str]]
) -> list[Spans]:
    site = ledger.site
    line = site.line
    facts: list[Spans] = [format_check(one, how) for one, how in timed]
    stated = [f"{words.format_number(line.line_rate_per_h)} vehicles an hour in force"]
    if line.chain_speed_m_per_s is not None:
        speed = words.format_quantity("m_s", line.chain_speed_m_per_s, site)
        stated.append(f"chain at {speed}")
    if line.vehicle_pitch_m is not None:
        pitch = words.format_quantity("m", line.vehicle_pitch_m, site)
        stated.append(f"{pitch} from front to front")
    facts.append(f"The site states {words.in_words(stated)}.")
    if check is not None:
        facts.append(f"By chain and pitch: {format_check(check, 'come through')}")
    else:
        facts.append(
            "Chain speed and pitch are not both stated, so the rate cannot be checked by them."
        )
    return facts


def format_band(row: ClothRow, brush: BrushOnLine) -> str:
    """`70 to 80, 75`, and how it was got where the file does not state it for this rate."""
    stated = {point.line_rate_per_h for point in band_points(brush.machine)}
    mark = "" if row.line_rate_per_h in stated else " (between)"
    return (
        f"{words.format_range(row.band.low, row.band.high)}, "
        f"{words.format_number(round(row.target_rpm, 1))}"
        f"{' (nearest)' if row.band_clamped else mark}"
    )


def _by_rate(rates_per_h: Sequence[float], what: str) -> list[Column]:
    return [right(f"{what}{words.format_number(rate)}/h") for rate in rates_per_h]


def _cells(matching: LineMatching, texts: Sequence[str]) -> Sequence[str]:
    """A cell a rate, also of a machine that has no target to start from."""
    return texts or [words.NONE] * len(matching.rates_per_h)

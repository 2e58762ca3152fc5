"""The line: its rate, the bands at each rate, cloth on the vehicle, direction of rotation."""

from collections.abc import Iterator, Sequence

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
    right,
)
from ledger.book.flat import JsonRow, fields_of
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


def format_cloth_speed(m_s: float | None, site: Site) -> str:
    """A speed of cloth without its unit, which the column names; no finer than it is known."""
    if m_s is None:
        return words.NONE
    if site.units is Units.US:
        return fixed(round(convert(m_s, "m_s", "ft_min"), -1), 0)
    return fixed(m_s, 2)


def format_contacts(per_m: float | None, site: Site) -> str:
    if per_m is None:
        return words.NONE
    return significant(per_m * convert(1.0, "ft", "m") if site.units is Units.US else per_m, 3)


def format_check(check: RateCheck, how: str) -> str:
    """What was found beside what the site states. `how` says from what, as `by chain and pitch`."""
    found = (
        significant(check.found.value, 4)
        if check.found.u == 0
        else shown(check.found.value, 2 * check.found.u)
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
    text = ", ".join(parts) + held[at.same_cloth.held_by]
    if at.p_in_band is None or at.p_in_band >= SURE:
        return text
    return f"{text}, only {shown_probability(at.p_in_band)} in band"


def format_past_panel(at: ClothAtRate, site: Site) -> str:
    """`874 (818)`: past the panel, and the edge; the edge alone where the line's speed is open."""
    if at.edge_m_s is None:
        return words.NONE
    past, edge = (format_cloth_speed(one, site) for one in (at.cloth_m_s, at.edge_m_s))
    return f"{past} ({edge})"


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

    bands: list[Sequence[Spans]]
    same_cloth: list[Sequence[Spans]]
    on_vehicle: list[Sequence[Spans]]
    turning: list[Sequence[Spans]]


def line_rows(ledger: Ledger, matching: LineMatching) -> LineRows:
    """Of the brushes that were looked at."""
    site, rows = ledger.site, LineRows([], [], [], [])
    # A cell a rate, also of a machine that has no target to start from.
    none = [words.NONE] * len(matching.rates_per_h)
    for brush in matching.brushes:
        link, turns, rates = words.machine_link(brush.machine), brush.machine.turns, brush.rates
        if rates:
            rows.bands.append((link, *(format_band(at.same_cloth, brush) for at in rates)))
        same = [format_same_cloth(at, brush, site) for at in rates]
        rows.same_cloth.append((link, *(same or none)))
        past = [format_past_panel(at, site) for at in rates]
        contacts = [format_contacts(at.contacts_per_m, site) for at in rates]
        rows.on_vehicle.append((link, turns or words.NONE, *(past or none), *(contacts or none)))
        way = f"{turns} the travel" if turns else "not stated"
        rows.turning.append((link, way, format_turning(brush), format_last_turning(brush)))
    return rows


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
        Bullets([*_line_facts(ledger, check, timed)]),
        words.pointer("Line and cloth"),
        Heading(2, "Bands by line rate"),
    ]
    if not any(rows.turning for rows in of):
        blocks.append(Paragraph("No machine's file states a speed band."))
        return Page(path=LINE_PAGE, title="Line and cloth", blocks=blocks)
    site = ledger.site
    same_cloth = _SAME_CLOTH.format(rate=words.format_number(site.line.line_rate_per_h))
    speed, per = ("ft/min", "ft") if site.units is Units.US else ("m/s", "m")
    on_vehicle: tuple[Column | str, ...] = (
        "Machine",
        "Turns",
        *_by_rate(rates_per_h, f"{speed} at "),
        *_by_rate(rates_per_h, f"Contacts per {per} at "),
    )
    turning = ("Machine", "Turns", "Must be seen to turn", "Last seen")
    by_rate: tuple[Column | str, ...] = ("Machine", *_by_rate(rates_per_h, ""))
    blocks.extend(
        (
            Paragraph(
                "In r/min, with the target. Between two rates that a machine's file states, limits "
                "and target are interpolated; outside them, those of the nearest rate apply."
            ),
            Table(by_rate, [row for rows in of for row in rows.bands]),
            Heading(2, "The same cloth for every vehicle"),
            Paragraph((same_cloth, Link("recommended settings", TUNING_PAGE), ".")),
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
) -> Iterator[str]:
    site, line = ledger.site, ledger.site.line
    yield from (format_check(one, how) for one, how in timed)
    stated = [f"{words.format_number(line.line_rate_per_h)} vehicles an hour in force"]
    if line.chain_speed_m_per_s is not None:
        speed = words.format_quantity("m_s", line.chain_speed_m_per_s, site)
        stated.append(f"chain at {speed}")
    if line.vehicle_pitch_m is not None:
        pitch = words.format_quantity("m", line.vehicle_pitch_m, site)
        stated.append(f"{pitch} from front to front")
    yield f"The site states {words.in_words(stated)}."
    if check is not None:
        yield f"By chain and pitch: {format_check(check, 'come through')}"
    else:
        yield "Chain speed and pitch are not both stated, so the rate cannot be checked by them."


def format_band(row: ClothRow, brush: BrushOnLine) -> str:
    """`70 to 80, 75`, and how it was got where the file does not state it for this rate."""
    stated = {point.line_rate_per_h for point in band_points(brush.machine)}
    mark = "" if row.line_rate_per_h in stated else " (between)"
    target = words.format_number(round(row.target_rpm, 1))
    how = " (nearest)" if row.band_clamped else mark
    return f"{words.format_band(row.band)}, {target}{how}"


def _by_rate(rates_per_h: Sequence[float], what: str) -> list[Column]:
    return [right(f"{what}{words.format_number(rate)}/h") for rate in rates_per_h]


def line_row(
    site: Site, matching: LineMatching, timed: Sequence[tuple[RateCheck, str]] = ()
) -> JsonRow:
    """All that the page of the command says, unrounded, for JSON; speeds in m/s and r/min."""
    line = site.line
    return {
        "stated_line_rate_per_h": line.line_rate_per_h,
        **fields_of(line, "chain_speed_m_per_s", "vehicle_pitch_m"),
        "by_chain_and_pitch": None if matching.check is None else _check_row(matching.check),
        "timed": [{"how": how, **_check_row(check)} for check, how in timed],
        "brushes": [_brush_row(brush) for brush in matching.brushes],
    }


def _check_row(check: RateCheck) -> JsonRow:
    return {
        "line_rate_per_h": check.found.value,
        "standard_uncertainty_per_h": check.found.u,
        "stated_is_above_by_fraction": check.fraction,
        "agrees": check.agrees,
    }


def _brush_row(brush: BrushOnLine) -> JsonRow:
    return {
        "machine": brush.machine.ident,
        "turns": brush.machine.turns or None,
        "must_be_seen_to_turn": [
            {"side": side, "sense": turning.sense.value, "seen_from": turning.seen_from.value}
            for side, turning in brush.expected
        ],
        "last_seen_turning": None if brush.last_seen is None else brush.last_seen.readings[TURNING],
        "turned_wrong": brush.turned_wrong,
        "setting_unit": brush.unit,
        "rates": [_rate_row(at) for at in brush.rates],
    }


def _rate_row(at: ClothAtRate) -> JsonRow:
    row = at.same_cloth
    return {
        "line_rate_per_h": row.line_rate_per_h,
        "band_rpm": [row.band.low, row.band.high],
        "band_from_nearest_rate": row.band_clamped,
        "same_cloth_rpm": row.same_cloth_rpm,
        "held_by": None if row.held_by is None else row.held_by.value,
        **fields_of(at, "setting", "rpm", "p_in_band", "cloth_share"),
        "line_m_per_s": at.line_m_s,
        "edge_m_per_s": at.edge_m_s,
        "cloth_past_panel_m_per_s": at.cloth_m_s,
        "contacts_per_m": at.contacts_per_m,
    }

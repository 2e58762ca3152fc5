"""Shaft speeds: the year of every brush at a glance, the last readings of each, all by year."""

from collections.abc import Callable, Iterator, Sequence

from ledger.book import words
from ledger.book.addresses import SPEEDS_PAGE, SPEEDS_TITLE
from ledger.book.blocks import (
    VERDICT,
    Axis,
    AxisKind,
    Block,
    Column,
    Event,
    Heading,
    Lines,
    Link,
    Mark,
    Page,
    Paragraph,
    Picture,
    Plot,
    Sample,
    Samples,
    SmallPlots,
    Spans,
    Strong,
    Table,
    Zone,
    anchor_of,
    beneath,
    right,
)
from ledger.book.plain import kept
from ledger.book.svg_scale import band_span, year_span
from ledger.compute.band import Verdict
from ledger.compute.numbers import shown_probability
from ledger.model.ledger import Ledger, last_day_filed
from ledger.model.machines import Machine
from ledger.upkeep.speeds.found import SpeedResult, advice, band_of, by_machine
from ledger.upkeep.speeds.words import format_setting_of, format_with_doubt
from ledger.values import dataclass, grouped

METHOD = (
    "Each speed is shown with ± U: the true speed lies inside it in about 95 of 100 readings. A "
    "verdict is given where the chance of being on one side is at least 95 %; otherwise the "
    "reading cannot tell."
)


_MARKS = {
    Verdict.IN_BAND: ("in band", Mark.DISC),
    Verdict.OUT_OF_BAND: ("out of band", Mark.DIAMOND),
    Verdict.CANNOT_TELL: ("cannot tell", Mark.RING),
    None: ("no band stated", Mark.SQUARE),
}

RECENT = 8
"""Readings of each machine on the first page; all stand on the page of their year."""


@kept
@dataclass(frozen=True, slots=True)
class SpeedYearRows:
    """What the page of a year says of some machines."""

    all_at_once: Sequence[tuple[Lines, Picture]]
    readings: Sequence[Block]


def speed_year_rows(ledger: Ledger, results: Sequence[SpeedResult], year: int) -> SpeedYearRows:
    """Of the machines of a ledger, or of a part of it."""
    of_year = _by_machine(ledger, [one for one in results if one.entry.day.year == year])
    return SpeedYearRows(
        [(_name(ledger, of), small_picture(ledger, of, year)) for of in of_year],
        [block for of in of_year for block in _whole(ledger, of)],
    )


@kept
@dataclass(frozen=True, slots=True)
class SpeedRows:
    """What the first page says of some machines.

    `years` are those in which they were read, each with what stands for its rows; `present` are
    the rows of the year of the last visit.
    """

    all_at_once: Sequence[tuple[Lines, Picture]]
    recent: Sequence[Block]
    years: Sequence[tuple[int, str]]
    present: SpeedYearRows


def speed_rows(
    ledger: Ledger,
    results: Sequence[SpeedResult],
    stands_for: Callable[[SpeedYearRows], str] = lambda _: "",
) -> SpeedRows:
    """Of the machines of a ledger, or of a part of it."""
    read = _by_machine(ledger, results)
    present = last_day_filed(ledger).year
    years = sorted({result.entry.day.year for result in results})
    return SpeedRows(
        [(_last_reading(ledger, of), small_picture(ledger, of, present)) for of in read],
        [block for of in read for block in _recent(ledger, of)],
        [(year, stands_for(speed_year_rows(ledger, results, year))) for year in years],
        speed_year_rows(ledger, results, present),
    )


def speeds_page(ledger: Ledger, of: Sequence[SpeedRows]) -> Page:
    """The last readings of each machine, in walking order. Depends on the sources only."""
    years = years_read(of)
    blocks: list[Block] = [Paragraph(METHOD), words.pointer("Speeds")]
    if not years:
        blocks.append(Paragraph("No speed has been read yet."))
    else:
        links = words.year_links(years, speeds_year_page)
        told = f"{_bands_at(ledger)} Every reading with its entry, by year: "
        at_once = [row for rows in of for row in rows.all_at_once]
        blocks += [
            Heading(2, "All at once"),
            SmallPlots(last_day_filed(ledger).year, at_once),
            Heading(2, "Last readings", in_columns=True),
            Paragraph((told, *links, ".")),
            *(block for rows in of for block in rows.recent),
        ]
    return Page(path=SPEEDS_PAGE, title=SPEEDS_TITLE, blocks=blocks)


def years_read(of: Sequence[SpeedRows]) -> list[int]:
    """The years in which a speed was read, the newest first."""
    return sorted({year for rows in of for year, _ in rows.years}, reverse=True)


def speeds_of_year(ledger: Ledger, of: Sequence[SpeedYearRows], year: int) -> Page:
    """Every reading of a year; one that is over changes only where something late belongs to it."""
    return Page(
        path=speeds_year_page(year),
        title=f"{SPEEDS_TITLE} in {year}",
        in_navigation=False,
        blocks=[
            Paragraph(("The last readings: ", Link(SPEEDS_TITLE.lower(), SPEEDS_PAGE), ".")),
            Paragraph(f"{METHOD} To tell says what count would. {_bands_at(ledger)}"),
            SmallPlots(year, [row for rows in of for row in rows.all_at_once]),
            Heading(2, "Every reading", in_columns=True),
            *(block for rows in of for block in rows.readings),
        ],
    )


def speeds_year_page(year: int) -> str:
    return f"speeds/{year}.md"


def _bands_at(ledger: Ledger) -> str:
    rate = words.format_number(ledger.site.line.line_rate_per_h)
    return f"Bands are those at {rate} vehicles an hour."


def _by_machine(ledger: Ledger, results: Sequence[SpeedResult]) -> list[Sequence[SpeedResult]]:
    """The results of each machine that has any, in walking order."""
    read = by_machine(results)
    return [read[machine] for machine in ledger.machines if machine in read]


def speed_table(ledger: Ledger, results: Sequence[SpeedResult]) -> Table:
    """The readings of one machine, newest first, with all there is to say of each."""
    timing_u_s = ledger.site.policy.timing_u_s
    return Table.of(
        reversed(results),
        ("Date", lambda one: words.format_day(one.entry.day)),
        (right("r/min ± U"), _format_speed),
        (VERDICT, lambda one: words.format_verdict(one.verdict)),
        (beneath("Band"), lambda one: words.format_band(one.band)),
        (beneath("In band"), lambda one: words.or_dash(one.p_in_band, shown_probability)),
        ("Read", format_with_doubt),
        (beneath("To tell"), lambda one: advice(one, timing_u_s=timing_u_s) or words.NONE),
        (beneath("Set at"), lambda one: format_setting_of(one, ledger.site)),
        (
            beneath("Entry"),
            lambda one: f"{one.entry.ref}{' (corrects)' * bool(one.entry.corrects)}",
        ),
        newest_first=True,
    )


def speed_plot(ledger: Ledger, machine: Machine, results: Sequence[SpeedResult], year: int) -> Plot:
    """Speeds of a year with the band in force at the site's line rate."""
    by_verdict = grouped(results, lambda result: result.verdict)
    span = year_span(year, year)
    band, _ = band_of(machine, ledger.site.line.line_rate_per_h)
    zones = [Zone(name="band", low=band.low, high=band.high)] if band else []
    drive = ledger.setpoints.get(machine.ident)
    events = [
        Event(x=change.first_day.toordinal(), label=words.format_change(change, ledger.site))
        for change in (drive.changes if drive else ())
        if change.is_approved
    ]
    events.extend(
        Event(x=entry.day.toordinal(), label=f"new {entry.changed.replace('-', ' ')}")
        for entry in ledger.detailed_at(machine.ident)
        if entry.changed in {"motor", "belt", "reduction", "gearbox", "hydraulic-motor"}
    )
    return Plot(
        title=f"{machine.name}: shaft speed in {year}",
        summary=(
            ("Readings with expanded uncertainty" if results else "No reading")
            + (f", band {words.format_range(band.low, band.high)} r/min" if band else "")
        ),
        x=Axis(label="date", kind=AxisKind.DAY, span=span),
        y=Axis(label="shaft speed, r/min", span=band_span(band.low, band.high) if band else None),
        samples=[
            Samples(name=name, mark=mark, points=_samples(by_verdict[verdict]))
            for verdict, (name, mark) in _MARKS.items()
        ],
        zones=zones,
        events=sorted(
            (event for event in events if span[0] <= event.x < span[1]),
            key=lambda event: (event.x, event.label),
        ),
    )


def _samples(results: Sequence[SpeedResult]) -> list[Sample]:
    return [
        Sample(x=one.entry.day.toordinal(), y=one.speed.rpm, half_width=one.speed.expanded())
        for one in results
        if one.speed is not None
    ]


def format_last_reading(results: Sequence[SpeedResult]) -> str:
    """The newest reading of one machine in a sentence; nothing where none was read."""
    if not results:
        return ""
    last = results[-1]
    band = "" if last.band is None else f" ({words.format_band(last.band)})"
    verdict = "" if last.verdict is None else f", {last.verdict.value}"
    speed = _format_speed(last) if last.speed is None else f"{_format_speed(last)} r/min"
    return f"Last read on {words.format_day(last.entry.day)}: {speed}{verdict}{band}."


def _name(ledger: Ledger, results: Sequence[SpeedResult], page: str = "") -> Lines:
    """Station and name of the machine, which leads to its readings on a page."""
    machine = ledger.machines[results[-1].machine]
    number = Strong(words.format_number(machine.station))
    return Lines((number, " ", Link(machine.name, f"{page}#{anchor_of(machine.name)}")))


def _last_reading(ledger: Ledger, results: Sequence[SpeedResult]) -> Lines:
    last = results[-1]
    band = f"{words.format_day(last.entry.day)}, band {words.format_band(last.band)}"
    verdict = words.format_verdict(last.verdict), f" {_format_speed(last)}"
    return Lines(_name(ledger, results, SPEEDS_PAGE).first, [verdict, band])


def small_picture(ledger: Ledger, results: Sequence[SpeedResult], year: int) -> Picture:
    """The year of a machine, to be compared with the others."""
    machine = ledger.machines[results[-1].machine]
    of_year = [one for one in results if one.entry.day.year == year]
    plot = speed_plot(ledger, machine, of_year, year)
    return Picture(f"plots/{year}/small-{machine.ident}.svg", plot, is_small=True)


def speed_picture(
    ledger: Ledger, machine: Machine, results: Sequence[SpeedResult], year: int
) -> Picture:
    """Of the results those of the year; of a closed year in a folder of that year."""
    of_year = [one for one in results if one.entry.day.year == year]
    folder = f"{year}/" if year < last_day_filed(ledger).year else ""
    return Picture(
        f"plots/{folder}speed-{machine.ident}.svg", speed_plot(ledger, machine, of_year, year)
    )


def _of_machine(ledger: Ledger, machine: Machine, more: str = "") -> Paragraph:
    """Where it stands, what its band is, and `more`."""
    band, clamped = band_of(machine, ledger.site.line.line_rate_per_h)
    stated = f"band {words.format_band(band)} r/min" if band else "no band is stated"
    outside = " The rate lies outside the rates stated; the nearest is used." if clamped else ""
    station = f"Station {words.format_number(machine.station)}"
    return Paragraph(
        (Link(station, words.machine_page(machine.ident)), f": {stated}{more}.{outside}")
    )


def _recent(ledger: Ledger, results: Sequence[SpeedResult]) -> Iterator[Block]:
    """The last readings, newest first; a setting that all have in common stands above them."""
    machine = ledger.machines[results[-1].machine]
    shown = results[: -RECENT - 1 : -1]
    settings = {format_setting_of(result, ledger.site) for result in shown}
    alike = "".join(settings - {words.NONE}) if len(settings) == 1 else ""
    advised = advice(shown[0], timing_u_s=ledger.site.policy.timing_u_s)
    yield Heading(3, machine.name)
    yield _of_machine(
        ledger,
        machine,
        (f", set at {alike}" if alike else "") + (f"; to tell: {advised}" if advised else ""),
    )
    columns: list[tuple[Column | str, Callable[[SpeedResult], Spans]]] = [
        ("Date", lambda one: words.format_day(one.entry.day)),
        (right("r/min ± U"), _format_speed),
        (VERDICT, lambda one: words.format_verdict(one.verdict)),
        ("Read", format_with_doubt),
    ]
    if not alike:
        columns.append((beneath("Set at"), lambda one: format_setting_of(one, ledger.site)))
    yield Table.of(shown, *columns)


def _whole(ledger: Ledger, results: Sequence[SpeedResult]) -> Iterator[Block]:
    machine = ledger.machines[results[-1].machine]
    yield Heading(3, machine.name)
    yield _of_machine(ledger, machine)
    yield speed_table(ledger, results)


def _format_speed(result: SpeedResult) -> str:
    return f"no speed: {result.flaw}" if result.speed is None else words.format_speed(result.speed)

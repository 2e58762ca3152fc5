"""One page a machine: its state, what is next, what was filed, its plate; a page a closed year.

In the history, entries that say something stand line by line, rounds by the month.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date
from functools import partial
from itertools import groupby

from ledger.book import words
from ledger.book.blocks import (
    Block,
    Bullets,
    Caution,
    Heading,
    Link,
    Page,
    Paragraph,
    Prose,
    Spans,
    Strong,
    Table,
    anchor_of,
    beneath,
)
from ledger.book.entry_words import (
    format_entry,
    format_raw,
    format_reading,
    format_round,
    format_strokes,
)
from ledger.compute.numbers import convert
from ledger.compute.schedule import Due, State
from ledger.model.ledger import Ledger, last_day_filed
from ledger.model.machines import Brush, ElectricDrive, HydraulicDrive, Machine, Point
from ledger.model.references import EntryRef, Place
from ledger.model.site import Site, Units
from ledger.model.visits import Entry, Urgency
from ledger.site.decisions import Decision
from ledger.upkeep.due.found import DueWork, Schedule
from ledger.upkeep.findings.found import Finding
from ledger.upkeep.register.found import standing_of
from ledger.upkeep.speeds.found import SpeedResult, by_entry
from ledger.upkeep.speeds.page import format_last_reading, speed_picture, speeds_year_page
from ledger.upkeep.speeds.words import format_count
from ledger.upkeep.tuning.words import format_coming

# What an entry of a round may hold and still be told by its day and person alone.
_ROUTINE_KEYS = frozenset({"task", "at", "except", "outcome", "minutes", "strokes"})


OFTEN = 8
"""Readings of one place in a month from which they are gathered in one row: about every third
working day."""


def history_blocks(
    ledger: Ledger,
    machine: Machine,
    speeds: Mapping[EntryRef, Sequence[SpeedResult]],
    year: int,
    earlier: Sequence[int] = (),
    before: Sequence[Block] = (),
) -> list[Block]:
    """What was filed in a year, the newest month first, with links to the `earlier` ones.

    A corrected entry names what took its place. `before` is what was filed before, where it is
    to stand below.
    """
    ident = machine.ident
    filed = ledger.filed_in(ident, year)
    blocks: list[Block] = [Heading(2, "History, newest first", newest_first=True)]
    if not filed and not earlier:
        return [*blocks, Paragraph("Nothing is filed yet.")]
    if earlier:
        links = words.year_links(earlier, partial(words.machine_year_page, ident))
        blocks.append(Paragraph(("Earlier years: ", *links, ".")))
    if not filed:
        return [*blocks, Paragraph(f"Nothing is filed in {year}.")]
    blocks.append(
        Paragraph(
            "Work that was done with nothing to tell is listed by the month, with the days on "
            "which it was done and by whom. The entry is found in the visit of that day."
        )
    )
    return [*blocks, *months_filed(ledger, machine, filed, speeds), *before]


def months_filed(
    ledger: Ledger,
    machine: Machine,
    filed: Sequence[Entry],
    speeds: Mapping[EntryRef, Sequence[SpeedResult]],
) -> list[Block]:
    """What was filed by time, the newest month first."""
    blocks: list[Block] = []
    for month, found in groupby(reversed(filed), key=lambda entry: entry.day.replace(day=1)):
        unusual: list[Entry] = []
        rounds: list[Entry] = []
        for entry in found:
            (rounds if _is_routine(ledger, entry) else unusual).append(entry)
        often = _read_often(ledger, unusual)
        gathered = {entry.ref for read in often for entry in read}
        rest = [entry for entry in unusual if entry.ref not in gathered]
        blocks.append(Heading(3, words.format_month(month)))
        if rest:
            blocks.append(
                Table(
                    ("When", "What", beneath("Where"), beneath("By"), beneath("Entry")),
                    [_row(ledger, machine, entry, speeds) for entry in rest],
                    newest_first=True,
                )
            )
        if rounds:
            blocks.append(
                Table(
                    ("Done, nothing to tell", beneath("Where"), "On the"),
                    _round_rows(ledger, machine, rounds[::-1]),
                )
            )
        if often:
            blocks.append(
                Table(
                    ("Read, nothing else to tell", beneath("Where"), "On the"),
                    [
                        (
                            ledger.tasks[read[0].task].title,
                            _where(ledger, machine, read[0]),
                            _days(ledger, read, with_readings=True),
                        )
                        for read in often
                    ],
                )
            )
    return blocks


def years_before(year: int, filed: Iterable[int]) -> list[int]:
    """Of the years with an entry those before one, the newest first."""
    return sorted((one for one in filed if one < year), reverse=True)


def _is_routine(ledger: Ledger, entry: Entry) -> bool:
    is_plain = entry.did_work and _ROUTINE_KEYS.issuperset(entry.content.raw)
    if not is_plain and entry.claim is None:
        return False
    return not ledger.corrections or entry.ref not in ledger.corrections


def _read_often(ledger: Ledger, entries: Sequence[Entry]) -> list[list[Entry]]:
    """What was read so often in a month that a row each would bury the rest, by day."""
    same: dict[tuple[str, Place], list[Entry]] = {}
    for entry in reversed(entries):
        if entry.place is not None and _is_bare_reading(ledger, entry):
            same.setdefault((entry.task, entry.place), []).append(entry)
    return [read for _, read in sorted(same.items()) if len(read) >= OFTEN]


def _is_bare_reading(ledger: Ledger, entry: Entry) -> bool:
    """Whether its task and what was read are all that an entry says."""
    if not entry.did_work or entry.reads_speed or entry.ref in ledger.corrections:
        return False
    read = format_reading(entry.readings, ledger.site)
    return bool(read) and format_entry(ledger, entry) == "; ".join(
        (ledger.tasks[entry.task].title, *read)
    )


def _round_rows(
    ledger: Ledger, machine: Machine, rounds: Sequence[Entry]
) -> list[tuple[Spans, ...]]:
    """One row for what was done at the same places by the same amount, its days in order."""
    same: dict[tuple[str, str, str], list[Entry]] = {}
    # Of many entries the contents are one and the same value.
    rows: dict[int, list[Entry]] = {}
    for entry in rounds:
        known = rows.get(id(entry.content))
        if known is None:
            amount = f", {format_strokes(entry.strokes)}" if entry.strokes else ""
            claim = entry.claim
            what = ledger.tasks[entry.task].title if claim is None else format_round(claim)
            key = (what, _where(ledger, machine, entry), amount)
            known = rows[id(entry.content)] = same.setdefault(key, [])
        known.append(entry)
    return [
        (f"{what}{amount}", where, _days(ledger, entries))
        for (what, where, amount), entries in sorted(same.items())
    ]


def _days(ledger: Ledger, entries: Sequence[Entry], *, with_readings: bool = False) -> str:
    """`01, 02, 04 (K. Yelloway); 03 (M. Osterby)`, or `01 123 psi, 02 120 psi (K. Yelloway)`."""
    by_person: dict[str, list[str]] = {}
    crews: dict[tuple[object, ...], list[str]] = {}
    for entry in entries:
        head = entry.head
        crew = head.by, head.helpers, head.filed_by, head.returned_by
        days = crews.get(crew)
        if days is None:
            people = words.format_crew(entry, ledger.site)
            days = crews[crew] = by_person.setdefault(people, [])
        read = format_reading(entry.readings, ledger.site) if with_readings else []
        days.append(" ".join((f"{head.day.day:02}", *read)))
    return "; ".join(
        f"{', '.join(dict.fromkeys(days))} ({people})" for people, days in sorted(by_person.items())
    )


def _where(ledger: Ledger, machine: Machine, entry: Entry) -> str:
    points = [
        name
        for place in entry.places or ledger.places_meant(entry)
        if place.machine == machine.ident and (name := words.format_point(ledger, place))
    ]
    return ", ".join(points) or "machine"


def _row(
    ledger: Ledger, machine: Machine, entry: Entry, speeds: Mapping[EntryRef, Sequence[SpeedResult]]
) -> tuple[Spans, ...]:
    text = format_entry(ledger, entry)
    read = [format_count(result, ledger.site) for result in speeds.get(entry.ref, ())]
    text = "; ".join((text, *(read or _raws(entry))))
    later = ledger.corrections.get(entry.ref)
    if later is not None:
        text += f" [corrected by {later.ref}: {later.reason}]"
    return (
        words.format_time(entry.when, ledger.site),
        text,
        _where(ledger, machine, entry),
        words.format_crew(entry, ledger.site),
        str(entry.ref),
    )


def _raws(entry: Entry) -> list[str]:
    """The raw numbers of an entry that was put right later, and so gives no speed."""
    readings = (entry.speed, *(step.speed for step in entry.steps))
    return [format_raw(reading) for reading in readings if reading is not None]


_URGENCIES = tuple(Urgency)


def machine_page(
    ledger: Ledger,
    machine: Machine,
    schedule: Schedule,
    results: Sequence[SpeedResult],
    found: Sequence[Finding],
    decisions: Sequence[Decision],
    year: int,
    earlier: Sequence[int] = (),
    before: Sequence[Block] = (),
    as_of: date | None = None,
) -> Page:
    """`results`, `found` and `decisions` are those of this machine; its history as asked for.

    Depends on the sources only, but for the setting in force, where `as_of` is given, and what
    `schedule` takes for the day: by default the last one on record.
    """
    speeds = by_entry(results)
    blocks: list[Block] = [
        Paragraph(_standing(ledger, machine)),
        Heading(2, "Now"),
        Bullets(_now(ledger, machine, results, found, decisions, as_of)),
        Caution([*words.SAFETY, *machine.cautions]),
    ]
    if machine.energy:
        sheet = Link("lockout sheet", words.lockout_sheet_page(machine.ident))
        blocks.append(Paragraph(("Before hands go in: the ", sheet, ".")))
    if results:
        blocks.extend(
            (
                Heading(2, "Speed"),
                Paragraph(
                    (
                        "Every reading with its verdict is on ",
                        Link("the page of shaft speeds", f"speeds.md#{anchor_of(machine.name)}"),
                        ".",
                    )
                ),
                speed_picture(ledger, machine, results, last_day_filed(ledger).year),
            )
        )
    blocks.extend(_due_and_done(ledger, machine, schedule))
    if machine.notes:
        blocks.extend((Heading(2, "Notes"), Prose(machine.notes)))
    blocks.extend(history_blocks(ledger, machine, speeds, year, earlier, before))
    blocks.extend(
        (Heading(2, "Plate and points", is_folded=True), Bullets(_facts(ledger, machine)))
    )
    return Page(path=words.machine_page(machine.ident), title=machine.name, blocks=blocks)


def page_of_year(
    ledger: Ledger,
    machine: Machine,
    results: Sequence[SpeedResult],
    year: int,
    earlier: Sequence[int],
) -> Page:
    """A year that is over; it changes only where something late belongs to it, or is `earlier`."""
    of_year = [result for result in results if result.entry.day.year == year]
    blocks: list[Block] = [
        Paragraph(("State and newest history: ", words.machine_link(machine), "."))
    ]
    if of_year:
        blocks.append(speed_picture(ledger, machine, of_year, year))
        page = f"{speeds_year_page(year)}#{anchor_of(machine.name)}"
        blocks.append(Paragraph((Link("Every reading with its verdict", page), ".")))
    blocks.extend(history_blocks(ledger, machine, by_entry(of_year), year, earlier))
    return Page(
        path=words.machine_year_page(machine.ident, year),
        title=f"{machine.name} in {year}",
        blocks=blocks,
        in_navigation=False,
    )


def _standing(ledger: Ledger, machine: Machine) -> str:
    """`Station 100, tunnel, low brush, passenger side; turns against the vehicle's travel.`"""
    side = f", {machine.side} side" if machine.side in {"driver", "passenger"} else ""
    turns = f"; turns {machine.turns} the vehicle's travel" if machine.turns else ""
    kind = words.format_machine_kind(machine.kind, ledger.site.units)
    area = machine.area.replace("-", " ")
    return f"Station {words.format_number(machine.station)}, {area}, {kind}{side}{turns}."


def _now(
    ledger: Ledger,
    machine: Machine,
    results: Sequence[SpeedResult],
    found: Sequence[Finding],
    decisions: Sequence[Decision],
    as_of: date | None,
) -> list[Spans]:
    """Open findings, the most urgent first, all else to decide, the last speed, the setting."""
    still_open = sorted(
        (finding for finding in found if finding.is_open),
        key=lambda finding: _URGENCIES.index(finding.entry.urgency),
    )
    lines: list[Spans] = [_format_finding(ledger, finding) for finding in still_open]
    lines.extend(decision.line_on_machine_page(ledger) for decision in decisions)
    if results:
        lines.append(format_last_reading(results))
    standing = standing_of(ledger, machine.ident, as_of)
    if standing.change is not None or standing.coming:
        change = standing.change
        setting = (
            "No setting in force"
            if change is None
            else f"Setting in force: {words.format_change(change, ledger.site)} from "
            f"{words.format_day(change.first_day)}"
        )
        setting += format_coming(standing.coming, ledger.site)
        lines.append((f"{setting} (", Link("register", "setpoints.md"), ")."))
    return lines or ["Nothing asks for a decision."]


def _facts(ledger: Ledger, machine: Machine) -> list[Spans]:
    site = ledger.site
    facts: list[Spans] = []
    if machine.drive is not None:
        facts.append(_format_drive(machine.drive, site))
    if machine.brush is not None and (text := _format_brush(machine.brush, site)):
        facts.append(text)
    facts.extend(
        f"Band at {words.format_number(band.line_rate_per_h)} vehicles an hour: "
        f"{words.format_range(band.low_rpm, band.high_rpm)} r/min, "
        f"target {words.format_number(band.target_rpm)}."
        for band in machine.speed_band
    )
    if machine.panel:
        panel = site.panels.get(machine.panel)
        facts.append(f"Fed from {panel.name if panel else machine.panel}.")
    nameplate = " ".join(filter(None, (machine.maker, machine.model)))
    if nameplate:
        facts.append(f"Made by {nameplate}." if machine.maker else f"Model {nameplate}.")
    if machine.serial:
        facts.append(f"Serial number {machine.serial}.")
    if machine.warranty_until:
        facts.append(f"Warranty until {words.format_day(machine.warranty_until)}.")
    if machine.photos:
        facts.append(("Pictures:", *words.photo_links(machine.photos), "."))
    facts.append(f"In service since {words.format_day(machine.in_service)}.")
    facts.extend(f"Out of service {words.format_absence(absence)}." for absence in machine.absences)
    facts.extend(f"{text.capitalize()}." for text in _formerly(machine.formerly))
    if machine.maker_manual:
        facts.append(f"Maker's manual: {machine.maker_manual}.")
    facts.extend(_format_point(point) for point in machine.points.values())
    return facts


def _format_point(point: Point) -> Spans:
    """`Motor: motor; Behind the guard.`"""
    away = [f"out of service {words.format_absence(one)}" for one in point.absences]
    notes = [*filter(None, [point.note]), *away, *_formerly(point.formerly)]
    text = f"{point.name}: {'; '.join((point.kind.replace('-', ' '), *notes))}."
    return (text, *words.photo_links(point.photos))


def _format_drive(drive: ElectricDrive | HydraulicDrive, site: Site) -> str:
    if isinstance(drive, HydraulicDrive):
        size, unit = words.in_site_units(drive.motor_cm3, "cm3", site)
        limits = drive.flow_limits_lpm
        span = (
            ""
            if limits is None
            else ", limits " + " to ".join(words.format_flow(q, site) for q in limits)
        )
        return f"Hydraulic motor, {words.format_number(round(size, 2))} {unit} per turn{span}."
    parts = ["Electric motor"]
    if drive.motor_kw is not None:
        power, unit = words.in_site_units(drive.motor_kw, "kw", site)
        parts.append(f"{words.format_number(round(power, 2))} {unit}")
    if drive.rated_rpm is not None and drive.base_hz is not None:
        parts.append(
            f"{words.format_number(drive.rated_rpm)} r/min "
            f"at {words.format_number(drive.base_hz)} Hz"
        )
    if drive.reduction is not None:
        parts.append(f"reduction about {words.format_number(drive.reduction)}")
    if drive.hz_limits is not None:
        low, high = drive.hz_limits
        parts.append(f"limits {words.format_number(low)} to {words.format_number(high)} Hz")
    return ", ".join(parts) + "."


def _format_brush(brush: Brush, site: Site) -> str:
    parts = [brush.material] if brush.material else []
    if brush.diameter_m is not None:
        unit = "in" if site.units is Units.US else "mm"
        across = convert(brush.diameter_m, "m", unit)
        parts.append(f"{words.format_number(round(across, 1))} {unit} across")
    if brush.strips_around is not None:
        parts.append(f"{words.format_count(brush.strips_around, 'strip')} around")
    return f"Brush: {', '.join(parts)}." if parts else ""


def _format_finding(ledger: Ledger, finding: Finding) -> Spans:
    entry = finding.entry
    where = words.format_point(ledger, entry.places[0]) or "machine"
    return (
        Strong(words.marked("finding", f"Open finding, {entry.urgency.value}")),
        (
            f": {entry.finding} ({where}, {words.format_day(entry.day)}, "
            f"{words.format_person(entry.by, ledger.site)}, {entry.ref})"
        ),
        *words.photo_links(entry.photos),
    )


def _due_and_done(ledger: Ledger, machine: Machine, schedule: Schedule) -> Iterator[Block]:
    """What comes next first, beside when it was last done; and points that no task selects.

    A date that rests on a meter's pace is told by its month, since it moves with every reading.
    """
    same: dict[tuple[str, str, str], list[DueWork]] = {}
    served = set()
    for task in ledger.tasks.values():
        for place in task.places:
            if place.machine == machine.ident:
                work = schedule.due(task, place)
                served.add(place.point)
                done = work.last_done
                last = words.NONE if done is None else words.format_day(done.day)
                same.setdefault((_next(work.due), last, task.ident), []).append(work)
    if same:
        yield Heading(2, "What is next, and when it was done")
        yield Table.of(
            [work for _, work in sorted(same.items())],
            ("Next", lambda work: _next(work[0].due)),
            (beneath("Cycle"), lambda work: words.format_task_cycle(work[0].task)),
            (
                "Last done",
                lambda work: words.or_dash(
                    work[0].last_done, lambda done: words.format_day(done.day)
                ),
            ),
            ("Task", lambda work: words.task_link(work[0].task)),
            (
                beneath("Where"),
                lambda work: ", ".join(
                    words.format_point(ledger, one.place) or "machine" for one in work
                ),
            ),
        )
    idle = [point.name for ident, point in machine.points.items() if ident not in served]
    if idle:
        yield Paragraph(f"No task for: {'; '.join(idle)}.")


def _next(due: Due) -> str:
    if due.rests is State.PAUSED:
        return "once it is back"
    if due.due_on is None:
        return words.NONE
    return f"{due.due_on:%Y-%m}, about" if due.predicted else words.format_day(due.due_on)


def _formerly(names: Sequence[str]) -> list[str]:
    return [f"formerly {words.in_words(names)}"] if names else []

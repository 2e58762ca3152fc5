"""Every flat table of a ledger: what an export holds, in whatever form."""

from collections.abc import Callable, Sequence
from datetime import date

from ledger.book.flat import FlatTable, day, dictionary, instant, number, table, text, whole, yes_no
from ledger.model.ledger import Ledger
from ledger.model.machines import Machine, Point
from ledger.model.readings import TURNING
from ledger.model.references import Place
from ledger.model.setpoints import Change, DriveSetpoints
from ledger.model.visits import Entry, StockMove, Visit
from ledger.site.report_tables import report_tables, site_table
from ledger.upkeep.due.found import Schedule
from ledger.upkeep.due.table import due_table
from ledger.upkeep.findings.found import findings
from ledger.upkeep.parts.found import StockLine, stock_lines
from ledger.upkeep.parts.table import parts_table
from ledger.upkeep.speeds.found import speed_results
from ledger.upkeep.speeds.table import reading_table


def flat_tables(ledger: Ledger, as_of: date) -> tuple[FlatTable, ...]:
    """All tables, the dictionary of their columns last.

    Only `site`, `due` and `obligations` depend on the day.
    """
    results, schedule = speed_results(ledger), Schedule(ledger, as_of)
    lines = stock_lines(ledger)
    tables = (
        site_table(ledger, as_of),
        _machines(ledger),
        _points(ledger),
        _tasks(ledger),
        due_table(ledger, schedule.all_due()),
        _visits(ledger),
        _meters(ledger),
        _entries(ledger),
        _entry_places(ledger),
        reading_table(ledger, results),
        _findings(ledger),
        _setpoints(ledger),
        parts_table(lines),
        _parts_use(lines),
        *report_tables(ledger, results, schedule, as_of),
    )
    return (*tables, dictionary(tables))


VIEWS = {
    "open_findings": "SELECT * FROM findings WHERE open = 1",
    "overdue_work": "SELECT * FROM due WHERE state = 'overdue'",
    "settings_in_force": "SELECT * FROM setpoints WHERE in_force = 1",
    "speeds": "SELECT * FROM readings WHERE quantity = 'speed'",
}
"""What is asked most often of the tables, for a database."""


def _visits(ledger: Ledger) -> FlatTable:
    return table(
        "visits",
        "One visit, by time.",
        ledger.visits,
        (
            text("visit", "Id of the visit.", lambda v: v.ident),
            instant("at", "When it began.", lambda v: v.when),
            day("day", "That day at the site.", lambda v: v.day),
            text("person", "Id of the person.", lambda v: v.by),
            text("helpers", "Ids of those who helped.", lambda v: " ".join(v.helpers)),
            text("filed_by", "Id of who filed it for them.", lambda v: v.filed_by),
            text("permit", "Permit it was done under.", lambda v: v.permit),
            text("returned_by", "Id of who put it back into service.", lambda v: v.returned_by),
            instant("entered_at", "When it was written down, if later.", lambda v: v.entered_at),
            text("note", "Note on the visit.", lambda v: v.note),
            text("path", "The file, below the site's folder.", lambda v: v.path),
        ),
        key="visit",
        dated="day",
    )


def _meters(ledger: Ledger) -> FlatTable:
    read: list[tuple[Visit, str, float]] = [
        (visit, name, value) for visit in ledger.visits for name, value in visit.meters.items()
    ]
    meters = ledger.site.meters
    return table(
        "meters",
        "What one counter showed at one visit.",
        read,
        (
            text("visit", "Id of the visit.", lambda r: r[0].ident),
            instant("at", "When it was read.", lambda r: r[0].when),
            text("meter", "Id of the meter.", lambda r: r[1]),
            number("reading", "", "What it showed; its unit is in `counts`.", lambda r: r[2]),
            text(
                "counts",
                "What it counts: vehicles or hours.",
                lambda r: meters[r[1]].counts if r[1] in meters else None,
            ),
        ),
        key="visit meter",
        refers="visit",
        dated="visit",
    )


_STOCK_MOVES: tuple[tuple[str, str, Callable[[StockMove], float | None]], ...] = (
    ("used", "Used", lambda stock: stock.used),
    ("ordered", "Ordered", lambda stock: stock.ordered),
    ("received", "Received", lambda stock: stock.received),
    ("on_hand", "Counted on the shelf", lambda stock: stock.on_hand),
)


def _entries(ledger: Ledger) -> FlatTable:
    standing = {entry.ref for entry in ledger.standing}
    return table(
        "entries",
        "One entry as filed, corrected or not.",
        ledger.entries,
        (
            text("entry", "The visit, and the number of the entry in it.", lambda e: str(e.ref)),
            text("visit", "Id of the visit.", lambda e: e.ref.visit),
            instant("at", "When the visit began.", lambda e: e.when),
            day("day", "That day at the site.", lambda e: e.day),
            text("person", "Id of the person.", lambda e: e.by),
            text("places", "Where, by walking order.", lambda e: " ".join(map(str, e.places))),
            text("task", "Id of the task.", lambda e: e.task),
            text(
                "round",
                "Pass of the day whose round was reported in order by this one answer.",
                lambda e: e.claim.of_pass.value if e.claim else "",
            ),
            text("outcome", "Whether the task was done.", _outcome),
            text("reason", "Why not done, or why corrected.", lambda e: e.reason),
            number("strokes", "", "Strokes of the grease gun at each place.", lambda e: e.strokes),
            number("minutes", "min", "Time it took.", lambda e: e.minutes),
            text("turning", "Direction of rotation that was seen.", lambda e: e.readings[TURNING]),
            text("finding", "What was found wrong.", lambda e: e.finding),
            text("stop", "Why the line stopped.", lambda e: e.stop),
            number("stopped_minutes", "min", "Minutes it stood.", lambda e: e.stopped_minutes),
            text("tied_back", "Why its machine is out of action.", lambda e: e.tied_back),
            text("closes", "What it puts right.", lambda e: str(e.closes or "")),
            text("changed", "The part replaced or altered.", lambda e: e.changed),
            text("part", "Id of the part moved.", lambda e: e.stock.part if e.stock else None),
            *(
                number(f"part_{name}", "", f"{how}, in the part's unit.", _moved(amount))
                for name, how, amount in _STOCK_MOVES
            ),
            text("note", "Note.", lambda e: e.note),
            text("corrects", "The entry it takes the place of.", lambda e: str(e.corrects or "")),
            text("corrected_by", "The entry that takes its place.", _corrected_by(ledger)),
            yes_no("void", "Whether it strikes out what it corrects.", lambda e: e.void),
            yes_no("stands", "Whether it holds, being neither corrected nor struck out.",
                   lambda e: e.ref in standing),
        ),
        key="entry",
        refers="visit task part",
        dated="day",
    )  # fmt: skip


def _outcome(entry: Entry) -> str:
    return entry.outcome.value if entry.task else ""


def _moved(amount: Callable[[StockMove], float | None]) -> Callable[[Entry], float | None]:
    return lambda entry: None if entry.stock is None else amount(entry.stock)


def _corrected_by(ledger: Ledger) -> Callable[[Entry], str]:
    return lambda entry: str(later.ref) if (later := ledger.corrections.get(entry.ref)) else ""


def _entry_places(ledger: Ledger) -> FlatTable:
    pairs: list[tuple[Entry, Place]] = [
        (entry, place) for entry in ledger.entries for place in entry.places
    ]
    return table(
        "entry_places",
        "One place of one entry.",
        pairs,
        (
            text("entry", "The entry.", lambda pair: str(pair[0].ref)),
            text("place", "Machine, or machine and point.", lambda pair: str(pair[1])),
            text("machine", "Id of the machine.", lambda pair: pair[1].machine),
            text("point", "Id of the point; none for a whole machine.", lambda pair: pair[1].point),
        ),
        key="entry place",
        refers="entry machine",
        dated="entry",
    )


def _findings(ledger: Ledger) -> FlatTable:
    return table(
        "findings",
        "One finding that stands.",
        findings(ledger),
        (
            text("entry", "The entry that holds it.", lambda f: str(f.entry.ref)),
            day("day", "When it was found.", lambda f: f.entry.day),
            text("person", "Id of the person.", lambda f: f.entry.by),
            text("place", "Machine, or machine and point.", lambda f: str(f.entry.place or "")),
            text("finding", "What is wrong.", lambda f: f.entry.finding),
            text("urgency", "Now, soon or planned.", lambda f: f.entry.urgency.value),
            yes_no("failed", "Whether function was lost.", lambda f: f.entry.failed),
            number("stopped_minutes", "min", "Down time.", lambda f: f.entry.stopped_minutes),
            yes_no("open", "Whether no entry has closed it.", lambda f: f.is_open),
            text("closed_by", "The entry that closed it.",
                 lambda f: str(f.closed_by.ref) if f.closed_by else None),
            day("closed_on", "When it was closed.",
                lambda f: f.closed_by.day if f.closed_by else None),
        ),
        key="entry",
        refers="entry",
        dated="day",
    )  # fmt: skip


def _machines(ledger: Ledger) -> FlatTable:
    return table(
        "machines",
        "One machine, in walking order.",
        ledger.machines.values(),
        (
            text("machine", "Id of the machine.", lambda m: m.ident),
            text("name", "Its name.", lambda m: m.name),
            text("kind", "Kind of machine.", lambda m: m.kind),
            text("alike", "Word that like machines of other sites have too.", lambda m: m.like),
            number("station", "", "Place in walking order, entry to exit.", lambda m: m.station),
            text("area", "Part of the site.", lambda m: m.area),
            text("side", "Side of the vehicle it works on.", lambda m: m.side),
            text("turns", "Direction of rotation, against or with the travel.", lambda m: m.turns),
            text("drive", "Kind of drive.", _drive),
            day("in_service", "First day in service.", lambda m: m.in_service),
            day("out_of_service", "First day out of service for good.", lambda m: m.out_of_service),
            text("away", "Other days out of service, as ISO 8601 intervals.", _away),
            text("serial", "Serial number.", lambda m: m.serial),
        ),
        key="machine",
    )


def _away(machine: Machine) -> str:
    return " ".join(f"{a.first}/{a.last}" for a in machine.absences if a.last is not None)


def _drive(machine: Machine) -> str:
    return "" if machine.drive is None else type(machine.drive).__name__.removesuffix("Drive")


def _points(ledger: Ledger) -> FlatTable:
    pairs: list[tuple[Machine, Point]] = [
        (machine, point)
        for machine in ledger.machines.values()
        for point in machine.points.values()
    ]
    return table(
        "points",
        "One point of a machine.",
        pairs,
        (
            text("place", "Machine and point, as entries name it.", _place_of_point),
            text("machine", "Id of the machine.", lambda pair: pair[0].ident),
            text("point", "Id of the point within the machine.", lambda pair: pair[1].ident),
            text("name", "Its name.", lambda pair: pair[1].name),
            text("kind", "Kind of point.", lambda pair: pair[1].kind),
            day("in_service", "First day in service.", lambda pair: pair[1].in_service),
            day(
                "out_of_service",
                "First day out of service for good.",
                lambda pair: pair[1].out_of_service,
            ),
        ),
        key="place",
        refers="machine",
    )


def _place_of_point(pair: tuple[Machine, Point]) -> str:
    return str(Place(pair[0].ident, pair[1].ident))


def _tasks(ledger: Ledger) -> FlatTable:
    return table(
        "tasks",
        "One recurring task.",
        ledger.tasks.values(),
        (
            text("task", "Id of the task.", lambda t: t.ident),
            text("title", "Its title.", lambda t: t.title),
            text("alike", "Word that like tasks of other sites have too.", lambda t: t.like),
            text(
                "every",
                "Intervals, whichever comes first.",
                lambda t: " or ".join(map(str, t.every)),
            ),
            text("counts_from", "What the interval counts from.", lambda t: t.counts_from.value),
            whole(
                "window_days", "d", "Days before and after the due date.", lambda t: t.window_days
            ),
            whole("places", "", "Number of places it selects.", lambda t: len(t.places)),
            yes_no("lockout", "Whether the machine is locked out first.", lambda t: t.lockout),
            text("needs", "Qualifications it takes.", lambda t: " ".join(sorted(t.needs))),
            number("minutes", "min", "Time it takes at one place.", lambda t: t.minutes),
            text("covers", "Tasks done with it.", lambda t: " ".join(t.covers)),
            text("reads", "Readings it asks for.", lambda t: " ".join(t.reads)),
            text("basis", "What sets the interval.", lambda t: t.basis),
            text("state_basis", "What asks for the state.", lambda t: t.state_basis),
            yes_no(
                "by_law",
                "Whether law or code asks for it, with its citation.",
                lambda t: t.is_by_law,
            ),
            text("cite", "Where the law or code says so.", lambda t: t.cite),
            text("cautions", "Cautions, in order.", lambda t: " / ".join(t.cautions)),
        ),
        key="task",
    )


def _setpoints(ledger: Ledger) -> FlatTable:
    pairs: list[tuple[DriveSetpoints, Change]] = [
        (drive, change) for drive in ledger.setpoints.values() for change in drive.changes
    ]
    return table(
        "setpoints",
        "One change of one drive's setting, approved or not.",
        pairs,
        (
            text("machine", "Id of the machine.", lambda pair: pair[0].machine),
            whole("number", "", "Number of the change in its file.", lambda pair: pair[1].number),
            day("first_day", "First day it is meant for.", lambda pair: pair[1].first_day),
            number("value", "", "The setting, in `unit`.", lambda pair: pair[1].value),
            text("unit", "Hz, or L/min.", lambda pair: pair[1].unit),
            number(
                "line_rate_per_h",
                "1/h",
                "Vehicles an hour it is meant for.",
                lambda pair: pair[1].line_rate_per_h,
            ),
            text("why", "Why.", lambda pair: pair[1].why),
            text("evidence", "Entries it rests on.", lambda p: " ".join(map(str, p[1].evidence))),
            text("proposed_by", "Id of who proposed it.", lambda pair: pair[1].proposed_by),
            day("proposed_on", "When.", lambda pair: pair[1].proposed_on),
            text("approved_by", "Id of who approved it by the file: see `does_not_count`.",
                 lambda pair: pair[1].approved_by),
            day("approved_on", "When.", lambda pair: pair[1].approved_on),
            text("does_not_count", "Rules of the site that the approval breaks: it is none.",
                 lambda p: " ".join(flaw.value for flaw in p[1].flaws if p[1].is_only_claimed)),
            text("withdrawn", "Why it was withdrawn.", lambda pair: pair[1].withdrawn),
            yes_no("in_force", "Whether it is the newest approved, begun already or not.",
                   lambda pair: pair[0].in_force is pair[1]),
        ),
        key="machine number",
        refers="machine",
    )  # fmt: skip


def _parts_use(lines: Sequence[StockLine]) -> FlatTable:
    used: list[tuple[StockLine, date, float]] = [
        (line, month, amount) for line in lines for month, amount in line.used_by_month.items()
    ]
    return table(
        "parts_use",
        "One part in one month.",
        used,
        (
            text("part", "Id of the part.", lambda row: row[0].part.ident),
            day("month", "First day of the month.", lambda row: row[1]),
            number("used", "", "What was used in it, in `unit`.", lambda row: row[2]),
            text("unit", "The part's unit.", lambda row: row[0].part.unit),
        ),
        key="part month",
        refers="part",
        dated="month",
    )

"""Every flat table of a ledger: what an export holds, in whatever form."""

from collections.abc import Sequence
from datetime import date

from ledger.assess.due import DueWork, Schedule
from ledger.assess.speeds import speed_results
from ledger.assess.stock import StockLine, stock_lines
from ledger.model.ledger import Ledger
from ledger.model.machines import Machine, Point
from ledger.model.references import Place
from ledger.model.setpoints import Change, DriveSetpoints
from ledger.report.flat import (
    FlatTable,
    day,
    dictionary,
    number,
    table,
    text,
    whole,
    yes_no,
)
from ledger.report.flat_entries import (
    entry_place_table,
    entry_table,
    finding_table,
    meter_table,
    visit_table,
)
from ledger.report.flat_readings import reading_table


def flat_tables(ledger: Ledger, as_of: date) -> tuple[FlatTable, ...]:
    """All tables, the dictionary of their columns last; only `due` depends on the day."""
    tables = (
        _machines(ledger),
        _points(ledger),
        _tasks(ledger),
        _due(ledger, Schedule(ledger, as_of).all_due()),
        visit_table(ledger),
        meter_table(ledger),
        entry_table(ledger),
        entry_place_table(ledger),
        reading_table(ledger, speed_results(ledger)),
        finding_table(ledger),
        _setpoints(ledger),
        _parts(stock_lines(ledger)),
        _parts_use(stock_lines(ledger)),
    )
    return (*tables, dictionary(tables))


def _machines(ledger: Ledger) -> FlatTable:
    return table(
        "machines",
        "One machine, in walking order.",
        ledger.machines.values(),
        (
            text("machine", "Id of the machine.", lambda m: m.ident),
            text("name", "Its name.", lambda m: m.name),
            text("kind", "Kind of machine.", lambda m: m.kind),
            number("station", "", "Place in walking order, entry to exit.", lambda m: m.station),
            text("area", "Part of the site.", lambda m: m.area),
            text("side", "Side of the vehicle it works on.", lambda m: m.side),
            text("turns", "Sense of turning, against or with the travel.", lambda m: m.turns),
            text("drive", "Kind of drive.", _drive),
            day("in_service", "First day in service.", lambda m: m.in_service),
            day("out_of_service", "First day out of service for good.", lambda m: m.out_of_service),
            text("away", "Other days out of service, as ISO 8601 intervals.", _away),
            text("serial", "Serial number.", lambda m: m.serial),
        ),
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
        ),
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
            text(
                "every", "Intervals, the first to come.", lambda t: " or ".join(map(str, t.every))
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
            text("basis", "What the interval rests on.", lambda t: t.basis),
            text("cautions", "Cautions, in order.", lambda t: " / ".join(t.cautions)),
        ),
    )


def _due(ledger: Ledger, work: Sequence[DueWork]) -> FlatTable:
    return table(
        "due",
        "One task at one place, as seen on the day of the export.",
        work,
        (
            number(
                "station",
                "",
                "Place in walking order.",
                lambda w: ledger.machines[w.place.machine].station,
            ),
            text("place", "Machine, or machine and point.", lambda w: str(w.place)),
            text("task", "Id of the task.", lambda w: w.task.ident),
            text("title", "Title of the task.", lambda w: w.task.title),
            text("state", "Not due, due, overdue or unknown.", lambda w: w.due.state.value),
            day("due_on", "Due date.", lambda w: w.due.due_on),
            day("window_from", "First day on which the work counts.", lambda w: w.due.window_from),
            day("window_to", "Last day in time.", lambda w: w.due.window_to),
            whole(
                "overdue_days", "d", "Days past the last day in time.", lambda w: w.due.overdue_days
            ),
            text(
                "because",
                "The interval that made the date.",
                lambda w: None if w.due.because is None else str(w.due.because),
            ),
            yes_no("predicted", "Whether a meter's rate predicted it.", lambda w: w.due.predicted),
            day("last_done", "Last day done.", lambda w: w.last_done.day if w.last_done else None),
            text(
                "put_off",
                "Why it was not done since.",
                lambda w: w.put_off.reason if w.put_off else None,
            ),
            number("minutes", "min", "Time it takes.", lambda w: w.task.minutes),
            yes_no("lockout", "Whether the machine is locked out first.", lambda w: w.task.lockout),
            text("needs", "Qualifications it takes.", lambda w: " ".join(sorted(w.task.needs))),
        ),
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
            day("from", "First day it is meant for.", lambda pair: pair[1].first_day),
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
            text("approved_by", "Id of who approved it, or is said to have: see `does_not_count`.",
                 lambda pair: pair[1].approved_by),
            day("approved_on", "When.", lambda pair: pair[1].approved_on),
            text("does_not_count", "Rules of the site that the approval breaks: it is none.",
                 lambda p: " ".join(flaw.value for flaw in p[1].flaws if p[1].is_only_claimed)),
            text("withdrawn", "Why it was withdrawn.", lambda pair: pair[1].withdrawn),
            yes_no("in_force", "Whether it is the newest approved, begun already or not.",
                   lambda pair: pair[0].in_force is pair[1]),
        ),
    )  # fmt: skip


def _parts(lines: Sequence[StockLine]) -> FlatTable:
    return table(
        "parts",
        "One consumable or spare.",
        lines,
        (
            text("part", "Id of the part.", lambda line: line.part.ident),
            text("name", "Its name.", lambda line: line.part.name),
            text("kind", "Consumable or spare.", lambda line: line.part.kind),
            text("unit", "The unit of its amounts.", lambda line: line.part.unit),
            number("on_hand", "", "What should be on the shelf, in `unit`.", lambda s: s.on_hand),
            day("counted_on", "Day of the last count.", lambda line: line.counted_on),
            number("reorder_level", "", "In `unit`.", lambda line: line.part.reorder_level),
            yes_no("to_order", "Whether at or below that level.", lambda line: line.to_order),
            number("cost", "", "Of a pack, in the site's currency.", lambda line: line.part.cost),
        ),
    )


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
    )

"""What the reports of the book say, as flat tables: one row a thing of the report."""

from collections import Counter
from collections.abc import Callable
from datetime import date
from typing import Any

from ledger.book.flat import (
    Field,
    FlatTable,
    JsonRow,
    day,
    number,
    table,
    text,
    whole,
    yes_no,
)
from ledger.compute.schedule import Outcome
from ledger.model.ledger import Ledger
from ledger.upkeep.drift.found import drift
from ledger.upkeep.drift.table import drift_row
from ledger.upkeep.due.found import Schedule
from ledger.upkeep.duty.found import duty
from ledger.upkeep.figures.table import figures_table
from ledger.upkeep.grease.found import lubrication
from ledger.upkeep.grease.table import point_row
from ledger.upkeep.intime.found import TaskInTime, in_time
from ledger.upkeep.speeds.found import SpeedResult
from ledger.upkeep.tuning.found import tunings
from ledger.upkeep.tuning.table import tuning_row
from ledger.upkeep.water.found import water
from ledger.upkeep.wear.found import wear
from ledger.upkeep.wear.table import item_row


def report_tables(
    ledger: Ledger, results: tuple[SpeedResult, ...], schedule: Schedule, as_of: date
) -> tuple[FlatTable, ...]:
    return (
        _recommendations(ledger, results),
        _drift(ledger, results),
        _wear(ledger),
        figures_table((*water(ledger), *duty(ledger))),
        _grease(ledger),
        _obligations(in_time(ledger, schedule, as_of)),
    )


def _pick(*path: str) -> Callable[[JsonRow], Any]:
    """The value at the end of a path of names; None where the row has not got so far."""

    def value(row: JsonRow) -> Any:
        found: Any = row
        for name in path:
            found = found.get(name) if isinstance(found, dict) else None
        return found

    return value


def _number(name: str, unit: str, meaning: str, *path: str) -> Field[JsonRow]:
    return number(name, unit, meaning, _pick(*(path or (name,))))


def _text(name: str, meaning: str, *path: str) -> Field[JsonRow]:
    return text(name, meaning, _pick(*(path or (name,))))


def _day(name: str, meaning: str, *path: str) -> Field[JsonRow]:
    pick = _pick(*(path or (name,)))
    return day(
        name, meaning, lambda row: None if (x := pick(row)) is None else date.fromisoformat(x)
    )


def _recommendations(ledger: Ledger, results: tuple[SpeedResult, ...]) -> FlatTable:
    rows = [
        {"machine": row["machine"], "unit": row["setting_unit"], **at}
        for row in (tuning_row(one, ()) for one in tunings(ledger, results))
        for at in row["recommended"]
    ]
    return table(
        "recommendations",
        "The setting recommended for one drive at one line rate.",
        rows,
        (
            _text("machine", "Id of the machine."),
            _number("line_rate_per_h", "1/h", "Vehicles an hour."),
            _number("setting", "", "The setting, in `unit`; none where readings do not tell."),
            _text("unit", "Hz, or L/min."),
            _number("target_rpm", "r/min", "The speed aimed at."),
            _number("predicted_rpm", "r/min", "The speed to expect."),
            _number("expanded_uncertainty_rpm", "r/min", "Its expanded uncertainty."),
            number("band_low_rpm", "r/min", "Lower end of the band.", lambda r: r["band_rpm"][0]),
            number("band_high_rpm", "r/min", "Upper end of the band.", lambda r: r["band_rpm"][1]),
            _number("p_in_band", "", "Chance that the speed lies in the band."),
            _text("limited_by", "What keeps the setting from the target."),
            text("cautions", "What speaks against it.", lambda r: " / ".join(r["cautions"])),
        ),
        key="machine line_rate_per_h",
        refers="machine",
    )


def _drift(ledger: Ledger, results: tuple[SpeedResult, ...]) -> FlatTable:
    found = drift(ledger, results).results
    machines = {one.series.ident: one.series.place.machine for one in found}
    return table(
        "drift",
        "One series of readings that is watched.",
        [drift_row(one) for one in found],
        (
            _text("series", "Id of the series."),
            text("machine", "Id of the machine.", lambda row: machines[row["series"]]),
            _text("place", "Machine, or machine and point."),
            _text("quantity", "What is measured."),
            _text("unit", "The unit of the numbers of this row."),
            whole("readings", "", "How many readings it has.", _pick("readings")),
            _number("lower_limit", "", "In `unit`."),
            _number("upper_limit", "", "In `unit`."),
            _number("centre", "", "Mean of its baseline, in `unit`.", "baseline", "centre"),
            whole("signals", "", "How often a rule of drift was met.", lambda r: len(r["signals"])),
            day("last_signal", "Day of the last of them.", _last_signal),
            _number("slope_per_day", "", "In `unit` a day.", "outlook", "slope_per_day"),
            _text("says", "What the outlook says.", "outlook", "says"),
            _day("reaches_limit_on", "When a limit is reached at this pace.", "outlook", "on"),
            _day("earliest", "The earliest day of that, at 95 %.", "outlook", "earliest"),
            _day("latest", "The latest.", "outlook", "latest"),
        ),
        key="series",
        refers="machine",
    )


def _last_signal(row: JsonRow) -> date | None:
    return max((date.fromisoformat(one["on"]) for one in row["signals"]), default=None)


def _wear(ledger: Ledger) -> FlatTable:
    worn = wear(ledger)
    nozzles = [item for group in worn.nozzles for item in group.items]
    return table(
        "wear",
        "One point that wears, by its last reading.",
        [item_row(item) for item in (*nozzles, *worn.chains, *worn.belts, *worn.cloth)],
        (
            _text("place", "Machine and point."),
            text("machine", "Id of the machine.", lambda row: row["place"].partition("/")[0]),
            _text("quantity", "What is measured."),
            _text("unit", "The unit of the numbers of this row."),
            _day("read_on", "Day of the last reading.", "read"),
            _text("entry", "The entry of that reading."),
            _number("value", "", "The last reading, in `unit`."),
            _number("standard_uncertainty", "", "Its standard uncertainty, in `unit`."),
            _number("lower_limit", "", "In `unit`."),
            _number("upper_limit", "", "In `unit`."),
            _text("verdict", "Whether it is within its limits."),
            yes_no("needs_work", "Whether it asks for work.", _pick("needs_work")),
            _day("reaches_limit_on", "When a limit is reached at this pace.", "outlook", "on"),
        ),
        key="place quantity",
        refers="machine entry",
    )


def _grease(ledger: Ledger) -> FlatTable:
    rows = [point_row(point) for point in lubrication(ledger)]
    return table(
        "grease",
        "One bearing that gets grease.",
        rows,
        (
            _text("place", "Machine and point."),
            text("machine", "Id of the machine.", lambda row: row["place"].partition("/")[0]),
            _number("charge_g", "g", "Grease for one charge."),
            _number("interval_days", "d", "Days between charges, by its source."),
            _text("interval_from", "What the interval comes from."),
            _number("running_hours_per_day", "h/d", "Running hours a day."),
            _number("share_of_plan", "", "What it got of the plan.", "given", "share_of_plan"),
            _text("verdict", "What the record says of that.", "given", "verdict"),
            _number("rating_life_hours", "h", "Rating life of the bearing."),
            text("tasks", "Tasks that grease it.", _tasks),
        ),
        key="place",
        refers="machine",
    )


def _tasks(row: JsonRow) -> str:
    return " ".join(one["task"] for one in row["tasks"])


def _obligations(found: tuple[TaskInTime, ...]) -> FlatTable:
    rows: list[tuple[TaskInTime, date, Counter[Outcome]]] = [
        (one, month, counts) for one in found for month, counts in one.months.items()
    ]
    return table(
        "obligations",
        "The due dates of one task in one month, by what became of them.",
        rows,
        (
            text("task", "Id of the task.", lambda row: row[0].task.ident),
            day("month", "First day of the month.", lambda row: row[1]),
            text("for_what", "What the task is mainly for.", lambda r: r[0].group.value),
            *(
                whole(
                    outcome.value.replace(" ", "_"),
                    "",
                    f"How many were {outcome.value}.",
                    lambda row, outcome=outcome: row[2][outcome],  # type: ignore[misc]
                )
                for outcome in Outcome
                if outcome is not Outcome.OPEN
            ),
        ),
        key="task month",
        refers="task",
    )

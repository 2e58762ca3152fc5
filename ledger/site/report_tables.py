"""What the reports of the book say, as flat tables: one row a thing of the report."""

import calendar
from collections import Counter
from collections.abc import Callable
from datetime import date
from typing import Any

from ledger import __version__
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
from ledger.model.ledger import Ledger, last_day_filed
from ledger.model.site import Site
from ledger.model.visits import STOP_CAUSES
from ledger.upkeep.downtime.found import months
from ledger.upkeep.drift.found import drift
from ledger.upkeep.drift.words import drift_row
from ledger.upkeep.due.found import Schedule
from ledger.upkeep.duty.found import duty
from ledger.upkeep.figures.words import figures_table
from ledger.upkeep.grease.found import lubrication
from ledger.upkeep.grease.table import point_row
from ledger.upkeep.intime.found import TaskInTime, in_time
from ledger.upkeep.register.found import register
from ledger.upkeep.register.words import register_rows
from ledger.upkeep.reliability.found import failures_on_record
from ledger.upkeep.speeds.found import SpeedResult
from ledger.upkeep.speeds.table import speed_rows
from ledger.upkeep.tuning.found import tunings
from ledger.upkeep.tuning.words import tuning_row
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
        _settings(ledger, results),
        _months(ledger),
    )


def site_table(ledger: Ledger, as_of: date) -> FlatTable:
    """One row: the site itself, the day it is looked at, and by what."""
    year_from = as_of.replace(day=1, year=as_of.year - 1)
    return table(
        "site",
        "The site.",
        (ledger.site,),
        (
            text("name", "Its name.", lambda s: s.name),
            text("group_id", "Its id in a group, where it states one.", lambda s: s.group_id),
            text("zone", "IANA name of its time zone.", lambda s: s.zone.key),
            text("units", "Units that its book shows.", lambda s: s.units.value),
            number("line_rate_per_h", "1/h", "Vehicles an hour.", lambda s: s.line.line_rate_per_h),
            text("hours", "Opening hours, by weekday.", _hours),
            text("currency", "ISO 4217 code.", lambda s: s.costs.currency if s.costs else None),
            day("record_begins", "First day of the record.", lambda s: s.record_begins),
            day("as_of", "The day from whose end all is seen.", lambda _: as_of),
            day("year_from", "First of the twelve whole months before it.", lambda _: year_from),
            day("last_filed", "Day of the last visit.", lambda _: last_day_filed(ledger)),
            text("program", "Version of the program that wrote this.", lambda _: __version__),
            whole("schema_version", "", "Version of these tables.", lambda _: TABLES_VERSION),
        ),
    )


TABLES_VERSION = 2
"""One more where a column goes, is renamed or means something else; or a query asks a new one."""


def _hours(site: Site) -> str:
    return ", ".join(
        f"{calendar.day_name[weekday]} {opens:%H:%M}-{closes:%H:%M}"
        for weekday, (opens, closes) in sorted(site.open_hours.items())
    )


def _settings(ledger: Ledger, results: tuple[SpeedResult, ...]) -> FlatTable:
    last = {row["machine"]: row for row in speed_rows(results) if row["rpm"] is not None}
    drives = (row for row in register_rows(register(ledger, results)) if row["in_force"])
    return table(
        "settings",
        "The setting in force of one drive, and the last speed that was read there.",
        [{**row, **row["in_force"], "last": last.get(row["machine"])} for row in drives],
        (
            _text("machine", "Id of the machine."),
            _number("setting", "", "The setting, in `unit`."),
            _text("unit", "Hz, or L/min."),
            _number("line_rate_per_h", "1/h", "Vehicles an hour it is meant for."),
            _day("first_day", "First day it is meant for.", "since"),
            _number("predicted_rpm", "r/min", "The speed to expect."),
            _number("band_low_rpm", "r/min", "Lower end of the band."),
            _number("band_high_rpm", "r/min", "Upper end of the band."),
            _number("p_in_band", "1", "Chance that the speed to expect lies in the band."),
            _day("read_on", "Day of the last speed.", "last", "day"),
            _number("read_rpm", "r/min", "That speed.", "last", "rpm"),
            _number(
                "expanded_uncertainty_rpm",
                "r/min",
                "Its expanded uncertainty.",
                *("last", "expanded_uncertainty_rpm"),
            ),
            _text("verdict", "In band, out of band, or cannot tell.", "last", "verdict"),
        ),
        key="machine",
        refers="machine",
    )


def _months(ledger: Ledger) -> FlatTable:
    failed = Counter(entry.day.replace(day=1) for entry in failures_on_record(ledger))
    return table(
        "months",
        "One whole month: vehicles, opening hours, failures, stops and what they cost.",
        months(ledger),
        (
            day("month", "First day of the month.", lambda m: m.first),
            number("vehicles", "", "Vehicles, where the meter was read over the whole of it.",
                   lambda m: m.vehicles),
            number("open_h", "h", "Opening hours.", lambda m: m.open_h),
            whole("failures", "", "Findings of lost function.", lambda m: failed[m.first]),
            *(
                number(f"stopped_{cause}_minutes", "min", f"The line stood: {meaning}.",
                       lambda m, cause=cause: m.stopped[cause])  # type: ignore[misc]
                for cause, meaning in STOP_CAUSES.items()
            ),
            number("tied_back_h", "h", "Opening hours that machines were tied back, of all added.",
                   lambda m: sum(m.tied_back.values())),
            number("cost_low", "", "The least that stops cost, in the site's currency; none that "
                   "somebody planned.", lambda m: m.cost[0] if m.cost else None),
            number("cost_high", "", "The most.", lambda m: m.cost[1] if m.cost else None),
        ),
        key="month",
        dated="month",
    )  # fmt: skip


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
            text("cautions", "Reasons to doubt it.", lambda r: " / ".join(r["cautions"])),
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
    return table(
        "wear",
        "One point that wears, by its last reading.",
        [item_row(item) for item in wear(ledger).items],
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
        dated="month",
    )

"""The data of the pocket page, from one ledger and one day."""

from collections.abc import Sequence
from datetime import date, timedelta
from itertools import groupby

from ledger.book import words
from ledger.book.flat import fields_of
from ledger.compute.numbers import convert
from ledger.compute.schedule import State
from ledger.filing.fields import format_setting
from ledger.model.ledger import Ledger
from ledger.model.machines import HydraulicDrive, Machine
from ledger.model.meters import Pace
from ledger.model.site import Instrument
from ledger.model.visits import TieBack
from ledger.pocket import payload
from ledger.upkeep.due import found as due
from ledger.upkeep.due.rounds import HURRY_SHARE, asked_of, digits_of, in_round
from ledger.upkeep.due.words import first_of_all
from ledger.upkeep.findings.found import open_findings
from ledger.upkeep.instruments.found import doubt_of
from ledger.upkeep.speeds.found import band_points, errors_of
from ledger.upkeep.tuning.session import practice_of, session_drive
from ledger.values import asdict

_FLOW_DIGITS = 3

DAYS = 7
"""A page that is not fetched again serves for a week."""


def round_of(ledger: Ledger, work: Sequence[due.DueWork], as_of: date) -> payload.Round:
    """The walk of a day: `work` is every task at every place, in walking order."""
    site = ledger.site
    last = as_of + timedelta(days=DAYS - 1)
    walk = [one for one in work if one.is_on_the_walk or _opens_by(one, last)]
    operating = due.operating_calendar(ledger)
    days = [as_of + timedelta(days=n) for n in range(DAYS)]
    return payload.Round(
        site=site.name,
        as_of=as_of,
        time_zone=site.zone.key,
        units=site.units.value,
        **fields_of(site.line, "line_rate_per_h", "line_rates_per_h"),
        timing_u_s=site.policy.timing_u_s,
        hurry_share=HURRY_SHARE,
        safety=words.SAFETY,
        people=tuple(
            payload.Person(ident=p.ident, name=p.name, qualified=tuple(sorted(p.qualified)))
            for p in site.people.values()
            if p.is_here(as_of)
        ),
        machines=tuple(
            _machine(ledger, machine, as_of)
            for machine in ledger.machines.values()
            if machine.in_use(as_of)
        ),
        days=DAYS,
        closed_days=tuple(day for day in days if not operating.is_open(day)),
        due=_due(ledger, walk, as_of),
        new_file=site.new_file_address,
        asked={
            ident: payload.Asked(of=len(places), list=digits_of(places))
            for ident in dict.fromkeys(one.task.ident for one in walk if in_round(ledger, one))
            for places in [asked_of(ledger, ident, as_of)]
        },
        findings=tuple(
            payload.OpenFinding(
                ref=str(finding.entry.ref),
                text=finding.entry.finding,
                place=str(finding.entry.places[0]),
                urgency=finding.entry.urgency.value,
                day=finding.entry.day,
            )
            for finding in open_findings(ledger, as_of)
        ),
        tied_back=tuple(_tied_back(ledger, one) for one in ledger.tied_back(as_of).values()),
        meters=_meters(ledger, as_of),
        instruments=tuple(
            _instrument(ledger, one, as_of)
            for one in ledger.instruments.values()
            if one.kind == "tachometer"
        ),
    )


def _tied_back(ledger: Ledger, one: TieBack) -> payload.TiedBack:
    return payload.TiedBack(
        ref=str(one.ref),
        **fields_of(one, "machine", "why"),
        since=words.format_time(one.since, ledger.site),
        tasks=tuple(
            task.ident
            for task in ledger.tasks.values()
            if due.is_looked_at(ledger, task) and any(p.machine == one.machine for p in task.places)
        ),
        first=tuple(first_of_all(ledger, one.machine)),
    )


def _machine(ledger: Ledger, machine: Machine, as_of: date) -> payload.Machine:
    unit = format_setting(machine, ledger.site.units) if machine.has_setpoint else None
    drive = ledger.setpoints.get(machine.ident)
    change = drive.on(as_of) if drive and unit else None
    return payload.Machine(
        **fields_of(machine, "ident", "name", "kind", "station", "side", "turns", "plausible_rpm"),
        bands=tuple(
            payload.RateBand(
                line_rate_per_h=point.line_rate_per_h,
                low_rpm=point.band.low,
                high_rpm=point.band.high,
                target_rpm=point.target,
            )
            for point in band_points(machine)
        ),
        setting_unit=unit,
        approved=None
        if change is None
        else payload.ApprovedSetting(value=_in_unit(change.value, unit), since=change.first_day),
        tuning=None if unit is None else _tuning(ledger, machine, as_of),
        points=tuple(payload.Point(ident=p.ident, name=p.name) for p in machine.points.values()),
    )


def _instrument(ledger: Ledger, one: Instrument, as_of: date) -> payload.Instrument:
    errors = errors_of(one, as_of)
    return payload.Instrument(
        **fields_of(one, "ident", "name"),
        **fields_of(errors, "factor", "percent"),
        absolute=errors.absolute_rpm,
        step=one.resolution,
        doubt=doubt_of(ledger, one.ident, as_of),
    )


def _tuning(ledger: Ledger, machine: Machine, as_of: date) -> payload.Tuning | None:
    drive = session_drive(ledger, machine, as_of)
    if drive is None:
        return None
    keypad = not isinstance(machine.drive, HydraulicDrive)
    return payload.Tuning(**asdict(drive), keypad=keypad, practice=practice_of(ledger, machine))


def _in_unit(value: float, unit: str | None) -> float:
    """A setting as the model keeps it, in Hz or L/min, in the unit that the page shows."""
    return round(convert(value, "l_min", "gpm"), _FLOW_DIGITS) if unit == "gpm" else value


def _opens_by(one: due.DueWork, last: date) -> bool:
    opens = one.due.window_from
    return one.due.state is State.NOT_DUE and opens is not None and opens <= last


def _due(ledger: Ledger, walk: Sequence[due.DueWork], as_of: date) -> tuple[payload.DueItem, ...]:
    """Places of one task at one machine that open on the same day are one item."""
    items = []
    pace = Pace(ledger)

    def opens(one: due.DueWork) -> date | None:
        return None if one.is_on_the_walk else one.due.window_from

    def turn(one: due.DueWork) -> tuple[str, str, date]:
        return one.place.machine, one.task.ident, opens(one) or as_of

    in_order = [
        one
        for _, same in groupby(walk, key=lambda one: turn(one)[:2])
        for one in sorted(same, key=turn)
    ]
    for (machine, _, _), found in groupby(in_order, key=turn):
        work = list(found)
        task = work[0].task
        worst = max(work, key=lambda one: one.due.overdue_days)
        items.append(
            payload.DueItem(
                task=task.ident,
                **fields_of(task, "title", "asks", "lockout", "steps", "reads"),
                machine=machine,
                when=task.when.value,
                in_round=in_round(ledger, work[0]),
                waits=not any(due.serves_the_line(ledger, one.place) for one in work),
                places=tuple(str(one.place) for one in work),
                state=words.format_state(worst.due),
                overdue_days=worst.due.overdue_days,
                opens=opens(work[0]),
                closes=min((one.due.window_to for one in work if one.due.window_to), default=None),
                again_days=_again_days(pace, work[0]),
                minutes=None if task.minutes is None else task.minutes * len(work),
                needs=tuple(sorted(task.needs)),
                cautions=(*ledger.machines[machine].cautions, *task.cautions),
                uses=tuple(
                    payload.Use(
                        name=ledger.parts[part].name if part in ledger.parts else part,
                        **fields_of(amount, "quantity", "unit"),
                    )
                    for part, amount in task.uses.items()
                ),
            )
        )
    return tuple(items)


def _again_days(pace: Pace, one: due.DueWork) -> int:
    if due.belongs_to_daily_round(one):
        return 1
    every = pace.interval_days(one.task)
    first = 0 if every is None else max(1, int(every) - one.task.window_days)
    return first if first < DAYS else 0


def _meters(ledger: Ledger, as_of: date) -> tuple[payload.Meter, ...]:
    last = {
        name: (reading, visit.day)
        for visit in ledger.visits
        if visit.day <= as_of
        for name, reading in visit.meters.items()
    }
    return tuple(
        payload.Meter(ident=meter.ident, name=meter.name, last=reading, last_day=day)
        for meter in ledger.site.meters.values()
        for reading, day in [last.get(meter.ident, (None, None))]
    )

"""Shaft speed per unit of a drive's setting, from the readings that still count."""

import math
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from itertools import takewhile

from ledger.compute import ratio as formulas
from ledger.compute.drift import MIN_BASELINE
from ledger.compute.numbers import Estimate
from ledger.compute.ratio import RatioFit, SharedPart
from ledger.compute.shared import Shared
from ledger.compute.speed import ErrorSource, Speed, e_number, of_repeats, own_u_rpm
from ledger.compute.trend import (
    MOST_TREND_READINGS,
    Line,
    TimedReading,
    at_one_pace,
    fit_line,
    since_step,
)
from ledger.model.ledger import Ledger
from ledger.model.machines import ElectricDrive, HydraulicDrive, Machine
from ledger.model.visits import Entry
from ledger.upkeep.speeds.found import SpeedResult, rounded_to_rpm, shared_errors, shared_parts
from ledger.values import dataclass, replace

RATIO_RESETS = frozenset(
    {"motor", "belt", "reduction", "gearbox", "hydraulic-motor", "brush-set", "drive"}
)
"""Changes after which earlier readings no longer tell the ratio."""


MOVED_E_NUMBER = 1.5
"""E_n from which a ratio is said to have moved: three standard uncertainties.

With two, one steady drive in twenty would be accused; wear is watched by control charts besides.
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class DriveRatio:
    """What is known of one drive's ratio, in r/min per Hz or per L/min.

    `used` are the readings it rests on, by time; `since` is the change of the mechanics that set
    `set_aside` earlier ones aside. `outgrown` are readings since then that the shaft has moved
    away from, by time: a belt that slips, a motor that leaks. `fit` is None where there is neither
    a reading nor a nameplate. While the shaft still drifts, `line` is that of its ratio over days,
    and `fit` is for `day`, by default that of the last reading. Where readings rise or fall and do
    not show it beyond chance, `unshown` is their line. A nameplate with a `nameplate_fault` is not
    used.
    """

    machine: str
    unit: str
    used: tuple[SpeedResult, ...]
    outgrown: tuple[SpeedResult, ...]
    set_aside: tuple[SpeedResult, ...]
    since: Entry | None
    prior: Estimate | None
    slip_rpm: float
    fit: RatioFit | None
    dial_step: float = 0.0
    line: Line | None = None
    unshown: Line | None = None
    day: date | None = None
    nameplate_fault: str = ""

    def on(self, day: date | None) -> "DriveRatio":
        """The ratio on a day after the last reading, if the shaft goes on drifting as it does.

        A drift that does not show puts the ratio in doubt by as much as it would move it.
        """
        if self.fit is None or day is None:
            return self
        if self.line is not None:
            day = max(day, self.used[-1].entry.day)
            return replace(self, fit=_drifted(self.fit, self.line, day), day=day)
        if self.unshown is None:
            return self
        day = max(day, self.used[-1].entry.day)
        moved = self.unshown.slope * (day.toordinal() - self.unshown.pivot_day)
        u_ratio = math.hypot(self.fit.u_rpm_per_unit, moved)
        return replace(self, fit=replace(self.fit, u_rpm_per_unit=u_ratio), unshown=None)

    @property
    def untouched(self) -> tuple[SpeedResult, ...]:
        """The last readings, since the drive was last moved."""
        last = self.used[-1].setting if self.used else None
        newest_first = takewhile(lambda one: one.setting == last, reversed(self.used))
        return tuple(reversed(list(newest_first)))

    def speed_at(self, setting: float) -> Speed | None:
        """The speed to expect at a setting, with its uncertainty.

        A dial that is set anew is read to its step anew; left as it is, it says the same again.
        """
        if self.fit is None:
            return None
        last = self.used[-1].setting if self.used else None
        if self.dial_step and last is not None and math.isclose(last, setting):
            if self.line is not None and self.day is not None:
                day = self.day.toordinal()
                ratio, u_ratio = self.line.at(day), self.line.u_at(day)
                return Speed(rpm=ratio * setting, u_rpm=u_ratio * setting, dof=self.line.dof)
            as_left = fit_of(self.untouched)
            if as_left is not None:
                return formulas.predict(as_left, setting)
        return formulas.predict(self.fit, setting, slip_rpm=self.slip_rpm)


def drive_ratio(
    ledger: Ledger,
    machine: Machine,
    results: Iterable[SpeedResult],
    before: Entry | None = None,
    as_of: date | None = None,
) -> DriveRatio:
    """The ratio of a machine's drive from its speed results.

    With `before`, only from what was read ahead of that entry: the prediction that the entry's
    own reading is held against. With `as_of`, only from what was known at the end of that day.
    """
    drive = machine.drive
    unit = "L/min" if isinstance(drive, HydraulicDrive) else "Hz"
    own = [
        result
        for result in results
        if result.machine == machine.ident
        and result.speed is not None
        and result.setting
        and result.unit == unit
        and (before is None or _is_earlier(result.entry, before))
        and (as_of is None or result.entry.day <= as_of)
    ]
    since = last_reset(ledger, machine, before, as_of)
    # Many pages ask for the ratio that the same readings make.
    key = id(machine), since and since.ref, tuple(map(id, own))
    # Kept with what it is made of, so that nothing else takes an identity of that.
    return ledger.once(key, lambda: (machine, own, _ratio_of(machine, unit, own, since)))[-1]


def _ratio_of(
    machine: Machine, unit: str, own: Sequence[SpeedResult], since: Entry | None
) -> DriveRatio:
    drive = machine.drive
    counting = [result for result in own if since is None or _is_earlier(since, result.entry)]
    prior = _prior(drive)
    step = drive.flow_step_lpm if isinstance(drive, HydraulicDrive) else 0.0
    slip_rpm = _slip_rpm(drive, fit_of(counting, prior, dial_step=step))
    used, line, unshown = _as_it_runs_now(counting, slip_rpm)
    fit = fit_of(used, prior, dial_step=step)
    steady = DriveRatio(
        machine=machine.ident,
        unit=unit,
        used=tuple(used),
        outgrown=tuple(counting[: len(counting) - len(used)]),
        set_aside=tuple(own[: len(own) - len(counting)]),
        since=since,
        prior=prior,
        slip_rpm=_slip_rpm(drive, fit),
        fit=fit,
        dial_step=step,
        unshown=unshown,
        nameplate_fault=drive.nameplate_fault if isinstance(drive, ElectricDrive) else "",
    )
    if line is None or fit is None:
        return steady
    # What parts the readings from one ratio is mostly that they drift.
    by_line = replace(
        fit,
        birge_ratio=max(1.0, line.birge_ratio),
        inflated=False,
        disagreeing=() if line.wild is None else (str(used[line.wild].entry.ref),),
        apart=tuple(key for key in fit.apart if is_of_instrument(key)),
    )
    return replace(steady, fit=by_line, line=line).on(used[-1].entry.day)


def _drifted(fit: RatioFit, line: Line, day: date) -> RatioFit:
    """The fit with the ratio that its line over days gives for one; dials as they stood."""
    dials = [u for key, u in fit.shares if key.partition(" ")[0] == DIAL]
    return replace(
        fit,
        rpm_per_unit=line.at(day.toordinal()),
        u_rpm_per_unit=math.hypot(line.u_at(day.toordinal()), *dials),
        dof=line.dof,
    )


def fit_of(
    used: Sequence[SpeedResult], prior: Estimate | None = None, *, dial_step: float = 0.0
) -> RatioFit | None:
    """The ratio of readings that have a speed and a setting; None without any and a prior.

    With the step of a flow dial, in L/min, readings share the doubt of their setting until the
    dial is moved.
    """
    readings, moved, before = [], 0, None
    usable = [result for result in used if result.speed and result.setting]
    phases = _phases(usable)
    for number, result in enumerate(usable):
        if result.speed is None or result.setting is None:
            continue
        moved += result.setting != before
        before = result.setting
        shared = shared_parts(result, phases.get(number, ""))
        if dial_step:
            u_share = dial_u(dial_step) / result.setting
            shared = (*shared, SharedPart(key=f"{DIAL} {result.machine} {moved}", u=u_share))
        readings.append(
            formulas.reading_of(str(result.entry.ref), result.setting, result.speed, shared)
        )
    if not readings and prior is None:
        return None
    return replace(formulas.fit_ratio(readings, prior), u_new_setting=dial_u(dial_step))


_ONE_PHASE = 0.15
"""Parts of a turn left over that lie within so much of a turn count as one; no source."""


def _phases(results: Sequence[SpeedResult]) -> Mapping[int, str]:
    """The part of a turn that each count started on a pass leaves over, those alike as one.

    At near a turn a second, counts of 30 s and 31 s leave the same part over and err alike.
    """
    if not results:
        return {}
    speeds = math.fsum(one.speed.rpm for one in results if one.speed)
    ratio = speeds / math.fsum(one.setting or 0.0 for one in results)
    left_over = sorted(
        (ratio * (result.setting or 0.0) / step % 1, number)
        for number, result in enumerate(results)
        if (step := rounded_to_rpm(result))
    )
    found: dict[int, str] = {}
    first = -math.inf
    for phase, number in left_over:
        if phase - first > _ONE_PHASE:
            first = phase
        # The last of a turn lie next to its first.
        around = phase - left_over[0][0] > 1 - _ONE_PHASE
        found[number] = f"{left_over[0][0] if around else first:.3f}"
    return found


DIAL = "dial"


def is_of_instrument(key: str) -> bool:
    """Whether a shared key names an instrument's scale or rate, and not a hand or a dial."""
    return key.partition(" ")[0] in (ErrorSource.SCALE, ErrorSource.RATE)


def dial_u(step: float) -> float:
    """The standard uncertainty of a dial read to a step: a rectangle of half of it (GUM 4.3.7)."""
    return step / (2 * math.sqrt(3))


def last_reset(
    ledger: Ledger, machine: Machine, before: Entry | None = None, as_of: date | None = None
) -> Entry | None:
    """The last change of the mechanics that the ratio depends on."""
    resets = [
        entry
        for entry in ledger.detailed_at(machine.ident)
        if entry.changed in RATIO_RESETS
        and (before is None or _is_earlier(entry, before))
        and (as_of is None or entry.day <= as_of)
    ]
    return resets[-1] if resets else None


def _as_it_runs_now(
    counting: Sequence[SpeedResult], slip_rpm: float
) -> tuple[Sequence[SpeedResult], Line | None, Line | None]:
    """The latest readings that one ratio can explain, or one line of it over days.

    The second line is one that they do not show beyond chance, and may still have.

    Averaging over a shaft that slows month by month would predict a speed it no longer has. Where
    their ratios rise or fall evenly with time, the line says so; those before a step or a bend are
    left behind, and the rest asked again. A single wild reading makes no trend and stays, to be
    named. Few readings make no line to go on by: the newer half of them counts.
    """
    left, unshown = counting, None
    while (fit := fit_of(left)) is not None:
        few = len(left) < MIN_BASELINE
        if few and not (fit.inflated or fit.apart):
            break
        newest = left[-MOST_TREND_READINGS:]
        timed = [_timed_ratio(result, newest[-1], slip_rpm) for result in newest]
        line = fit_line(timed)
        shown = line if isinstance(line, Line) and line.is_shown else None
        unshown = line if isinstance(line, Line) and _may_drift(timed, line) else None
        since = since_step(timed, shown)
        if shown is not None:
            kept = min(since, at_one_pace(timed))
            if few:
                kept = len(timed) - len(timed) // 2
            elif kept == len(timed):
                return newest, shown, None
        elif fit.inflated and _have_stepped(newest[:-since], newest[-since:]):
            kept = since
        else:
            break
        left, unshown = newest[-kept:], None
    return left, None, unshown


def _may_drift(timed: Sequence[TimedReading], line: Line) -> bool:
    """Whether readings of one hand and instrument rise or fall by more than their uncertainty.

    Of several it may be the change from one to the other.
    """
    errors = {frozenset(one.key for one in reading.shared) for reading in timed}
    return len(errors) == 1 and abs(line.slope) > line.u_slope


def _have_stepped(earlier: Sequence[SpeedResult], later: Sequence[SpeedResult]) -> bool:
    """Whether the ratio of the later readings is another than that of the earlier."""
    fits = [fit for one in (earlier, later) if (fit := fit_of(one)) is not None]
    values = [(fit.rpm_per_unit, fit.expanded()) for fit in fits]
    return len(values) == 2 and abs(e_number(*values[0], *values[1])) > MOVED_E_NUMBER


def _timed_ratio(result: SpeedResult, last: SpeedResult, slip_rpm: float) -> TimedReading:
    """The ratio that a reading tells; slip puts in doubt what it means at the last setting."""
    if result.speed is None or result.setting is None or last.setting is None:
        raise ValueError("expected readings with a speed and a setting")
    speed = of_repeats(result.speed)
    bracket = slip_rpm * (1 - last.setting / result.setting) / math.sqrt(3)
    return TimedReading(
        day=result.entry.day.toordinal(),
        value=result.speed.rpm / result.setting,
        standard_uncertainty=math.hypot(own_u_rpm(speed), bracket) / result.setting,
        shared=tuple(
            Shared(key=one.key, u=one.u / result.setting)
            for one in shared_errors(replace(result, speed=speed))
        ),
        step=rounded_to_rpm(result) / result.setting,
    )


def neighbours_of(ledger: Ledger, machine: Machine) -> tuple[Machine, ...]:
    """The other shafts that oil turns: more for one is less for the others on its pump."""
    if not isinstance(machine.drive, HydraulicDrive):
        return ()
    return tuple(
        one
        for one in ledger.machines.values()
        if isinstance(one.drive, HydraulicDrive) and one.ident != machine.ident
    )


def _prior(drive: ElectricDrive | HydraulicDrive | None) -> Estimate | None:
    match drive:
        case ElectricDrive(nameplate_fault=fault) if fault:
            return None
        case ElectricDrive(rated_rpm=float(rated), base_hz=float(base), reduction=float(reduction)):
            return formulas.nameplate_prior(rated, base, reduction)
        case HydraulicDrive():
            return formulas.displacement_prior(
                drive.motor_cm3, reduction=drive.reduction, efficiency=drive.volumetric_efficiency
            )
        case _:
            return None


def _slip_rpm(drive: ElectricDrive | HydraulicDrive | None, fit: RatioFit | None) -> float:
    """Speed lost to slip, or to leaking oil, which stays about the same as the setting changes."""
    match drive:
        case ElectricDrive(nameplate_fault=fault) if fault:
            return 0.0
        case ElectricDrive(
            rated_rpm=float(rated),
            base_hz=float(base),
            poles=int(poles),
            reduction=float(reduction),
        ):
            return formulas.slip_rpm_at_shaft(rated, base, poles, reduction)
        case HydraulicDrive() if fit is not None and fit.centre_setting is not None:
            return formulas.leakage_rpm(
                fit, drive.motor_cm3, drive.volumetric_efficiency, reduction=drive.reduction
            )
        case _:
            return 0.0


def _is_earlier(entry: Entry, other: Entry) -> bool:
    return (entry.when, entry.ref) < (other.when, other.ref)

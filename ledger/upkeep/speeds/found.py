"""What each speed reading says: a speed with its uncertainty, and a verdict on its band.

Shaft speed per unit of a drive's setting, from the readings that still count.
"""

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import takewhile

from ledger.compute.band import (
    Band,
    BandPoint,
    Verdict,
    band_at,
    p_in_band,
    seconds_to_decide_by_count,
    turns_to_decide,
    verdict_of,
)
from ledger.compute.ratio import (
    RatioFit,
    RatioPrior,
    SharedPart,
    displacement_prior,
    fit_ratio,
    leakage_rpm,
    nameplate_prior,
    predict,
    reading_of,
    slip_rpm_at_shaft,
)
from ledger.compute.shared import Shared
from ledger.compute.speed import (
    OWN_BEAT,
    ErrorSource,
    Speed,
    e_number,
    from_pass_count,
    from_tachometer,
    from_taps,
    from_timed_turns,
    from_video,
    own_u_rpm,
)
from ledger.compute.trend import Line, TimedReading, fit_line
from ledger.model.instruments import Instrument
from ledger.model.ledger import Ledger
from ledger.model.machines import ElectricDrive, HydraulicDrive, Machine
from ledger.model.references import EntryRef
from ledger.model.visits import (
    Entry,
    PassCount,
    SettingSeen,
    SpeedReading,
    Tachometer,
    TappedPasses,
    TimedTurns,
    VideoTurns,
    WatchStart,
)
from ledger.upkeep.instruments.found import doubt_of


@dataclass(frozen=True, slots=True, kw_only=True)
class SpeedResult:
    """One speed reading, computed.

    `flaw` says why the raw numbers give no speed; then `speed` and what follows from it are None.
    `setting` is the drive's value during the reading, in `unit`, where it was noted. `band` is
    that of `line_rate_per_h`; `band_clamped` where the rate lies outside the rates stated.
    """

    entry: Entry
    machine: str
    speed: Speed | None
    flaw: str = ""
    setting: float | None = None
    unit: str = ""
    line_rate_per_h: float
    band: Band | None = None
    band_clamped: bool = False
    verdict: Verdict | None = None
    p_in_band: float | None = None
    doubt: str = ""


def speed_of(
    reading: SpeedReading,
    *,
    timing_u_s: float,
    instrument: Instrument | None = None,
    day: date | None = None,
) -> Speed:
    """The shaft speed that a reading gives; ValueError, in words for a person, where none.

    An instrument's own limits, step and the correction of its last check up to the day count
    where the reading states no accuracy.
    """
    match reading:
        case PassCount():
            return from_pass_count(
                reading.passes,
                reading.seconds,
                passes_per_turn=reading.passes_per_turn,
                start="random" if reading.start == "random" else "on-pass",
                u_seconds=timing_u_s,
            )
        case TimedTurns():
            return from_timed_turns(reading.turns, reading.seconds, u_seconds=timing_u_s)
        case TappedPasses():
            return from_taps(reading.times_s, passes_per_turn=reading.passes_per_turn).speed
        case Tachometer():
            return _shown_by(reading, instrument, day)
        case VideoTurns():
            return from_video(reading.turns, reading.frames, reading.fps)


@dataclass(frozen=True, slots=True, kw_only=True)
class TachometerErrors:
    """What a shown speed is multiplied by, and the half-widths of what it errs by."""

    factor: float
    percent: float
    absolute_rpm: float


def errors_of(instrument: Instrument, day: date | None) -> TachometerErrors:
    """By the correction of the last check up to a day, else by its maximum permissible error."""
    check = None if day is None else instrument.check_before(day)
    if check is not None and check.correction_percent is not None:
        return TachometerErrors(
            factor=1 + check.correction_percent / 100,
            # The half-width of the rectangle that has the certificate's U/2.
            percent=check.correction_u_percent * math.sqrt(3) / 2,
            absolute_rpm=0.0,
        )
    return TachometerErrors(
        factor=1.0,
        percent=instrument.max_error_percent or 0.0,
        absolute_rpm=instrument.max_error or 0.0,
    )


def _shown_by(reading: Tachometer, instrument: Instrument | None, day: date | None) -> Speed:
    errors = TachometerErrors(
        factor=1.0,
        percent=reading.accuracy_percent or 0.0,
        absolute_rpm=reading.accuracy_rpm or 0.0,
    )
    step = {}
    if instrument is not None:
        if reading.accuracy_percent is None and reading.accuracy_rpm is None:
            errors = errors_of(instrument, day)
        if instrument.resolution is not None:
            step = {"step_rpm": instrument.resolution}
    return from_tachometer(
        reading.rpm * errors.factor,
        accuracy_percent=errors.percent,
        accuracy_rpm=errors.absolute_rpm,
        **step,
    )


def speed_results(
    ledger: Ledger, entries: Iterable[Entry] | None = None
) -> tuple[SpeedResult, ...]:
    """The speed readings among the entries, in their order; all standing ones by default.

    A tuning session gives one a step, each as an entry of its own with the setting of its count.
    """
    chosen = ledger.telling if entries is None else entries
    return tuple(
        _result(ledger, one, one.speed)
        for entry in chosen
        for one in _each_count(entry)
        if one.speed is not None
    )


def _each_count(entry: Entry) -> Iterable[Entry]:
    if not entry.steps or entry.setting is None:
        return (entry,)
    unit = entry.setting.unit
    return (
        replace(
            entry,
            step=number,
            content=replace(
                entry.content,
                setting=SettingSeen(unit=unit, found=step.setting),
                speed=step.speed,
                instrument=step.instrument or entry.instrument,
                steps=(),
            ),
        )
        for number, step in enumerate(entry.steps, 1)
    )


def by_machine(results: Iterable[SpeedResult]) -> Mapping[str, Sequence[SpeedResult]]:
    """The results of each machine, in their order; none of one that was never read."""
    found: defaultdict[str, list[SpeedResult]] = defaultdict(list)
    for result in results:
        found[result.machine].append(result)
    return found


def by_entry(results: Iterable[SpeedResult]) -> Mapping[EntryRef, Sequence[SpeedResult]]:
    """The results of each entry, in their order: more than one where it is a tuning session."""
    found: dict[EntryRef, list[SpeedResult]] = {}
    for result in results:
        found.setdefault(result.entry.ref.whole, []).append(result)
    return found


def band_points(machine: Machine) -> tuple[BandPoint, ...]:
    """The bands a machine's file states, each with its target, by line rate.

    A band whose limits are turned round, or a second one for the same rate, is left out: the
    check of the files warns of it, and no number may rest on it.
    """
    found: dict[float, BandPoint] = {}
    for at in machine.speed_band:
        if at.low_rpm <= at.high_rpm:
            point = BandPoint(
                line_rate_per_h=at.line_rate_per_h,
                band=Band(low=at.low_rpm, high=at.high_rpm),
                target=at.target_rpm,
            )
            found.setdefault(at.line_rate_per_h, point)
    return tuple(found.values())


def band_of(machine: Machine, line_rate_per_h: float) -> tuple[Band | None, bool]:
    """The machine's band at a line rate, and whether the rate lies outside the rates stated."""
    points = band_points(machine)
    if not points:
        return None, False
    found = band_at(points, line_rate_per_h)
    return found.band, found.clamped


def target_of(machine: Machine, line_rate_per_h: float) -> float | None:
    """The speed to aim at, in r/min, between the targets of the rates stated."""
    points = band_points(machine)
    return band_at(points, line_rate_per_h).target if points else None


def agreement_with(result: SpeedResult, predicted: Speed) -> float | None:
    """The E_n number of a reading against a predicted speed; None where there is no speed."""
    if result.speed is None:
        return None
    return e_number(result.speed.rpm, result.speed.expanded(), predicted.rpm, predicted.expanded())


def advice(result: SpeedResult, *, timing_u_s: float) -> str:
    """What to do for a verdict where the reading cannot tell; nothing where it can."""
    if result.verdict is not Verdict.CANNOT_TELL or result.speed is None or result.band is None:
        return ""
    rpm, reading = result.speed.rpm, result.entry.speed
    if isinstance(reading, TappedPasses):
        tapped = from_taps(reading.times_s, passes_per_turn=reading.passes_per_turn)
        if tapped.own_beat:
            return OWN_BEAT
    seconds = None
    # Started on a pass, every count of one length errs alike: whole turns are better.
    if not (isinstance(reading, PassCount) and reading.start is WatchStart.ON_PASS):
        seconds = seconds_to_decide_by_count(
            rpm,
            result.band,
            passes_per_turn=getattr(reading, "passes_per_turn", 1),
            u_seconds=timing_u_s,
        )
    turns = turns_to_decide(rpm, result.band, u_seconds=timing_u_s)
    if seconds is None and turns is None:
        return "too close to a limit for any count to tell"
    by_turns = f"time {turns} whole turns"
    if seconds is None:
        return by_turns
    return f"count for {seconds} s" if turns is None else f"count for {seconds} s, or {by_turns}"


def _result(ledger: Ledger, entry: Entry, reading: SpeedReading) -> SpeedResult:
    machine = ledger.machines[entry.places[0].machine]
    rate = entry.line_rate_per_h or ledger.site.line.line_rate_per_h
    band, clamped = band_of(machine, rate)
    setting = entry.setting.counted_at if entry.setting else None
    unit = entry.setting.unit if entry.setting else ""
    try:
        speed = speed_of(
            reading,
            timing_u_s=ledger.site.policy.timing_u_s,
            instrument=ledger.instruments.get(entry.instrument),
            day=entry.day,
        )
    except ValueError as wrong:
        return SpeedResult(
            entry=entry,
            machine=machine.ident,
            speed=None,
            flaw=str(wrong),
            setting=setting,
            unit=unit,
            line_rate_per_h=rate,
            band=band,
            band_clamped=clamped,
        )
    return SpeedResult(
        entry=entry,
        machine=machine.ident,
        speed=speed,
        setting=setting,
        unit=unit,
        line_rate_per_h=rate,
        band=band,
        band_clamped=clamped,
        verdict=None if band is None else verdict_of(speed, band),
        p_in_band=None if band is None else p_in_band(speed.rpm, speed.u_rpm, band, speed.dof),
        doubt=doubt_of(ledger, entry.instrument, entry.day)
        if entry.instrument
        else _doubt_of_taps(reading),
    )


def _doubt_of_taps(reading: SpeedReading) -> str:
    if not isinstance(reading, TappedPasses):
        return ""
    return from_taps(reading.times_s, passes_per_turn=reading.passes_per_turn).doubt


RATIO_RESETS = frozenset(
    {"motor", "belt", "reduction", "gearbox", "hydraulic-motor", "brush-set", "drive"}
)
"""Changes after which earlier readings no longer tell the ratio."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DriveRatio:
    """What is known of one drive's ratio, in r/min per Hz or per L/min.

    `used` are the readings it rests on, by time; `since` is the change of the mechanics that set
    `set_aside` earlier ones aside. `outgrown` are readings since then that the shaft has moved
    away from, by time: a belt that slips, a motor that leaks. `fit` is None where there is neither
    a reading nor a nameplate.
    """

    machine: str
    unit: str
    used: tuple[SpeedResult, ...]
    outgrown: tuple[SpeedResult, ...]
    set_aside: tuple[SpeedResult, ...]
    since: Entry | None
    prior: RatioPrior | None
    slip_rpm: float
    fit: RatioFit | None

    dial_step: float = 0.0

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
            as_left = fit_of(self.untouched)
            if as_left is not None:
                return predict(as_left, setting)
        return predict(self.fit, setting, slip_rpm=self.slip_rpm)


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
    asked = id(machine), since and since.ref, tuple(map(id, own))
    if asked not in ledger.worked_out:
        # Kept with what it is made of, so that nothing else takes an identity of that.
        ledger.worked_out[asked] = machine, own, _ratio_of(machine, unit, own, since)
    found: DriveRatio = ledger.worked_out[asked][-1]
    return found


def _ratio_of(
    machine: Machine, unit: str, own: Sequence[SpeedResult], since: Entry | None
) -> DriveRatio:
    drive = machine.drive
    counting = [result for result in own if since is None or _is_earlier(since, result.entry)]
    used = _as_it_runs_now(counting)
    prior = _prior(drive)
    step = drive.flow_step_lpm if isinstance(drive, HydraulicDrive) else 0.0
    fit = fit_of(used, prior, dial_step=step)
    return DriveRatio(
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
    )


def fit_of(
    used: Sequence[SpeedResult], prior: RatioPrior | None = None, *, dial_step: float = 0.0
) -> RatioFit | None:
    """The ratio of readings that have a speed and a setting; None without any and a prior.

    With the step of a flow dial, in L/min, readings share the doubt of their setting until the
    dial is moved.
    """
    readings, moved, before = [], 0, None
    for result in used:
        if result.speed is None or result.setting is None:
            continue
        moved += result.setting != before
        before = result.setting
        shared = shared_parts(result)
        if dial_step:
            u_share = dial_u(dial_step) / result.setting
            shared = (*shared, SharedPart(key=f"{DIAL} {result.machine} {moved}", u=u_share))
        readings.append(reading_of(str(result.entry.ref), result.setting, result.speed, shared))
    if not readings and prior is None:
        return None
    return replace(fit_ratio(readings, prior), u_new_setting=dial_u(dial_step))


DIAL = "dial"


def is_of_instrument(key: str) -> bool:
    """Whether a shared key names an instrument's scale or rate, and not a hand or a dial."""
    return key.partition(" ")[0] in (ErrorSource.SCALE, ErrorSource.RATE)


def dial_u(step: float) -> float:
    """The standard uncertainty of a dial read to a step: a rectangle of half of it (GUM 4.3.7)."""
    return step / (2 * math.sqrt(3))


def shared_parts(result: SpeedResult) -> tuple[SharedPart, ...]:
    """What a reading errs by together with others, each part under a key of who or what errs.

    A hand's presses are one person's, a part of a turn left over that of a setting and a length of
    count; a tachometer or a camera is one for each machine unless the reading names it.
    """
    if result.speed is None:
        return ()
    entry, reading = result.entry, result.entry.speed
    keys = {
        ErrorSource.PRESS: f"{ErrorSource.PRESS} {entry.by}",
        ErrorSource.PHASE: f"{ErrorSource.PHASE} {result.machine} {result.setting} "
        f"{getattr(reading, 'seconds', 0):g}",
        ErrorSource.SCALE: f"{ErrorSource.SCALE} {entry.instrument or f'of {result.machine}'}",
        ErrorSource.RATE: f"{ErrorSource.RATE} {entry.instrument or f'of {result.machine}'}",
    }
    return tuple(
        SharedPart(
            key=keys[part.source] + ("" if part.is_relative else " fixed"),
            u=part.u_rpm / result.speed.rpm if part.is_relative else part.u_rpm,
            is_relative=part.is_relative,
        )
        for part in result.speed.shared
    )


def shared_errors(result: SpeedResult) -> tuple[Shared, ...]:
    """The same in r/min at the speed that was read."""
    rpm = result.speed.rpm if result.speed else 0.0
    return tuple(
        Shared(key=part.key, u=rpm * part.u if part.is_relative else part.u)
        for part in shared_parts(result)
    )


def last_reset(
    ledger: Ledger, machine: Machine, before: Entry | None = None, as_of: date | None = None
) -> Entry | None:
    """The last change of the mechanics that the ratio depends on."""
    last = None
    for entry in ledger.telling_at(machine.ident):
        if (
            entry.changed in RATIO_RESETS
            and (before is None or _is_earlier(entry, before))
            and (as_of is None or entry.day <= as_of)
        ):
            last = entry
    return last


def _is_earlier(entry: Entry, other: Entry) -> bool:
    return (entry.when, entry.ref) < (other.when, other.ref)


def _as_it_runs_now(counting: Sequence[SpeedResult]) -> Sequence[SpeedResult]:
    """The latest readings that one ratio can explain, as far as time explains the others.

    Averaging over a shaft that slows month by month would predict a speed it no longer has. So
    where readings are inconsistent and their ratios rise or fall with time (`fit_line`), the
    earlier half is left behind, and the rest asked again. A single wild reading makes no trend
    and stays, to be named; steady shafts lose readings in about one case in 400.
    """
    left = counting
    while (fit := fit_of(left)) is not None and (fit.inflated or fit.apart):
        line = fit_line(
            [
                TimedReading(
                    day=result.entry.day.toordinal(),
                    value=result.speed.rpm / result.setting,
                    standard_uncertainty=own_u_rpm(result.speed) / result.setting,
                    shared=tuple(
                        Shared(key=one.key, u=one.u / result.setting)
                        for one in shared_errors(result)
                    ),
                )
                for result in left
                if result.speed and result.setting
            ]
        )
        if not isinstance(line, Line) or not line.is_shown:
            break
        left = left[len(left) // 2 :]
    return left


def _prior(drive: ElectricDrive | HydraulicDrive | None) -> RatioPrior | None:
    match drive:
        case ElectricDrive(rated_rpm=float(rated), base_hz=float(base), reduction=float(reduction)):
            return nameplate_prior(rated, base, reduction)
        case HydraulicDrive():
            return displacement_prior(
                drive.motor_cm3,
                reduction=drive.reduction,
                efficiency=drive.volumetric_efficiency,
            )
        case _:
            return None


def _slip_rpm(drive: ElectricDrive | HydraulicDrive | None, fit: RatioFit | None) -> float:
    """Speed lost to slip, or to leaking oil, which stays about the same as the setting changes."""
    match drive:
        case ElectricDrive(
            rated_rpm=float(rated),
            base_hz=float(base),
            poles=int(poles),
            reduction=float(reduction),
        ):
            return slip_rpm_at_shaft(rated, base, poles, reduction)
        case HydraulicDrive() if fit is not None and fit.centre_setting is not None:
            return leakage_rpm(
                fit, drive.motor_cm3, drive.volumetric_efficiency, reduction=drive.reduction
            )
        case _:
            return 0.0

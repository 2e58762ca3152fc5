"""What each speed reading says: a speed with its uncertainty, and a verdict on its band."""

import math
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from functools import lru_cache

from ledger.compute import speed as formulas
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
from ledger.compute.ratio import SharedPart
from ledger.compute.shared import Shared
from ledger.compute.speed import OWN_BEAT, ErrorSource, Speed, TappedSpeed, e_number
from ledger.model import visits
from ledger.model.ledger import Ledger
from ledger.model.machines import Machine
from ledger.model.references import EntryRef
from ledger.model.site import Instrument
from ledger.model.visits import Entry, SettingSeen, SpeedReading, WatchStart
from ledger.upkeep.instruments.found import doubt_of
from ledger.values import dataclass, grouped, replace


@dataclass(frozen=True, slots=True, kw_only=True)
class SpeedResult:
    """One speed reading, computed.

    `flaw` says why the raw numbers give no speed; then `speed` and what follows from it are None.
    `setting` is the drive's value during the reading, in `unit`, where it was noted. `band` is
    that of `line_rate_per_h`; `band_clamped` where the rate lies outside the rates stated.
    `is_certified` where the last check of the instrument has a certificate.
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
    is_certified: bool = False


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
        case visits.PassCount():
            return _speed_of_count(reading, timing_u_s)
        case visits.TimedTurns():
            return formulas.from_timed_turns(reading.turns, reading.seconds, u_seconds=timing_u_s)
        case visits.TappedPasses():
            return _taps(reading).speed
        case visits.Tachometer():
            return _shown_by(reading, instrument, day)
        case visits.VideoTurns():
            return formulas.from_video(reading.turns, reading.frames, reading.fps)


def _taps(reading: visits.TappedPasses) -> TappedSpeed:
    return formulas.from_taps(reading.times_s, passes_per_turn=reading.passes_per_turn)


# Shafts that are counted each week give the same few counts again and again.
@lru_cache(maxsize=4096)
def _speed_of_count(count: visits.PassCount, timing_u_s: float) -> Speed:
    return formulas.from_pass_count(
        count.passes,
        count.seconds,
        passes_per_turn=count.passes_per_turn,
        start="random" if count.start == "random" else "on-pass",
        u_seconds=timing_u_s,
    )


@lru_cache(maxsize=4096)
def _held_against(speed: Speed, band: Band) -> tuple[Verdict, float]:
    return verdict_of(speed, band), p_in_band(speed.rpm, speed.u_rpm, band, speed.dof)


@dataclass(frozen=True, slots=True)
class TachometerErrors:
    """What a shown speed is multiplied by, and the half-widths of what it errs by."""

    factor: float
    percent: float
    absolute_rpm: float


def errors_of(instrument: Instrument, day: date | None) -> TachometerErrors:
    """By the correction of the last check up to a day, else by its maximum permissible error."""
    check = None if day is None else instrument.check_before(day)
    if check is not None and check.correction_percent is not None:
        # The half-width of the rectangle that has the certificate's U/2.
        percent = check.correction_u_percent * math.sqrt(3) / 2
        return TachometerErrors(1 + check.correction_percent / 100, percent, 0.0)
    return TachometerErrors(1.0, instrument.max_error_percent or 0.0, instrument.max_error or 0.0)


def _shown_by(reading: visits.Tachometer, instrument: Instrument | None, day: date | None) -> Speed:
    percent, absolute_rpm = reading.accuracy_percent, reading.accuracy_rpm
    errors = TachometerErrors(1.0, percent or 0.0, absolute_rpm or 0.0)
    if instrument is not None and percent is None and absolute_rpm is None:
        errors = errors_of(instrument, day)
    step = instrument.resolution if instrument else None
    return formulas.from_tachometer(
        reading.rpm * errors.factor,
        accuracy_percent=errors.percent,
        accuracy_rpm=errors.absolute_rpm,
        **({} if step is None else {"step_rpm": step}),
    )


def speed_results(
    ledger: Ledger, entries: Iterable[Entry] | None = None
) -> tuple[SpeedResult, ...]:
    """The speed readings among the entries, in their order; all standing ones by default.

    A tuning session gives one a step, each as an entry of its own with the setting of its count.
    """
    chosen = ledger.detailed if entries is None else entries
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


def results_at(ledger: Ledger, machine: str) -> list[SpeedResult]:
    """Those of one machine, by time."""
    found = speed_results(ledger, ledger.detailed_at(machine))
    return [one for one in found if one.machine == machine]


def by_machine(results: Iterable[SpeedResult]) -> Mapping[str, Sequence[SpeedResult]]:
    """The results of each machine, in their order; none of one that was never read."""
    return grouped(results, lambda result: result.machine)


def by_entry(results: Iterable[SpeedResult]) -> Mapping[EntryRef, Sequence[SpeedResult]]:
    """The results of each entry, in their order: more than one where it is a tuning session."""
    return grouped(results, lambda result: result.entry.ref.whole)


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
    if isinstance(reading, visits.TappedPasses) and _taps(reading).own_beat:
        return OWN_BEAT
    seconds = None
    # Started on a pass, every count of one length errs alike: whole turns are better.
    if not (isinstance(reading, visits.PassCount) and reading.start is WatchStart.ON_PASS):
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
    key = band_of, machine.ident, rate
    band, clamped = ledger.once(key, lambda: band_of(machine, rate))
    instrument = ledger.instruments.get(entry.instrument)
    read = SpeedResult(
        entry=entry,
        machine=machine.ident,
        speed=None,
        setting=entry.setting.counted_at if entry.setting else None,
        unit=entry.setting.unit if entry.setting else "",
        line_rate_per_h=rate,
        band=band,
        band_clamped=clamped,
    )
    timing_u_s = ledger.site.policy.timing_u_s
    try:
        speed = speed_of(reading, timing_u_s=timing_u_s, instrument=instrument, day=entry.day)
    except ValueError as wrong:
        return replace(read, flaw=str(wrong))
    verdict, p = (None, None) if band is None else _held_against(speed, band)
    doubt = _taps(reading).doubt if isinstance(reading, visits.TappedPasses) else ""
    return replace(
        read,
        speed=speed,
        verdict=verdict,
        p_in_band=p,
        doubt=doubt_of(ledger, entry.instrument, entry.day) if entry.instrument else doubt,
        is_certified=instrument is not None and instrument.has_certificate(entry.day),
    )


def shared_parts(result: SpeedResult, phase: str = "") -> tuple[SharedPart, ...]:
    """What a reading errs by together with others, each part under a key of who or what errs.

    A hand's presses are one person's, a part of a turn left over that of a `phase`, by default that
    of a setting and a length of count; a tachometer or a camera is one for each machine unless the
    reading names it. Tachometers without a certificate of their own may err alike.
    """
    if result.speed is None:
        return ()
    entry, reading = result.entry, result.entry.speed
    keys = {
        ErrorSource.PRESS: f"{ErrorSource.PRESS} {entry.by}",
        ErrorSource.PHASE: f"{ErrorSource.PHASE} {result.machine} "
        + (phase or f"{result.setting} {getattr(reading, 'seconds', 0):g}"),
        ErrorSource.SCALE: f"{ErrorSource.SCALE} {entry.instrument or f'of {result.machine}'}",
        ErrorSource.RATE: f"{ErrorSource.RATE} {entry.instrument or f'of {result.machine}'}",
    }
    return tuple(
        SharedPart(
            key=keys[part.source] + ("" if part.is_relative else " fixed"),
            u=part.u_rpm / result.speed.rpm if part.is_relative else part.u_rpm,
            is_relative=part.is_relative,
            kin=part.source if part.source is ErrorSource.SCALE and not result.is_certified else "",
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


def rounded_to_rpm(result: SpeedResult) -> float:
    """What a count that starts on a pass is rounded to, the same way each time; 0 for others."""
    match result.entry.speed:
        case visits.PassCount(start=WatchStart.ON_PASS, seconds=seconds, passes_per_turn=per_turn):
            return 60 / (seconds * per_turn)
        case _:
            return 0.0

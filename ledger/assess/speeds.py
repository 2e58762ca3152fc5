"""What each speed reading says: a speed with its uncertainty, and a verdict on its band."""

from collections.abc import Iterable
from dataclasses import dataclass

from ledger.compute.agreement import e_number
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
from ledger.compute.speed import (
    Speed,
    from_pass_count,
    from_tachometer,
    from_timed_turns,
    from_video,
)
from ledger.compute.taps import from_taps
from ledger.model.ledger import Ledger
from ledger.model.machines import Machine
from ledger.model.visits import (
    Entry,
    PassCount,
    SpeedReading,
    Tachometer,
    TappedPasses,
    TimedTurns,
    VideoTurns,
)


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


def speed_of(reading: SpeedReading, *, timing_u_s: float) -> Speed:
    """The shaft speed that a reading gives; ValueError, in words for a person, where none."""
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
            return from_tachometer(
                reading.rpm,
                accuracy_percent=reading.accuracy_percent or 0.0,
                accuracy_rpm=reading.accuracy_rpm or 0.0,
            )
        case VideoTurns():
            return from_video(reading.turns, reading.frames, reading.fps)


def speed_results(
    ledger: Ledger, entries: Iterable[Entry] | None = None
) -> tuple[SpeedResult, ...]:
    """The speed readings among the entries, in their order; all standing ones by default."""
    chosen = ledger.standing if entries is None else entries
    return tuple(_result(ledger, entry, entry.speed) for entry in chosen if entry.speed is not None)


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
    rpm = result.speed.rpm
    per_turn = getattr(result.entry.speed, "passes_per_turn", 1)
    seconds = seconds_to_decide_by_count(
        rpm, result.band, passes_per_turn=per_turn, u_seconds=timing_u_s
    )
    turns = turns_to_decide(rpm, result.band, u_seconds=timing_u_s)
    if seconds is None and turns is None:
        return "too close to a limit for any count to tell"
    by_turns = f"time {turns} whole turns"
    if seconds is None:
        return by_turns
    return f"count for {seconds} s" if turns is None else f"count for {seconds} s, or {by_turns}"


def raw_words(reading: SpeedReading) -> str:
    """The raw numbers of a reading in words: `38 passes in 30 s`."""
    match reading:
        case PassCount():
            start = ", started on a pass" if reading.start == "on-pass" else ""
            return f"{reading.passes} passes in {reading.seconds:g} s{start}" + _marks(reading)
        case TimedTurns():
            return f"{reading.turns} turns in {reading.seconds:g} s"
        case TappedPasses():
            return f"{len(reading.times_s)} taps" + _marks(reading)
        case Tachometer():
            stated = (
                f"{reading.accuracy_percent:g} %"
                if reading.accuracy_percent is not None
                else f"{reading.accuracy_rpm:g} r/min"
            )
            return f"tachometer {reading.rpm:g} r/min (accuracy {stated})"
        case VideoTurns():
            return f"{reading.turns} turns in {reading.frames} frames at {reading.fps:g}/s"


def _marks(reading: PassCount | TappedPasses) -> str:
    many = reading.passes_per_turn
    return "" if many == 1 else f", {many} passes a turn"


def _result(ledger: Ledger, entry: Entry, reading: SpeedReading) -> SpeedResult:
    machine = ledger.machines[entry.places[0].machine]
    rate = entry.line_rate_per_h or ledger.site.line.line_rate_per_h
    band, clamped = band_of(machine, rate)
    setting = entry.setting.running if entry.setting else None
    unit = entry.setting.unit if entry.setting else ""
    try:
        speed = speed_of(reading, timing_u_s=ledger.site.policy.timing_u_s)
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
    )

"""How often a pace is shown, how often its interval holds, and the date of a limit with it."""

import math
from collections.abc import Callable, Iterator
from random import Random

from sitegen import draws

from ledger.compute.speed import from_pass_count, from_timed_turns, of_repeats, own_u_rpm
from ledger.compute.trend import LimitCrossing, Line, TimedReading, fit_line, limit_crossing

TITLE = "pace of graduated readings, 26 weeks"

SITES = 400
WEEKS = 26
FALLS = (0.0, -0.30, -0.61)  # r/min a month
_DAYS_A_MONTH = 30.4375
LIMIT_RPM = 75.0

Reader = Callable[[Random, float], TimedReading]


def _random_count(rng: Random, rpm: float) -> TimedReading:
    counted = draws.pass_count(rng, rpm, 30)["counted"]
    speed = from_pass_count(counted, 30)
    return TimedReading(day=0, value=speed.rpm, standard_uncertainty=own_u_rpm(speed))


def _on_pass(rng: Random, rpm: float) -> TimedReading:
    counted = draws.pass_count(rng, rpm, 30, on_pass=True)["counted"]
    speed = of_repeats(from_pass_count(counted, 30, start="on-pass"))
    return TimedReading(day=0, value=speed.rpm, standard_uncertainty=own_u_rpm(speed), step=2.0)


def _timed(rng: Random, rpm: float) -> TimedReading:
    speed = from_timed_turns(40, draws.timed_turns(rng, rpm, 40)["seconds"])
    return TimedReading(day=0, value=speed.rpm, standard_uncertainty=own_u_rpm(speed))


def _unsteady(rng: Random, rpm: float) -> TimedReading:
    """Of a shaft that differs by 0.7 % from day to day."""
    return _timed(rng, rpm * (1 + rng.gauss(0, 0.007)))


def _gauge(rng: Random, value: float) -> TimedReading:
    """A gauge of 5 units a graduation, of a value that is steadier than that."""
    shown = 5 * round((value + rng.gauss(0, 0.35)) / 5)
    return TimedReading(day=0, value=shown, standard_uncertainty=0.01 * shown, step=5.0)


READERS: tuple[tuple[str, Reader, float, float], ...] = (
    # Name, reader, share by which one reading is off, standard deviation of a slow wander.
    ("random counts of 30 s", _random_count, 0.0, 0.0),
    ("the same, one reading 10 % off", _random_count, 0.1, 0.0),
    ("the same, one reading a pass too many", _random_count, 0.025, 0.0),
    ("40 turns timed", _timed, 0.0, 0.0),
    ("40 turns timed, one reading 10 % off", _timed, 0.1, 0.0),
    ("40 turns timed, the shaft differs by 0.7 % a day", _unsteady, 0.0, 0.0),
    ("counts of 30 s started on a pass", _on_pass, 0.0, 0.0),
    ("a gauge of 5 a graduation", _gauge, 0.0, 0.0),
    ("40 turns timed, wander of 0.56 r/min", _timed, 0.0, 0.56),
)


def readings(
    rng: Random, read: Reader, fall: float, off: float, wander: float
) -> list[TimedReading]:
    level = rng.uniform(79, 82)
    slow = draws.wander(rng, WEEKS, share=wander)
    wild = rng.randrange(WEEKS) if off else -1
    found = []
    for week in range(WEEKS):
        rpm = level + fall * 7 * week / _DAYS_A_MONTH + slow[week]
        one = read(rng, rpm * (1 + off * (week == wild)))
        found.append(
            TimedReading(
                day=7 * week,
                value=one.value,
                standard_uncertainty=one.standard_uncertainty,
                step=one.step,
            )
        )
    return found


def shares(
    read: Reader, fall: float, off: float = 0.0, wander: float = 0.0, sites: int = SITES
) -> tuple[float, float]:
    """How often the interval holds the true pace, and how often a pace is shown."""
    rng = Random(f"pace/{fall}/{off}/{wander}")
    held = shown = 0
    for _ in range(sites):
        line = fit_line(readings(rng, read, fall, off, wander))
        if isinstance(line, Line):
            held += line.lower <= fall / _DAYS_A_MONTH <= line.upper
            shown += line.is_shown
    return held / sites, shown / sites


def date_held(
    read: Reader, wander: float = 0.0, sites: int = SITES, *, fall: float = FALLS[2]
) -> float:
    """Of the dates told, how often the interval holds the day on which the limit is reached."""
    rng = Random(f"date/{wander}")
    told = held = 0
    for _ in range(sites):
        level = 82.0
        slow = draws.wander(rng, WEEKS, share=wander)
        a_day = fall / _DAYS_A_MONTH
        rows = []
        for week in range(WEEKS):
            one = read(rng, level + a_day * 7 * week + slow[week])
            rows.append(
                TimedReading(
                    day=7 * week,
                    value=one.value,
                    standard_uncertainty=one.standard_uncertainty,
                    step=one.step,
                )
            )
        found = limit_crossing(rows, lower=LIMIT_RPM)
        if isinstance(found, LimitCrossing):
            told += 1
            held += found.earliest_day <= (LIMIT_RPM - level) / a_day <= found.latest_day
    return held / told if told else math.nan


def figures() -> Iterator[str]:
    yield f"{SITES} brushes each: interval holds the true pace / pace shown, for {FALLS} r/min a month"
    for name, read, off, wander in READERS:
        told = (shares(read, fall, off, wander) for fall in FALLS)
        yield f"  {name}: " + ", ".join(f"{held:.3f} / {shown:.3f}" for held, shown in told)
    yield f"the date of a limit holds the true day, where told, for {FALLS[1:]} r/min a month:"
    for name, read, off, wander in READERS:
        if not off:
            told = (date_held(read, wander, fall=fall) for fall in FALLS[1:])
            yield f"  {name}: " + ", ".join(f"{held:.3f}" for held in told)

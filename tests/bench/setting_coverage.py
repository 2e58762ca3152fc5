"""How often the speed expected at a setting holds the true one: dials, mixed settings, drift.

An electric shaft turns between constant ratio and constant slip; an oil motor leaks a constant
flow, and its dial is read to a step each time that it is set. The readings are those of files.
"""

import math
import statistics
from collections.abc import Iterator, Mapping, Sequence
from random import Random
from typing import Any

from sitegen import draws
from small_site import ELECTRIC, HYDRAULIC, ledger_of, on, visit

from ledger.compute.speed import Speed
from ledger.upkeep.speeds.found import speed_results
from ledger.upkeep.speeds.ratios import drive_ratio

TITLE = "speeds at a setting"

SITES = 300
DAYS_A_MONTH = 30.4375
SLIP_RPM = 60 / 16  # of the small site's motor, at its shaft
HZ = (40.0, 42.5, 45.0, 50.0)
GPM = 3.785411784
STEP_LPM = 0.1 * GPM
DIALS_LPM = tuple(STEP_LPM * tenths for tenths in range(34, 43))

Entry = Mapping[str, Any]


def expected(machine: Entry, entries: Sequence[Entry], setting: float, ahead: int = 0) -> Speed:
    """What weekly readings make us expect at a setting, so many weeks after the last."""
    visits = [visit(7 * week, {"at": "brush", **one}) for week, one in enumerate(entries)]
    ledger = ledger_of(visits, machines={"brush": machine})
    ratio = drive_ratio(ledger, ledger.machines["brush"], speed_results(ledger))
    speed = ratio.on(on(7 * (len(entries) - 1 + ahead))).speed_at(setting)
    if speed is None:
        raise ValueError("expected a speed")
    return speed


def read(rng: Random, way: str, rpm: float, who: draws.Bias) -> Entry:
    match way:
        case "timed":
            return draws.timed_turns(rng, rpm, 40, bias=who)
        case "count":
            return draws.pass_count(rng, rpm, 30, bias=who)
        case _:
            return draws.pass_count(rng, rpm, 30, on_pass=True, bias=who)


def mixed(rng: Random, way: str, readings: int) -> tuple[Speed, float]:
    """At the four settings in turn; the speed at 45 Hz."""
    rpm, share, who = rng.uniform(60, 100), rng.random(), draws.bias(rng)

    def at(hz: float) -> float:
        return rpm * hz / 45 + share * SLIP_RPM * (hz / 45 - 1)

    entries = [{**read(rng, way, at(hz), who), "found_hz": hz} for hz in (HZ * readings)[:readings]]
    return expected(ELECTRIC, entries, 45.0), at(45.0)


def dialled(rng: Random, readings: int, leakage: float, *, untouched: bool) -> tuple[Speed, float]:
    """The dial set anew for each reading, or left alone; then set anew to another flow."""
    who, scale = draws.bias(rng), 1 + rng.uniform(-0.02, 0.02)
    leak = rng.uniform(0, leakage) * 3.8 * GPM
    motor_cm3 = 160 * (1 + rng.uniform(-0.01, 0.01))

    def set_to(dial: float) -> float:
        flow = scale * (dial + rng.uniform(-STEP_LPM / 2, STEP_LPM / 2))
        return 1000 * (flow - leak) / motor_cm3

    dial = rng.choice(DIALS_LPM)
    rpm, entries = set_to(dial), []
    for _ in range(readings):
        if not untouched:
            dial = rng.choice(DIALS_LPM)
            rpm = set_to(dial)
        found = {"found_flow_lpm": round(dial, 4)}
        entries.append({**draws.timed_turns(rng, rpm, 40, bias=who), **found})
    machine = {**HYDRAULIC, "drive": {**HYDRAULIC["drive"], "flow_step_lpm": STEP_LPM}}
    # At the last setting it would be taken for untouched.
    anew = rng.choice([one for one in DIALS_LPM if one != dial])
    return expected(machine, entries, round(anew, 4)), set_to(anew)


def drifting(rng: Random, readings: int, a_month: float, ahead: int) -> tuple[Speed, float]:
    """A shaft that moves evenly, and its speed so many weeks after the last reading."""
    rpm, who = rng.uniform(78, 84), draws.bias(rng)

    def at(week: int) -> float:
        return rpm + a_month * 7 * week / DAYS_A_MONTH

    entries = [{**read(rng, "timed", at(week), who), "found_hz": 45.0} for week in range(readings)]
    return expected(ELECTRIC, entries, 45.0, ahead), at(readings - 1 + ahead)


def stepped(rng: Random, readings: int, step: float) -> tuple[Speed, float]:
    """A shaft that changed once, four readings or more ago."""
    rpm, when, who = rng.uniform(78, 84), rng.randrange(4, readings - 3), draws.bias(rng)
    entries = [
        {**read(rng, "timed", rpm - step * (week < when), who), "found_hz": 45.0}
        for week in range(readings)
    ]
    return expected(ELECTRIC, entries, 45.0), rpm


# The time of one count of several, and whether it starts on a pass.
DESIGNS: Mapping[str, Any] = {
    "of one length": (lambda _number, _of, _rpm: 30.0, True),
    "of lengths spread over a pass": (lambda n, of, rpm: round(30 + n / of * 60 / rpm, 2), True),
    "a second longer each time": (lambda n, _of, _rpm: 30.0 + n, True),
    "started at random": (lambda _number, _of, _rpm: 30.0, False),
}

# At about a turn a second whole seconds leave the same part of a turn over each time.
SPEEDS_RPM: Mapping[str, tuple[float, float]] = {
    "at 60.3 r/min": (60.3, 60.3),
    "at 79.75 r/min": (79.75, 79.75),
    "from 60 to 100 r/min": (60.0, 100.0),
}


def counts(rng: Random, design: str, between: tuple[float, float], m: int) -> tuple[Speed, float]:
    length_s, on_pass = DESIGNS[design]
    rpm, who = rng.uniform(*between), draws.bias(rng)
    entries = [
        {
            **draws.pass_count(rng, rpm, length_s(n, m, rpm), on_pass=on_pass, bias=who),
            "found_hz": 45.0,
        }
        for n in range(m)
    ]
    return expected(ELECTRIC, entries, 45.0), rpm


ROWS: Sequence[tuple[str, tuple[int, ...], Any]] = (
    *(
        (f"four settings, {way}", (4, 12, 24), lambda rng, m, way=way: mixed(rng, way, m))
        for way in ("timed", "count", "on-pass")
    ),
    *(
        (
            f"dial {how}, leakage up to {leakage:.0%}",
            (1, 8, 24),
            lambda rng, m, leakage=leakage, untouched=untouched: dialled(
                rng, m, leakage, untouched=untouched
            ),
        )
        for how, untouched in (("set anew each time", False), ("left alone, then set", True))
        for leakage in (0.0, 0.12)
    ),
    *(
        (
            f"counts {design}, {where}",
            (4, 12),
            lambda rng, m, design=design, between=between: counts(rng, design, between, m),
        )
        for where, between in SPEEDS_RPM.items()
        for design in DESIGNS
    ),
    *(
        (
            f"falls {-a_month:g} r/min a month, four weeks ahead",
            (12, 24),
            lambda rng, m, a_month=a_month: drifting(rng, m, a_month, 4),
        )
        for a_month in (0.0, -0.3, -0.61)
    ),
    *(
        (f"a step of {step:g} r/min", (12, 24), lambda rng, m, step=step: stepped(rng, m, step))
        for step in (1.0, 3.0)
    ),
)


def coverage(name: str, readings: int, sites: int = SITES) -> tuple[float, float, float]:
    """The share of sites whose interval holds the truth, the median half width, the rms error."""
    (one,) = [one for row, _, one in ROWS if row == name]
    rng = Random(f"{name}/{readings}")
    drawn = [one(rng, readings) for _ in range(sites)]
    held = sum(abs(speed.rpm - truth) <= speed.expanded() for speed, truth in drawn)
    rms = math.sqrt(math.fsum((speed.rpm - truth) ** 2 for speed, truth in drawn) / sites)
    return held / sites, statistics.median(speed.expanded() for speed, _ in drawn), rms


def figures() -> Iterator[str]:
    yield (
        f"{SITES} sites each: share of intervals that hold the truth (median half width, rms error "
        "in r/min)"
    )
    for name, readings, _ in ROWS:
        told = ((m, *coverage(name, m)) for m in readings)
        yield f"  {name}: " + ", ".join(
            f"{m}: {held:.3f} ({width:.2f}, {rms:.2f})" for m, held, width, rms in told
        )

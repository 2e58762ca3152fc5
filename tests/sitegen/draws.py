"""What a hand, a stop-watch, a tachometer or a camera would record of a true speed.

Each draw follows the mechanism, not the formula that the ledger works backwards with, so that
intervals computed from the drawn readings can be held against the truth.
"""

import math
from dataclasses import dataclass
from random import Random
from typing import Any

HAND_S = 0.10  # standard uncertainty of a stop-watch interval, start to stop
PRESS_S = 0.07  # spread of a single press


@dataclass(frozen=True, slots=True, kw_only=True)
class Bias:
    """What stays the same from one reading to the next.

    Of a person how much longer an interval comes out than it is (`interval_s`) and how late the
    watch is started on a pass (`late_s`); of a tachometer and of a dial the share that they show
    too much; of a camera its true rate, where another is written down.
    """

    interval_s: float = 0.0
    late_s: float = 0.0
    scale: float = 0.0
    true_fps: float | None = None


UNBIASED = Bias()


def bias(rng: Random, *, accuracy_percent: float = 1.0) -> Bias:
    """One person with one set of instruments, drawn once for a site.

    Presses are late by 0.11 s on average and differ between people by about half of that; a
    tachometer is off by anything inside its accuracy; half the films that say 30 have 29.97.
    """
    return Bias(
        interval_s=rng.gauss(0, 0.05),
        late_s=rng.gauss(0.11, 0.06),
        scale=rng.uniform(-accuracy_percent, accuracy_percent) / 100,
        true_fps=rng.choice((30.0, 29.97)),
    )


def wander(rng: Random, steps: int, *, share: float, correlation: float = 0.7) -> list[float]:
    """A slow wander about nought with this standard deviation, from one reading to the next."""
    level, found = rng.gauss(0, share), []
    for _ in range(steps):
        found.append(level)
        fresh = share * math.sqrt(1 - correlation**2)
        level = correlation * level + rng.gauss(0, fresh)
    return found


def pass_count(
    rng: Random,
    rpm: float,
    seconds: float,
    *,
    on_pass: bool = False,
    passes_per_turn: int = 1,
    bias: Bias = UNBIASED,
) -> dict[str, Any]:
    """Passes seen in a time, the watch started at a random moment or on a pass not counted."""
    per_s = rpm * passes_per_turn / 60
    phase = 0.0 if on_pass else rng.random()
    late_s = bias.late_s if on_pass else bias.interval_s
    counted = math.floor(phase + per_s * max(seconds + late_s + rng.gauss(0, HAND_S), 0))
    reading: dict[str, Any] = {"counted": counted, "seconds": seconds}
    if on_pass:
        reading["start"] = "on-pass"
    if passes_per_turn != 1:
        reading["passes_per_turn"] = passes_per_turn
    return reading


def timed_turns(rng: Random, rpm: float, turns: int, *, bias: Bias = UNBIASED) -> dict[str, Any]:
    """The watch started on a pass and stopped on a pass, so many whole turns later."""
    seconds = 60 * turns / rpm + bias.interval_s + rng.gauss(0, HAND_S)
    return {"turns": turns, "seconds": round(seconds, 2)}


def taps(rng: Random, rpm: float, presses: int) -> dict[str, Any]:
    """One press a pass; the first is the zero of the watch."""
    period_s = 60 / rpm
    times = [period_s * index + rng.gauss(0, PRESS_S) for index in range(presses)]
    return {"taps_s": [round(time - times[0], 2) for time in times]}


def biased_tachometer(
    rng: Random, rpm: float, *, accuracy_percent: float, bias: Bias
) -> dict[str, Any]:
    """A reading of one instrument, which errs by the same share each time."""
    shown = rpm * (1 + bias.scale) + rng.gauss(0, 0.05)
    return {"tachometer_rpm": round(shown, 1), "accuracy_percent": accuracy_percent}


def tachometer(rng: Random, rpm: float, *, accuracy_percent: float) -> dict[str, Any]:
    """A reading anywhere inside the instrument's stated accuracy."""
    half_width = rpm * accuracy_percent / 100
    shown = rpm + rng.uniform(-half_width, half_width)
    return {"tachometer_rpm": round(shown, 1), "accuracy_percent": accuracy_percent}


def video(
    rng: Random, rpm: float, turns: int, *, fps: float = 29.97, bias: Bias = UNBIASED
) -> dict[str, Any]:
    """Frames from a pass to a pass; either end falls anywhere between two frames."""
    exact = 60 * turns / rpm * (bias.true_fps or fps)
    frames = math.floor(exact + rng.random())
    return {"turns": turns, "frames": frames, "fps": fps}


def catch(
    rng: Random, flow_gpm: float, *, at_psi: float, pressure_psi: float, seconds: float
) -> dict[str, Any]:
    """Volume in the jug, read to 5 mL, from a nozzle whose flow goes with the root of pressure."""
    flow_ml_per_s = flow_gpm * 3785.411784 / 60 * math.sqrt(pressure_psi / at_psi)
    caught = flow_ml_per_s * seconds * (1 + rng.gauss(0, 0.006))
    return {
        "caught_ml": 5 * round(caught / 5),
        "seconds": seconds,
        "pressure_psi": round(pressure_psi),
    }


def to_step(value: float, step: float, digits: int) -> float:
    """What the scale's divisions let a person write down."""
    return round(step * round(value / step), digits)


def titration(rng: Random, parts: float, wanted: int, reference_drops: int) -> dict[str, int]:
    """Drops of a sample of `parts` to 1 against one mixed as wanted; plain water takes two."""
    blank = 2
    own = (reference_drops - blank) * (wanted + 1) / (parts + 1) + blank
    return {
        "drops": round(own + rng.uniform(-0.4, 0.4)),
        "blank_drops": blank,
        "reference_drops": reference_drops,
        "reference_parts": wanted,
    }

"""Which setting puts a shaft in its band, how sure that is, and what one more reading buys."""

import enum
import math
from dataclasses import dataclass

from ledger.compute.band import Band, Verdict, p_in_band, verdict_of
from ledger.compute.numbers import check_above_zero, round_to_step
from ledger.compute.ratio import RatioFit, predict, setting_for
from ledger.compute.speed import (
    PRESS_SCATTER_S,
    Speed,
    u_of_pass_count,
    u_of_taps,
    u_of_timed_turns,
)

_TURNS = _TAPS = 20

_COUNTS_S = (30, 60)


class Limit(enum.StrEnum):
    """The limit of the drive that held a recommendation back."""

    LOWEST = "lowest setting"
    HIGHEST = "highest setting"


@dataclass(frozen=True, slots=True, kw_only=True)
class Recommendation:
    """A setting for a target speed, in the unit of the fit (Hz or L/min).

    `limited_by` tells that a limit kept the setting from the target; then `p_in_band` may be low.
    """

    setting: float
    speed: Speed
    target_rpm: float
    p_in_band: float
    limited_by: Limit | None


@dataclass(frozen=True, slots=True, kw_only=True)
class NextReading:
    """What one more reading, taken at a setting, would make of the prediction there.

    `p_in_band` and `verdict` hold if the reading comes out as predicted.
    """

    way: str
    seconds: float
    u_reading_rpm: float
    u_after_rpm: float
    p_in_band: float
    verdict: Verdict


def recommend(
    fit: RatioFit,
    band: Band,
    *,
    step: float,
    lowest: float,
    highest: float,
    target_rpm: float | None = None,
    slip_rpm: float = 0.0,
) -> Recommendation:
    """The setting whose predicted speed is the target, to the drive's step, inside its limits.

    The target is the middle of the band unless one is given.

    Raises:
        ValueError: the band has no middle and no target is given, the target is not above 0, or
            no step lies between the limits.
    """
    target = band.middle if target_rpm is None else target_rpm
    if not (math.isfinite(target) and target > 0):
        raise ValueError("expected a target speed above 0, or a band with two limits")
    wanted = setting_for(fit, target)
    setting = round_to_step(wanted, step, lowest, highest)
    limited_by = None
    # A setting further than half a step from what was wanted was held by a limit.
    if abs(setting - wanted) > step / 2 * (1 + 1e-9):
        limited_by = Limit.LOWEST if setting > wanted else Limit.HIGHEST
    speed = predict(fit, setting, slip_rpm=slip_rpm)
    return Recommendation(
        setting=setting,
        speed=speed,
        target_rpm=target,
        p_in_band=p_in_band(speed.rpm, speed.u_rpm, band, speed.dof),
        limited_by=limited_by,
    )


def value_of_reading(
    fit: RatioFit, setting: float, u_reading_rpm: float, *, slip_rpm: float = 0.0
) -> Speed:
    """The prediction at a setting after one more reading there that comes out as predicted.

    Independent results combine as 1/u² = 1/u₁² + 1/u₂²; the degrees of freedom stay those of the
    fit. Readings that disagree stay in disagreement: one more does not heal them.

    Raises:
        ValueError: the uncertainty of the reading is not above 0.
    """
    check_above_zero(u_reading_rpm=u_reading_rpm)
    before = predict(fit, setting, slip_rpm=slip_rpm)
    u_after = 1 / math.sqrt(1 / before.u_rpm**2 + 1 / u_reading_rpm**2)
    return Speed(rpm=before.rpm, u_rpm=u_after, dof=before.dof)


def next_readings(
    fit: RatioFit,
    band: Band,
    setting: float,
    *,
    passes_per_turn: int = 1,
    slip_rpm: float = 0.0,
) -> tuple[NextReading, ...]:
    """What a count of 30 s or 60 s, 20 timed turns or 20 taps would each buy at a setting."""
    rpm = predict(fit, setting, slip_rpm=slip_rpm).rpm
    turns_s = _TURNS * 60 / rpm
    taps_s = (_TAPS - 1) * 60 / (rpm * passes_per_turn)
    ways = [
        *(
            (
                f"{seconds} s count",
                seconds,
                u_of_pass_count(rpm, seconds, passes_per_turn=passes_per_turn),
            )
            for seconds in _COUNTS_S
        ),
        (f"{_TURNS} timed turns", turns_s, u_of_timed_turns(rpm, turns_s)),
        (
            f"{_TAPS} taps",
            taps_s,
            u_of_taps(rpm, _TAPS, jitter_s=PRESS_SCATTER_S, passes_per_turn=passes_per_turn),
        ),
    ]
    bought = []
    for way, seconds, u_reading_rpm in ways:
        after = value_of_reading(fit, setting, u_reading_rpm, slip_rpm=slip_rpm)
        bought.append(
            NextReading(
                way=way,
                seconds=seconds,
                u_reading_rpm=u_reading_rpm,
                u_after_rpm=after.u_rpm,
                p_in_band=p_in_band(after.rpm, after.u_rpm, band, after.dof),
                verdict=verdict_of(after, band),
            )
        )
    return tuple(bought)

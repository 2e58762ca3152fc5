"""Which setting puts a shaft in its band, how sure that is, and what one more reading buys.

A setting worked out from two counts that disagree is a guess with a number on it. Then the next
step is another count, not another setting.
"""

import enum
import math

from ledger.compute import speed as speeds
from ledger.compute.band import Band, Verdict, p_in_band, verdict_of
from ledger.compute.distributions import chi2_quantile
from ledger.compute.numbers import check_above_zero, round_to_step
from ledger.compute.ratio import RatioFit, predict, setting_for
from ledger.compute.shared import CONSISTENT
from ledger.values import dataclass, replace

_TURNS, _TAPS = 20, speeds.RHYTHM_SHOWS_TAPS

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
    speed: speeds.Speed
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
) -> speeds.Speed:
    """The prediction at a setting after one more reading there that comes out as predicted.

    Independent results combine as 1/u² = 1/u₁² + 1/u₂²; the degrees of freedom stay those of the
    fit. Readings that disagree stay in disagreement: one more does not heal them.

    Raises:
        ValueError: the uncertainty of the reading is not above 0.
    """
    check_above_zero(u_reading_rpm=u_reading_rpm)
    before = predict(fit, setting, slip_rpm=slip_rpm)
    u_after = 1 / math.sqrt(1 / before.u_rpm**2 + 1 / u_reading_rpm**2)
    return speeds.Speed(rpm=before.rpm, u_rpm=u_after, dof=before.dof)


def next_readings(
    fit: RatioFit, band: Band, setting: float, *, slip_rpm: float = 0.0
) -> tuple[NextReading, ...]:
    """What a count of 30 s or 60 s, 20 timed turns or 30 taps would each buy at a setting."""
    rpm = predict(fit, setting, slip_rpm=slip_rpm).rpm
    turns_s = _TURNS * 60 / rpm
    taps_s = (_TAPS - 1) * 60 / rpm

    def bought(way: str, seconds: float, u_reading_rpm: float) -> NextReading:
        after = value_of_reading(fit, setting, u_reading_rpm, slip_rpm=slip_rpm)
        return NextReading(
            way=way,
            seconds=seconds,
            u_reading_rpm=u_reading_rpm,
            u_after_rpm=after.u_rpm,
            p_in_band=p_in_band(after.rpm, after.u_rpm, band, after.dof),
            verdict=verdict_of(after, band),
        )

    return (
        *(bought(f"{s} s count", s, speeds.u_of_pass_count(rpm, s)) for s in _COUNTS_S),
        bought(f"{_TURNS} timed turns", turns_s, speeds.u_of_timed_turns(rpm, turns_s)),
        bought(
            f"{_TAPS} taps", taps_s, speeds.u_of_taps(rpm, _TAPS, jitter_s=speeds.PRESS_SCATTER_S)
        ),
    )


FEW_READINGS = 4
"""Fewer readings that disagree do not tell which of them is wrong. Common practice, no source."""


BAND_SHARE = 0.25
"""Readings settle a setting when U is at most this share of the band: then a speed in the middle
half of the band is in it for sure. Common practice, no source."""


_TIMED_TURNS = (20, 40)

_MOST_TIMINGS = 10


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeAgain:
    """So many more timings, each of so many whole turns, would do; U in r/min after them."""

    timings: int
    turns: int
    expanded_rpm: float


def few_disagree(fit: RatioFit) -> bool:
    """Whether the readings disagree and are too few to tell which of them is wrong."""
    return fit.inflated and fit.readings < FEW_READINGS


def timings_to_settle(fit: RatioFit, band: Band, setting: float) -> TimeAgain | None:
    """The least timing of whole turns that would settle a setting, if every one comes out alike.

    Whole turns rather than counts: counts of one length may all err alike. A timing at the fitted
    ratio adds nothing to chi-square and one degree of freedom, so that the Birge ratio √(χ²/ν)
    falls with each, and 1/u² of the ratio grows by that of the timings. None where ten would not
    do, or the band has only one limit.

    Raises:
        ValueError: the setting is not above 0.
    """
    check_above_zero(setting=setting)
    wanted = BAND_SHARE * (band.high - band.low)
    if not math.isfinite(wanted):
        return None
    least = max(1, FEW_READINGS - fit.readings) if fit.inflated else 1
    found = [
        TimeAgain(timings=timings, turns=turns, expanded_rpm=after)
        for turns in _TIMED_TURNS
        for timings in range(least, _MOST_TIMINGS + 1)
        if (after := _after(fit, setting, timings, turns)) <= wanted
    ]
    return min(found, key=lambda one: (one.timings * one.turns, one.timings), default=None)


def _after(fit: RatioFit, setting: float, timings: int, turns: int) -> float:
    """The expanded uncertainty at the setting after so many timings that come out as fitted."""
    one = speeds.from_timed_turns(turns, turns * 60 / (fit.rpm_per_unit * setting))
    u_timed = math.hypot(one.u_own_rpm / math.sqrt(timings), one.u_shared_rpm) / setting
    u_own = math.sqrt(max(fit.u_rpm_per_unit**2 - fit.u_shared**2, 0.0))
    u_before = math.hypot(u_own / (fit.birge_ratio if fit.inflated else 1.0), fit.u_shared)
    dof = fit.chi2_dof + timings
    inflated = fit.inflated and fit.chi2 > chi2_quantile(CONSISTENT, dof)
    birge = math.sqrt(fit.chi2 / dof) if inflated else 1.0
    after = replace(
        fit,
        u_rpm_per_unit=birge / math.sqrt(1 / u_before**2 + 1 / u_timed**2),
        dof=float(dof) if inflated else math.inf,
        centre_setting=setting,
    )
    return predict(after, setting).expanded()

"""What the gaps between failures of one repaired machine may be used for: trend test first."""

from collections.abc import Sequence

from ledger.compute.failure_trend import FailureTrend, GrowthModel, growth_model, laplace_test
from ledger.compute.not_enough_data import NotEnoughData
from ledger.compute.weibull import Life, WeibullFit, weibull_fit


def gap_lives(failure_hours: Sequence[float], *, end_h: float | None = None) -> tuple[Life, ...]:
    """The gaps between failures as lives, the one that still runs at the end as a survivor.

    Arguments as for `laplace_test`. Two failures at one and the same hour make no gap.

    Raises:
        ValueError: a failure outside the watch.
    """
    times = sorted(failure_hours)
    if times and not (times[0] >= 0 and (end_h is None or times[-1] <= end_h)):
        raise ValueError(f"expected failures from 0 to {end_h!r} h, not {times!r}")
    starts = [0.0, *times]
    gaps = [(b - a, True) for a, b in zip(starts, times, strict=False)]
    if end_h is not None:
        gaps.append((end_h - starts[-1], False))
    return tuple(Life(hours=hours, failed=failed) for hours, failed in gaps if hours > 0)


def life_between_failures(
    failure_hours: Sequence[float], *, end_h: float | None = None, level: float = 0.95
) -> WeibullFit | GrowthModel | NotEnoughData:
    """The Weibull life of the gaps where no trend shows, else the growth model.

    With a trend the gaps are not of one kind, and a Weibull shape fitted to them says nothing
    of wear. Undefined (`NotEnoughData`) where Laplace's test is.
    Source: H. Ascher and H. Feingold, Repairable Systems Reliability, 1984 (recalled, not read).

    Raises:
        ValueError: a failure outside the watch, or the level not between 0 and 1.
    """
    test = laplace_test(failure_hours, end_h=end_h, significance=1 - level)
    if isinstance(test, NotEnoughData):
        return test
    if test.trend is not FailureTrend.NONE_SHOWN:
        return growth_model(failure_hours, end_h=end_h, level=level)
    return weibull_fit(gap_lives(failure_hours, end_h=end_h), level=level)

"""The methods behind the numbers of drift, in words that a reader understands."""

from ledger.book.method import Method
from ledger.compute.drift import EWMA_WEIGHT, MIN_BASELINE, RUN, SIGMAS
from ledger.compute.trend import BASELINE_READINGS, MIN_TREND

DRIFT = (
    Method(
        title="Normal range, and what is unusual",
        says=(
            f"The first {BASELINE_READINGS} readings set a level. Three things are unusual: a "
            f"later reading outside its normal range ({SIGMAS:g} sigma, and wider where few "
            "readings set the level), a weighted average of the last readings outside its own "
            f"(EWMA, which finds small lasting shifts), and {RUN} or more in a row on one side of "
            "the level. One steady reading in 370 is outside by chance."
        ),
        formula=(
            f"level ± {SIGMAS:g} √(s² + u(level)²), Student's t for few readings; average "
            f"E = {EWMA_WEIGHT:g} x + {1 - EWMA_WEIGHT:g} E before"
        ),
        sources=(
            "ISO 7870-2",
            "L. S. Nelson, J. Quality Technology 16(4), 1984, test 2",
            "NIST/SEMATECH 6.3.2.4",
            "R. C. Paule and J. Mandel, J. Res. NBS 87(5), 1982, 377",
        ),
        lacking=f"Needs {MIN_BASELINE} readings for a level; a changed part starts anew.",
        code=(
            "drift.chart_points",
            "drift.drift_signals",
            "drift.drift_baseline",
            "trend.stretches",
        ),
    ),
    Method(
        title="Pace (Theil-Sen)",
        says=(
            "The slope in the middle of those between all pairs of readings, so that one wild "
            "reading does not move it. The range in brackets holds the true pace in 95 of 100 "
            "cases. The chance of finding it by luck is how often steady readings would move as "
            "much."
        ),
        formula="median of (y_j - y_i)/(t_j - t_i) over all pairs",
        sources=("P. K. Sen, JASA 63, 1968", "G. L. Sievers, JASA 73, 1978"),
        lacking=f"Needs readings on {MIN_TREND} different days.",
        code=("trend.robust_slope",),
    ),
    Method(
        title="When a limit is reached",
        says=(
            "Where the pace meets the limit, if it goes on like that, between an earliest and a "
            "latest day. Where the two lie far apart only months are given."
        ),
        formula="(line - limit)² = t² u² solved for the day",
        sources=("E. C. Fieller, J. R. Stat. Soc. B 16, 1954",),
        lacking="Steady readings, or none ahead: no date.",
        code=("trend.limit_crossing",),
    ),
)

"""The methods behind the numbers of drift, in words that a reader understands."""

from ledger.book.method import Method
from ledger.compute.drift import EWMA_WEIGHT, MIN_BASELINE
from ledger.compute.trend import BASELINE_READINGS, MIN_TREND

DRIFT = (
    Method(
        title="Normal range, and what is unusual",
        says=(
            f"The first {BASELINE_READINGS} readings set a level. Two things are unusual: a "
            "later reading outside its normal range, and a weighted average of the last readings "
            "outside its own (EWMA, which finds small lasting shifts). Both ranges are as wide as "
            "it takes for the whole site to have no more false alarms in a year than its policy "
            "asks for (`false_alarms_per_year`), over all series that are watched. Of speeds, "
            "what the other brushes read on the same day have in common is taken out first, "
            "where there are five or more. The chance supposes that one day says nothing of the "
            "next; where readings wander slowly, false alarms come about five times as often."
        ),
        formula=(
            "level ± L √(s² + u(level)²), Student's t for few readings; average "
            f"E = {EWMA_WEIGHT:g} x + {1 - EWMA_WEIGHT:g} E before; L from the chance "
            "1 - exp(-alarms/series) of a series in a year"
        ),
        sources=(
            "J. M. Lucas and M. S. Saccucci, Technometrics 32(1), 1990",
            "D. Brook and D. A. Evans, Biometrika 59(3), 1972",
            "NIST/SEMATECH 6.3.2.4",
            "R. C. Paule and J. Mandel, J. Res. NBS 87(5), 1982, 377",
        ),
        lacking=f"Needs {MIN_BASELINE} readings for a level; a changed part starts anew.",
        code=(
            "drift.chance_of_alarm",
            "drift.chart_points",
            "drift.drift_signals",
            "drift.drift_baseline",
            "trend.stretches",
        ),
    ),
    Method(
        title="Pace (weighted line)",
        says=(
            "The slope of the line through the readings, each weighed by its uncertainty. An "
            "error that all have in common, as of one instrument, moves no slope. Where readings "
            "scatter more than stated, wander from one to the next, or come in steps, the range "
            "is wider for it. One reading far from all others is named and left out. The range "
            "in brackets holds the true pace in about 95 of 100 cases, and where readings wander "
            "in about 85. The chance of finding it by luck is how often steady readings would "
            "move as much."
        ),
        formula=(
            "b = Σ w (t - t̄)(y - ȳ)/Σ w (t - t̄)², w = 1/u²; U(b) = t max(1, √(χ²/ν)) f u(b), f "
            "for residuals that go together; step/(√6 span) added"
        ),
        sources=(
            "JCGM 100:2008, F.1.2.3",
            "R. T. Birge, Phys. Rev. 40, 1932, 207",
            "F. E. Satterthwaite, Biometrics Bulletin 2, 1946",
        ),
        lacking=f"Needs readings on {MIN_TREND} different days.",
        code=("trend.fit_line", "wander.wander"),
    ),
    Method(
        title="When a limit is reached",
        says=(
            "Where the pace meets the limit, if it goes on like that, between an earliest and a "
            "latest day. Where the two lie far apart only months are given."
        ),
        formula="(line - limit)² = t² u(line)² solved for the day",
        sources=("E. C. Fieller, J. R. Stat. Soc. B 16, 1954",),
        lacking="No rise or fall shown, or no limit ahead: no date.",
        code=("trend.limit_crossing",),
    ),
)

"""The methods behind the numbers of drift, in words that a reader understands."""

from ledger.book.method import Method
from ledger.compute.drift import EWMA_WEIGHT, MIN_BASELINE, STATED_WEIGHT
from ledger.compute.trend import BASELINE_READINGS, MIN_TREND

DRIFT = (
    Method(
        title="Normal range, and what is unusual",
        says=(
            f"The first {BASELINE_READINGS} readings set a level. Two things are unusual: a later "
            "reading outside its normal range, and a weighted average of the last readings "
            "outside its own range (EWMA, which finds small lasting shifts). Both ranges are set "
            "so that the whole site, over all series that are watched, has no more false alarms "
            "in a year than its policy allows (`false_alarms_per_year`). If five or more other "
            "brushes were read on the same day, the change that they share is removed from the "
            "speed first. The chance of a false alarm assumes that readings on different days are "
            "independent. If readings wander slowly, false alarms come about five times as often. "
            "What readings scatter beyond their uncertainties is found from the first ones. For "
            f"speeds it is as if {STATED_WEIGHT} more scattered as stated: that doubt makes a step "
            "of one standard deviation known in about 25 weeks, where a known scatter would make "
            "it 17. What is read off an instrument is judged by its own scatter alone, and never "
            "by less than its graduation / √6, as that says how finely it is read and not how "
            "steady it is: a coarse scale finds little. In a stream of water, flow, pressure and "
            "temperature go with the season and are followed only where their point has a band; "
            "levels and counts that run down are never followed."
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
        lacking=f"Needs {MIN_BASELINE} readings for a level; a changed part starts a new one.",
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
            "The slope of a line through the readings, each weighted by its uncertainty. An error "
            "that all readings share, as of one instrument, does not change the slope. The range "
            "is made wider where readings vary more than stated, wander, or come in steps. One "
            "reading far from all others is listed and left out. The range in brackets holds the "
            "true rate in about 95 of 100 cases, or about 85 where readings wander, as half a year "
            "of readings cannot fully tell a slow wander from wear. The chance shown is how often "
            "steady readings would move as much by chance."
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
            "The day on which the line meets the limit if the present rate goes on, with an "
            "earliest and a latest day, which hold it in about 95 of 100 cases, or about 80 where "
            "readings wander. Where these are far apart, only months are given."
        ),
        formula="(line - limit)² = t² u(line)² solved for the day",
        sources=("E. C. Fieller, J. R. Stat. Soc. B 16, 1954",),
        lacking="No rise or fall shown, or no limit ahead: no date.",
        code=("trend.limit_crossing",),
    ),
)

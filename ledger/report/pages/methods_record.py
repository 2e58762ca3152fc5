"""Methods behind lubrication, wear, drift, reliability and work in time, in a reader's words."""

from ledger.assess.reliability import LEVEL, MIN_SIGNS
from ledger.compute.drift import EWMA_WEIGHT, RUN, SIGMAS
from ledger.compute.drift_baseline import MIN_BASELINE
from ledger.compute.failure_trend import MIN_TREND_FAILURES
from ledger.compute.interval_value import MIN_INTERVAL_FAILURES
from ledger.compute.mann_kendall import MIN_TREND
from ledger.compute.rounding import fixed
from ledger.compute.stretch import BASELINE_READINGS
from ledger.compute.weibull import MIN_FAILURES
from ledger.report.pages.drift_words import RULE_READ_TO_IN, RULE_READ_TO_MM
from ledger.report.pages.method import NO_SOURCE, Method

LUBRICATION = (
    Method(
        title="Grams for one greasing",
        says="A charge goes with the bearing's outer diameter and width.",
        formula="G = 0.005 D B, in g and mm",
        sources=("machinerylubrication.com 31524",),
        lacking="Without the bearing's size: no charge, and the plan alone judges.",
        code=(
            "lubrication.grease_mass_g",
            "lubrication.strokes_for",
            "lubrication.mass_of_strokes_g",
        ),
    ),
    Method(
        title="Interval between greasings",
        says=(
            "The handbook's hours, for grease that ages in steady running, against the site's "
            "practice; the shorter is in force. The factors shorten it for heat, dirt, water, "
            "shaking, a standing shaft and rollers in place of balls."
        ),
        formula="t = K [14·10⁶/(n √d) - 4 d] hours; K = Ft Fc Fm Fv Fp Fd",
        sources=("machinerylubrication.com 31524",),
        lacking="At standstill and for large fast bearings the formula does not hold.",
        code=(
            "lubrication.handbook_hours",
            "lubrication.handbook_factor",
            "lubrication.temperature_factor",
            "lubrication.grease_interval",
        ),
    ),
    Method(
        title="Grease given against grease wanted",
        says=(
            "Strokes on record against the amounts and intervals of the plan. Under half is too "
            "little, over twice too much; an unweighed gun may leave both possible."
        ),
        formula="share = Σ given/(each × days/interval)",
        sources=(NO_SOURCE,),
        lacking="No strokes noted: nothing is said of the amount.",
        code=(
            "grease_record.grease_balance",
            "grease_record.total_g",
            "grease_record.cartridges_left",
        ),
    ),
    Method(
        title="Rating life of a bearing",
        says=(
            "How long a bearing lasts against fatigue alone. In a wash water ends bearings first, "
            "so it is the most that can be hoped for."
        ),
        formula="L = a1 (C/P)^p million turns; hours = 10⁶ L/(60 n)",
        sources=("ISO 281:2007",),
        lacking="Without load rating and load there is no life.",
        code=(
            "bearing_life.rating_life_mrev",
            "bearing_life.rating_life_hours",
            "bearing_life.swinging_life",
        ),
    ),
)

WEAR = (
    Method(
        title="Nozzle",
        says=(
            "The caught flow, carried to the rated pressure, as a share of a new nozzle's. 90 to "
            "110 % is sound; more is worn, less is clogged."
        ),
        formula="q = (V/t) √(p_rated/p)/Q_new",
        sources=("JCGM 100:2008, 5.1.6", "JCGM 106:2012, clause 8"),
        lacking="Without a rated flow and pressure in the file there is no verdict.",
        code=("spray.nozzle_state", "spray.average_hides"),
    ),
    Method(
        title="Chain",
        says="How much longer so many pitches are than when new.",
        formula="100 (L - n P)/(n P) %",
        sources=("chain makers' maintenance pages", "JCGM 106:2012, clause 8"),
        lacking="Without the pitch in the file there is no elongation.",
        code=("wear.chain_wear", "wear.chain_limit_percent"),
    ),
    Method(
        title="Belt",
        says=(
            "Pushed in the middle, a belt should give 1/64 of its span under a force between the "
            "maker's normal and half as much again. Its limits are shown as finely as a rule is "
            f"read, to {RULE_READ_TO_IN} in or {RULE_READ_TO_MM} mm; the verdict and the dates use "
            "the exact values."
        ),
        formula="deflection = span/64",
        sources=("TM 5-4310-339-15, 5-5.1",),
        lacking="Without the span in the file there is no limit.",
        code=("wear.belt_deflection_mm", "wear.belt_verdict"),
    ),
    Method(
        title="Damper",
        says="Bounces counted when the arm is let go.",
        formula="bounces against those allowed",
        sources=(NO_SOURCE,),
        lacking="Not checked: named as such.",
        code=("wear.damper_verdict",),
    ),
    Method(
        title="Cloth, and the day it is worn",
        says=(
            "Strips wear by vehicles washed, not by days. The pace is the one in the middle of "
            "those between all pairs of measurements, and the meter's recent rate makes a date "
            "of it."
        ),
        formula="length = a - b × vehicles, b the median of all pairs",
        sources=("Theil-Sen",),
        lacking=f"Needs {MIN_TREND} measurements at different counts of vehicles.",
        code=("strip_wear.strip_forecast", "meter.meter_log", "meter.total_on"),
    ),
)

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
            "drift_baseline.drift_baseline",
            "stretch.stretches",
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
        code=("forecast.limit_crossing",),
    ),
)

RELIABILITY = (
    Method(
        title="Hours between failures (MTBF)",
        says=(
            "Operating hours over failures. The range in brackets holds the true figure in "
            f"{fixed(100 * LEVEL, 0)} of 100 cases; with one failure it is very wide."
        ),
        formula="2 T/χ²(1-α/2; 2r+2) to 2 T/χ²(α/2; 2r)",
        sources=("NIST/SEMATECH e-Handbook 8.4.5.1", "IEC 60605-4"),
        lacking="With a trend in the failures the figure means nothing and is left out.",
        code=("reliability.mean_time_between_failures",),
    ),
    Method(
        title="Available",
        says="The share of the time that the machine is up, by hours between failures and stops.",
        formula="MTBF/(MTBF + mean time stopped)",
        sources=("IEC 60050-192-08-07",),
        lacking="No stop noted: no share.",
        code=("reliability.availability",),
    ),
    Method(
        title="Do failures come faster (Laplace's test)",
        says=(
            "Whether failures crowd to the end of the time watched, more than chance would make "
            "in 1 case of 20. If so, the growth model (Crow-AMSAA, a power law) says how fast."
        ),
        formula="mean of the failure times against half the time watched",
        sources=(
            "D. R. Cox and P. A. W. Lewis, The Statistical Analysis of Series of Events, 1966",
            "IEC 61164:2004, 7.2",
        ),
        lacking=f"Needs {MIN_TREND_FAILURES} failures.",
        code=("failure_trend.laplace_test", "failure_trend.growth_model"),
    ),
    Method(
        title="Life of a part (Weibull)",
        says=(
            "Lives of parts that failed and of those that still run. Shape above 1: the part wears "
            "out, so renewing it in time helps. About 1: failures come at any age, and renewing "
            "early gains nothing. Below 1: new parts fail soon; look at the fitting."
        ),
        formula="share that lives longer than t: exp(-(t/η)^β), β shape, η scale",
        sources=("IEC 61649:2008", "W. Q. Meeker and L. A. Escobar"),
        lacking=f"Needs {MIN_FAILURES} failures.",
        code=("weibull.weibull_fit", "gap_life.life_between_failures"),
    ),
    Method(
        title="Best age for a renewal",
        says=(
            "The age at which renewals and failures together cost least an hour, by the costs in "
            "the machine's file. Only for a part that wears out."
        ),
        formula="h(t) ∫₀ᵗR + R(t) = c_f/(c_f - c_p)",
        sources=("R. E. Barlow and L. C. Hunter, Operations Research 8(1), 1960",),
        lacking="No costs, several parts, or wear not shown: no age.",
        code=("replacement.best_replacement_age",),
    ),
    Method(
        title="Does the time since a service matter",
        says=(
            "Failures in the first half of the interval against those in the second. If a service "
            "helps and wears off, the second half has more. It compares; it never says that an "
            "interval may be longer."
        ),
        formula="late failures of all, against the share of days watched late (binomial)",
        sources=("J. Przyborowski and H. Wilenski, Biometrika 31, 1940",),
        lacking=f"Needs {MIN_INTERVAL_FAILURES} failures between services; fewer prove nothing.",
        code=("interval_value.interval_value",),
    ),
    Method(
        title="How often to look for a sign",
        says=(
            "Where a finding announced failures, so many looks must fall between the first sign "
            "and the failure that all of them miss it only seldom."
        ),
        formula="looks = ln P/ln(1 - θ)",
        sources=("NAVAIR 00-25-403",),
        lacking=f"Needs {MIN_SIGNS} failures that a finding announced.",
        code=("inspection.inspection_plan", "inspection.looks_needed"),
    ),
)

IN_TIME = (
    Method(
        title="Done in time",
        says=(
            "Each due date of a task at a place counts once. It is in time when the work was done "
            "between the first and the last day that the task allows. A day's work answers the "
            "newest due date that was open; those before it that nothing answered are not done."
        ),
        formula="share = in time/(in time + late + early + not done)",
        sources=("EN 15341",),
        lacking=(
            "Due dates that are still open are left out, and those that passed while the machine "
            "was out of service: that work is due on the day it is back."
        ),
        code=("schedule.obligations", "schedule.next_due", "schedule.state_on"),
    ),
)

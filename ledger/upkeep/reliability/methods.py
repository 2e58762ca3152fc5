"""The methods behind the numbers of reliability, in words that a reader understands."""

from ledger.book.method import Method
from ledger.compute.interval_value import MIN_INTERVAL_FAILURES
from ledger.compute.numbers import fixed
from ledger.compute.reliability import MIN_TREND_FAILURES
from ledger.compute.weibull import MIN_FAILURES
from ledger.upkeep.reliability.found import LEVEL, MIN_SIGNS

RELIABILITY = (
    Method(
        title="Hours between failures (MTBF)",
        says=(
            "Operating hours divided by the number of failures. The range in brackets holds the "
            f"true figure in {fixed(100 * LEVEL, 0)} of 100 cases. With one failure it is very "
            "wide."
        ),
        formula="2 T/χ²(1-α/2; 2r+2) to 2 T/χ²(α/2; 2r)",
        sources=("NIST/SEMATECH e-Handbook 8.4.5.1", "IEC 60605-4"),
        lacking="If the failures show a trend, the figure has no meaning and is left out.",
        code=("reliability.mean_time_between_failures",),
    ),
    Method(
        title="Available",
        says=(
            "Two shares of the opening hours. A machine is down from the finding of a failure to "
            "the entry that closes it. The line is down for the minutes noted. The range assumes "
            "that stops come at a constant rate; if they come in bursts, it is too narrow. The "
            "figure is shown with as many digits as the record supports."
        ),
        formula="up/(up + down); limits by F with 2n and 2n + 2, n stops, n/cv² where cv > 1",
        sources=("IEC 60050-192-08", "K. S. Trivedi, Probability and Statistics, 2nd edition"),
        lacking="Without a stop: the hours without one, and no share.",
        code=("reliability.availability",),
    ),
    Method(
        title="Do failures come faster (Laplace's test)",
        says=(
            "Whether the failures come closer together towards the end of the time watched, more "
            "than chance would give in 1 case of 20. If so, a growth model (Crow-AMSAA, a power "
            "law) says how fast."
        ),
        formula="mean of the failure times against half the time watched",
        sources=(
            "D. R. Cox and P. A. W. Lewis, The Statistical Analysis of Series of Events, 1966",
            "IEC 61164:2004, 7.2",
        ),
        lacking=f"Needs {MIN_TREND_FAILURES} failures.",
        code=("reliability.laplace_test", "reliability.growth_model"),
    ),
    Method(
        title="Life of a part (Weibull)",
        says=(
            "From the lives of parts that failed and of parts that still run. Shape above 1: the "
            "part wears out, so renewing it in time helps. About 1: it fails at any age, and "
            "renewing it early gains nothing. Below 1: new parts fail soon; check the fitting."
        ),
        formula=(
            "share that lives longer than t: exp(-(t/η)^β), β shape, η scale; "
            "p(β) ∝ β^(r-2) Π t_failed^β (Σ t^β - Σ a^β)^-r, a the age when the watch began"
        ),
        sources=("IEC 61649:2008", "J. F. Lawless, Statistical Models and Methods"),
        lacking=(
            f"Needs {MIN_FAILURES} failures. A part that was there before the record began is left "
            "out, because its age is not known."
        ),
        code=("weibull.weibull_fit", "reliability.life_between_failures"),
    ),
    Method(
        title="A place and its sisters",
        says=(
            "A place that failed three times or more is compared with the same point on the other "
            "machines of its kind. If it fails more often than they do, it has a cause of its "
            "own. Renewing it at a fixed age would only hide the cause."
        ),
        formula="chance of so many of all failures, at its share of the hours (binomial)",
        sources=("J. Przyborowski and H. Wilenski, Biometrika 31, 1940",),
        lacking="No other machine of the kind to compare with.",
        code=("reliability.chance_of_so_many",),
    ),
    Method(
        title="Best age for a renewal",
        says=(
            "The age at which renewals and failures together cost least for each hour of running, "
            "by the costs in the machine's file. If the file does not say what a failure costs, "
            "the record does. An age is advised only if it saves money with a probability of 95 "
            "%, and is shown with what it saves."
        ),
        formula="h(t) ∫₀ᵗR + R(t) = c_f/(c_f - c_p); P(cost(t) < cost of failures) >= 0.95",
        sources=("R. E. Barlow and L. C. Hunter, Operations Research 8(1), 1960",),
        lacking="No costs, several parts at once, or too few failures: no age.",
        code=("weibull.best_replacement_age", "weibull.age_advice"),
    ),
    Method(
        title="Does the time since a service matter",
        says=(
            "Compares failures in the first half of the interval with those in the second. If a "
            "service helps and its effect wears off, the second half has more. This only "
            "compares. It never says that an interval may be longer."
        ),
        formula="late failures of all, against the share of days watched late (binomial)",
        sources=("J. Przyborowski and H. Wilenski, Biometrika 31, 1940",),
        lacking=f"Needs {MIN_INTERVAL_FAILURES} failures between services; fewer prove nothing.",
        code=("interval_value.interval_value",),
    ),
    Method(
        title="How often to look for a sign",
        says=(
            "For failures that a finding announced: how many inspections must fall between the "
            "first sign and the failure, so that all of them seldom miss it."
        ),
        formula="looks = ln P/ln(1 - θ)",
        sources=("NAVAIR 00-25-403",),
        lacking=f"Needs {MIN_SIGNS} failures that a finding announced.",
        code=("reliability.inspection_plan", "reliability.looks_needed"),
    ),
)

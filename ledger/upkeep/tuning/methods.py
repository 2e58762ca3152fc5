"""The methods behind the numbers of recommended settings, in a reader's words."""

from ledger.book.method import NO_SOURCE, Method
from ledger.compute.ratio import (
    MEASURED_ENOUGH,
    NAMEPLATE_RELATIVE_U,
    NEW_MOTOR_EFFICIENCY,
    NEW_MOTOR_RELATIVE_U,
)
from ledger.compute.tuning import FEW_READINGS

SETTINGS = (
    Method(
        title="Speed for each hertz, or for each gallon a minute",
        says=(
            "Speed is proportional to the setting. All readings since the drive was last changed "
            "give one figure; long counts weigh more than short ones. Where the readings vary "
            "more than their uncertainties explain, U is made larger by the same factor (Birge "
            "ratio), and readings that disagree are listed. While the speed at one setting still "
            "rises or falls (the line of Drift, 95 %), the figure is that of the line on one day: "
            "the day asked for, that on which a proposed setting takes effect, or on pages of no "
            "day that of the last reading. Readings before a step or a bend no longer "
            "count: two levels, or another slope, explain them better."
        ),
        formula=(
            "n = k s; k = Σ(s n/u²)/Σ(s²/u²); u(k) = 1/√Σ(s²/u²), times √(χ²/ν) if too large; "
            "drifting: k = a + b (day - pivot), u² = u_a² + 2 c (day - pivot) + u_b² (day - pivot)²"
        ),
        sources=("R. T. Birge, Phys. Rev. 40, 1932, 207", "O. Bodnar and C. Elster, Metrologia 51"),
        lacking=(
            f"With fewer than {MEASURED_ENOUGH} readings the nameplate is used too. Its ratio is "
            f"assumed good to {100 * NAMEPLATE_RELATIVE_U:g} % (one standard uncertainty). A "
            "hydraulic motor of which nothing is known is assumed to turn with "
            f"{100 * NEW_MOTOR_EFFICIENCY:g} % of the oil, to "
            f"{100 * NEW_MOTOR_RELATIVE_U:g} % of that."
        ),
        code=(
            "ratio.fit_ratio",
            "ratio.reading_of",
            "ratio.setting_for",
            "ratio.nameplate_prior",
            "ratio.slip_rpm_at_shaft",
            "ratio.displacement_prior",
            "trend.at_one_pace",
            "trend.since_step",
        ),
    ),
    Method(
        title="Recommended setting",
        says=(
            "The step of the drive whose predicted speed is nearest to the target, inside the "
            "drive's limits. Motor slip and leaking oil make the prediction less certain away "
            "from the settings that were read. A flow dial that is set again adds the uncertainty "
            "of its step. Where a motor leaks more than about 7 % of its oil, U holds the speed at "
            "a new setting in about 93 of 100 cases. A rise or fall that may be chance is not in "
            "the speed and adds to its U, which then holds it in about 90 of 100 cases."
        ),
        formula="s = target/k, rounded; after one more reading 1/u² = 1/u₁² + 1/u₂²",
        sources=("GUM 4.3.7",),
        lacking=(
            "No limits, no band, or neither reading nor nameplate: no setting, and the page says "
            "why."
        ),
        code=("ratio.predict", "tuning.recommend", "tuning.next_readings", "ratio.drive_cautions"),
    ),
    Method(
        title="Time whole turns",
        says=(
            f"Fewer than {FEW_READINGS} readings that disagree, or a U wider than the band, give "
            "no useful setting. The page then says how many whole turns to time, from pass to "
            "pass. That is enough if they agree with each other."
        ),
        formula="each further timing adds 1/u² and one degree of freedom; wanted: U ≤ band/4",
        sources=(NO_SOURCE,),
        lacking="If ten timings of forty turns would not be enough, look for the reason first.",
        code=("tuning.timings_to_settle", "tuning.few_disagree", "band.wider_than"),
    ),
    Method(
        title="Wear of an oil motor (volumetric efficiency)",
        says=(
            "The share of the oil that turns the motor; the rest leaks past inside it. If it "
            "falls at the same flow, the motor is worn. The dial's step, its scale (assumed good "
            "to 2 %) and the motor's displacement (1 %) make the efficiency uncertain by about "
            "three points. A change of efficiency does not depend on scale and displacement; E_n "
            "says whether it is more than chance."
        ),
        formula="η = n V i/(1000 Q), V in cm³, Q in L/min; leakage n (1/η - 1) at one pressure",
        sources=("ISO 4391", "ISO 13528"),
        lacking="With few readings: the efficiency now, but no change.",
        code=("ratio.efficiency_of", "ratio.efficiency_change", "ratio.leakage_rpm"),
    ),
)

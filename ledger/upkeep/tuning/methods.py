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
            "Speed goes with the setting. All readings since the drive was last changed give one "
            "figure, long counts weighing more than short ones. Where they scatter more than they "
            "should, U grows as much (Birge ratio), and those that disagree are named, never left "
            "out in silence. Where they disagree and their line over time rises or falls, the "
            "older half is left behind and the rest asked again: a slipping belt runs at the "
            "speed of today."
        ),
        formula="n = k s; k = Σ(s n/u²)/Σ(s²/u²); u(k) = 1/√Σ(s²/u²), times √(χ²/ν) if too large",
        sources=("R. T. Birge, Phys. Rev. 40, 1932, 207", "O. Bodnar and C. Elster, Metrologia 51"),
        lacking=(
            f"Below {MEASURED_ENOUGH} readings the nameplate takes part, its ratio taken to "
            f"{100 * NAMEPLATE_RELATIVE_U:g} % and a hydraulic motor of which nothing is known to "
            f"turn by {100 * NEW_MOTOR_EFFICIENCY:g} % of the oil, to "
            f"{100 * NEW_MOTOR_RELATIVE_U:g} % of that: assumed, one standard uncertainty."
        ),
        code=(
            "ratio.fit_ratio",
            "ratio.reading_of",
            "ratio.setting_for",
            "ratio.nameplate_prior",
            "ratio.slip_rpm_at_shaft",
            "ratio.displacement_prior",
        ),
    ),
    Method(
        title="Recommended setting",
        says=(
            "The step of the drive whose predicted speed is nearest to the target, inside the "
            "drive's limits. A motor's slip, or oil that leaks, adds doubt away from where the "
            "readings lie; a flow dial that is set anew adds its step."
        ),
        formula="s = target/k, rounded; after one more reading 1/u² = 1/u₁² + 1/u₂²",
        sources=("GUM 4.3.7",),
        lacking="No limits, no band, neither reading nor nameplate: no setting, and it says why.",
        code=("ratio.predict", "tuning.recommend", "tuning.next_readings", "ratio.drive_cautions"),
    ),
    Method(
        title="Time whole turns",
        says=(
            f"Fewer than {FEW_READINGS} readings that disagree, or a U wider than the band, give "
            "no setting worth trying. It says how many whole turns, timed from pass to pass, "
            "would do if they agree with each other."
        ),
        formula="each further timing adds 1/u² and one degree of freedom; wanted: U ≤ band/4",
        sources=(NO_SOURCE,),
        lacking="Where ten timings of forty turns would not do, look for the reason first.",
        code=("tuning.timings_to_settle", "tuning.few_disagree", "band.wider_than"),
    ),
    Method(
        title="Wear of an oil motor (volumetric efficiency)",
        says=(
            "The share of the oil that turns the motor; the rest leaks past inside. A fall at the "
            "same flow is wear. The dial's step, its scale (taken as 2 % either way) and the "
            "motor's displacement (1 %) make the efficiency itself doubtful by some three points; "
            "a change is free of scale and displacement, and told from chance by E_n."
        ),
        formula="η = n V i/(1000 Q), V in cm³, Q in L/min; leakage n (1/η - 1) at one pressure",
        sources=("ISO 4391", "ISO 13528"),
        lacking="Few readings: the efficiency now, and no word on a change.",
        code=("ratio.efficiency_of", "ratio.efficiency_change", "ratio.leakage_rpm"),
    ),
)

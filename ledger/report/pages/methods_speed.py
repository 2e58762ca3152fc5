"""Methods behind speeds, settings, the line and the load, in words that a reader understands."""

from ledger.compute.band import SURE
from ledger.compute.count_again import FEW_READINGS
from ledger.compute.mann_kendall import MIN_TREND
from ledger.compute.ratio import MEASURED_ENOUGH
from ledger.compute.rounding import fixed
from ledger.compute.taps import LEAST_TAPS
from ledger.report.pages.method import NO_SOURCE, Method

_SURE = f"{fixed(100 * SURE, 0)} %"

SPEEDS = (
    Method(
        title="Speed of a shaft, and ± U",
        says=(
            "Passes or turns over time. ± U (the expanded uncertainty) is how far off that can be: "
            "the true speed lies inside it in about 95 of 100 readings. A short count has a wide "
            "U, as a pass more or less is caught or missed."
        ),
        formula="n = 60 N/(T p); (u(n)/n)² = (u(N)/N)² + (u(T)/T)²; U = k u, k = 2",
        sources=("JCGM 100:2008", "GUM 5.1.6", "GUM 4.3.9", "GUM G.3.2"),
        lacking="Raw numbers that give no speed are named with the reason.",
        code=(
            "speed.from_pass_count",
            "speed.from_timed_turns",
            "speed.from_tachometer",
            "speed.from_video",
            "speed.coverage_factor",
        ),
    ),
    Method(
        title="Speed from taps",
        says=(
            "A straight line through the times of the taps. How much the taps scatter about it "
            "gives U. Doubled and missed taps are found and left out or stepped over."
        ),
        formula="t_k = a + P k by least squares; var(P) = s²/Σ(k - mean k)²",
        sources=("GUM H.3",),
        lacking=f"Fewer than {LEAST_TAPS} taps give no speed.",
        code=("taps.from_taps",),
    ),
    Method(
        title="In band, out of band, cannot tell",
        says=(
            f"In band is said where the chance of it is {_SURE} or more, out of band where the "
            "chance of lying beyond one limit is. Anything between is called cannot tell, with the "
            "count that would tell. Between the line rates that a file states, a band is drawn on "
            "a straight line."
        ),
        formula="chance = Φ((high - y)/u) - Φ((low - y)/u); Student's t for few readings",
        sources=("JCGM 106:2012, 7.2", "JCGM 106:2012 clause 8"),
        lacking="A machine without a band gets no verdict.",
        code=(
            "band.p_in_band",
            "band.verdict",
            "band.verdict_of",
            "band.seconds_to_decide_by_count",
            "band.turns_to_decide",
            "band.band_at",
        ),
    ),
    Method(
        title="Do two results agree (E_n)",
        says=(
            "The difference of two results over the uncertainty of that difference. From -1 to 1 "
            "they agree as far as anybody can tell; beyond, something has changed or one is wrong."
        ),
        formula="E_n = (x - X)/√(U(x)² + U(X)²)",
        sources=("ISO 13528",),
        lacking="Nothing earlier to hold a reading against: nothing is said.",
        code=("agreement.e_number",),
    ),
)

SETTINGS = (
    Method(
        title="Speed for each hertz, or for each gallon a minute",
        says=(
            "Speed goes with the setting. All readings since the drive was last changed give one "
            "figure, long counts weighing more than short ones. Where they scatter more than they "
            "should, U grows as much (Birge ratio), and those that disagree are named, never left "
            "out in silence."
        ),
        formula="n = k s; k = Σ(s n/u²)/Σ(s²/u²); u(k) = 1/√Σ(s²/u²), times √(χ²/ν) if too large",
        sources=("R. T. Birge, Phys. Rev. 40, 1932, 207", "O. Bodnar and C. Elster, Metrologia 51"),
        lacking=f"Below {MEASURED_ENOUGH} readings the nameplate takes part, widely uncertain.",
        code=(
            "ratio.fit_ratio",
            "ratio.reading_of",
            "ratio.setting_for",
            "drive.nameplate_prior",
            "drive.slip_rpm_at_shaft",
            "hydraulic.displacement_prior",
        ),
    ),
    Method(
        title="Readings that the shaft has moved away from",
        says=(
            "Where readings disagree and rise or fall with time (Mann-Kendall test: count the "
            "pairs of readings that rise and those that fall), the older half is left behind, and "
            "the rest asked again: a slipping belt runs at the speed of today."
        ),
        formula="S = pairs that rise - pairs that fall; p by how S scatters without a trend",
        sources=("H. B. Mann, Econometrica 13, 1945", "M. G. Kendall, Rank Correlation Methods"),
        lacking=f"Needs {MIN_TREND} readings.",
        code=("mann_kendall.mann_kendall",),
    ),
    Method(
        title="Recommended setting",
        says=(
            "The step of the drive whose predicted speed is nearest to the target, inside the "
            "drive's limits. A motor's slip adds doubt away from where the readings lie."
        ),
        formula="s = target/k, rounded; after one more reading 1/u² = 1/u₁² + 1/u₂²",
        sources=("GUM 4.3.7",),
        lacking="No limits, no band, neither reading nor nameplate: no setting, and it says why.",
        code=("ratio.predict", "tuning.recommend", "tuning.next_readings", "drive.drive_cautions"),
    ),
    Method(
        title="Count again",
        says=(
            f"Fewer than {FEW_READINGS} readings that disagree, or a U wider than the band, give "
            "no setting worth trying. It says how many more counts would do if they agree with "
            "each other."
        ),
        formula="each further count adds 1/u² and one degree of freedom; wanted: U ≤ band/4",
        sources=(NO_SOURCE,),
        lacking="Where ten counts of a minute would not do, look for the reason first.",
        code=(
            "count_again.counts_to_settle",
            "count_again.few_disagree",
            "count_again.wider_than",
        ),
    ),
    Method(
        title="Wear of an oil motor (volumetric efficiency)",
        says=(
            "The share of the oil that turns the motor; the rest leaks past inside. A fall at the "
            "same flow is wear. The change is told from chance by E_n."
        ),
        formula="η = n V i/(1000 Q), V in cm³, Q in L/min",
        sources=("ISO 4391", "ISO 13528"),
        lacking="Few readings: the efficiency now, and no word on a change.",
        code=("hydraulic.efficiency_of", "hydraulic.efficiency_change"),
    ),
)

LINE = (
    Method(
        title="Line rate, cloth and contacts",
        says=(
            "Vehicles an hour from chain speed and the distance from front to front. Cloth past "
            "the panel is the speed of the cloth's edge, with the line's added where the brush "
            "turns against the travel and taken off where it turns with it."
        ),
        formula="rate = 3600 v/pitch; edge = π D n/60; contacts = strips n/(60 v)",
        sources=("GUM 5.1.6",),
        lacking="What a machine's file does not state (diameter, strips, turns) stays a dash.",
        code=(
            "line.chain_speed_over_distance",
            "line.line_rate",
            "line.edge_speed_m_s",
            "line.cloth_speed_m_s",
            "line.contacts_per_m",
            "line.same_cloth_table",
            "turning.expected_turning",
        ),
    ),
)

LOAD = (
    Method(
        title="Panel load",
        says=(
            "Full-load amps by the code's table for the motor's size. The feeder must carry 125 % "
            "of the largest motor and 100 % of the others. For planning only: a licensed "
            "electrician and the local code decide."
        ),
        formula="feeder = 1.25 largest + Σ others",
        sources=("NEC Table 430.250", "NEC 430.24"),
        lacking="A size or voltage outside the table: the nameplate's amps, or none.",
        code=("motor_amps.full_load_amps", "motor_amps.motor_size_hp", "motor_amps.panel_load"),
    ),
    Method(
        title="Oil against electricity",
        says=(
            "What the one motor gives at the shaft is asked of the other. The oil motor's torque "
            "comes from its displacement and the drop of pressure."
        ),
        formula="T = Δp V η/(20 π); P = 2 π n T/60 000; n = 1000 Q η/V",
        sources=("ISO 4391",),
        lacking="Without a pressure drop or a displacement in the file there is no conversion.",
        code=("load.electric_instead", "hydraulic.motor_torque_nm", "hydraulic.motor_rpm"),
    ),
    Method(
        title="Another speed of a fan or a pump",
        says=(
            "Flow goes with speed, pressure with its square, power with its cube. Brushes and "
            "piston pumps are different: their torque stays, and power goes with speed."
        ),
        formula="Q ~ n, H ~ n², P ~ n³; constant torque: P ~ n",
        sources=("the affinity laws",),
        lacking="Does not hold for pumps that lift water or feed against a held pressure.",
        code=("affinity.centrifugal_at_speed", "affinity.constant_torque_power"),
    ),
)

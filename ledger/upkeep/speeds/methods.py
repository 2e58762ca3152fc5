"""The methods behind the numbers of speeds, in words that a reader understands."""

from ledger.book.method import Method
from ledger.compute.band import SURE
from ledger.compute.numbers import fixed
from ledger.compute.speed import LEAST_TAPS, RHYTHM_SHOWS_TAPS

_SURE = f"{fixed(100 * SURE, 0)} %"


SPEEDS = (
    Method(
        title="Speed of a shaft, and ± U",
        says=(
            "Passes or turns divided by time. ± U (the expanded uncertainty) says how far off the "
            "speed can be: the true speed is inside it in about 95 of 100 readings. A short count "
            "has a wide U, because one pass more or less may be counted. That holds over all "
            "speeds: at one at which counts of one length always leave nearly half a pass over, "
            "U holds only about 70 to 85 times. A stop-watch pressed by "
            "hand is taken as good to 0.10 s. Each person also presses always early or always "
            "late, by some 0.05 s (0.06 s for a watch started on a pass, which starts 0.11 s "
            "late). A tachometer is taken to show tenths, unless its file says otherwise, and to "
            "repeat to 0.2 %. A film's frame rate may be 0.1 % off where it is a whole number, "
            "and 0.01 % where it has decimals."
        ),
        formula="n = 60 N/(T p); (u(n)/n)² = (u(N)/N)² + (u(T)/T)²; U = k u, k = 2",
        sources=("JCGM 100:2008", "GUM 5.1.6", "GUM 4.3.9", "GUM G.3.2", "Am. J. Phys. 87"),
        lacking="Raw numbers that give no speed are listed with the reason.",
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
            "A straight line through the times of the taps. The scatter of the taps about the "
            "line gives U. U also grows where neighbouring taps err together. "
            f"In fewer than {RHYTHM_SHOWS_TAPS} taps that may not show, so U is then at least "
            "that of the first and the last tap. Where a finger keeps its own rhythm, the person "
            "is asked to tap again and watch the mark, as then U holds the speed in about 80 to "
            "90 of 100 cases. Double taps are left out, and missed taps are allowed for."
        ),
        formula="t_k = a + P k; var(P) = f² s²/Σ(k - mean k)², f by the correlation of the taps",
        sources=("GUM H.3", "GUM G.4.1"),
        lacking=f"Fewer than {LEAST_TAPS} taps give no speed; fewer than 10 give a rough one.",
        code=("speed.from_taps",),
    ),
    Method(
        title="What readings err by together",
        says=(
            "One tachometer reads all its speeds a little high or a little low. One person "
            "presses the watch always early or always late. Counts of the same length that start "
            "on a pass all leave out the same part of a turn. Readings that share such an error "
            "are averaged first, and the shared error is added once. More readings of the same "
            "kind do not make it smaller; another instrument, another person or timing whole "
            "turns does. Two tachometers without a certificate may have been set by each other: "
            "what they err by is added up, or the better one is used alone. Instruments that "
            "disagree are listed, and no setting is recommended from them together."
        ),
        formula="u²(k) = Σ aᵢ² uᵢ² + Σ over shared errors (Σ aᵢ cᵢ)²; weights within a group 1/uᵢ²",
        sources=("JCGM 100:2008, 5.2.2", "T. Burr et al., Algorithms 4"),
        lacking="An error that is stated nowhere.",
        code=(
            "shared.shared_mean",
            "shared.shared_covariance",
            "speed.own_u_rpm",
            "ratio.apart_from_others",
        ),
    ),
    Method(
        title="In band, out of band, cannot tell",
        says=(
            f"A reading is in band if the chance of that is {_SURE} or more. It is out of band if "
            f"the chance of being beyond one limit is {_SURE} or more. Otherwise the verdict is "
            "cannot tell, with the count that would tell. Between two line rates in the machine's "
            "file, the band is interpolated on a straight line."
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
            "The difference of two results divided by the uncertainty of that difference. From -1 "
            "to 1 they agree within their uncertainties. Beyond that, something has changed or "
            "one of them is wrong."
        ),
        formula="E_n = (x - X)/√(U(x)² + U(X)²)",
        sources=("ISO 13528",),
        lacking="No earlier result to compare with.",
        code=("speed.e_number",),
    ),
)

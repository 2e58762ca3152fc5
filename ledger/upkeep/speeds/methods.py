"""The methods behind the numbers of speeds, in words that a reader understands."""

from ledger.book.method import Method
from ledger.compute.band import SURE
from ledger.compute.numbers import fixed
from ledger.compute.speed import LEAST_TAPS

_SURE = f"{fixed(100 * SURE, 0)} %"


SPEEDS = (
    Method(
        title="Speed of a shaft, and ± U",
        says=(
            "Passes or turns over time. ± U (the expanded uncertainty) is how far off that can be: "
            "the true speed lies inside it in about 95 of 100 readings. A short count has a wide "
            "U, as a pass more or less is caught or missed. A hand times to 0.10 s, and always "
            "errs by some 0.05 s besides (0.06 s where it starts on a pass, which it presses "
            "0.11 s late); a tachometer shows tenths unless its file says otherwise, and repeats "
            "to 0.2 %; a film's whole number of frames a second may be 0.1 % off, a rate with "
            "decimals 0.01 %."
        ),
        formula="n = 60 N/(T p); (u(n)/n)² = (u(N)/N)² + (u(T)/T)²; U = k u, k = 2",
        sources=("JCGM 100:2008", "GUM 5.1.6", "GUM 4.3.9", "GUM G.3.2", "Am. J. Phys. 87"),
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
            "gives U, and U always grows by as much as neighbouring taps err together: a finger "
            "that keeps its own beat is told to tap again watching the mark. Doubled and missed "
            "taps are found and left out or stepped over."
        ),
        formula="t_k = a + P k; var(P) = f² s²/Σ(k - mean k)², f by the correlation of the taps",
        sources=("GUM H.3", "GUM G.4.1"),
        lacking=f"Fewer than {LEAST_TAPS} taps give no speed; fewer than 10 only about one.",
        code=("speed.from_taps",),
    ),
    Method(
        title="What readings err by together",
        says=(
            "One tachometer reads all its speeds a little high or a little low, one hand presses "
            "alike each time, and counts of one length that start on a pass leave the same part "
            "of a turn out. Readings that share such an error are averaged first, and the shared "
            "part is added once: more of the same does not help, another instrument, another "
            "person or whole turns do. Instruments that disagree are named, and no setting is "
            "told from them together."
        ),
        formula="u²(k) = Σ aᵢ² uᵢ² + Σ over shared errors (Σ aᵢ cᵢ)²; weights within a group 1/uᵢ²",
        sources=("JCGM 100:2008, 5.2.2", "T. Burr et al., Algorithms 4"),
        lacking="An error that nobody named, such as two instruments set by one another.",
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
        code=("speed.e_number",),
    ),
)

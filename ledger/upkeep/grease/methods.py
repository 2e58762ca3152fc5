"""The methods behind the numbers of lubrication, in words that a reader understands."""

from ledger.book.method import NO_SOURCE, Method

LUBRICATION = (
    Method(
        title="Grams for one greasing",
        says="A charge goes with the bearing's outer diameter and width.",
        formula="G = 0.005 D B, in g and mm",
        sources=("machinerylubrication.com 31524",),
        lacking="Without the bearing's size: no charge, and the plan alone judges.",
        code=(
            "grease.grease_mass_g",
            "grease.strokes_for",
            "grease.mass_of_strokes_g",
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
            "grease.handbook_hours",
            "grease.handbook_factor",
            "grease.temperature_factor",
            "grease.grease_interval",
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
            "grease.grease_balance",
            "grease.total_g",
            "grease.cartridges_left",
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
            "grease.rating_life_mrev",
            "grease.rating_life_hours",
            "grease.swinging_life",
        ),
    ),
)

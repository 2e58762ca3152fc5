"""The methods behind the numbers of lubrication, in words that a reader understands."""

from ledger.book.method import NO_SOURCE, Method

LUBRICATION = (
    Method(
        title="Grams for one greasing",
        says="One charge is proportional to the bearing's outer diameter and width.",
        formula="G = 0.005 D B, in g and mm",
        sources=("machinerylubrication.com 31524",),
        lacking="Without the bearing's size there is no charge, and only the plan is used.",
        code=(
            "grease.grease_mass_g",
            "grease.strokes_for",
            "grease.mass_of_strokes_g",
        ),
    ),
    Method(
        title="Interval between greasings",
        says=(
            "Two intervals are compared: the handbook's, for grease that ages in steady running, "
            "and the site's own. The shorter is in force. The factors shorten the handbook's for "
            "heat, dirt, water, vibration, a vertical shaft, and rollers instead of balls."
        ),
        formula="t = K [14·10⁶/(n √d) - 4 d] hours; K = Ft Fc Fm Fv Fp Fd",
        sources=("machinerylubrication.com 31524",),
        lacking="At standstill and for large fast bearings the formula does not hold.",
        code=(
            "grease.handbook_hours",
            "grease.handbook_factors",
            "grease.handbook_factor",
            "grease.temperature_factor",
            "grease.grease_interval",
        ),
    ),
    Method(
        title="Grease given against grease wanted",
        says=(
            "The strokes on record compared with the amounts and intervals of the plan. Under "
            "half is too little, over twice is too much. If the gun was not weighed, the answer "
            "may be cannot tell."
        ),
        formula="share = Σ given/(each × days/interval)",
        sources=(NO_SOURCE,),
        lacking="No strokes on record.",
        code=(
            "grease.grease_balance",
            "grease.grease_verdict",
            "grease.total_g",
            "grease.cartridges_left",
        ),
    ),
    Method(
        title="Rating life of a bearing",
        says=(
            "How long a bearing lasts against metal fatigue alone. In a wash, water and dirt end "
            "most bearings first, so this is the longest life to expect."
        ),
        formula="L = (C/P)^p million turns; hours = 10⁶ L/(60 n)",
        sources=("ISO 281:2007",),
        lacking="No load rating or load in the file.",
        code=(
            "grease.rating_life_mrev",
            "grease.rating_life_hours",
            "grease.swinging_life",
        ),
    ),
)

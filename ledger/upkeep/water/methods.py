"""The methods behind the numbers of water and chemistry, in words that a reader understands."""

from ledger.book.method import NO_SOURCE, Method

_GUM = "JCGM 100:2008, 5.1.3, note 2"
_D4516 = "ASTM D4516"

WATER = (
    Method(
        title="Water that a softener gives",
        says=(
            "Capacity less reserve, divided by the hardness of the raw water. A grain a US gallon "
            "is 17.1 mg/L as calcium carbonate. Iron and manganese load the resin besides."
        ),
        formula="V = C (1 - reserve)/hardness; u² = Σ (½ (f(x + u) - f(x - u)))²",
        sources=(_GUM,),
        lacking="Needs the capacity in the file of the resin and a hardness of the raw water.",
        code=("water.softener_run_l", "estimate.worked_out"),
    ),
    Method(
        title="Membrane",
        says=(
            "Recovery is the product's share of the feed; salt held back is one less the ratio of "
            "two conductivities by the same meter. The flow is brought to 25 °C and to the net "
            "pressure of the new membrane: feed less half of the pressure drop less the osmotic "
            "pressure of the mean feed side; the product is taken to run off without pressure. "
            "Below 85 % of new, clean it (from memory: makers say 10 to 15 % down)."
        ),
        formula=(
            "Y = Qp/(Qp + Qr); 1 - Cp/Cf; Qn = Qp (P0/P)/TCF, TCF = exp(K (1/298.15 - 1/T)), "
            "K 3020 below 25 °C, else 2640"
        ),
        sources=(_D4516, "membrane makers' manuals"),
        lacking="Needs flows, conductivities, temperature and pressures of one day.",
        code=(
            "water.recovery",
            "water.rejection",
            "water.net_pressure_kpa",
            "water.feed_side_factor",
            "water.temperature_factor",
            "water.normalised_flow",
        ),
    ),
    Method(
        title="Dilution",
        says=(
            "n to 1 is n parts of water to one of product, one part in n + 1. Against a sample "
            "mixed by hand, strength goes with the drops less those of plain water. Each count is "
            "right to half a drop: five drops cannot prove a tenth, so use more sample until it "
            "takes fifteen or more."
        ),
        formula="n + 1 = (n0 + 1) (d0 - b)/(d - b); 100/(n + 1) %",
        sources=("trade magazine on titration kits", "JCGM 100:2008, 4.3.7"),
        lacking="Where the blank takes nearly as many drops as a sample.",
        code=("water.parts_by_titration", "water.percent_of_dilution"),
    ),
    Method(
        title="Product and water a vehicle takes",
        says=(
            "By flow, time and dilution for one vehicle that gets it; by the fall of the drum "
            "divided by all vehicles for the mean one. A stretch in which the level rose, or in "
            "which something was used at the drum by the record (`part`, `used`), holds a fill and "
            "is left out. A fill that nobody wrote down and that did not lift the level above its "
            "last reading is not seen, and makes the product look less. Water is the meters' "
            "difference, right to 2 %, divided by the vehicles of the same days."
        ),
        formula="q t/(n + 1); π d²/4 Δh/vehicles; ΔV/vehicles; reclaimed/(fresh + reclaimed)",
        sources=(NO_SOURCE,),
        lacking="Needs meters read within a week of both ends of a month, and vehicles counted.",
        code=(
            "water.dose_ml",
            "water.drum_l",
            "water.per_vehicle",
            "water.reclaim_share",
        ),
    ),
)

"""The methods behind the numbers of pumps, worn cloth and energy."""

from ledger.book.method import NO_SOURCE, Method

DUTY = (
    Method(
        title="Pump against nozzles",
        says=(
            "The flow of each nozzle at the gauge's pressure less the line loss that the file of "
            "its machine states, by its last catch or as new to 5 %, added up and held against "
            "what the pump gives. Power is flow times the gauge's pressure."
        ),
        formula="Σ q √(p/p_rated); P = Q p; p ~ (pump/nozzles)²",
        sources=(NO_SOURCE,),
        lacking="Needs the pump's flow, the machines that it feeds and a reading of its gauge.",
        code=("wear.flow_at_pressure", "duty.hydraulic_kw", "duty.pressure_held"),
    ),
    Method(
        title="Worn cloth",
        says=(
            "Strips lose length at both ends of a diameter. The edge speed falls with the "
            "diameter; more turns bring it back until the band ends."
        ),
        formula="D = D0 - 2 (L0 - L); v = π D n/60; n = n0 D0/D",
        sources=(NO_SOURCE,),
        lacking="Needs the diameter of the new brush, its band, and the length of its strips.",
        code=("duty.worn_diameter", "duty.rpm_to_hold", "duty.least_length"),
    ),
    Method(
        title="Energy of a vehicle",
        says=(
            "Between two readings of the meter: energy = idle a day × days + each × vehicles, "
            "fitted over all of them. The uncertainty comes from the scatter."
        ),
        formula="E = a days + b vehicles, weighted least squares",
        sources=("JCGM 100:2008, H.3",),
        lacking="Needs eight readings with different traffic between them.",
        code=("duty.idle_and_each",),
    ),
)

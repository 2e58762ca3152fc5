"""The methods behind the numbers of load and conversion, in words that a reader understands."""

from ledger.book.method import Method

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
        code=("load.full_load_amps", "load.motor_size_hp", "load.panel_load"),
    ),
    Method(
        title="Feeder with frequency drives",
        says=(
            "A drive takes another current than its motor, and drives are often oversized. Two "
            "readings of the code stand side by side: 125 % of the largest and 100 % of the rest "
            "with each drive at its rated input; or 125 % of every drive's input. The larger one "
            "is held against the rating. For an electrician to decide."
        ),
        formula="1.25 largest + Σ others; 1.25 Σ inputs + 1.25 largest motor + Σ other motors",
        sources=("NEC 430.24", "NEC 430.122(A)"),
        lacking="Without `input_a` of every drive on the panel it cannot be told.",
        code=("load.feeder_by_drive_inputs",),
    ),
    Method(
        title="Oil against electricity",
        says=(
            "The other kind of motor must give the same torque and speed at the shaft. The oil "
            "motor's torque comes from its displacement and the pressure drop."
        ),
        formula="T = Δp V η/(20 π); P = 2 π n T/60 000; n = 1000 Q η/V",
        sources=("ISO 4391",),
        lacking="Without a pressure drop or a displacement in the file there is no conversion.",
        code=(
            "load.electric_instead",
            "load.hydraulic_instead",
            "ratio.motor_torque_nm",
            "ratio.motor_rpm",
        ),
    ),
    Method(
        title="Another speed of a fan or a pump",
        says=(
            "Flow is proportional to speed, pressure to its square, power to its cube. Brushes "
            "and piston pumps differ: their torque stays the same, and their power is "
            "proportional to speed."
        ),
        formula="Q ~ n, H ~ n², P ~ n³; constant torque: P ~ n",
        sources=("the affinity laws",),
        lacking="Does not hold for pumps that lift water or feed against a constant pressure.",
        code=("load.centrifugal_at_speed", "load.constant_torque_power"),
    ),
)

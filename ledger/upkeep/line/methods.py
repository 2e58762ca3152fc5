"""The methods behind the numbers of line rate and cloth, in words that a reader understands."""

from ledger.book.method import Method

LINE = (
    Method(
        title="Line rate, cloth and contacts",
        says=(
            "Vehicles an hour from the chain speed and the vehicle spacing, front to front. The "
            "cloth passes the panel at the speed of the brush's edge; the line speed is added "
            "where the brush turns against the travel, and subtracted where it turns with it."
        ),
        formula="rate = 3600 v/pitch; edge = π D n/60; contacts = strips n/(60 v)",
        sources=("GUM 5.1.6",),
        lacking=(
            "If the machine's file does not state diameter, strips or direction, the cell shows a "
            "dash."
        ),
        code=(
            "line.chain_speed_over_distance",
            "line.line_rate",
            "line.edge_speed_m_s",
            "line.cloth_speed_m_s",
            "line.contacts_per_m",
            "line.same_cloth_table",
            "line.expected_turning",
        ),
    ),
)

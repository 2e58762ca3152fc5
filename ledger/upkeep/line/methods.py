"""The methods behind the numbers of line rate and cloth, in words that a reader understands."""

from ledger.book.method import Method

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
            "line.expected_turning",
        ),
    ),
)

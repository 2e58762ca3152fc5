"""The methods behind the numbers of stops, in words that a reader understands."""

from ledger.book.method import NO_SOURCE, Method

DOWNTIME = (
    Method(
        title="Cost of a stop",
        says=(
            "What the site states for an hour (`down_per_h`). Without it, the vehicles that would "
            "have come, times the share that drives away, times the margin of a wash: price less "
            "water, product and power. Where nobody counted who drives away, it is a range from "
            "none to all. Who pays by the month and comes again costs nothing at once. Planned "
            "stops are counted and cost nothing here."
        ),
        formula="cost an hour = vehicles an hour × share that leaves × margin",
        sources=(NO_SOURCE,),
        lacking="Needs `down_per_h`, or `margin_per_vehicle`, under `costs` in site.yaml.",
        code=("downtime.stop_cost_per_h", "downtime.lost_vehicles"),
    ),
)

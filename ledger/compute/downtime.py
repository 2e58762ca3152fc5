"""What a stop of the line costs, as a range where a share is not known."""

from ledger.compute.numbers import check_not_negative


def lost_vehicles(minutes: float, per_h: float, leaving: float) -> float:
    """Vehicles lost in a stop: those that would have come, times the share that drives away.

    The rest wait and are washed later. It is the definition; the share is the site's own figure.

    Raises:
        ValueError: a number is negative, or the share is above 1.
    """
    check_not_negative(minutes=minutes, per_h=per_h, leaving=leaving)
    if leaving > 1:
        raise ValueError(f"expected a share of at most 1, not {leaving!r}")
    return minutes / 60 * per_h * leaving


def stop_cost_per_h(
    per_h: float, margin: float, leaving: tuple[float, float]
) -> tuple[float, float]:
    """The least and the most that an hour of the line costs by the vehicles lost in it.

    `margin` is what is left of the price of one wash after water, product and power, and `leaving`
    the least and the greatest share that drives away. The cost is the product of the three, by
    definition; who pays by the month and comes again costs nothing at once.

    Raises:
        ValueError: as `lost_vehicles`, or the margin is negative.
    """
    check_not_negative(margin=margin)
    low, high = (margin * lost_vehicles(60, per_h, share) for share in leaving)
    return low, high

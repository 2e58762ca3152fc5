"""How low a part may run before it is ordered."""

from ledger.compute.distributions import betainc
from ledger.compute.numbers import check_above_zero, check_not_negative

_MOST = 10_000  # no shelf holds more; without an end a wrong record would be searched for ever


def reorder_point(*, uses: int, days: float, lead_days: float, service: float) -> int | None:
    """The least stock, in uses, that lasts until an order comes in with probability `service`.

    `uses` are those counted in `days` of record; they come at random at a steady rate (Poisson),
    which so few of them tell poorly: the rate has the gamma distribution of shape uses + 1/2 that
    Jeffreys' prior leaves, so the uses in `lead_days` are negative binomial. A part never used
    may still be wanted. None where more than 10,000 would be needed. Source:
    A. Gelman et al., Bayesian Data Analysis, 3rd ed., 2.6 (recalled).

    Raises:
        ValueError: `uses` negative, `days` or `lead_days` not above 0, `service` not in (0, 1).
    """
    check_not_negative(uses=uses)
    check_above_zero(days=days, lead_days=lead_days)
    if not 0 < service < 1:
        raise ValueError(f"expected a probability between 0 and 1, not {service!r}")
    known = days / (days + lead_days)
    return next((s for s in range(_MOST) if betainc(uses + 0.5, s + 1, known) >= service), None)

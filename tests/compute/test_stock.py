import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import nbinom, poisson

from ledger.compute.reliability import reorder_point

MONTH = 365.25 / 12


# Computed apart with scipy 1.17 (nbinom), in months of record and of lead time.
@pytest.mark.parametrize(
    ("uses", "months", "lead", "level"),
    [(4, 13, 1.5, 2), (2, 8, 4, 4), (1, 12, 3, 2), (0, 12, 3, 1)],
)
def test_few_uses(uses, months, lead, level):
    found = reorder_point(uses=uses, days=months * MONTH, lead_days=lead * MONTH, service=0.95)
    assert found == level


# The level of a rate that is known well is that of Poisson's distribution, by its mean in the lead
# time; the levels by hand from tables of it (scipy 1.17).
@pytest.mark.parametrize(
    ("mean", "level"), [(0.2, 1), (0.5, 2), (1, 3), (2, 5), (3, 6), (5, 9), (10, 15)]
)
def test_many_uses(mean, level):
    days = 100_000 * mean
    found = reorder_point(uses=int(days), days=days, lead_days=mean, service=0.95)
    assert found == level == poisson.ppf(0.95, mean)


@given(
    st.integers(0, 60),
    st.floats(10, 1500),
    st.floats(1, 200),
    st.sampled_from([0.9, 0.95, 0.98, 0.99]),
)
def test_the_level_is_the_least_that_lasts(uses, days, lead, service):
    level = reorder_point(uses=uses, days=days, lead_days=lead, service=service)

    among = nbinom(uses + 0.5, days / (days + lead))
    assert among.cdf(level) >= service - 1e-9
    assert level == 0 or among.cdf(level - 1) < service + 1e-9


def test_a_service_next_to_none_asks_for_no_stock():
    assert reorder_point(uses=1, days=365, lead_days=10, service=0.005) == 0


def test_more_than_a_shelf_holds_is_no_level():
    assert reorder_point(uses=1_000_000, days=1, lead_days=30, service=0.95) is None


@pytest.mark.parametrize(
    "wrong", [{"uses": -1}, {"days": 0}, {"lead_days": 0}, {"service": 1.0}], ids=str
)
def test_what_cannot_be(wrong):
    with pytest.raises(ValueError, match=r"not|expected"):
        reorder_point(**{"uses": 1, "days": 365, "lead_days": 10, "service": 0.95, **wrong})


@pytest.mark.parametrize("uses", range(5))
@pytest.mark.parametrize(("beyond", "more"), [(-1e-6, 0), (1e-6, 1)])
def test_a_level_lasts_up_to_its_own_probability(uses, beyond, more):
    service = nbinom(uses + 0.5, 365 / (365 + 60)).cdf(2)
    found = reorder_point(uses=uses, days=365, lead_days=60, service=service + beyond)
    assert found == 2 + more

"""The Mann-Kendall test against scipy, pymannkendall and plain enumeration."""

from itertools import combinations, permutations

import pymannkendall
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from ledger.compute.numbers import NotEnoughData
from ledger.compute.trend import MannKendall, exact_reach, mann_kendall

WEARING = [9.2, 8.9, 9.4, 9.1, 8.7, 8.8, 8.5, 8.6, 8.2, 8.4]


def kendall_of(values) -> MannKendall:
    answer = mann_kendall(values)
    assert isinstance(answer, MannKendall)
    return answer


def score(values) -> int:
    return sum((b > a) - (b < a) for a, b in combinations(values, 2))


def test_ten_wearing_readings():
    """S and slope from scipy and pymannkendall; var(S) = n(n-1)(2n+5)/18 = 125."""
    answer = kendall_of(WEARING)
    reference = pymannkendall.original_test(WEARING)

    assert (answer.s, answer.variance, answer.is_exact) == (-33, 125, False)
    assert answer.p_value == pytest.approx(reference.p, rel=1e-12)


@pytest.mark.parametrize(
    ("count", "s", "published"),
    [
        # D. Helsel, R. Hirsch, Statistical Methods in Water Resources, Table B8; Hollander and
        # Wolfe Table A.30 (one-sided upper tails; recalled, each is also scipy's exact value).
        pytest.param(5, 10, 0.0083, id="kendall-table-n5-s10"),
        pytest.param(5, 8, 0.042, id="kendall-table-n5-s8"),
        pytest.param(6, 11, 0.028, id="kendall-table-n6-s11"),
        pytest.param(9, 20, 0.022, id="kendall-table-n9-s20"),
    ],
)
def test_exact_tails_of_the_printed_table(count, s, published):
    values = next(p for p in permutations(range(count)) if score(p) == s)

    assert kendall_of(values).p_value / 2 == pytest.approx(published, abs=6e-4)


@given(st.lists(st.integers(-50, 50), min_size=5, max_size=9, unique=True))
def test_exact_p_is_scipys(values):
    reference = stats.kendalltau(range(len(values)), values, method="exact").pvalue

    assert kendall_of(values).p_value == pytest.approx(reference, rel=1e-9)


@pytest.mark.parametrize("values", [(1, 2, 2, 3, 3), (1, 1, 1, 2, 3), (2, 1, 2, 1, 3, 3)])
def test_exact_p_with_ties_counts_every_order(values):
    size = abs(score(values))
    orders = list(permutations(values))
    share = sum(abs(score(order)) >= size for order in orders) / len(orders)

    assert kendall_of(values).p_value == pytest.approx(share, rel=1e-12)


@given(st.lists(st.integers(0, 12), min_size=10, max_size=40))
def test_long_records_agree_with_pymannkendall(values):
    reference = pymannkendall.original_test(values) if len(set(values)) > 1 else None
    answer = kendall_of(values)

    if reference is None:
        assert (answer.s, answer.variance, answer.p_value) == (0, 0, 1.0)
    else:
        assert (answer.s, answer.variance) == (reference.s, pytest.approx(reference.var_s))
        assert answer.p_value == pytest.approx(reference.p, rel=1e-9, abs=1e-15)


@given(st.lists(st.integers(-50, 50), min_size=5, max_size=15))
def test_order_turned_round_turns_the_sign(values):
    forward, backward = kendall_of(values), kendall_of(values[::-1])

    assert forward.s == -backward.s
    assert forward.p_value == backward.p_value


@given(st.lists(st.integers(-50, 50), min_size=5, max_size=15), st.floats(0.1, 50))
def test_any_rising_scale_gives_the_same_answer(values, scale):
    assert kendall_of(values) == kendall_of([scale * v**3 + v for v in values])


def test_four_values_can_never_speak():
    answer = mann_kendall([1, 2, 3, 4])

    assert isinstance(answer, NotEnoughData)
    assert (answer.have, answer.need) == (4, 5)


def test_what_is_within_reach_is_not_significant():
    """Five readings: |S| = 8 has p 0.083, |S| = 10 has p 0.017."""
    assert exact_reach([1, 2, 3, 4, 5], 0.95) == 8

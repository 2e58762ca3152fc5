"""Distribution functions against scipy, published tables and their own inverses."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import special, stats

from ledger.compute.distributions import (
    betainc,
    chi2_cdf,
    chi2_quantile,
    chi2_upper_tail,
    f_quantile,
    gammainc,
    gammaincc,
    normal_cdf,
    normal_quantile,
    t_cdf,
    t_quantile,
    t_upper_tail,
)

probability = st.floats(1e-9, 1 - 1e-9)
degrees_of_freedom = st.one_of(st.integers(1, 200).map(float), st.floats(0.5, 1e6))


def close(value):
    return pytest.approx(value, rel=1e-9, abs=1e-12)


@pytest.mark.parametrize(
    ("dof", "expected"),
    [
        pytest.param(1, 12.71, id="GUM table G.2, 95 %, 1"),
        pytest.param(2, 4.30, id="GUM table G.2, 95 %, 2"),
        pytest.param(5, 2.57, id="GUM table G.2, 95 %, 5"),
        pytest.param(10, 2.23, id="GUM table G.2, 95 %, 10"),
        pytest.param(16, 2.12, id="GUM table G.2, 95 %, 16 (GUM H.1 uses 16)"),
        pytest.param(50, 2.01, id="GUM table G.2, 95 %, 50"),
        pytest.param(math.inf, 1.960, id="GUM table G.2, 95 %, infinity"),
    ],
)
def test_students_t_is_the_table_of_the_gum(dof, expected):
    assert t_quantile(0.975, dof) == pytest.approx(expected, abs=0.0051)


@pytest.mark.parametrize(
    ("p", "dof", "expected"),
    [
        pytest.param(0.05, 10, 3.940, id="NIST e-Handbook 1.3.6.7.4, lower 0.05"),
        pytest.param(0.95, 10, 18.307, id="NIST e-Handbook 1.3.6.7.4, upper 0.05"),
        pytest.param(0.99, 1, 6.635, id="NIST e-Handbook 1.3.6.7.4, upper 0.01"),
    ],
)
def test_chi_square_is_the_published_table(p, dof, expected):
    assert chi2_quantile(p, dof) == pytest.approx(expected, abs=0.0005)


@given(st.floats(-37, 37))
def test_normal_cdf_is_scipys(z):
    assert normal_cdf(z) == pytest.approx(stats.norm.cdf(z), rel=1e-9)


@given(probability)
def test_normal_quantile_is_scipys(p):
    assert normal_quantile(p) == close(stats.norm.ppf(p))


@given(st.floats(0.01, 5000), st.floats(0, 10))
def test_incomplete_gamma_is_scipys(a, ratio):
    x = a * ratio
    assert gammainc(a, x) == close(special.gammainc(a, x))
    assert gammaincc(a, x) == close(special.gammaincc(a, x))


@given(st.floats(0.05, 2000), st.floats(0.05, 2000), st.floats(0, 1))
def test_incomplete_beta_is_scipys(a, b, x):
    assert betainc(a, b, x) == close(special.betainc(a, b, x))


@given(st.floats(-1000, 1000), degrees_of_freedom)
def test_students_t_cdf_is_scipys(t, dof):
    assert t_cdf(t, dof) == close(stats.t.cdf(t, dof))
    assert t_upper_tail(t, dof) == close(stats.t.sf(t, dof))


@given(probability, degrees_of_freedom)
def test_students_t_quantile_is_scipys(p, dof):
    assert t_quantile(p, dof) == pytest.approx(stats.t.ppf(p, dof), rel=1e-8, abs=1e-9)


@given(st.floats(0, 5000), st.floats(0.5, 2000))
def test_chi_square_cdf_is_scipys(x, dof):
    assert chi2_cdf(x, dof) == close(stats.chi2.cdf(x, dof))
    assert chi2_upper_tail(x, dof) == close(stats.chi2.sf(x, dof))


@given(probability, st.floats(0.5, 2000))
def test_chi_square_quantile_is_scipys(p, dof):
    assert chi2_quantile(p, dof) == pytest.approx(stats.chi2.ppf(p, dof), rel=1e-9)


@pytest.mark.parametrize("dof", [1, 2.5, 30, math.inf])
def test_the_ends_of_the_t_distribution(dof):
    assert t_quantile(0.5, dof) == 0
    assert t_cdf(math.inf, dof) == 1
    assert t_cdf(-math.inf, dof) == 0


def test_the_ends_of_chi_square():
    assert chi2_cdf(-1, 3) == 0
    assert chi2_upper_tail(-1, 3) == 1
    assert gammainc(2, math.inf) == 1
    assert gammaincc(2, math.inf) == 0
    assert chi2_quantile(1e-200, 0.5) < 1e-300


@pytest.mark.parametrize(
    "call",
    [
        lambda: normal_quantile(1.1),
        lambda: normal_quantile(math.nan),
        lambda: t_quantile(-0.1, 3),
        lambda: t_quantile(0.9, 0),
        lambda: t_cdf(1, math.nan),
        lambda: chi2_quantile(0.5, math.inf),
        lambda: chi2_cdf(1, -1),
        lambda: gammainc(0, 1),
        lambda: gammainc(1, -1),
        lambda: betainc(1, 0, 0.5),
        lambda: gammainc(1e13, 1e13),
        lambda: gammaincc(1e13, 1e13 + 2),
        lambda: betainc(1e18, 1e18, 0.5),
        lambda: t_quantile(0, 3),
        lambda: chi2_quantile(1, 3),
    ],
)
def test_arguments_out_of_range_are_refused(call):
    with pytest.raises(ValueError, match="expected"):
        call()


@pytest.mark.parametrize("p", [0.025, 0.5, 0.95])
@pytest.mark.parametrize(("dof", "dof_below"), [(2, 4), (10, 12), (40, 7), (1, 50)])
def test_quantiles_of_f_are_scipys(p, dof, dof_below):
    assert f_quantile(p, dof, dof_below) == pytest.approx(stats.f.ppf(p, dof, dof_below))


@pytest.mark.parametrize(("a", "b"), [(31, 40), (32, 3), (60, 31)])
def test_the_incomplete_beta_from_thirty_on_is_scipys_to_eleven_digits(a, b):
    for x in (0.2, 0.5, 0.8):
        assert betainc(a, b, x) == pytest.approx(special.betainc(a, b, x), rel=1e-11)


def test_an_argument_beyond_what_converges_is_named():
    with pytest.raises(ValueError, match=r"small enough to compute with, not 2e\+18"):
        betainc(1e18, 1e18, 0.5)


@pytest.mark.parametrize("p", [-0.005, 1.005])
def test_a_little_more_than_sure_is_no_probability(p):
    with pytest.raises(ValueError, match="between 0 and 1"):
        chi2_quantile(p, 3)


def test_a_quantile_of_students_t_near_its_middle():
    assert t_quantile(0.5005, 5) == pytest.approx(stats.t.ppf(0.5005, 5), rel=1e-8)

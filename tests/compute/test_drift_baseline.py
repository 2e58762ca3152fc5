"""The frozen baseline against statsmodels and its own promises."""

import math
import random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats.meta_analysis import combine_effects

from ledger.compute.drift import DriftBaseline, drift_baseline
from ledger.compute.numbers import NotEnoughData
from ledger.compute.trend import TimedReading

rows = st.lists(st.tuples(st.floats(-10, 10), st.floats(0.2, 5)), min_size=8, max_size=20)


def readings_of(measured) -> list[TimedReading]:
    return [
        TimedReading(day=day, value=v, standard_uncertainty=u)
        for day, (v, u) in enumerate(measured)
    ]


def baseline_of(measured, **how) -> DriftBaseline:
    baseline = drift_baseline(readings_of(measured), **how)
    assert isinstance(baseline, DriftBaseline)
    return baseline


def test_without_the_stated_weight_excess_scatter_is_paule_and_mandels():
    rng = random.Random(3)
    measured = [(rng.gauss(75, 3), rng.choice([0.5, 1.0, 2.0])) for _ in range(12)]
    values, uncertainties = (np.array(column) for column in zip(*measured, strict=True))
    # Asked for more digits it overshoots by rounding, and gives up with zero.
    reference = combine_effects(values, uncertainties**2, method_re="iterated", atol=1e-7)
    baseline = baseline_of(measured, stated_weight=0)

    assert baseline.excess_sd**2 == pytest.approx(reference.tau2, rel=1e-6)
    assert baseline.centre == pytest.approx(reference.mean_effect_re, rel=1e-9)
    assert baseline.dof == 11


def test_the_stated_uncertainties_weigh_as_five_readings():
    """Of equal u the variance is (Σ(x - mean)² + 5 u²)/(n + 4): 9 · 4 and 5 · 1 over 14."""
    baseline = baseline_of([(75 + 2 * (-1) ** n * math.sqrt(0.9), 1.0) for n in range(10)])

    assert baseline.excess_sd**2 == pytest.approx((36 + 5) / 14 - 1)
    assert baseline.centre_uncertainty == pytest.approx(math.sqrt((36 + 5) / 14 / 10))
    assert baseline.dof == 14


@pytest.mark.parametrize(("size", "is_excess"), [(0.9995, False), (1.0005, True)])
def test_excess_is_looked_for_beyond_the_80_percent_quantile_of_chi_square(size, is_excess):
    """12.242 for nine degrees of freedom (NIST/SEMATECH 1.3.6.7.4 has 14.684 for 90 %)."""
    apart = math.sqrt(size * stats.chi2.ppf(0.8, 9) / 10)
    baseline = baseline_of([(75 + apart * (-1) ** n, 1.0) for n in range(10)])

    assert (baseline.excess_sd > 0) is is_excess


@given(st.lists(st.floats(0.2, 5), min_size=8, max_size=20), st.floats(-100, 100))
def test_readings_closer_than_they_claim_show_no_excess(uncertainties, level):
    baseline = baseline_of([(level, u) for u in uncertainties])

    assert baseline.excess_sd == 0
    assert math.isinf(baseline.dof)
    assert baseline.centre_uncertainty == pytest.approx(sum(u**-2 for u in uncertainties) ** -0.5)


@given(rows, st.floats(0.1, 10), st.floats(-100, 100))
def test_baseline_follows_the_unit(measured, scale, shift):
    plain = baseline_of(measured)
    changed = baseline_of([(scale * v + shift, scale * u) for v, u in measured])

    assert changed.centre == pytest.approx(scale * plain.centre + shift, rel=1e-6, abs=1e-6)
    assert changed.excess_sd == pytest.approx(scale * plain.excess_sd, rel=1e-4, abs=1e-6)


def test_seven_readings_are_no_baseline():
    answer = drift_baseline(readings_of([(75.0, 1.0)] * 7))

    assert isinstance(answer, NotEnoughData)
    assert (answer.have, answer.need) == (7, 8)

"""The correction for residuals that go together, against statsmodels, numpy and simulation."""

import math

import numpy as np
import pytest
from statsmodels.tsa.stattools import acf

from ledger.compute.wander import correction, critical_lag_one, wander

TAPS = [
    *(0.02, 0.80, 1.55, 2.27, 2.99, 3.70, 4.42, 5.15, 5.91, 6.68),
    *(7.44, 8.19, 8.93, 9.66, 10.39, 11.13, 11.88, 12.65, 13.43, 14.19),
]


def residuals_of(values):
    places = np.arange(len(values))
    slope, level = np.polyfit(places, values, 1)
    return list(np.array(values) - level - slope * places)


@pytest.mark.parametrize(
    ("count", "rho", "factor", "dof"),
    [
        pytest.param(10, 0.3, 1.3312, 7.191, id="10-0.3"),
        pytest.param(10, 0.5, 1.6595, 6.117, id="10-0.5"),
        pytest.param(10, 0.8, 2.4933, 4.635, id="10-0.8"),
        pytest.param(20, 0.3, 1.3504, 15.526, id="20-0.3"),
        pytest.param(20, 0.5, 1.7135, 11.995, id="20-0.5"),
        pytest.param(20, 0.8, 2.8614, 6.656, id="20-0.8"),
        pytest.param(40, 0.3, 1.3574, 32.194, id="40-0.3"),
        pytest.param(40, 0.8, 3.0066, 10.385, id="40-0.8"),
        pytest.param(40, 0.5, 1.7275, 23.821, id="40-0.5"),
        pytest.param(40, 0.0, 1.0, 38.0, id="independent"),
    ],
)
def test_factor_and_degrees_of_freedom_by_numpy(count, rho, factor, dof):
    """Worked out before with numpy's full matrices."""
    assert correction(range(count), rho) == pytest.approx((factor, dof), rel=2e-4)


@pytest.mark.parametrize("stated", [0.0, 0.3])
def test_uneven_places_and_weights_against_full_matrices(stated):
    places, levels = np.array([0.0, 1, 2, 5, 6, 9, 14, 15, 20]), np.linspace(0.4, 2, 9)
    design = np.column_stack([levels, levels * places])
    projection = design @ np.linalg.inv(design.T @ design) @ design.T
    wandering = 0.6 ** np.abs(np.subtract.outer(range(9), range(9)))
    together = stated * np.eye(9) + (1 - stated) * wandering
    rest = (np.eye(9) - projection) @ together
    slope = np.linalg.inv(design.T @ design)[1] @ design.T
    plain = slope @ slope
    factor = math.sqrt(slope @ together @ slope / plain * 7 / np.trace(rest))
    dof = np.trace(rest) ** 2 / np.trace(rest @ rest)

    found = correction(levels * places, 0.6, levels, stated=stated)
    assert found == pytest.approx((factor, dof))


def test_a_row_of_taps_that_keeps_its_own_beat():
    residuals = residuals_of(TAPS)
    found = wander(range(20), residuals)

    assert found.lag_one == pytest.approx(acf(residuals, nlags=1)[1])
    assert found.lag_one == pytest.approx(0.7306087)
    assert found.correlation == 0.95
    assert (found.factor, found.dof) == pytest.approx((4.3337, 5.0164), rel=1e-4)
    assert found.is_shown


def test_residuals_that_alternate_ask_for_no_correction():
    found = wander(range(12), residuals_of([(-1) ** k for k in range(12)]))

    assert (found.correlation, found.factor, found.dof) == pytest.approx((0, 1, 10))
    assert not found.is_shown


def test_the_correlation_is_corrected_for_the_bias_of_few_residuals():
    rows = [0, 1, 3, 2, 4, 6, 8, 7, 8, 9, 11, 12]
    found = wander(range(12), residuals_of(rows))

    assert found.correlation == pytest.approx((12 * found.lag_one + 2) / 8)
    assert 0 < found.correlation < 0.95


def test_the_correlation_is_taken_half_its_standard_error_higher_where_it_shows():
    found = wander(range(30), residuals_of([math.sin(k / 3) + 0.5 * (-1) ** k for k in range(30)]))

    assert found.is_shown
    assert found.correlation == pytest.approx((30 * found.lag_one + 2) / 26 + 0.5 / math.sqrt(30))
    assert (found.factor, found.dof) == correction(range(30), found.correlation)


def test_what_is_stated_does_not_wander_so_that_the_rest_does_more():
    residuals = residuals_of([0, 1, 3, 2, 4, 6, 8, 7, 8, 9, 11, 12])
    found = wander(range(12), residuals, stated=0.2)
    whole = (12 * found.lag_one + 2) / 8 + 0.5 / math.sqrt(12)

    assert not found.is_shown
    assert found.correlation == pytest.approx(whole / 0.8)
    assert (found.factor, found.dof) == correction(range(12), found.correlation, stated=0.2)
    assert found.factor > correction(range(12), whole)[0]


def test_where_the_rest_would_run_as_a_line_does_all_of_it_wanders():
    residuals = residuals_of(TAPS)
    assert wander(range(20), residuals, stated=0.5) == wander(range(20), residuals)


def test_seven_residuals_never_show_that_they_wander():
    found = wander(range(7), residuals_of([0, 1, 2, 3, 2, 1, 0]))

    assert found.lag_one > critical_lag_one(7)
    assert not found.is_shown


@pytest.mark.parametrize(
    ("count", "critical"),
    [
        (7, 0.196),
        (8, 0.196),
        (9, 0.2145),
        (10, 0.233),
        (15, 0.248),
        (20, 0.243),
        (26, 0.228),
        (30, 0.222),
        (40, 0.204),
        (60, 0.173),
        (240, 0.0865),
    ],
)
def test_critical_correlation_between_and_beyond_the_simulated_sizes(count, critical):
    assert critical_lag_one(count) == pytest.approx(critical)


@pytest.mark.parametrize("count", [8, 26, 90])
def test_rows_without_wander_are_called_wandering_in_one_of_twenty(count):
    rng = np.random.default_rng(count)
    shown = sum(
        wander(range(count), residuals_of(rng.normal(size=count))).is_shown for _ in range(2000)
    )

    assert shown / 2000 == pytest.approx(0.05, abs=0.02)


def test_four_residuals_are_refused():
    with pytest.raises(ValueError, match="at least 5"):
        wander(range(4), [1, -1, 1, -1])
    assert wander(range(5), [1, -1, 0, -1, 1]).factor == 1

"""Least squares against certified values and statsmodels."""

from pathlib import Path

import numpy as np
import pytest
import scipy
import statsmodels.api as sm
from hypothesis import given
from hypothesis import strategies as st

from ledger.compute.fitted_line import FittedLine, fitted_line
from ledger.compute.not_enough_data import NotEnoughData
from ledger.compute.timed_reading import TimedReading

rows = st.lists(
    st.tuples(st.integers(0, 400), st.floats(-100, 100), st.floats(0.1, 10)),
    min_size=3,
    max_size=15,
    unique_by=lambda r: r[0],
)


def line_of(measured) -> FittedLine:
    line = fitted_line(
        [TimedReading(day=d, value=v, standard_uncertainty=u) for d, v, u in measured]
    )
    assert isinstance(line, FittedLine)
    return line


def norris() -> list[tuple[float, float, float]]:
    """NIST StRD, as scipy ships it: y before x."""
    folder = Path(scipy.__file__).parent / "stats" / "tests" / "data" / "nist_linregress"
    table = np.loadtxt(folder / "Norris.dat", skiprows=60)
    return [(x, y, 1.0) for y, x in table]


def test_certified_values_of_norris():
    """NIST StRD Norris: lower level of difficulty, 36 observations."""
    line = line_of(norris())

    assert line.slope == pytest.approx(1.00211681802045, rel=1e-13)
    assert line.intercept == pytest.approx(-0.262323073774029, rel=1e-11)
    assert line.slope_uncertainty_by_scatter == pytest.approx(0.429796848199937e-03, rel=1e-11)
    assert line.intercept_uncertainty_by_scatter == pytest.approx(0.232818234301152, rel=1e-11)
    assert line.residual_sd == pytest.approx(0.884796396144373, rel=1e-11)


@given(rows)
def test_unequal_uncertainties_agree_with_statsmodels(measured):
    days, values, uncertainties = (np.array(column) for column in zip(*measured, strict=True))
    design = sm.add_constant(days.astype(float), has_constant="add")
    reference = sm.WLS(values, design, weights=uncertainties**-2.0).fit(cov_type="fixed scale")
    line = line_of(measured)

    assert (line.intercept, line.slope) == pytest.approx(
        tuple(reference.params), rel=1e-6, abs=1e-6
    )
    assert line.slope_uncertainty == pytest.approx(reference.bse[1], rel=1e-6)
    assert line.intercept_uncertainty == pytest.approx(reference.bse[0], rel=1e-6)


@given(rows, st.floats(0.1, 10), st.floats(-50, 50))
def test_line_follows_the_unit_of_the_values(measured, scale, shift):
    plain = line_of(measured)
    changed = line_of([(d, scale * v + shift, scale * u) for d, v, u in measured])

    assert changed.at(100) == pytest.approx(scale * plain.at(100) + shift, rel=1e-6, abs=1e-6)
    assert changed.slope_uncertainty == pytest.approx(scale * plain.slope_uncertainty)


@given(st.floats(-5, 5), st.floats(-100, 100))
def test_readings_on_a_line_give_the_line(slope, intercept):
    line = line_of([(d, intercept + slope * d, 1 + d % 3) for d in range(0, 60, 7)])

    assert line.at(1000) == pytest.approx(intercept + slope * 1000, rel=1e-9, abs=1e-7)


@pytest.mark.parametrize(
    "measured", [[], [(1, 1, 1), (2, 2, 1)], [(1, 1, 1), (1, 2, 1), (1, 3, 1)]]
)
def test_too_few_for_a_line(measured):
    answer = fitted_line(
        [TimedReading(day=d, value=v, standard_uncertainty=u) for d, v, u in measured]
    )

    assert isinstance(answer, NotEnoughData)

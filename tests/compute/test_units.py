"""Unit factors against NIST SP 811 and scipy.constants.

The printed factors have seven digits and are held to them. Those of the fluid ounce, the
pound-force and the torques were recalled, not read; scipy's constants hold them again.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants

from ledger.compute.numbers import (
    _QUANTITIES,
    convert,
    quantity_of,
)


@pytest.mark.parametrize(
    ("value", "from_unit", "to_unit", "expected"),
    [
        pytest.param(1, "in", "mm", 25.4, id="SP 811 B.8 inch, exact"),
        pytest.param(1, "ft", "m", 0.3048, id="SP 811 B.8 foot, exact"),
        pytest.param(1, "ft_min", "m_s", 0.00508, id="SP 811 B.8 foot per minute, exact"),
        pytest.param(1, "ft_s", "m_s", 0.3048, id="SP 811 B.8 foot per second, exact"),
        pytest.param(1, "gal", "l", 3.785411784, id="SP 811 B.8 gallon (US), exact"),
        pytest.param(1, "gal", "in3", 231, id="SP 811 B.8 gallon (US), 231 cubic inches"),
        pytest.param(1, "in3", "cm3", 16.387064, id="SP 811 B.8 cubic inch"),
        pytest.param(1, "floz", "ml", 29.57353, id="SP 811 B.8 fluid ounce (US)"),
        pytest.param(1, "gpm", "l_min", 3.785411784, id="SP 811 B.8 gallon per minute"),
        pytest.param(1, "psi", "kpa", 6.894757, id="SP 811 B.8 pound-force per square inch"),
        pytest.param(1, "bar", "kpa", 100, id="SP 811 B.8 bar, exact"),
        pytest.param(1, "oz", "g", 28.349523, id="SP 811 B.8 ounce avoirdupois"),
        pytest.param(1, "lb", "kg", 0.45359237, id="SP 811 B.8 pound avoirdupois"),
        pytest.param(1, "lbf", "n", 4.448222, id="SP 811 B.8 pound-force"),
        pytest.param(1, "lbf_ft", "nm", 1.355818, id="SP 811 B.8 pound-force foot"),
        pytest.param(1, "lbf_in", "nm", 0.1129848, id="SP 811 B.8 pound-force inch"),
        pytest.param(1, "hp", "w", 745.69987, id="SP 811 B.8 horsepower (550 ft lbf/s)"),
        pytest.param(212, "f", "c", 100, id="SP 811 B.8 degree Fahrenheit, water boils"),
        pytest.param(100, "c", "f", 212, id="SP 811 B.8 degree Celsius, water boils"),
        pytest.param(1, "m_min", "m_s", 0.01666667, id="60 seconds in a minute"),
        pytest.param(1, "mpa", "kpa", 1000, id="SI prefixes"),
        pytest.param(1, "grains", "g", 0.06479891, id="SP 811 B.8 grain, exact"),
        pytest.param(1, "gpg", "mg_l", 17.11806, id="SP 811 B.8 grain per gallon (US)"),
        pytest.param(1, "kn", "lbf", 224.8089, id="SP 811 B.8 pound-force, inverse"),
        pytest.param(1, "kw", "hp", 1.341022, id="SP 811 B.8 horsepower, inverse"),
        pytest.param(1, "m", "cm", 100, id="SI prefixes, length"),
        pytest.param(1, "m", "mm", 1000, id="SI prefixes, millimetre"),
        pytest.param(1, "l", "ml", 1000, id="SI prefixes, volume"),
    ],
)
def test_factor_is_that_of_sp_811(value, from_unit, to_unit, expected):
    assert convert(value, from_unit, to_unit) == pytest.approx(expected, rel=5e-7)


@pytest.mark.parametrize(
    ("from_unit", "to_unit", "expected"),
    [
        ("in", "m", constants.inch),
        ("ft", "m", constants.foot),
        ("oz", "kg", constants.oz),
        ("lb", "kg", constants.lb),
        ("lbf", "n", constants.lbf),
        ("lbf_ft", "nm", constants.lbf * constants.foot),
        ("lbf_in", "nm", constants.lbf * constants.inch),
        ("hp", "w", constants.hp),
        ("psi", "kpa", constants.psi / 1000),
        ("gal", "l", constants.gallon_US * 1000),
        ("floz", "l", constants.fluid_ounce_US * 1000),
    ],
)
def test_factor_is_that_of_scipy_constants(from_unit, to_unit, expected):
    assert convert(1, from_unit, to_unit) == pytest.approx(expected, rel=1e-14)


def test_temperature_fixed_points():
    assert convert(32, "f", "c") == 0
    assert convert(212, "f", "c") == pytest.approx(100)
    assert convert(-40, "c", "f") == pytest.approx(-40)


@given(st.sampled_from(sorted(_QUANTITIES)), st.floats(-1e9, 1e9), st.data())
def test_there_and_back_is_the_same_value(unit, value, data):
    alike = sorted(name for name in _QUANTITIES if quantity_of(name) == quantity_of(unit))
    other = data.draw(st.sampled_from(alike))
    assert convert(convert(value, unit, other), other, unit) == pytest.approx(value, rel=1e-14)


@given(st.floats(-1e9, 1e9), st.sampled_from(sorted(_QUANTITIES)))
def test_converting_to_the_same_unit_changes_nothing(value, unit):
    assert convert(value, unit, unit) == value


def test_unlike_quantities_do_not_convert():
    with pytest.raises(ValueError, match="gpm measures flow and psi measures pressure"):
        convert(1, "gpm", "psi")


def test_an_unknown_unit_is_named_with_the_nearest():
    with pytest.raises(ValueError, match="unknown unit 'PSI'; nearest is psi"):
        convert(1, "PSI", "kpa")
    with pytest.raises(ValueError, match=r"unknown unit 'furlong'$"):
        quantity_of("furlong")

"""Conversion factors of NIST Special Publication 811 (2008), appendix B, in one place.

Every factor here is exact by definition or is the product of exact definitions: 1 in = 25.4 mm,
1 lb = 0.453 592 37 kg, 1 gal (US) = 231 in³, g_n = 9.806 65 m/s². A revolution is not a radian:
rotational speed is kept in revolutions per minute throughout and is not in this table.
Unit names are the endings of field names, so `flow_gpm` is converted from `gpm`.
"""

import difflib
from dataclasses import dataclass

_M_PER_IN = 0.0254
_M_PER_FT = 0.3048
_KG_PER_LB = 0.45359237
_STANDARD_GRAVITY_M_S2 = 9.80665
_N_PER_LBF = _KG_PER_LB * _STANDARD_GRAVITY_M_S2
_L_PER_IN3 = (_M_PER_IN * 10) ** 3
_L_PER_GAL = 3.785411784
_W_PER_HP = 550 * _M_PER_FT * _N_PER_LBF
_KPA_PER_PSI = _N_PER_LBF / _M_PER_IN**2 / 1000


@dataclass(frozen=True, slots=True, kw_only=True)
class _Unit:
    quantity: str
    factor: float


_UNITS = {
    "mm": _Unit(quantity="length", factor=0.001),
    "cm": _Unit(quantity="length", factor=0.01),
    "m": _Unit(quantity="length", factor=1),
    "in": _Unit(quantity="length", factor=_M_PER_IN),
    "ft": _Unit(quantity="length", factor=_M_PER_FT),
    "m_s": _Unit(quantity="speed", factor=1),
    "m_min": _Unit(quantity="speed", factor=1 / 60),
    "ft_s": _Unit(quantity="speed", factor=_M_PER_FT),
    "ft_min": _Unit(quantity="speed", factor=_M_PER_FT / 60),
    "ml": _Unit(quantity="volume", factor=0.001),
    "cm3": _Unit(quantity="volume", factor=0.001),
    "l": _Unit(quantity="volume", factor=1),
    "in3": _Unit(quantity="volume", factor=_L_PER_IN3),
    "floz": _Unit(quantity="volume", factor=_L_PER_GAL / 128),
    "gal": _Unit(quantity="volume", factor=_L_PER_GAL),
    "l_min": _Unit(quantity="flow", factor=1),
    "gpm": _Unit(quantity="flow", factor=_L_PER_GAL),
    "kpa": _Unit(quantity="pressure", factor=1),
    "bar": _Unit(quantity="pressure", factor=100),
    "mpa": _Unit(quantity="pressure", factor=1000),
    "psi": _Unit(quantity="pressure", factor=_KPA_PER_PSI),
    "g": _Unit(quantity="mass", factor=0.001),
    "kg": _Unit(quantity="mass", factor=1),
    "oz": _Unit(quantity="mass", factor=_KG_PER_LB / 16),
    "lb": _Unit(quantity="mass", factor=_KG_PER_LB),
    "n": _Unit(quantity="force", factor=1),
    "kn": _Unit(quantity="force", factor=1000),
    "lbf": _Unit(quantity="force", factor=_N_PER_LBF),
    "nm": _Unit(quantity="torque", factor=1),
    "lbf_ft": _Unit(quantity="torque", factor=_N_PER_LBF * _M_PER_FT),
    "lbf_in": _Unit(quantity="torque", factor=_N_PER_LBF * _M_PER_IN),
    "w": _Unit(quantity="power", factor=1),
    "kw": _Unit(quantity="power", factor=1000),
    "hp": _Unit(quantity="power", factor=_W_PER_HP),
}


def convert(value: float, from_unit: str, to_unit: str) -> float:
    """`value` in `from_unit`, expressed in `to_unit`; units are named as field endings.

    Raises:
        ValueError: a unit is unknown, or the two measure different quantities.
    """
    if from_unit == to_unit and from_unit in _UNITS:
        return value
    source, target = _unit(from_unit), _unit(to_unit)
    if source.quantity != target.quantity:
        raise ValueError(
            f"{from_unit} measures {source.quantity} and {to_unit} measures {target.quantity}"
        )
    return value * (source.factor / target.factor)


def quantity_of(unit: str) -> str:
    """What `unit` measures: length, speed, volume, flow, pressure, mass, force, torque, power.

    Raises:
        ValueError: the unit is unknown.
    """
    return _unit(unit).quantity


def celsius_from_fahrenheit(temperature_f: float) -> float:
    """Degrees Celsius from degrees Fahrenheit (SP 811 B.8): t_C = (t_F - 32)/1.8."""
    return (temperature_f - 32) / 1.8


def fahrenheit_from_celsius(temperature_c: float) -> float:
    """Degrees Fahrenheit from degrees Celsius (SP 811 B.8): t_F = 1.8 t_C + 32."""
    return 1.8 * temperature_c + 32


def _unit(name: str) -> _Unit:
    unit = _UNITS.get(name)
    if unit is None:
        near = difflib.get_close_matches(name.lower(), sorted(_UNITS), n=1)
        remedy = f"; nearest is {near[0]}" if near else ""
        raise ValueError(f"unknown unit {name!r}{remedy}")
    return unit

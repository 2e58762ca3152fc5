"""The setting of a drive as typed, held to the unit that the drive is set in."""

import re
from collections.abc import Mapping
from typing import Any

from ledger.compute.units import convert
from ledger.edit.fields import number, setting_unit_key
from ledger.model.machines import ElectricDrive, HydraulicDrive, Machine
from ledger.model.site import Units

_VALUE = re.compile(r"([\d.]+)\s*([a-z/]*)", re.IGNORECASE)
_ENDINGS = {"hz": "hz", "gpm": "flow_gpm", "lpm": "flow_lpm", "l/min": "flow_lpm"}
_SHOWN = {"hz": "Hz", "flow_gpm": "gpm", "flow_lpm": "L/min"}
_FAR = 2.0
"""A flow so many times beyond the valve's upper limit is a number of another unit."""


def setting_words(machine: Machine, units: Units) -> str:
    """The unit of a machine's setting, `Hz`, `gpm` or `L/min`; nothing without a drive."""
    return _SHOWN.get(setting_unit_key(machine, units), "")


def setting_values(text: str, machine: Machine, units: Units) -> dict[str, int | float]:
    """`44`, or `44 42.5` where it was left at another value, by their keys in an entry.

    The unit may be typed behind a value: `44 Hz`, `3.8 gpm`. Raises ValueError, in words, where
    the drive is set in another unit, or in none.
    """
    ending = setting_unit_key(machine, units)
    if not ending:
        raise ValueError(f"{machine.name} has no drive; leave the setting out")
    typed = _VALUE.findall(text)
    rest = _VALUE.sub("", text).strip(" ,")
    if rest or not 1 <= len(typed) <= 2:
        raise ValueError(
            f"`{text}` is no setting in {_SHOWN[ending]}; "
            "write what was found, and behind it what you left it at, if another"
        )
    found: dict[str, int | float] = {}
    for stem, (value, unit) in zip(("found", "left"), typed, strict=False):
        told = _ENDINGS.get(unit.lower(), "") if unit else ending
        if (told == "hz") != (ending == "hz") or not told:
            raise ValueError(_set_in(machine))
        found[f"{stem}_{told}"] = number(value)
        _hold_to_flow_limits(machine, number(value), told)
    return found


def hold_to_drives(entry: Mapping[str, Any], machines: Mapping[str, Machine]) -> None:
    """Raise ValueError, in words, for a setting in a unit that the drive named is not set in."""
    typed = [key for key in entry if key.partition("_")[2] in _SHOWN]
    named = entry.get("at", [])
    for place in [named] if isinstance(named, str) else named:
        machine = machines.get(str(place).partition("/")[0])
        if machine is None:
            continue
        for key in typed:
            stem, _, ending = key.partition("_")
            if machine.drive is None:
                raise ValueError(f"{machine.name} has no drive; leave `{key}` out")
            if (ending == "hz") != isinstance(machine.drive, ElectricDrive):
                right = (
                    f"`{stem}_flow_gpm` or `{stem}_flow_lpm`" if ending == "hz" else f"`{stem}_hz`"
                )
                raise ValueError(f"{_set_in(machine)}: write {right}, not `{key}`")


def _set_in(machine: Machine) -> str:
    if isinstance(machine.drive, ElectricDrive):
        return f"{machine.name} has an electric drive; its setting is in Hz"
    return f"{machine.name} is hydraulic and has no Hz; its setting is a flow in gpm or L/min"


def _hold_to_flow_limits(machine: Machine, value: float, ending: str) -> None:
    if not isinstance(machine.drive, HydraulicDrive) or machine.drive.flow_limits_lpm is None:
        return
    unit = "gpm" if ending == "flow_gpm" else "l_min"
    low, high = (convert(limit, "l_min", unit) for limit in machine.drive.flow_limits_lpm)
    if value > _FAR * high:
        raise ValueError(
            f"{_set_in(machine)}; {value:g} {_SHOWN[ending]} is far beyond its "
            f"{low:.3g} to {high:.3g}"
        )

"""equipment/*.yaml and setpoints/*.yaml, checked against their schemas, as typed values."""

from collections.abc import Callable, Mapping, Sequence
from datetime import date
from typing import Any

from ledger.compute.numbers import convert
from ledger.files.document import Document
from ledger.model import machines
from ledger.model.policy import judge_approval
from ledger.model.quantities import filled, optional_day
from ledger.model.readings import BANDED, setting_of
from ledger.model.setpoints import Change, DriveSetpoints
from ledger.model.site import Site
from ledger.values import replace

_UNTOLD_STEP = 0.1
"""Step of a flow control whose file tells none, in the unit of its limits."""

_RATING_OF_KIND: Mapping[str, Callable[..., machines.Rating]] = {
    "rotating-bearing": machines.Bearing,
    "pivot-bearing": machines.Bearing,
    "nozzle": machines.NozzleRating,
    "chain": machines.ChainRating,
    "belt": machines.BeltRating,
    "cloth": machines.ClothRating,
    "membrane": machines.MembraneRating,
    "pump": machines.PumpRating,
    "resin": machines.ResinRating,
    "tank": machines.TankRating,
    "injector": machines.InjectorRating,
}


def build_machine(ident: str, keys: Mapping[str, Any], site_in_service: date) -> machines.Machine:
    in_service = optional_day(keys.get("in_service")) or site_in_service
    return filled(
        machines.Machine,
        keys,
        ident=ident,
        like=keys.get("like", keys["kind"]),
        in_service=in_service,
        absences=_absences(keys.get("out_of_service", ())),
        drive=_drive(keys["drive"]) if keys.get("drive") else None,
        speed_band=_speed_band(keys.get("speed_band", ())),
        points={
            point: _point(point, of, in_service) for point, of in keys.get("points", {}).items()
        },
    )


def _absences(periods_or_day: str | Sequence[Mapping[str, str]]) -> tuple[machines.Absence, ...]:
    """A single day is the first of an absence without an end."""
    periods: Sequence[Mapping[str, str]] = (
        [{"from": periods_or_day}] if isinstance(periods_or_day, str) else periods_or_day
    )
    return tuple(filled(machines.Absence, one) for one in periods)


def _drive(keys: Mapping[str, Any]) -> machines.Drive:
    if keys["type"] == "electric":
        is_self_cooled = keys.get("cooling", "self") == "self"
        return filled(machines.ElectricDrive, keys, self_cooled=is_self_cooled)
    # A tenth of the unit that the limits are written in, so that a step is one decimal of it.
    unit = "l_min" if "flow_limits_lpm" in keys else "gpm"
    step = {"flow_step_lpm": convert(_UNTOLD_STEP, unit, "l_min")}
    is_told = "flow_step_lpm" in keys or "flow_step_gpm" in keys
    return filled(machines.HydraulicDrive, keys, **({} if is_told else step))


def _speed_band(bands: Sequence[Mapping[str, Any]]) -> tuple[machines.RateBand, ...]:
    found = []
    for keys in bands:
        low, high = (float(limit) for limit in keys["rpm"])
        target = float(keys.get("target_rpm", (low + high) / 2))
        found.append(filled(machines.RateBand, keys, low_rpm=low, high_rpm=high, target_rpm=target))
    return tuple(sorted(found, key=lambda band: band.line_rate_per_h))


def _point(ident: str, keys: Mapping[str, Any], machine_in_service: date) -> machines.Point:
    return filled(
        machines.Point,
        keys,
        ident=ident,
        name=keys.get("name") or ident.replace("-", " ").capitalize(),
        in_service=optional_day(keys.get("in_service")) or machine_in_service,
        absences=_absences(keys.get("out_of_service", ())),
        rating=_rating(keys),
        bands={
            BANDED[key].word: (_kept(key, band[0]), _kept(key, band[1]))
            for key, band in keys.get("bands", {}).items()
            if band[0] <= band[1]
        },
    )


def _kept(key: str, limit: float) -> float:
    """A limit of the reading of a key, in the unit that the ledger keeps the reading in."""
    return float(BANDED[key].read({key: limit}))


def _rating(keys: Mapping[str, Any]) -> machines.Rating | None:
    """None for a kind without numbers of its own, and where the file lacks one that is needed."""
    kind = _RATING_OF_KIND.get(keys["kind"])
    if kind is None:
        return None
    try:
        if kind is machines.ChainRating:
            is_adjustable = keys.get("centres", "adjustable") == "adjustable"
            return filled(machines.ChainRating, keys, adjustable=is_adjustable)
        return filled(kind, keys)
    except KeyError:
        return None


def build_setpoints(document: Document, site: Site) -> DriveSetpoints:
    """All changes of one drive, each approval held against the people and policy of the site.

    Links to people, machines and entries are checked later.
    """
    changes = []
    for number, keys in enumerate(document.value, 1):
        unit, value = setting_of(keys)
        change = filled(Change, keys, number=number, value=value, unit=unit)
        flaws = judge_approval(change.approval, site).flaws if change.approved_by else ()
        changes.append(replace(change, flaws=flaws))
    return DriveSetpoints(machine=document.ident, path=document.path, changes=tuple(changes))

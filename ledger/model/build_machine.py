"""equipment/*.yaml, checked against its schema, as typed values."""

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from ledger.compute.numbers import convert
from ledger.model.machines import (
    Absence,
    Bearing,
    BeltRating,
    Brush,
    ChainRating,
    ClothRating,
    Drive,
    ElectricDrive,
    HydraulicDrive,
    Machine,
    NozzleRating,
    Point,
    RateBand,
    Rating,
)
from ledger.model.quantities import optional_day, optional_float, quantity, quantity_range

_UNTOLD_STEP = 0.1
"""Step of a flow control whose file tells none, in the unit of its limits."""


def build_machine(ident: str, fields: Mapping[str, Any], site_in_service: date) -> Machine:
    in_service = optional_day(fields.get("in_service")) or site_in_service
    costs = fields.get("costs", {})
    return Machine(
        ident=ident,
        name=fields["name"],
        kind=fields["kind"],
        station=float(fields["station"]),
        area=fields.get("area", "tunnel"),
        side=fields.get("side", ""),
        turns=fields.get("turns", ""),
        in_service=in_service,
        absences=_absences(fields.get("out_of_service", ())),
        panel=fields.get("panel", ""),
        maker_manual=fields.get("maker_manual", ""),
        serial=fields.get("serial", ""),
        notes=fields.get("notes", ""),
        drive=_drive(fields.get("drive")),
        brush=_brush(fields.get("brush")),
        speed_band=_speed_band(fields.get("speed_band", ())),
        planned_cost=optional_float(costs.get("planned")),
        failure_cost=optional_float(costs.get("failure")),
        points={
            point: _point(point, of, in_service) for point, of in fields.get("points", {}).items()
        },
    )


def _absences(told: str | Sequence[Mapping[str, str]]) -> tuple[Absence, ...]:
    """A single day is the first of an absence without an end."""
    periods: Sequence[Mapping[str, str]] = [{"from": told}] if isinstance(told, str) else told
    return tuple(
        Absence(first=date.fromisoformat(one["from"]), last=optional_day(one.get("to")))
        for one in periods
    )


def _drive(fields: Mapping[str, Any] | None) -> Drive | None:
    if fields is None:
        return None
    if fields["type"] == "electric":
        limits = fields.get("hz_limits")
        return ElectricDrive(
            motor_kw=quantity(fields, "motor", "hp kw", "kw"),
            poles=fields.get("poles"),
            rated_rpm=optional_float(fields.get("rated_rpm")),
            base_hz=optional_float(fields.get("base_hz")),
            reduction=optional_float(fields.get("reduction")),
            hz_limits=(float(limits[0]), float(limits[1])) if limits else None,
            hz_step=float(fields.get("hz_step", 0.5)),
            self_cooled=fields.get("cooling", "self") == "self",
            full_load_a=optional_float(fields.get("full_load_a")),
        )
    default = HydraulicDrive(motor_cm3=1.0)
    return HydraulicDrive(
        motor_cm3=quantity(fields, "motor", "in3 cm3", "cm3") or 0.0,
        reduction=float(fields.get("reduction", default.reduction)),
        flow_limits_lpm=quantity_range(fields, "flow_limits", "gpm lpm", "l_min"),
        flow_step_lpm=quantity(fields, "flow_step", "gpm lpm", "l_min") or _flow_step_lpm(fields),
        volumetric_efficiency=float(
            fields.get("volumetric_efficiency", default.volumetric_efficiency)
        ),
        pressure_kpa=quantity(fields, "pressure", "psi kpa", "kpa"),
    )


def _flow_step_lpm(fields: Mapping[str, Any]) -> float:
    """A tenth of the unit that the limits are written in, so that a step is one decimal of it."""
    return _UNTOLD_STEP if "flow_limits_lpm" in fields else convert(_UNTOLD_STEP, "gpm", "l_min")


def _brush(fields: Mapping[str, Any] | None) -> Brush | None:
    if fields is None:
        return None
    return Brush(
        diameter_m=quantity(fields, "diameter", "in mm", "m"),
        strips_around=fields.get("strips_around"),
        material=fields.get("material", ""),
    )


def _speed_band(bands: Any) -> tuple[RateBand, ...]:
    found = []
    for fields in bands:
        low, high = (float(limit) for limit in fields["rpm"])
        found.append(
            RateBand(
                line_rate_per_h=float(fields["line_rate_per_h"]),
                low_rpm=low,
                high_rpm=high,
                target_rpm=float(fields.get("target_rpm", (low + high) / 2)),
            )
        )
    return tuple(sorted(found, key=lambda band: band.line_rate_per_h))


def _point(ident: str, fields: Mapping[str, Any], machine_in_service: date) -> Point:
    return Point(
        ident=ident,
        kind=fields["kind"],
        name=fields.get("name") or ident.replace("-", " ").capitalize(),
        note=fields.get("note", ""),
        in_service=optional_day(fields.get("in_service")) or machine_in_service,
        rating=_rating(fields),
    )


def _rating(fields: Mapping[str, Any]) -> Rating | None:
    match fields["kind"]:
        case "rotating-bearing" | "pivot-bearing":
            return _bearing(fields)
        case "nozzle":
            flow_lpm = quantity(fields, "flow", "gpm lpm", "l_min")
            at_kpa = quantity(fields, "at", "psi kpa", "kpa")
            if flow_lpm is None or at_kpa is None:
                return None
            return NozzleRating(flow_lpm=flow_lpm, at_kpa=at_kpa)
        case "chain":
            pitch_mm = quantity(fields, "pitch", "mm in", "mm")
            if pitch_mm is None:
                return None
            return ChainRating(
                pitch_mm=pitch_mm, adjustable=fields.get("centres", "adjustable") == "adjustable"
            )
        case "belt":
            span_mm = quantity(fields, "span", "mm in", "mm")
            return None if span_mm is None else BeltRating(span_mm=span_mm)
        case "cloth":
            new_mm = quantity(fields, "new_length", "mm in", "mm")
            if new_mm is None:
                return None
            return ClothRating(
                new_length_mm=new_mm,
                worn_length_mm=quantity(fields, "worn_length", "mm in", "mm"),
            )
        case _:
            return None


def _bearing(fields: Mapping[str, Any]) -> Bearing:
    default = Bearing()
    return Bearing(
        bore_mm=optional_float(fields.get("bore_mm")),
        outer_mm=optional_float(fields.get("outer_mm")),
        width_mm=optional_float(fields.get("width_mm")),
        rolling=fields.get("rolling", default.rolling),
        mounting=fields.get("mounting", default.mounting),
        water=fields.get("water", default.water),
        dirt=fields.get("dirt", default.dirt),
        vibration=fields.get("vibration", default.vibration),
        surface_c=float(fields.get("surface_c", default.surface_c)),
        sweep_deg=optional_float(fields.get("sweep_deg")),
        dynamic_load_kn=optional_float(fields.get("dynamic_load_kn")),
        load_kn=optional_float(fields.get("load_kn")),
    )

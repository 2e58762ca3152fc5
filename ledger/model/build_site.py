"""site.yaml and parts/*.yaml, checked against their schemas, as typed values."""

from collections.abc import Mapping
from datetime import date, time
from typing import Any
from zoneinfo import ZoneInfo

from ledger.model.quantities import optional_day, optional_float, quantity
from ledger.model.site import (
    ApprovalProof,
    Closure,
    Costs,
    DriverSide,
    Line,
    Meter,
    Panel,
    Part,
    Person,
    Policy,
    Site,
    Units,
)

_WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")

_END_OF_DAY = time(23, 59, 59)


def build_site(fields: Mapping[str, Any], zone: ZoneInfo) -> Site:
    """The site of a checked document; the zone is resolved by the caller, who can report it."""
    return Site(
        name=fields["name"],
        zone=zone,
        units=Units(fields.get("units", "us")),
        driver_side=DriverSide(fields.get("driver_side", "left")),
        address=fields.get("address", ""),
        in_service=date.fromisoformat(fields["in_service"]),
        line=_line(fields["line"]),
        people={
            ident: _person(ident, person) for ident, person in sorted(fields["people"].items())
        },
        policy=_policy(fields.get("policy", {})),
        open_hours=_open_hours(fields.get("hours")),
        closures=tuple(
            sorted(
                (_closure(closure) for closure in fields.get("closures", ())),
                key=lambda closure: (closure.first, closure.last),
            )
        ),
        meters={
            ident: Meter(ident=ident, name=meter["name"], counts=meter["counts"])
            for ident, meter in sorted(fields.get("meters", {}).items())
        },
        costs=_costs(fields.get("costs")),
        panels={
            ident: Panel(
                ident=ident, name=panel["name"], rated_a=panel["rated_a"], volts=panel["volts"]
            )
            for ident, panel in sorted(fields.get("panels", {}).items())
        },
    )


def build_part(ident: str, fields: Mapping[str, Any]) -> Part:
    opening = fields.get("opening")
    return Part(
        ident=ident,
        name=fields["name"],
        kind=fields["kind"],
        unit=fields["unit"],
        pack=optional_float(fields.get("pack")),
        pack_name=fields.get("pack_name", "pack"),
        grams_per_stroke=optional_float(fields.get("grams_per_stroke")),
        opening_day=date.fromisoformat(opening["on"]) if opening else None,
        opening_count=float(opening["count"]) if opening else None,
        reorder_level=optional_float(fields.get("reorder_level")),
        place=fields.get("place", ""),
        cost=optional_float(fields.get("cost")),
        notes=fields.get("notes", ""),
    )


def _line(fields: Mapping[str, Any]) -> Line:
    in_force = float(fields["line_rate_per_h"])
    rates = {float(rate) for rate in fields.get("line_rates_per_h", ())} | {in_force}
    return Line(
        line_rate_per_h=in_force,
        line_rates_per_h=tuple(sorted(rates)),
        chain_speed_m_per_s=quantity(fields, "chain_speed", "ft_per_min m_per_min", "m_s"),
        vehicle_pitch_m=quantity(fields, "vehicle_pitch", "ft m", "m"),
    )


def _person(ident: str, fields: Mapping[str, Any]) -> Person:
    return Person(
        ident=ident,
        name=fields["name"],
        roles=tuple(fields.get("roles", ())),
        qualified=frozenset(fields.get("qualified", ())),
        approves=frozenset(fields.get("approves", ())),
        emails=tuple(fields.get("emails", ())),
        signing_keys=tuple(fields.get("signing_keys", ())),
        first_day=optional_day(fields.get("from")),
        last_day=optional_day(fields.get("until")),
    )


def _policy(fields: Mapping[str, Any]) -> Policy:
    default = Policy()
    return Policy(
        approver_differs=fields.get("approver_differs", default.approver_differs),
        approval_proof=ApprovalProof(fields.get("approval_proof", default.approval_proof)),
        max_step_hz=float(fields.get("max_step_hz", default.max_step_hz)),
        max_step_flow_percent=float(
            fields.get("max_step_flow_percent", default.max_step_flow_percent)
        ),
        follow_up_days=_days(fields.get("follow_up"), default.follow_up_days),
        entry_within_days=_days(fields.get("entry_within"), default.entry_within_days),
        timing_u_s=float(fields.get("timing_u_s", default.timing_u_s)),
    )


def _days(text: str | None, default: int) -> int:
    return default if text is None else int(text.split()[0])


def _open_hours(fields: Mapping[str, str] | None) -> dict[int, tuple[time, time]]:
    """Open all day, every day, where the file says nothing of hours."""
    if fields is None:
        return dict.fromkeys(range(7), (time.min, _END_OF_DAY))
    found = {}
    for number, name in enumerate(_WEEKDAYS):
        hours = fields.get(name, "closed")
        if hours != "closed":
            opens, closes = hours.split("-")
            last = _END_OF_DAY if closes == "24:00" else time.fromisoformat(closes)
            found[number] = (time.fromisoformat(opens), last)
    return found


def _closure(fields: Mapping[str, Any]) -> Closure:
    first = date.fromisoformat(fields["from"])
    return Closure(first=first, last=optional_day(fields.get("to")) or first, why=fields["why"])


def _costs(fields: Mapping[str, Any] | None) -> Costs | None:
    if fields is None:
        return None
    return Costs(
        currency=fields["currency"],
        labour_per_h=optional_float(fields.get("labour_per_h")),
        down_per_h=optional_float(fields.get("down_per_h")),
    )

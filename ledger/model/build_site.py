"""site.yaml and instruments/*.yaml, checked against their schemas, as typed values."""

from collections.abc import Mapping
from datetime import date, time
from typing import Any, TypeVar
from zoneinfo import ZoneInfo

from ledger.model import site
from ledger.model.quantities import filled, optional_day

_T = TypeVar("_T")

_WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")

_END_OF_DAY = time(23, 59, 59)


def build_site(keys: Mapping[str, Any], zone: ZoneInfo) -> site.Site:
    """The site of a checked document; the zone is resolved by the caller, who can report it."""
    return filled(
        site.Site,
        keys,
        zone=zone,
        record_begins=date.fromisoformat(keys.get("record_begins", keys["in_service"])),
        line=_line(keys["line"]),
        people=_by_ident(site.Person, keys["people"]),
        policy=_policy(keys.get("policy", {})),
        open_hours=_open_hours(keys.get("hours")),
        closures=tuple(
            sorted(
                (_closure(closure) for closure in keys.get("closures", ())),
                key=lambda closure: (closure.first, closure.last),
            )
        ),
        meters=_by_ident(site.Meter, keys.get("meters", {})),
        zones={ident: of["name"] for ident, of in sorted(keys.get("zones", {}).items())},
        panels=_by_ident(site.Panel, keys.get("panels", {})),
    )


def build_instrument(ident: str, keys: Mapping[str, Any]) -> site.Instrument:
    checks = [
        filled(site.InstrumentCheck, of, in_limits=of.get("result", "in-limits") == "in-limits")
        for of in keys.get("checks", ())
    ]
    checks.sort(key=lambda check: check.day)
    return filled(site.Instrument, keys, ident=ident, checks=tuple(checks))


def _by_ident(kind: type[_T], named: Mapping[str, Mapping[str, Any]]) -> dict[str, _T]:
    return {ident: filled(kind, of, ident=ident) for ident, of in sorted(named.items())}


def _line(keys: Mapping[str, Any]) -> site.Line:
    rates = {float(rate) for rate in (*keys.get("line_rates_per_h", ()), keys["line_rate_per_h"])}
    return filled(site.Line, keys, line_rates_per_h=tuple(sorted(rates)))


def _policy(keys: Mapping[str, Any]) -> site.Policy:
    days = {
        f"{key}_days": int(keys[key].split()[0])
        for key in ("follow_up", "entry_within")
        if key in keys
    }
    return filled(site.Policy, keys, rules=tuple(sorted(keys.get("rules", {}).items())), **days)


def _open_hours(keys: Mapping[str, str] | None) -> dict[int, tuple[time, time]]:
    """Open all day, every day, where the file says nothing of hours."""
    if keys is None:
        return dict.fromkeys(range(7), (time.min, _END_OF_DAY))
    found = {}
    for number, name in enumerate(_WEEKDAYS):
        hours = keys.get(name, "closed")
        if hours != "closed":
            opens, closes = hours.split("-")
            last = _END_OF_DAY if closes == "24:00" else time.fromisoformat(closes)
            found[number] = (time.fromisoformat(opens), last)
    return found


def _closure(keys: Mapping[str, Any]) -> site.Closure:
    first = date.fromisoformat(keys["from"])
    return site.Closure(first=first, last=optional_day(keys.get("to")) or first, why=keys["why"])

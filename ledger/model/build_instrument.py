"""instruments/*.yaml, checked against its schema, as typed values."""

from collections.abc import Mapping
from datetime import date
from typing import Any

from ledger.model.quantities import filled, optional_day
from ledger.model.site import Instrument, InstrumentCheck


def build_instrument(ident: str, keys: Mapping[str, Any]) -> Instrument:
    checks = [_check(check) for check in keys.get("checks", ())]
    return filled(
        Instrument,
        keys,
        ident=ident,
        checks=tuple(sorted(checks, key=lambda check: check.day)),
    )


def _check(keys: Mapping[str, Any]) -> InstrumentCheck:
    return filled(
        InstrumentCheck,
        keys,
        day=date.fromisoformat(keys["on"]),
        due=optional_day(keys.get("due")),
        in_limits=keys.get("result", "in-limits") == "in-limits",
    )

"""setpoints/*.yaml, checked against its schema, as typed values."""

from datetime import date
from typing import Any

from ledger.compute.units import convert
from ledger.model.days import optional_day
from ledger.model.references import EntryRef
from ledger.model.setpoints import Change, DriveSetpoints
from ledger.source.document import Document


def build_setpoints(document: Document) -> DriveSetpoints:
    """All changes of one drive; links to people, machines and entries are checked later."""
    return DriveSetpoints(
        machine=document.ident,
        path=document.path,
        changes=tuple(_change(number, fields) for number, fields in enumerate(document.value, 1)),
    )


def _change(number: int, fields: dict[str, Any]) -> Change:
    if "hz" in fields:
        value, unit = float(fields["hz"]), "Hz"
    elif "flow_lpm" in fields:
        value, unit = float(fields["flow_lpm"]), "L/min"
    else:
        value, unit = convert(float(fields["flow_gpm"]), "gpm", "l_min"), "L/min"
    return Change(
        number=number,
        first_day=date.fromisoformat(fields["from"]),
        value=value,
        unit=unit,
        line_rate_per_h=float(fields["line_rate_per_h"]),
        why=fields["why"],
        evidence=tuple(EntryRef.parse(text) for text in fields.get("evidence", ())),
        proposed_by=fields["proposed_by"],
        proposed_on=optional_day(fields.get("proposed_on")),
        approved_by=fields.get("approved_by", ""),
        approved_on=optional_day(fields.get("approved_on")),
        withdrawn=fields.get("withdrawn", ""),
    )

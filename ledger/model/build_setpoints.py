"""setpoints/*.yaml, checked against its schema, as typed values."""

from dataclasses import replace
from datetime import date
from typing import Any

from ledger.compute.numbers import convert
from ledger.files.document import Document
from ledger.model.policy import judge_approval
from ledger.model.quantities import optional_day
from ledger.model.references import EntryRef
from ledger.model.setpoints import Change, DriveSetpoints
from ledger.model.site import Site


def build_setpoints(document: Document, site: Site) -> DriveSetpoints:
    """All changes of one drive, each approval held against the people and policy of the site.

    Links to people, machines and entries are checked later.
    """
    return DriveSetpoints(
        machine=document.ident,
        path=document.path,
        changes=tuple(
            _judged(_change(number, fields), site)
            for number, fields in enumerate(document.value, 1)
        ),
    )


def _judged(change: Change, site: Site) -> Change:
    if not change.approved_by:
        return change
    return replace(change, flaws=judge_approval(change.approval, site).flaws)


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

"""setpoints/*.yaml, checked against its schema, as typed values."""

from datetime import date
from typing import Any

from ledger.compute.numbers import convert
from ledger.files.document import Document
from ledger.model.policy import judge_approval
from ledger.model.quantities import filled
from ledger.model.references import EntryRef
from ledger.model.setpoints import Change, DriveSetpoints
from ledger.model.site import Site
from ledger.values import replace


def build_setpoints(document: Document, site: Site) -> DriveSetpoints:
    """All changes of one drive, each approval held against the people and policy of the site.

    Links to people, machines and entries are checked later.
    """
    return DriveSetpoints(
        machine=document.ident,
        path=document.path,
        changes=tuple(
            _judged(_change(number, keys), site) for number, keys in enumerate(document.value, 1)
        ),
    )


def _judged(change: Change, site: Site) -> Change:
    if not change.approved_by:
        return change
    return replace(change, flaws=judge_approval(change.approval, site).flaws)


def _change(number: int, keys: dict[str, Any]) -> Change:
    if "hz" in keys:
        value, unit = float(keys["hz"]), "Hz"
    elif "flow_lpm" in keys:
        value, unit = float(keys["flow_lpm"]), "L/min"
    else:
        value, unit = convert(float(keys["flow_gpm"]), "gpm", "l_min"), "L/min"
    return filled(
        Change,
        keys,
        number=number,
        first_day=date.fromisoformat(keys["from"]),
        value=value,
        unit=unit,
        evidence=tuple(EntryRef.parse(text) for text in keys.get("evidence", ())),
        flaws=(),
    )

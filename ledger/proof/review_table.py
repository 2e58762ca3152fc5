"""A review as plain names and values, for JSON; dates by ISO 8601, speeds in r/min."""

from ledger.book.flat import JsonRow, fields_of
from ledger.proof.policy_points import Evidence
from ledger.proof.records import SettingStep
from ledger.proof.review import Review, SettingReview
from ledger.upkeep.register.words import outlook_row
from ledger.upkeep.speeds.table import speed_rows


def review_rows(found: Review) -> JsonRow:
    """Everything the page says, with raw numbers and both texts of every touched record."""
    return {
        "base": found.base,
        "head": found.head,
        "landed_on": found.landed_on.isoformat(),
        "conflicts": list(found.conflicts),
        "fast_forward_turns": found.is_turned,
        "lost_by": {method.value: lost for method, lost in found.lost_by.items()},
        "breaches": [fields_of(one, "rule", "about", "words", "remedy") for one in found.breaches],
        "settings": [_setting(one) for one in found.settings],
        "proposals": [{"path": path, **_step(step)} for path, step in found.proposals],
        "records": [
            fields_of(one, "touch", "path", "new_path", "values", "old_text", "new_text")
            for one in found.records
        ],
        "approved_touched": [
            {
                **fields_of(one, "path", "old_text", "new_text"),
                "steps": [_step(step) for step in one.steps],
            }
            for one in found.setting_breaches
        ],
        "plan": [fields_of(one, "concern", "about", "words") for one in found.plan],
        "left_otherwise": [
            {
                "entry": str(one.entry.ref),
                "machine": one.machine.ident,
                "left": one.left,
                "approved": one.approved.value,
                "unit": one.approved.unit,
            }
            for one in found.left_otherwise
        ],
        "visits": [
            {
                "visit": visit.ident,
                "at": visit.when.isoformat(),
                "by": visit.by,
                "entries": [dict(entry.raw) for entry in visit.entries],
            }
            for visit in found.visits
        ],
        "errors": [
            {"rule": one.rule, "at": str(one.position), "message": one.message}
            for one in found.errors
        ],
        "book_files_changed": found.pages,
        "other_files": list(found.other_files),
        "format_moves": [
            {
                "commit": one.commit,
                "from": one.start,
                "to": one.end,
                "files": sorted(one.files),
                "differing": list(one.differing),
            }
            for one in found.moves
        ],
        "changes_its_own_checks": list(found.changed_checks),
    }


def _step(step: SettingStep) -> JsonRow:
    return fields_of(step, "step", "number", "old", "new")


def _setting(one: SettingReview) -> JsonRow:
    change = one.change
    return {
        "machine": one.machine.ident,
        "step": one.step,
        **fields_of(change, "number", "unit", "line_rate_per_h", "why", "proposed_by"),
        "from_day": change.first_day.isoformat(),
        "approved_by": change.approved_by or None,
        "approval_counts": one.is_approved if change.approved_by else None,
        "before": None if one.before is None else outlook_row(one.before),
        "after": outlook_row(one.after),
        "evidence": [_evidence(evidence) for evidence in one.evidence],
        "policy": [
            {"point": point.name, **fields_of(point, "held", "because")} for point in one.points
        ],
    }


def _evidence(one: Evidence) -> JsonRow:
    return {
        "entry": str(one.ref),
        "raw": None if one.entry is None else dict(one.entry.raw),
        "stands_as": None if one.standing is None else str(one.standing.ref),
        "speeds": speed_rows(one.results),
    }

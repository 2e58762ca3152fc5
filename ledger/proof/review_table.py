"""A review as plain names and values, for JSON; dates by ISO 8601, speeds in r/min."""

from ledger.book.flat import JsonRow
from ledger.proof.policy import Evidence
from ledger.proof.records import RecordChange, SettingStep
from ledger.proof.review import Review, SettingReview
from ledger.upkeep.register.table import outlook_row
from ledger.upkeep.speeds.table import speed_rows


def review_rows(found: Review) -> JsonRow:
    """Everything the page says, with raw numbers and both texts of every touched record."""
    return {
        "base": found.base,
        "base_moved": found.base_moved,
        "head": found.head,
        "breaches": [
            {"rule": one.rule, "about": one.about, "words": one.words, "remedy": one.remedy}
            for one in found.breaches
        ],
        "settings": [_setting(one) for one in found.settings],
        "proposals": [{"path": path, **step_row(step)} for path, step in found.proposals],
        "records": [record_row(record) for record in found.records],
        "touched_on_the_way": [
            {
                "path": one.path,
                "commit": one.commit,
                "author": one.author,
                "words": one.words,
                "by_its_own_author": one.is_own,
            }
            for one in found.on_the_way
        ],
        "approved_touched": [
            {
                "path": one.path,
                "steps": [step_row(step) for step in one.steps],
                "old_text": one.old_text,
                "new_text": one.new_text,
            }
            for one in found.setting_breaches
        ],
        "plan": [
            {"concern": one.concern.value, "about": one.about, "words": one.words}
            for one in found.plan
        ],
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


def record_row(record: RecordChange) -> JsonRow:
    return {
        "touch": record.touch.value,
        "path": record.path,
        "new_path": record.new_path,
        "values": list(record.values),
        "old_text": record.old_text,
        "new_text": record.new_text,
    }


def step_row(step: SettingStep) -> JsonRow:
    return {"step": step.step.value, "number": step.number, "old": step.old, "new": step.new}


def _setting(one: SettingReview) -> JsonRow:
    change = one.change
    return {
        "machine": one.machine.ident,
        "step": one.step.value,
        "number": change.number,
        "from_day": change.first_day.isoformat(),
        "unit": change.unit,
        "line_rate_per_h": change.line_rate_per_h,
        "why": change.why,
        "proposed_by": change.proposed_by,
        "approved_by": change.approved_by or None,
        "approval_counts": one.is_approved if change.approved_by else None,
        "before": None if one.before is None else outlook_row(one.before),
        "after": outlook_row(one.after),
        "evidence": [_evidence(evidence) for evidence in one.evidence],
        "policy": [
            {"point": point.name, "held": point.held, "because": point.because}
            for point in one.points
        ],
    }


def _evidence(one: Evidence) -> JsonRow:
    return {
        "entry": str(one.ref),
        "raw": None if one.entry is None else dict(one.entry.raw),
        "stands_as": None if one.standing is None else str(one.standing.ref),
        "speed": speed_rows([one.result])[0] if one.result else None,
    }

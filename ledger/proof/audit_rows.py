"""An audit as plain names and values, for JSON."""

from typing import Any

from ledger.history.verification import Outcome
from ledger.proof.audit import Audit
from ledger.proof.audit_items import Item, Note
from ledger.proof.audit_verdict import verdict_words


def audit_rows(found: Audit) -> dict[str, Any]:
    """Every offence and note singly, with both texts of every touched record."""
    counts = found.counts
    return {
        "verdict": found.verdict.value,
        "verdict_words": verdict_words(found),
        "head": found.head,
        "since": found.since,
        "remembered_head": None if found.remembered is None else found.remembered.value,
        "moved_from": found.moved_from or None,
        "shallow_at": list(found.state.shallow_at),
        "counts": {
            "commits": counts.commits,
            "merges": counts.merges,
            "visits": counts.visits,
            "approvals": counts.approvals,
            "books": counts.books,
            "books_of_other_versions": dict(counts.other_books),
            "signatures": {
                outcome.name.lower(): counts.signatures.get(outcome, 0) for outcome in Outcome
            },
            "offences": len(found.offences),
        },
        "offences": [_row(item) for item in found.offences],
        "notes": [_row(item) for item in found.items if isinstance(item.kind, Note)],
    }


def _row(item: Item) -> dict[str, Any]:
    mark = item.commit
    return {
        "kind": item.kind.name.lower().replace("_", "-"),
        "title": item.kind.value,
        "about": item.about,
        "words": item.words,
        "commit": None
        if mark is None
        else {
            "oid": mark.oid,
            "committed_at": None if mark.at is None else mark.at.isoformat(),
            "author": mark.author,
            "email": mark.email,
            "subject": mark.subject,
        },
        "old_text": item.old_text,
        "new_text": item.new_text,
    }

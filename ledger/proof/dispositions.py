"""Irregularities that somebody looked into and accepted, each in a file of its own on the line.

`audits/<id>.yaml` says who looked, when, which irregularities are accepted and why; it may keep
the head and verdict of that audit. It counts where its author may audit, is proven as the site
asks for approvals, and did not make what they accept.
"""

import json
from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import Any

from ledger.book.short_words import format_person
from ledger.files.paths import Kind
from ledger.history.commit import Change
from ledger.history.verification import Outcome, detached_signature
from ledger.model.policy import GitProof, Vouchers, owners_of, prove, why_may_not_audit
from ledger.model.site import Site
from ledger.proof.at_landing import AtLanding
from ledger.proof.audit_items import Irregularity, Item, Note
from ledger.proof.records import Reader, new_bytes, sound_document
from ledger.proof.signatures import Signatures
from ledger.proof.statements import SIGNATURE_ENDING, STATEMENTS
from ledger.values import dataclass

AUDITS = "audits/"

NAMESPACE = "audit@tunnelbook"
"""What the record of an audit is signed for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AuditRecord:
    """What a file of an audit says; `head` and `verdict` are empty where it only accepts."""

    by: str
    at: str
    head: str = ""
    verdict: str = ""
    tool: str = ""
    accepts: Mapping[str, str]


def audit_record(value: Any) -> AuditRecord:
    """The record of a document that its schema accepts; `accepts` gives why, by irregularity."""
    return AuditRecord(
        by=value["by"],
        at=value["at"],
        head=value.get("head", ""),
        verdict=value.get("verdict", ""),
        tool=value.get("tool", ""),
        accepts={one["irregularity"]: one["why"] for one in value.get("accepts", ())},
    )


def record_text(
    *, by: str, at: datetime, accepts: Mapping[str, str], head: str, verdict: str, tool: str
) -> str:
    """The file of an audit; a head, verdict and tool that are empty are left out."""
    fields = {"by": by, "at": at.isoformat(timespec="minutes")}
    fields |= {key: text for key, text in (("head", head), ("verdict", verdict)) if text}
    lines = [f"{key}: {text}\n" for key, text in fields.items()]
    lines += [f"tool: {json.dumps(tool, ensure_ascii=False)}\n"] if tool else []
    lines += ["accepts:\n"] if accepts else []
    lines += [
        f"  - irregularity: '{ident}'\n    why: {json.dumps(why, ensure_ascii=False)}\n"
        for ident, why in accepts.items()
    ]
    return "".join(lines)


@dataclass(frozen=True, slots=True, kw_only=True)
class Disposition:
    """Why an irregularity is accepted, by whom and when."""

    by: str
    at: str
    why: str
    ruling: Site

    def refused(self, item: Item) -> str:
        """Why it does not close an irregularity: its author made that; "" where it does."""
        if item.commit is None or not self.ruling.policy.approver_differs:
            return ""
        if item.concerns == self.by:
            return f"{format_person(self.by, self.ruling)} did it, and cannot accept it alone"
        made = (item.commit.author.email, item.commit.committer.email)
        makers = [one for email in made for one in owners_of(email, self.ruling.people)]
        if len(self.ruling.people) == 1 or self.by not in {one.ident for one in makers}:
            return ""
        return f"{self.ruling.people[self.by].name} made it, and cannot accept it alone"


class AuditTrail:
    """Follows the files of audits, and whether these and statements stay. Feed it the landings.

    `heads` are those recorded by an audit that counts, each with its file; `last` is the newest.
    """

    def __init__(self, blobs: Reader, signatures: Signatures) -> None:
        self._blobs = blobs
        self._signatures = signatures
        self._first: dict[str, str | None] = {}
        self.accepted: dict[str, Disposition] = {}
        self.heads: dict[str, str] = {}
        self.last: AuditRecord | None = None

    def land(self, at: AtLanding, files: Mapping[str, str]) -> Iterator[Item]:
        """What the next landing brought; `files` are those of the tree after it."""
        for change in at.commit.changes:
            if not change.path.startswith((AUDITS, STATEMENTS)):
                continue
            text = change.new_text_oid
            first = self._first.setdefault(change.path, text)
            if change.old_text_oid is not None or text != first:
                yield self._touched(at, change)
                continue
            if change.path.startswith(STATEMENTS) or change.path.endswith(SIGNATURE_ENDING):
                continue
            record = self._read(change)
            if record is None:
                yield at.item(Note.AUDIT_REFUSED, "it cannot be read", change.path)
                continue
            wrong = self._refused(at, change, record, files)
            if wrong:
                yield at.item(Note.AUDIT_REFUSED, wrong, change.path)
                continue
            if record.head:
                self.last = record
                self.heads[record.head] = change.path
            for ident, why in record.accepts.items():
                self.accepted[ident] = Disposition(
                    by=record.by, at=record.at, why=why, ruling=at.ruling
                )

    def _touched(self, at: AtLanding, change: Change) -> Item:
        if change.new_text_oid == self._first[change.path]:
            return at.item(Note.PUT_BACK, "the file is again as it was added", change.path)
        text = "the file was removed" if change.new_text_oid is None else "the file was edited"
        return at.item(Irregularity.AUDIT_TOUCHED, text, change.path, change=change)

    def _read(self, change: Change) -> AuditRecord | None:
        raw = new_bytes(change, self._blobs)
        document = None if raw is None else sound_document(change.path, raw, Kind.AUDIT)
        return None if document is None else audit_record(document.value)

    def _refused(
        self, at: AtLanding, change: Change, record: AuditRecord, files: Mapping[str, str]
    ) -> str:
        wrong = why_may_not_audit(at.ruling.people.get(record.by))
        if wrong:
            return f"by {format_person(record.by, at.ruling)}: {wrong}"
        statements: tuple[tuple[str, GitProof], ...] = ()
        signature, text = files.get(change.path + SIGNATURE_ENDING), change.new_text_oid
        if signature is not None and text is not None:
            armour, raw = self._blobs.read(signature), self._blobs.read(text)
            signed = detached_signature(raw, armour, NAMESPACE)
            found = self._signatures.begin(signed, at.ruling).result()
            held = found.outcome is Outcome.VERIFIED and found.signer == record.by
            proof = GitProof(held=held, words=f"{change.path}, {found.words}")
            statements = ((record.by, proof),)
        vouchers = Vouchers(commits=at.makers(change.path), statements=statements)
        proven = prove(record.by, at.ruling, vouchers)
        return "" if proven.held else proven.words

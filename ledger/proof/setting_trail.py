"""Settings along the line: who approved each, whether git bears it out, what came later."""

import difflib
from collections import Counter
from collections.abc import Iterator, Mapping
from datetime import date
from functools import lru_cache
from pathlib import PurePosixPath
from typing import Any

from ledger.book.short_words import format_count, format_person
from ledger.history.commit import Change, Commit
from ledger.model.policy import (
    PROOF_RULES,
    Approval,
    ApprovalFlaw,
    Judgement,
    Vouchers,
    judge_approval,
    unknown_proposer,
)
from ledger.model.site import ApprovalProof, Site
from ledger.proof import records
from ledger.proof.at_landing import AtLanding
from ledger.proof.audit_items import Irregularity, Item, Note
from ledger.proof.rules import Rules
from ledger.proof.signatures import Signatures
from ledger.proof.sites import why_absent
from ledger.proof.statements import Statement, hash_of
from ledger.values import dataclass, field

_STEPS_KEPT = 256

_FILES_KEPT = 64

_IRREGULARITY = {
    ApprovalFlaw.SELF_APPROVED: Irregularity.SELF_APPROVED,
    ApprovalFlaw.PROPOSED_BY_APPROVER: Irregularity.PROPOSED_BY_APPROVER,
    ApprovalFlaw.UNKNOWN_APPROVER: Irregularity.MAY_NOT_APPROVE,
    ApprovalFlaw.MAY_NOT_APPROVE: Irregularity.MAY_NOT_APPROVE,
    ApprovalFlaw.APPROVER_NOT_HERE: Irregularity.GONE,
    ApprovalFlaw.NOT_PROVEN: Irregularity.NOT_PROVEN,
    ApprovalFlaw.APPROVED_LATE: Irregularity.UNAPPROVED,
}

OF_AN_APPROVAL = frozenset(_IRREGULARITY.values())
"""What can be wrong with an approval."""

# A machine's file under another name is still that machine where so much of it is alike.
_LIKE_ENOUGH = 0.6

Fields = dict[str, Any]


@dataclass(slots=True, kw_only=True)
class LandedApproval:
    """One approved change: its landing, those who wrote or merged it, statements that cover it.

    A drive's first setting, and all that came with the site itself, is taken over from what was
    there: it may be in force since before it landed.
    """

    path: str
    item: Fields
    ruling: Site
    landed_on: date | None
    is_taken_over: bool
    begins: bool
    writer: Commit
    commits: tuple[Commit, ...]
    proposal: Commit
    statements: list[Statement] = field(default_factory=list)

    def facts(self, signatures: Signatures) -> Approval:
        """What the file and the history tell of it."""
        makers = tuple(map(signatures.maker, self.commits))
        statements = tuple(one.proof for one in self.statements)
        return Approval(
            proposer=str(self.item.get("proposed_by")),
            approver=str(self.item.get("approved_by")),
            stated_on=_day(self.item.get("approved_on")),
            first_day=_day(self.item.get("from")),
            is_taken_over=self.is_taken_over,
            vouchers=None if self.begins else Vouchers(commits=makers, statements=statements),
            landed_on=self.landed_on,
            proposed_from=self.proposal.author.email,
            proposal_signer=signatures.maker(self.proposal).signer,
        )


class SettingTrail:
    """Follows every approved setting. Feed it the landings in order, then ask `end`."""

    def __init__(self, blobs: records.Reader, rules: Rules, signatures: Signatures) -> None:
        self._blobs = blobs
        self._rules = rules
        self._signatures = signatures
        self.approvals: dict[tuple[str, str], LandedApproval] = {}
        # The commit that first brought each proposal that is not approved yet.
        self._proposed: dict[tuple[str, str], Commit] = {}
        # What was approved and then touched, and what was written in its place.
        self._touched: set[tuple[str, str]] = set()
        self._instead: set[tuple[str, str]] = set()
        # By file: the texts since a statement last covered it, which the next may start from.
        self._texts: dict[str, list[str | None]] = {}
        # What a drive's file was called before its machine had another name.
        self._former: dict[str, str] = {}
        self._steps_between = lru_cache(maxsize=_STEPS_KEPT)(self._compared)
        # What one commit wrote, the next one changes.
        self._items = lru_cache(maxsize=_FILES_KEPT)(self._read)

    def forget_texts(self) -> None:
        """Read files anew: a move to another format has given them other texts."""
        self._steps_between.cache_clear()
        self._items.cache_clear()

    def land(self, at: AtLanding, files: Mapping[str, str]) -> Iterator[Item]:
        """What the next landing did to settings; `files` are those of the tree after it."""
        changes = [one for one in at.commit.changes if records.is_setpoints(one.path)]
        renamed = self._renamed(at, changes, files) if len(changes) > 1 else {}
        for change in changes:
            former = renamed.get(change.path)
            if former is not None:
                self._former[change.path] = self._name(former.path)
                yield at.item(Note.RENAMED, f"with its machine, to {change.path}", former.path)
            if not at.commit.boundary and change not in renamed.values():
                yield from self._changed(at, change, (former or change).old_text_oid)
        if at.arrived:
            self._cover(at, files)
        for commit in at.landing.commits if at.commit.is_merge else ():
            for change in commit.dropped:
                if records.is_setpoints(change.path):
                    yield from self._dropped(commit, change)

    def end(self) -> Iterator[Item]:
        """Every approval held against the rules of its landing, once all statements are known."""
        alone: Counter[str] = Counter()
        for approval in self.approvals.values():
            yield from self.judged(approval)
            if approval.ruling.policy.approval_proof is ApprovalProof.FILE:
                alone[approval.path] += 1
        for path, count in sorted(alone.items()):
            text = (
                f"{format_count(count, 'approval')}; rule: file, {PROOF_RULES[ApprovalProof.FILE]}"
            )
            yield Item(Note.FILE_ALONE, text, about=path)

    def judged(self, approval: LandedApproval) -> Iterator[Item]:
        """What is wrong with an approval, or worth knowing of it."""
        site = approval.ruling
        facts = approval.facts(self._signatures)
        judged = judge_approval(facts, site, self._rules.today.people)
        found: list[tuple[Irregularity | Note, str]] = [
            (_IRREGULARITY[flaw], _format_flaw(flaw, facts, site, judged)) for flaw in judged.flaws
        ]
        is_own = facts.approver == facts.proposer
        if is_own and ApprovalFlaw.SELF_APPROVED not in judged.flaws:
            text = _format_flaw(ApprovalFlaw.SELF_APPROVED, facts, site, judged)
            found.append((Note.ALLOWED, text))
        stranger = unknown_proposer(facts, site)
        if stranger:
            proposer = format_person(facts.proposer, site)
            text = f"proposed in the name of {proposer} from an address of nobody here, {stranger}"
            found.append((Note.NO_ADDRESS, text))
        about = f"{approval.path}, from {approval.item.get('from')}"
        for kind, text in found:
            # Where only the proof is missing, the approver's own word is the best there is.
            concerns = "" if kind is Irregularity.NOT_PROVEN else facts.approver
            yield Item(kind, text, about=about, commit=approval.writer, concerns=concerns)

    def approval_of(self, path: str, item: Fields) -> LandedApproval | None:
        """The approval of a change as a drive's file has it; None where it has not landed."""
        return self.approvals.get(self._key(path, item))

    def _changed(self, at: AtLanding, change: Change, old_oid: str | None) -> Iterator[Item]:
        path = change.path
        steps = self._steps_between(path, old_oid, change.new_text_oid)
        for step in steps:
            new = step.approval
            # Word for word what was approved and then touched.
            if new is not None and self._key(path, new) in self._touched:
                text = f"change {step.number} is again as it was approved"
                yield at.item(Note.PUT_BACK, text, path, change=change)
                continue
            if step.is_breach:
                yield self._breach(at, change, step)
            if new is not None:
                yield from self._approved(at, change, step, new)
            elif step.new is not None:
                proposal = records.key_of(records.without_approval(step.new))
                writer = self._first_with(at, path, proposal)
                self._proposed.setdefault((self._name(path), proposal), writer)
        if not at.begins:
            self._texts.setdefault(self._name(path), []).append(old_oid)

    def _approved(
        self, at: AtLanding, change: Change, step: records.SettingStep, new: Fields
    ) -> Iterator[Item]:
        path = change.path
        wrote = [commit for commit, own in at.written(path) if self._wrote(own, new)]
        if at.commit.is_merge and all(one.is_merge for one in wrote) and not step.is_breach:
            text = f"change {step.number} was approved on no side of the merge"
            yield at.item(Irregularity.MERGE_WROTE, text, path, change=change)
        proposal = records.key_of(records.without_approval(new))
        proposed = self._proposed.get((self._name(path), proposal))
        self.approvals[self._key(path, new)] = LandedApproval(
            path=path,
            item=new,
            ruling=at.ruling,
            landed_on=at.landed_on,
            is_taken_over=at.begins or step.is_first,
            begins=at.begins,
            writer=wrote[-1] if wrote else at.commit,
            commits=at.who_vouches([*wrote, *self._merged(at, path, new)] or [at.commit]),
            proposal=proposed or self._first_with(at, path, proposal),
        )

    def _wrote(self, own: Change, item: Fields) -> bool:
        """Whether a commit's own change of a drive's file approved just this."""
        return any(step.approval == item for step in self._steps(own))

    def _merged(self, at: AtLanding, path: str, item: Fields) -> Iterator[Commit]:
        """The merges by which an approval came to the branch that landed."""
        by_oid = {one.oid: one for one in at.landing.commits}
        for tip in at.commit.parents:
            oid = tip
            while oid in by_oid:
                commit = by_oid[oid]
                changes = commit.changes if commit.is_merge else ()
                if any(one.path == path and self._wrote(one, item) for one in changes):
                    yield commit
                oid = commit.parents[0] if commit.parents else ""

    def _first_with(self, at: AtLanding, path: str, proposal: str) -> Commit:
        """The first commit of the landing whose file holds a proposal, approved or not."""
        found = at.commit
        for commit, own in at.written(path):
            # What was proposed last stands last.
            items = reversed(self._items(path, own.new_text_oid))
            if any(records.key_of(records.without_approval(one)) == proposal for one in items):
                found = commit
                break
        self._signatures.ask(found, at.ruling)
        return found

    def _cover(self, at: AtLanding, files: Mapping[str, str]) -> None:
        """Put the statements that came beside the approvals that they cover."""
        present = {old: new for new, old in self._former.items()}
        for name, texts in list(self._texts.items()):
            path = present.get(name, name)
            start = {self._hash(oid): oid for oid in texts}
            taken = at.statements.take(path, start, self._hash(files.get(path)))
            for statement in taken:
                before = self._items(path, start[statement.text.covers[path][0]])
                for item in self._items(path, files.get(path)):
                    approval = self.approvals.get(self._key(path, item))
                    if approval is not None and item not in before:
                        approval.statements.append(statement)
            if taken:
                del self._texts[name]

    def _breach(self, at: AtLanding, change: Change, step: records.SettingStep) -> Item:
        kind = Irregularity.APPROVED_DELETED if step.new is None else Irregularity.APPROVED_EDITED
        old = self._key(change.path, step.old or {})
        if old not in self._instead:
            self._touched.add(old)
        if step.new is not None:
            self._instead.add(self._key(change.path, step.new))
        return at.item(kind, "; ".join(step.values), change.path, change=change)

    def _dropped(self, commit: Commit, change: Change) -> Iterator[Item]:
        for step in self._steps(change):
            if step.is_breach:
                text = f"one side of the merge had other values: {'; '.join(step.values)}"
                yield Item(
                    Irregularity.MERGE_DROPPED,
                    text,
                    about=change.path,
                    commit=commit,
                    old_text=records.text_of(records.old_bytes(change, self._blobs) or b""),
                )

    def _renamed(
        self, at: AtLanding, changes: list[Change], files: Mapping[str, str]
    ) -> dict[str, Change]:
        """Drives' files that came with their machine from another name, each with what is gone."""
        found: dict[str, Change] = {}
        for gone in (one for one in changes if one.new_text_oid is None):
            kept = {records.key_of(item) for item in self._items(gone.path, gone.old_text_oid)}
            for new in (one for one in changes if one.old_text_oid is None):
                has = {records.key_of(item) for item in self._items(new.path, new.new_text_oid)}
                if not kept or not kept <= has:
                    continue
                if self._says_so(gone.path, new.path, files) or self._is_same_machine(
                    at, gone.path, new.path
                ):
                    found[new.path] = gone
        return found

    def _says_so(self, old: str, new: str, files: Mapping[str, str]) -> bool:
        """Whether a machine's file gives the other's name as a former one of its own."""
        before, after = (path.replace("setpoints/", "equipment/") for path in (old, new))
        if before in files or after not in files:
            return False
        document = records.document_of(after, self._blobs.read(files[after]))
        value = None if document is None else document.value
        names = value.get("formerly", ()) if isinstance(value, dict) else ()
        return PurePosixPath(before).stem in names

    def _is_same_machine(self, at: AtLanding, old: str, new: str) -> bool:
        by_path = {one.path: one for one in at.commit.changes}
        gone, came = (by_path.get(path.replace("setpoints/", "equipment/")) for path in (old, new))
        if gone is None or came is None or gone.new_text_oid or came.old_text_oid:
            return False
        texts = (records.old_bytes(gone, self._blobs), records.new_bytes(came, self._blobs))
        before, after = (records.text_of(raw or b"").splitlines() for raw in texts)
        return difflib.SequenceMatcher(None, before, after).ratio() >= _LIKE_ENOUGH

    def _name(self, path: str) -> str:
        """The name that a drive's file was begun under."""
        return self._former.get(path, path)

    def _key(self, path: str, item: Fields) -> tuple[str, str]:
        return self._name(path), records.key_of(item)

    def _hash(self, oid: str | None) -> str:
        return hash_of(None if oid is None else self._blobs.read(oid))

    def _steps(self, change: Change) -> tuple[records.SettingStep, ...]:
        return self._steps_between(change.path, change.old_text_oid, change.new_text_oid)

    def _compared(
        self, path: str, old: str | None, new: str | None
    ) -> tuple[records.SettingStep, ...]:
        return records.setting_steps(self._items(path, old), self._items(path, new))

    def _read(self, path: str, oid: str | None) -> list[Fields]:
        """A drive's changes; none where there is no file, or one that cannot be read as such."""
        return [] if oid is None else records.setting_changes(path, self._blobs.read(oid)) or []


def _format_flaw(flaw: ApprovalFlaw, facts: Approval, site: Site, judged: Judgement) -> str:
    name = format_person(facts.approver, site)
    match flaw:
        case ApprovalFlaw.SELF_APPROVED:
            return f"{name} proposed and approved it"
        case ApprovalFlaw.PROPOSED_BY_APPROVER:
            proposer = format_person(facts.proposer, site)
            return f"{name} committed the proposal, in the name of {proposer}, and approved it"
        case ApprovalFlaw.APPROVER_NOT_HERE if judged.absent is not None:
            person, day = judged.absent
            return f"approved on {day}; {why_absent(person, day)}"
        case ApprovalFlaw.NOT_PROVEN if judged.proof is not None:
            rule, found = site.policy.approval_proof.value, judged.proof.words
            return f"approved by {name}, says the file; rule: {rule}; found: {found}"
        case ApprovalFlaw.APPROVED_LATE:
            return (
                f"took effect on {facts.first_day}; the approval landed on "
                f"{facts.landed_on}, {format_count(facts.days_late, 'working day')} later"
            )
        case _:
            return f"{facts.approver}, by the people file before it landed"


def _day(written: object) -> date | None:
    """A day of the file; None where it states none that can be read: `check` reports that."""
    try:
        return date.fromisoformat(str(written))
    except ValueError:
        return None

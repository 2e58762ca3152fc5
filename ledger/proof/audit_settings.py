"""Settings along a history: who approved each, whether git bears it out, what came later."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, tzinfo
from functools import lru_cache
from typing import Any

from ledger.book import words
from ledger.history.commit import Change, Commit
from ledger.history.repository import Repository
from ledger.model.policy import PROOF_RULES, Approval, ApprovalFlaw, Judgement, judge_approval
from ledger.model.site import ApprovalProof, Site
from ledger.proof import records
from ledger.proof.audit_items import Irregularity, Item, Note
from ledger.proof.signatures import Signatures
from ledger.proof.sites import Sites, why_absent

_STEPS_KEPT = 256

_FILES_KEPT = 64

_IRREGULARITY = {
    ApprovalFlaw.SELF_APPROVED: Irregularity.SELF_APPROVED,
    ApprovalFlaw.UNKNOWN_APPROVER: Irregularity.MAY_NOT_APPROVE,
    ApprovalFlaw.MAY_NOT_APPROVE: Irregularity.MAY_NOT_APPROVE,
    ApprovalFlaw.APPROVER_NOT_HERE: Irregularity.GONE,
    ApprovalFlaw.NOT_PROVEN: Irregularity.NOT_PROVEN,
    ApprovalFlaw.APPROVED_LATE: Irregularity.UNAPPROVED,
}

Fields = dict[str, Any]


@dataclass(slots=True, kw_only=True)
class _Approval:
    """One approved change: the commit that wrote it, then the merges that brought it to the line.

    A drive's first setting, and all that came with the site itself, is taken over from what was
    there: it may be in force since before its commit.
    """

    path: str
    item: Fields
    ruling: Site
    is_taken_over: bool
    commits: list[Commit]


class SettingTrail:
    """Follows every approved setting. Feed it the commits of a walk in order, then ask `end`."""

    def __init__(
        self,
        repository: Repository,
        blobs: records.Reader,
        sites: Sites,
        signatures: Signatures,
        line: set[str],
        zone: tzinfo,
    ) -> None:
        self._repository = repository
        self._blobs = blobs
        self._sites = sites
        self._signatures = signatures
        self._line = line
        self._zone = zone
        self._approvals: dict[tuple[str, str], _Approval] = {}
        self._touched_on_line: set[str] = set()
        self._amended: list[Item] = []
        # What was approved and then touched, and what was written in its place.
        self._touched: set[tuple[str, str]] = set()
        self._instead: set[tuple[str, str]] = set()
        # A branch's change comes up three times: where it was written, and twice at its merge.
        self._steps_between = lru_cache(maxsize=_STEPS_KEPT)(self._compared)
        # What one commit wrote, the next one changes.
        self._items = lru_cache(maxsize=_FILES_KEPT)(self._read)

    @property
    def count(self) -> int:
        """Approvals followed."""
        return len(self._approvals)

    def add(self, commit: Commit) -> Iterator[Item]:
        """What the next commit of the walk did to settings."""
        changes = [change for change in commit.changes if records.is_setpoints(change.path)]
        own = {change.path for change in commit.own_changes} if changes else set()
        for change in changes:
            if commit.oid in self._line:
                self._note_line(change)
                if commit.is_merge:
                    self._merged(commit, change)
            if change.path in own and not commit.boundary:
                yield from self._written(commit, change)
        for change in commit.dropped:
            if records.is_setpoints(change.path):
                yield from self._dropped(commit, change)

    def end(self) -> Iterator[Item]:
        """Every approval held against the rules of its time, once its merge is known."""
        for item in self._amended:
            on_line = item.about in self._touched_on_line
            yield item if on_line else replace(item, kind=Note.AMENDED)
        alone: Counter[str] = Counter()
        for approval in self._approvals.values():
            yield from self._judged(approval)
            if approval.ruling.policy.approval_proof is ApprovalProof.FILE:
                alone[approval.path] += 1
        for path, count in sorted(alone.items()):
            text = (
                f"{words.format_count(count, 'approval')}; rule: file, "
                f"{PROOF_RULES[ApprovalProof.FILE]}"
            )
            yield Item(Note.FILE_ALONE, text, about=path)

    def _note_line(self, change: Change) -> None:
        if any(step.is_breach for step in self._steps(change)):
            self._touched_on_line.add(change.path)

    def _merged(self, commit: Commit, change: Change) -> None:
        for step in self._steps(change):
            if step.approval is not None:
                approval = self._approvals.get(_key(change.path, step.approval))
                if approval is not None:
                    self._signatures.ask(commit)
                    approval.commits.append(commit)

    def _written(self, commit: Commit, change: Change) -> Iterator[Item]:
        path, new_oid = change.path, change.new_text_oid
        for step in (
            records.setting_steps(self._merge_items(commit, path), self._items(path, new_oid))
            if commit.is_merge
            else self._steps(change)
        ):
            new = step.approval
            # Word for word what was approved and then touched.
            if new is not None and _key(change.path, new) in self._touched:
                text = f"change {step.number} is as it was approved again"
                yield self._item(Note.PUT_BACK, commit, change, text)
                continue
            if step.is_breach:
                yield from self._breach(commit, change, step)
            if new is None:
                continue
            if commit.is_merge and not step.is_breach:
                text = f"change {step.number} was approved on no side of the merge"
                yield self._item(Irregularity.MERGE_WROTE, commit, change, text)
            self._signatures.ask(commit)
            self._approvals[_key(change.path, new)] = _Approval(
                path=change.path,
                item=new,
                ruling=self._sites.ruling(commit),
                is_taken_over=self._sites.begins_with(commit) or step.is_first,
                commits=[commit],
            )

    def _breach(self, commit: Commit, change: Change, step: records.SettingStep) -> Iterator[Item]:
        kind = Irregularity.APPROVED_DELETED if step.new is None else Irregularity.APPROVED_EDITED
        item = self._item(kind, commit, change, "; ".join(step.values))
        old = _key(change.path, step.old or {})
        earlier = self._approvals.get(old)
        if old not in self._instead:
            self._touched.add(old)
        if step.new is not None:
            self._instead.add(_key(change.path, step.new))
        own = earlier is not None and earlier.commits[0].author.is_same(commit.author)
        if own and commit.oid not in self._line and not commit.is_merge:
            self._amended.append(item)
        else:
            yield item

    def _dropped(self, commit: Commit, change: Change) -> Iterator[Item]:
        for step in self._steps(change):
            if step.is_breach:
                text = f"a side of the merge had it otherwise: {'; '.join(step.values)}"
                yield self._item(Irregularity.MERGE_DROPPED, commit, change, text)

    def _judged(self, approval: _Approval) -> Iterator[Item]:
        site, commit = approval.ruling, approval.commits[0]
        facts = self._facts(approval)
        judged = judge_approval(facts, site, self._sites.people_today)
        found: list[tuple[Irregularity | Note, str]] = [
            (_IRREGULARITY[flaw], _format_flaw(flaw, facts, site, judged)) for flaw in judged.flaws
        ]
        is_own = facts.approver == facts.proposer
        if is_own and ApprovalFlaw.SELF_APPROVED not in judged.flaws:
            text = _format_flaw(ApprovalFlaw.SELF_APPROVED, facts, site, judged)
            found.append((Note.ALLOWED, text))
        about = f"{approval.path}, from {approval.item.get('from')}"
        for kind, text in found:
            yield Item(kind, text, about=about, commit=commit)

    def _facts(self, approval: _Approval) -> Approval:
        item, at = approval.item, approval.commits[0].committer.at
        return Approval(
            proposer=str(item.get("proposed_by")),
            approver=str(item.get("approved_by")),
            stated_on=_day(item.get("approved_on")),
            first_day=_day(item.get("from")),
            is_taken_over=approval.is_taken_over,
            commits=tuple(map(self._signatures.maker, approval.commits)),
            committed_on=None if at is None else at.astimezone(self._zone).date(),
        )

    def _steps(self, change: Change) -> tuple[records.SettingStep, ...]:
        return self._steps_between(change.path, change.old_text_oid, change.new_text_oid)

    def _compared(
        self, path: str, old: str | None, new: str | None
    ) -> tuple[records.SettingStep, ...]:
        return records.setting_steps(self._items(path, old), self._items(path, new))

    def _read(self, path: str, oid: str | None) -> list[Fields]:
        """A drive's changes; none where there is no file, or one that cannot be read as such."""
        return [] if oid is None else records.setting_changes(path, self._blobs.read(oid)) or []

    def _merge_items(self, commit: Commit, path: str) -> list[Fields]:
        """All changes of the drive that any side of a merge holds, in the order of their dates."""
        found: dict[str, Fields] = {}
        for parent in commit.parents:
            oid = self._repository.git.object_id(f"{parent}:{self._repository.prefix}{path}")
            for item in self._items(path, oid):
                found.setdefault(records.key_of(item), item)
        return sorted(found.values(), key=lambda item: str(item.get("from")))

    def _item(self, kind: Irregularity | Note, commit: Commit, change: Change, text: str) -> Item:
        new = records.new_bytes(change, self._blobs)
        return Item(
            kind,
            text,
            about=change.path,
            commit=commit,
            old_text=records.text_of(records.old_bytes(change, self._blobs) or b""),
            new_text=None if new is None else records.text_of(new),
        )


def _format_flaw(flaw: ApprovalFlaw, facts: Approval, site: Site, judged: Judgement) -> str:
    name = words.format_person(facts.approver, site)
    match flaw:
        case ApprovalFlaw.SELF_APPROVED:
            return f"{name} proposed and approved it"
        case ApprovalFlaw.APPROVER_NOT_HERE if judged.absent is not None:
            person, day = judged.absent
            return f"approved on {day}; {why_absent(person, day)}"
        case ApprovalFlaw.NOT_PROVEN if judged.proof is not None:
            rule, found = site.policy.approval_proof.value, judged.proof.words
            return f"approved by {name}, they say; rule: {rule}; found: {found}"
        case ApprovalFlaw.APPROVED_LATE:
            return (
                f"took effect on {facts.first_day}; the approval was committed on "
                f"{facts.committed_on}, {words.format_count(facts.days_late, 'day')} later"
            )
        case _:
            return f"{facts.approver}, by the people file before that commit"


def _day(written: object) -> date | None:
    """A day of the file; None where it states none that can be read: `check` tells of that."""
    try:
        return date.fromisoformat(str(written))
    except ValueError:
        return None


def _key(path: str, item: Fields) -> tuple[str, str]:
    return path, records.key_of(item)

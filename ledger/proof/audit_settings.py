"""Settings along a history: who approved each, whether git bears it out, what came later."""

import json
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, tzinfo
from functools import lru_cache
from typing import Any

from ledger.book import words
from ledger.history.commit import Change, Commit
from ledger.history.repository import Repository
from ledger.model.site import APPROVES_SETTINGS, ApprovalProof, Site
from ledger.proof.approval import RULES, Signatures, maker_of, prove
from ledger.proof.audit_items import CommitMark, Item, Note, Offence, mark_of
from ledger.proof.records import (
    SUBMODULE,
    Reader,
    SettingStep,
    Step,
    is_approved,
    is_setpoints,
    new_bytes,
    old_bytes,
    setting_changes,
    setting_steps,
    text_of,
)
from ledger.proof.sites import Sites

_STEPS_KEPT = 256

_FILES_KEPT = 64


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

    @property
    def mark(self) -> CommitMark:
        return mark_of(self.commits[0])


class SettingTrail:
    """Follows every approved setting. Feed it the commits of a walk in order, then ask `end`."""

    def __init__(
        self,
        repository: Repository,
        blobs: Reader,
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
        changes = [change for change in commit.changes if is_setpoints(change.path)]
        own = {change.path for change in commit.own_changes} if changes else set()
        for change in changes:
            if commit.oid in self._line:
                self._note_line(change)
                if commit.is_merge:
                    self._merged(commit, change)
            if change.path in own and not commit.boundary:
                yield from self._written(commit, change)
        for change in commit.dropped:
            if is_setpoints(change.path):
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
            said = (
                f"{words.format_count(count, 'approval')}; rule: file, {RULES[ApprovalProof.FILE]}"
            )
            yield Item(kind=Note.FILE_ALONE, about=path, words=said)

    def _note_line(self, change: Change) -> None:
        if any(step.is_breach for step in self._steps(change)):
            self._touched_on_line.add(change.path)

    def _merged(self, commit: Commit, change: Change) -> None:
        for step in self._steps(change):
            if step.new is not None and step.step in (Step.APPROVED, Step.EDITED):
                approval = self._approvals.get(_key(change.path, step.new))
                if approval is not None:
                    self._signatures.ask(commit, self._sites.ruling(commit))
                    approval.commits.append(commit)

    def _written(self, commit: Commit, change: Change) -> Iterator[Item]:
        if commit.is_merge:
            old = self._merge_items(commit, change.path)
            steps = setting_steps(old, self._items(change.path, change.new_oid))
        else:
            old = self._items(change.path, change.old_oid)
            steps = self._steps(change)
        for step in steps:
            new = step.new
            if new is not None and self._is_put_back(change.path, step):
                said = f"change {step.number} is as it was approved again"
                yield self._item(Note.PUT_BACK, commit, change, said)
                continue
            if step.is_breach:
                yield from self._breach(commit, change, step)
            if new is None or step.step not in (Step.APPROVED, Step.EDITED):
                continue
            if commit.is_merge and not step.is_breach:
                said = f"change {step.number} was approved on no side of the merge"
                yield self._item(Offence.MERGE_WROTE, commit, change, said)
            ruling = self._sites.ruling(commit)
            self._signatures.ask(commit, ruling)
            self._approvals[_key(change.path, new)] = _Approval(
                path=change.path,
                item=new,
                ruling=ruling,
                is_taken_over=self._sites.begins_with(commit)
                or not any(is_approved(item) for item in old if item is not step.old),
                commits=[commit],
            )

    def _is_put_back(self, path: str, step: SettingStep) -> bool:
        """Whether a change is again, word for word, what was approved and then touched."""
        return step.step in (Step.APPROVED, Step.EDITED) and (
            _key(path, step.new or {}) in self._touched
        )

    def _breach(self, commit: Commit, change: Change, step: SettingStep) -> Iterator[Item]:
        kind = Offence.APPROVED_DELETED if step.new is None else Offence.APPROVED_EDITED
        item = self._item(kind, commit, change, "; ".join(step.values))
        earlier = self._approvals.get(_key(change.path, step.old or {}))
        old = _key(change.path, step.old or {})
        if old not in self._instead:
            self._touched.add(old)
        if step.new is not None:
            self._instead.add(_key(change.path, step.new))
        own = (
            earlier is not None and earlier.mark.email.casefold() == commit.author.email.casefold()
        )
        if own and commit.oid not in self._line and not commit.is_merge:
            self._amended.append(item)
        else:
            yield item

    def _dropped(self, commit: Commit, change: Change) -> Iterator[Item]:
        for step in self._steps(change):
            if step.is_breach:
                said = f"a side of the merge had it otherwise: {'; '.join(step.values)}"
                yield self._item(Offence.MERGE_DROPPED, commit, change, said)

    def _judged(self, approval: _Approval) -> Iterator[Item]:
        item, site = approval.item, approval.ruling
        about = f"{approval.path}, from {item.get('from')}"
        approver, proposer = str(item.get("approved_by")), str(item.get("proposed_by"))
        if approver == proposer:
            kind = Offence.SELF_APPROVED if site.policy.approver_differs else Note.ALLOWED
            said = f"{words.format_person(approver, site)} proposed and approved it"
            yield Item(kind=kind, about=about, words=said, commit=approval.mark)
        person = site.people.get(approver)
        if person is None or APPROVES_SETTINGS not in person.approves:
            said = f"{approver}, by the people file before that commit"
            yield Item(kind=Offence.MAY_NOT_APPROVE, about=about, words=said, commit=approval.mark)
        else:
            yield from self._gone(approval, about, approver)
        rule = site.policy.approval_proof
        makers = [maker_of(commit, self._signatures.of(commit.oid)) for commit in approval.commits]
        proof = prove(approver, rule, site.people, makers)
        if not proof.held:
            name = words.format_person(approver, site)
            said = f"approved by {name}, they say; rule: {rule.value}; found: {proof.words}"
            yield Item(kind=Offence.NOT_PROVEN, about=about, words=said, commit=approval.mark)
        yield from self._in_time(approval, about)

    def _gone(self, approval: _Approval, about: str, approver: str) -> Iterator[Item]:
        """An approver who was not with the site on the day of the commit, or the day the file says.

        A setting taken over has the file's day alone.
        """
        at, item = approval.mark.at, approval.item
        days = {_day(item.get("approved_on") or item.get("from"))}
        if at is not None and not approval.is_taken_over:
            days = {at.astimezone(self._zone).date(), _day(item.get("approved_on"))}
        for day in sorted(day for day in days if day is not None):
            wrong = self._sites.left_on(approver, day, approval.commits[0])
            if wrong:
                said = f"approved on {day}; {wrong}"
                yield Item(kind=Offence.GONE, about=about, words=said, commit=approval.mark)
                return

    def _in_time(self, approval: _Approval, about: str) -> Iterator[Item]:
        begins = _day(approval.item.get("from"))
        if begins is None or approval.mark.at is None or approval.is_taken_over:
            return
        approved = approval.mark.at.astimezone(self._zone).date()
        if approved > begins:
            days = words.format_count((approved - begins).days, "day")
            said = (
                f"took effect on {begins}; the approval was committed on {approved}, {days} later"
            )
            yield Item(kind=Offence.UNAPPROVED, about=about, words=said, commit=approval.mark)

    def _steps(self, change: Change) -> tuple[SettingStep, ...]:
        old = None if change.old_mode == SUBMODULE else change.old_oid
        new = None if change.new_mode == SUBMODULE else change.new_oid
        return self._steps_between(change.path, old, new)

    def _compared(self, path: str, old: str | None, new: str | None) -> tuple[SettingStep, ...]:
        return setting_steps(self._items(path, old), self._items(path, new))

    def _read(self, path: str, oid: str | None) -> list[Fields]:
        """A drive's changes; none where there is no file, or one that cannot be read as such."""
        return [] if oid is None else setting_changes(path, self._blobs.read(oid)) or []

    def _merge_items(self, commit: Commit, path: str) -> list[Fields]:
        """All changes of the drive that any side of a merge holds, in the order of their dates."""
        found: dict[str, Fields] = {}
        for parent in commit.parents:
            name = f"{parent}:{self._repository.prefix}{path}"
            oid = self._repository.git.attempt(
                "rev-parse", "--verify", "--quiet", "--end-of-options", name
            )
            if oid is not None:
                for item in self._items(path, oid.decode("ascii").strip()):
                    found.setdefault(_key(path, item)[1], item)
        return sorted(found.values(), key=lambda item: str(item.get("from")))

    def _item(self, kind: Offence | Note, commit: Commit, change: Change, said: str) -> Item:
        new = new_bytes(change, self._blobs)
        return Item(
            kind=kind,
            about=change.path,
            words=said,
            commit=mark_of(commit),
            old_text=text_of(old_bytes(change, self._blobs)),
            new_text=None if new is None else text_of(new),
        )


def _day(written: object) -> date | None:
    """A day of the file; None where it states none that can be read: `check` tells of that."""
    try:
        return date.fromisoformat(str(written))
    except ValueError:
        return None


def _key(path: str, item: Fields) -> tuple[str, str]:
    return path, json.dumps(item, sort_keys=True, ensure_ascii=False)

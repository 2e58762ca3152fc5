"""What the single commits of a branch did, where its first and last state do not show it.

Which commits wrote and merged an approval; and which records were touched on the way: a visit
filed in one commit and edited in the next looks new from outside, and an edit that is taken back
looks like none. Both stay in history, so a review names them before they are merged.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from ledger.files.names import SITE_FILE
from ledger.history.commit import Change, Commit
from ledger.history.repository import Repository
from ledger.history.verification import Verifier
from ledger.model.policy import CommitMaker
from ledger.model.site import Site
from ledger.proof import records
from ledger.proof.signatures import keys_of, maker_of


@dataclass(slots=True, kw_only=True)
class BranchApproval:
    """What the commits of a branch tell of one approval.

    `makers` are those who wrote it and who merged it, newest first. `approved_at` is when the
    commit that wrote it was made, `proposed_from` the address of the commit that first had the
    change, approved or not; None where the branch does not tell. `is_taken_over` where nothing of
    the drive had been approved before it, or the commit brought the site itself.
    """

    makers: list[CommitMaker] = field(default_factory=list)
    approved_at: datetime | None = None
    proposed_from: str | None = None
    is_taken_over: bool = False


def approval_commits(
    repository: Repository,
    head: str,
    commits: Iterable[Commit],
    steps: Iterable[tuple[str, records.SettingStep]],
    blobs: records.Reader,
    *,
    ruling: Site,
) -> dict[tuple[str, int], BranchApproval]:
    """What `commits`, those of the branch from the oldest on, tell of each new approval.

    By file and number. Signatures are held against the keys of `ruling`, the site before the
    branch.
    """
    wanted = {(path, step.number): step for path, step in steps if step.approval is not None}
    found = {key: BranchApproval() for key in wanted}
    if not wanted:
        return found
    line = records.first_parents(repository, head)
    verifier, keys = Verifier(repository.git), keys_of(ruling)
    for commit in commits:
        own = {change.path for change in commit.own_changes}
        begins = any(c.path == SITE_FILE and c.old_oid is None for c in commit.changes)
        on_line = commit.oid in line or not commit.is_merge
        for change in filter(_is_of_setpoints, commit.changes if on_line else commit.own_changes):
            written = [
                step for step in records.steps_in(change, blobs) if step.approval is not None
            ]
            items = records.setting_changes(change.path, records.new_bytes(change, blobs)) or []
            proposed = [_without_approval(item) for item in items]
            for (path, _), step in wanted.items():
                if path != change.path:
                    continue
                one, proposal = found[path, step.number], _without_approval(step.new or {})
                is_new = proposal != _without_approval(step.old or {})
                if proposal in proposed and one.proposed_from is None and is_new:
                    one.proposed_from = commit.author.email
                here = next((other for other in written if other.new == step.new), None)
                if here is None:
                    continue
                signed = commit.signature
                verified = None if signed is None else verifier.verify(signed, keys)
                one.makers.insert(0, maker_of(commit, verified))
                if path in own:
                    one.approved_at = commit.committer.at
                    one.is_taken_over = begins or here.is_first
    return found


def _is_of_setpoints(change: Change) -> bool:
    return records.is_setpoints(change.path)


def _without_approval(item: dict[str, Any]) -> dict[str, Any]:
    """A change as it was before anybody approved it."""
    return {
        name: value for name, value in item.items() if name not in ("approved_by", "approved_on")
    }


@dataclass(frozen=True, slots=True, kw_only=True)
class TouchedByCommit:
    """A filed visit or an approved change that a commit of the branch touched, and how.

    `is_own` where its own author did it before it was merged: that is put right in time, as long
    as it is merged with a commit of its own.
    """

    path: str
    commit: str
    author: str
    words: str
    is_own: bool


def touched_by_commits(
    commits: Iterable[Commit], blobs: records.Reader
) -> Iterator[TouchedByCommit]:
    """All that `commits`, those of a branch from the oldest on, did to filed records."""
    # Whose address filed each visit of the branch, and approved each of its changes.
    filers: dict[str, str] = {}
    approvers: dict[tuple[str, str], str] = {}
    for commit in commits:
        yield from _touched_visits(commit, blobs, filers)
        for change in filter(_is_of_setpoints, () if commit.is_merge else commit.own_changes):
            yield from _touched_approvals(
                commit, change, records.steps_in(change, blobs), approvers
            )


def _touched_visits(
    commit: Commit, blobs: records.Reader, filers: dict[str, str]
) -> Iterator[TouchedByCommit]:
    touched, added = records.touched_visits(commit.own_changes, blobs)
    for one in touched:
        record = records.record_change(one, blobs)
        filed_by = filers.pop(record.path, None)
        if record.new_path is not None and filed_by is not None:
            filers[record.new_path] = filed_by
        yield _touched(commit, record.path, record.words, filed_by)
    for change in added:
        filed_by = filers.get(change.path)
        if filed_by is not None and commit.is_merge:
            yield _touched(commit, change.path, "the merge has another text", None)
        filers[change.path] = filed_by or commit.author.email
    for change in commit.dropped:
        if records.is_visit(change.path):
            yield _touched(commit, change.path, "the merge left out what one side had", None)


def _touched_approvals(
    commit: Commit,
    change: Change,
    steps: Iterable[records.SettingStep],
    approvers: dict[tuple[str, str], str],
) -> Iterator[TouchedByCommit]:
    for step in steps:
        if step.is_breach:
            approver = approvers.get((change.path, records.key_of(step.old or {})))
            yield _touched(commit, change.path, step.words, approver)
        if step.new is not None and step.new.get("approved_by"):
            approvers.setdefault((change.path, records.key_of(step.new)), commit.author.email)


def _touched(commit: Commit, path: str, words: str, filed_by: str | None) -> TouchedByCommit:
    author = commit.author.email
    own = filed_by is not None and filed_by.casefold() == author.casefold()
    return TouchedByCommit(
        path=path, commit=commit.oid, author=author, words=words, is_own=own and not commit.is_merge
    )

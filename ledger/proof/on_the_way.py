"""Records touched between two commits of a branch, where its first and last state show nothing.

A visit filed in one commit of a branch and edited in the next looks new from outside, and an edit
that is taken back looks like none. Both stay in history, so a review tells of them before they
are merged.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from ledger.history.commit import Change, Commit
from ledger.proof.records import (
    Reader,
    Touch,
    is_setpoints,
    is_visit,
    new_bytes,
    old_bytes,
    record_change,
    setting_changes,
    setting_steps,
    touched_visits,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class TouchedOnTheWay:
    """A filed visit or an approved change that a commit of the branch touched, and how.

    `is_own` where its own author did it before it was merged: that is put right in time, as long
    as it is merged with a commit of its own.
    """

    path: str
    commit: str
    author: str
    words: str
    is_own: bool


@dataclass(slots=True)
class _Writers:
    """Whose address filed each visit of the branch, and approved each of its changes."""

    visits: dict[str, str] = field(default_factory=dict)
    approvals: list[tuple[str, dict[str, object], str]] = field(default_factory=list)


def touched_on_the_way(commits: Iterable[Commit], blobs: Reader) -> Iterator[TouchedOnTheWay]:
    """All that `commits`, those of a branch from the oldest on, did to filed records."""
    writers = _Writers()
    for commit in commits:
        yield from _visits(commit, blobs, writers)
        for change in commit.own_changes:
            if is_setpoints(change.path) and not commit.is_merge:
                yield from _settings(commit, change, blobs, writers)


def _visits(commit: Commit, blobs: Reader, writers: _Writers) -> Iterator[TouchedOnTheWay]:
    touched, added = touched_visits(commit.own_changes, blobs)
    for one in touched:
        record = record_change(one, blobs)
        filed_by = writers.visits.pop(record.path, None)
        if record.new_path is not None and filed_by is not None:
            writers.visits[record.new_path] = filed_by
        if record.touch is Touch.DELETED:
            said = "taken out again"
        else:
            said = "; ".join(record.values) or "layout or comments only"
            if record.touch is Touch.RENAMED:
                said = f"now {record.new_path}: {said}"
        yield _told(commit, record.path, said, filed_by)
    for change in added:
        filed_by = writers.visits.get(change.path)
        if filed_by is not None and commit.is_merge:
            yield _told(commit, change.path, "the merge has another text", None)
        writers.visits[change.path] = filed_by or commit.author.email
    for change in commit.dropped:
        if is_visit(change.path):
            yield _told(commit, change.path, "the merge left out what one side had", None)


def _settings(
    commit: Commit, change: Change, blobs: Reader, writers: _Writers
) -> Iterator[TouchedOnTheWay]:
    old = setting_changes(change.path, old_bytes(change, blobs)) if change.old_oid else []
    new = setting_changes(change.path, new_bytes(change, blobs))
    for step in setting_steps(old or [], new or []):
        if step.is_breach:
            by = next(
                (
                    email
                    for path, item, email in writers.approvals
                    if path == change.path and item == step.old
                ),
                None,
            )
            yield _told(commit, change.path, f"{step.step.value}: {'; '.join(step.values)}", by)
        if step.new is not None and step.new.get("approved_by"):
            writers.approvals.append((change.path, step.new, commit.author.email))


def _told(commit: Commit, path: str, said: str, filed_by: str | None) -> TouchedOnTheWay:
    author = commit.author.email
    own = filed_by is not None and filed_by.casefold() == author.casefold()
    return TouchedOnTheWay(
        path=path,
        commit=commit.oid,
        author=author,
        words=said,
        is_own=own and not commit.is_merge,
    )

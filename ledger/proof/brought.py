"""Who brought each approval of a branch: who proposed, who wrote it and when, who merged it."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from ledger.history.commit import Change as TreeChange
from ledger.history.commit import Commit
from ledger.history.repository import Repository
from ledger.history.verification import Verifier
from ledger.model.site import Site
from ledger.proof.approval import Maker, maker_of
from ledger.proof.records import (
    Reader,
    SettingStep,
    Step,
    is_setpoints,
    new_bytes,
    newly_approved,
    setting_changes,
)
from ledger.proof.signatures import keys_of
from ledger.proof.trees import first_parents

_OF_AN_APPROVAL = frozenset({"approved_by", "approved_on"})


@dataclass(slots=True, kw_only=True)
class Brought:
    """What the commits of a branch tell of one approval.

    `makers` are those who wrote it and who merged it, newest first. `approved_at` is when the
    commit that wrote it was made, `proposed_from` the address of the commit that first had the
    change, approved or not; None where the branch does not tell.
    """

    makers: list[Maker] = field(default_factory=list)
    approved_at: datetime | None = None
    proposed_from: str | None = None


def brought_by(
    repository: Repository,
    head: str,
    commits: Iterable[Commit],
    steps: Sequence[tuple[str, SettingStep]],
    blobs: Reader,
    *,
    ruling: Site,
) -> dict[tuple[str, int], Brought]:
    """What `commits`, those of the branch from the oldest on, tell of each new approval.

    By file and number. Signatures are held against the keys of `ruling`, the site before the
    branch.
    """
    wanted = {
        (path, step.number): step
        for path, step in steps
        if step.step in (Step.APPROVED, Step.EDITED)
    }
    found = {key: Brought() for key in wanted}
    if not wanted:
        return found
    line = first_parents(repository, head)
    verifier, keys = Verifier(repository.git), keys_of(ruling)
    for commit in commits:
        own = {change.path for change in commit.own_changes}
        for change in _bringing(commit, on_line=commit.oid in line):
            brought = newly_approved(change, blobs)
            held = [_proposed(item) for item in _items(change, blobs)]
            for key, step in wanted.items():
                if key[0] != change.path or step.new is None:
                    continue
                one, told = found[key], _proposed(step.new)
                if told in held and one.proposed_from is None and told != _proposed(step.old or {}):
                    one.proposed_from = commit.author.email
                if step.new in brought:
                    signed = commit.signature
                    verified = None if signed is None else verifier.verify(signed, keys)
                    one.makers.insert(0, maker_of(commit, verified))
                    if change.path in own:
                        one.approved_at = commit.committer.at
    return found


def _bringing(commit: Commit, *, on_line: bool) -> Iterable[TreeChange]:
    """The drives' files a commit itself wrote, or brought onto the line by merging."""
    changes = commit.changes if on_line or not commit.is_merge else commit.own_changes
    return (change for change in changes if is_setpoints(change.path))


def _items(change: TreeChange, blobs: Reader) -> list[dict[str, Any]]:
    return setting_changes(change.path, new_bytes(change, blobs)) or []


def _proposed(item: dict[str, Any]) -> dict[str, Any]:
    """A change as it was before anybody approved it."""
    return {name: value for name, value in item.items() if name not in _OF_AN_APPROVAL}

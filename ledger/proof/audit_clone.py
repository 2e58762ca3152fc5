"""What an audit says of the clone itself: history replaced since last time, or not all here."""

from collections.abc import Iterator

from ledger.history.problem import GitProblem
from ledger.history.repository import Repository
from ledger.history.state import HistoryState
from ledger.proof.audit_items import Item, Note, Offence
from ledger.proof.records import Reader, record_change, touched_visits
from ledger.proof.trees import object_ids_at, tree_changes


def rewritten(repository: Repository, oid: str, blobs: Reader) -> Iterator[Item]:
    """That the head no longer builds on a remembered commit, and which of its visits are gone."""
    said = f"the head does not build on {oid[:12]}, the head remembered from an earlier audit"
    yield Item(kind=Offence.REWRITTEN, about="", words=said)
    try:
        old = object_ids_at(repository, oid)
    except GitProblem:
        said = "its commit is not in this clone any more, so what it held cannot be compared"
        yield Item(kind=Offence.REWRITTEN, about=oid[:12], words=said)
        return
    changes = tree_changes(old, object_ids_at(repository, "HEAD"))
    for one in touched_visits(changes, blobs)[0]:
        record = record_change(one, blobs)
        values = f": {'; '.join(record.values)}" if record.values else ""
        yield Item(
            kind=Offence.REWRITTEN,
            about=record.path,
            words=f"held by the remembered head, {record.touch.value} in this one{values}",
            old_text=record.old_text,
            new_text=record.new_text,
        )


def gaps(state: HistoryState) -> Iterator[Item]:
    """What this clone does not hold, or would have git show otherwise."""
    for oid in state.shallow_at:
        said = "its parents are not in this clone; what it already held could not be judged"
        yield Item(kind=Note.SHALLOW, about=oid[:12], words=said)
    if state.partial:
        said = "files may be missing from this clone: git fetch --refetch --no-filter"
        yield Item(kind=Note.SHALLOW, about="", words=said)
    for oid in (*state.grafts, *state.replaced):
        said = "replaced or grafted in this clone; the audit read the true commit"
        yield Item(kind=Note.SHOWN_OTHERWISE, about=oid[:12], words=said)

"""The plan along the line: who weakened it, and whether a second person agreed where one must."""

from collections.abc import Iterator, Mapping
from functools import lru_cache
from typing import TYPE_CHECKING

from ledger.files.document import Document
from ledger.files.names import SITE_FILE
from ledger.history.commit import Change
from ledger.model.policy import CommitMaker, Loosening, Vouchers, why_not_vouched
from ledger.model.site import ApprovalProof
from ledger.proof.at_landing import AtLanding
from ledger.proof.audit_items import Irregularity, Item, Note
from ledger.proof.records import Reader, sound_document
from ledger.proof.statements import hash_of
from ledger.values import dataclass, field, replace

if TYPE_CHECKING:
    from ledger.model.ledger import Ledger

_FOLDERS = ("equipment/", "tasks/", "parts/")

_FILES_KEPT = 1024


@dataclass(frozen=True, slots=True, kw_only=True)
class _Waiting:
    """What nobody has vouched for in a file: the text before, who wrote it, and what to say."""

    start: str | None
    commits: tuple[CommitMaker, ...]
    items: list[Item] = field(default_factory=list)


class PlanTrail:
    """Follows machines, tasks and the time zone. Feed it the landings in order, then ask `end`."""

    def __init__(self, blobs: Reader) -> None:
        self._blobs = blobs
        self._ledger: Ledger | None = None
        # The first plan is built once another is held against it.
        self._first: dict[str, str] = {}
        self._document = lru_cache(maxsize=_FILES_KEPT)(self._read)
        self._waiting: dict[str, _Waiting] = {}

    def land(self, at: AtLanding, files: Mapping[str, str]) -> Iterator[Item]:
        """What the next landing did to the plan; `files` are those of the tree after it."""
        changes = {one.path: one for one in at.commit.changes if _is_plan(one.path)}
        if changes and not self._first:
            self._first = {path: oid for path, oid in files.items() if _is_plan(path)}
        elif changes:
            before, after = self._ledger or self._built(self._first), self._built(files)
            if before is not None and after is not None and not at.begins:
                yield from self._weaker(at, before, after, changes)
            # Held against the last plan that could be read, so that a broken file hides nothing.
            self._ledger = after or before
        if self._waiting and (changes or at.arrived):
            yield from self._settled(at, files)

    def end(self) -> Iterator[Item]:
        """What still waits for a statement."""
        for waits in self._waiting.values():
            yield from waits.items

    def _weaker(
        self, at: AtLanding, before: "Ledger", after: "Ledger", changes: Mapping[str, Change]
    ) -> Iterator[Item]:
        from ledger.proof.plan import weaker_plan  # noqa: PLC0415 - most plans stay as they began

        for one in weaker_plan(before, after):
            path = one.path if one.path in changes else next(iter(changes))
            yield at.item(Note.PLAN, one.words, path, about=one.about)
            if not at.ruling.policy.plan_needs_approval:
                continue
            waits = self._waiting.setdefault(
                path, _Waiting(start=changes[path].old_text_oid, commits=at.makers(path))
            )
            waits.items.append(at.item(Irregularity.PLAN_ALONE, one.words, path, about=one.about))

    def _settled(self, at: AtLanding, files: Mapping[str, str]) -> Iterator[Item]:
        """What was vouched for is forgotten; what no statement can vouch for later is reported."""
        for path, waits in list(self._waiting.items()):
            start, present = (
                hash_of(None if oid is None else self._blobs.read(oid))
                for oid in (waits.start, files.get(path))
            )
            statements = tuple(one.proof for one in at.statements.take(path, {start}, present))
            vouchers = Vouchers(commits=waits.commits, statements=statements)
            why = why_not_vouched(Loosening(keys=(path,)), at.ruling, vouchers)
            if why and at.ruling.policy.approval_proof is ApprovalProof.STATEMENT:
                continue
            del self._waiting[path]
            if why:
                yield from (replace(item, words=f"{item.words}: {why}") for item in waits.items)

    def _built(self, files: Mapping[str, str]) -> "Ledger | None":
        from ledger.model.build import build_ledger  # noqa: PLC0415 - as above

        found = (self._document(path, oid) for path, oid in files.items() if _is_plan(path))
        return build_ledger(one for one in found if one is not None)[0]

    def _read(self, path: str, oid: str) -> Document | None:
        return sound_document(path, self._blobs.read(oid))


def _is_plan(path: str) -> bool:
    return path == SITE_FILE or path.startswith(_FOLDERS)

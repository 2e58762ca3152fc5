"""What became of filed records between two states: visits, and changes of drive settings.

A visit is filed once it is committed; a change of a setting once it is approved. Neither is
touched afterwards: a mistake is put right by a later entry with `corrects`, a setting by a new
change at the end of its drive's file.
"""

import difflib
import json
from collections.abc import Iterable, Sequence
from enum import StrEnum
from typing import TYPE_CHECKING, Any, Protocol

from ledger.files.document import Document
from ledger.files.paths import FOLDERS, Kind, Source, discover
from ledger.files.reading import parse_document
from ledger.files.schemas import check_document
from ledger.files.text import decode
from ledger.history.commit import Change
from ledger.history.objects import GitTree
from ledger.history.repository import Repository
from ledger.values import dataclass

if TYPE_CHECKING:
    from ledger.book.blocks import Block

# Below this likeness two visits are two visits, not one under another name.
_LIKE_ENOUGH = 0.6


class Touch(StrEnum):
    """What was done to a filed record."""

    EDITED = "edited"
    DELETED = "deleted"
    RENAMED = "renamed"


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordChange:
    """A filed record that was touched: both paths and both texts; the new ones None if deleted.

    `values` are the recorded values that differ, each as `name: old → new`; empty where only
    layout or comments do.
    """

    touch: Touch
    path: str
    new_path: str | None
    old_text: str
    new_text: str | None
    values: tuple[str, ...]

    @property
    def words(self) -> str:
        """What was done, without the path it was done to."""
        if self.touch is Touch.DELETED:
            return "the file was removed"
        text = "; ".join(self.values) or "layout or comments only"
        return f"now {self.new_path}: {text}" if self.touch is Touch.RENAMED else text


class Step(StrEnum):
    """What a commit or a branch did with one change of a drive's setting."""

    PROPOSED = "proposed"
    APPROVED = "approved"
    REWORDED = "proposal edited"
    WITHDRAWN = "proposal withdrawn"
    DROPPED = "proposal taken out"
    EDITED = "approved change edited"
    DELETED = "approved change deleted"


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingStep:
    """One change of a setting before and after, as fields of the file.

    `number` is its place in the file, from 1: in the new file, or in the old one where it is gone.
    `is_first` is true where nothing else in the old file was approved.
    """

    step: Step
    number: int
    old: dict[str, Any] | None
    new: dict[str, Any] | None
    is_first: bool

    @property
    def approval(self) -> dict[str, Any] | None:
        """The change as it was approved here, anew or otherwise than before; None for neither."""
        return self.new if self.step in (Step.APPROVED, Step.EDITED) else None

    @property
    def is_breach(self) -> bool:
        return self.step in (Step.EDITED, Step.DELETED)

    @property
    def values(self) -> tuple[str, ...]:
        return differing(self.old or {}, self.new or {})

    @property
    def words(self) -> str:
        return f"{self.step.value}: {'; '.join(self.values)}"


def is_visit(path: str) -> bool:
    return path.startswith("observations/")


def is_setpoints(path: str) -> bool:
    return path.startswith("setpoints/")


def source_of(path: str) -> Source | None:
    """The file's kind and id, None where its name is not one of a site's files."""
    if path != "site.yaml" and path.partition("/")[0] not in FOLDERS:
        return None
    found = discover([path]).sources
    return found[0] if found else None


def document_of(path: str, raw: bytes) -> Document | None:
    """The document in a file's bytes, as far as it can be read."""
    source = source_of(path)
    return None if source is None else parse_document(source, raw)[0]


def sound_document(path: str, raw: bytes, kind: Kind | None = None) -> Document | None:
    """The document in a file's bytes; None where it has an error, or is of another kind."""
    found = document_of(path, raw)
    if found is None or kind not in (None, found.kind) or check_document(found):
        return None
    return found


def searchable(path: str, raw: bytes | None) -> bytes:
    """A file's bytes to look for a word in; what it writes in escapes stands behind in plain."""
    if raw is None or b"\\" not in raw:
        return raw or b""
    document = document_of(path, raw)
    value = None if document is None else document.value
    return raw + json.dumps(value, ensure_ascii=False, default=str).encode()


def text_of(raw: bytes, path: str = "") -> str:
    """The file's text for people to read; what is not UTF-8 shows as its bytes."""
    text, _ = decode(raw, path)
    return raw.decode("utf-8", "backslashreplace") if text is None else text


class Reader(Protocol):
    """What reads blobs by object id: `ledger.history.objects.BlobReader`."""

    def read(self, oid: str) -> bytes: ...


@dataclass(frozen=True, slots=True, kw_only=True)
class TouchedVisit:
    """A change of the tree that touches a filed visit, and where it went if it was renamed."""

    change: Change
    moved_to: Change | None = None


def touched_visits(
    changes: Iterable[Change], read: Reader
) -> tuple[list[TouchedVisit], list[Change]]:
    """The visits touched by some changes of a tree, and the visits that are simply new."""
    own = [change for change in changes if is_visit(change.path)]
    added = {one.path: one for one in own if one.old_text_oid is None and one.new_text_oid}
    touched = []
    for change in own:
        if change.old_text_oid is None:
            continue
        moved_to = None
        if change.new_text_oid is None and added:
            moved_to = _moved_to(change, list(added.values()), read)
            if moved_to is not None:
                del added[moved_to.path]
        touched.append(TouchedVisit(change=change, moved_to=moved_to))
    return touched, list(added.values())


def _moved_to(gone: Change, added: Sequence[Change], read: Reader) -> Change | None:
    for change in added:
        if change.new_text_oid == gone.old_text_oid:
            return change
    old = text_of(old_bytes(gone, read) or b"", gone.path)
    best, likeness = None, _LIKE_ENOUGH
    for change in added:
        new = text_of(new_bytes(change, read) or b"", change.path)
        found = difflib.SequenceMatcher(None, old.splitlines(), new.splitlines()).ratio()
        if found >= likeness:
            best, likeness = change, found
    return best


def old_bytes(change: Change, read: Reader) -> bytes | None:
    """What was at a change's path before it; None for no file."""
    return None if change.old_text_oid is None else read.read(change.old_text_oid)


def new_bytes(change: Change, read: Reader) -> bytes | None:
    """What a change left at its path; None for no file."""
    return None if change.new_text_oid is None else read.read(change.new_text_oid)


def record_change(touched: TouchedVisit, read: Reader) -> RecordChange:
    """Both texts of a touched visit, and the recorded values that differ."""
    change, after = touched.change, touched.moved_to or touched.change
    old, new = old_bytes(change, read) or b"", new_bytes(after, read)
    if new is None:
        touch = Touch.DELETED
    else:
        touch = Touch.EDITED if touched.moved_to is None else Touch.RENAMED
    return RecordChange(
        touch=touch,
        path=change.path,
        new_path=None if new is None else after.path,
        old_text=text_of(old, change.path),
        new_text=None if new is None else text_of(new, after.path),
        values=() if new is None else _visit_values(change.path, old, after.path, new),
    )


def _visit_values(old_path: str, old: bytes, new_path: str, new: bytes) -> tuple[str, ...]:
    documents = document_of(old_path, old), document_of(new_path, new)
    before, after = (None if document is None else document.value for document in documents)
    if not isinstance(before, dict) or not isinstance(after, dict):
        return ("the file cannot be read as a visit",)
    return differing(before, after)


def differing(old: Any, new: Any, name: str = "") -> tuple[str, ...]:
    """What differs between two values of a file, as `name: old → new`."""
    if isinstance(old, dict) and isinstance(new, dict):
        found: list[str] = []
        for key in sorted({*old, *new}, key=str):
            found.extend(differing(old.get(key), new.get(key), f"{name}.{key}" if name else key))
        return tuple(found)
    if isinstance(old, list) and isinstance(new, list):
        found = []
        for index in range(max(len(old), len(new))):
            before = old[index] if index < len(old) else None
            after = new[index] if index < len(new) else None
            found.extend(differing(before, after, f"{name} {index + 1}"))
        return tuple(found)
    if old == new and type(old) is type(new):
        return ()
    return (f"{name}: {_shown(old)} → {_shown(new)}",)


def _shown(value: Any) -> str:
    if value is None:
        return "nothing"
    return value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)


def setting_changes(path: str, raw: bytes | None) -> list[dict[str, Any]] | None:
    """The changes in a drive's file as fields; None where the file cannot be read as such."""
    if raw is None:
        return []
    document = document_of(path, raw)
    value = None if document is None or document.kind is not Kind.SETPOINTS else document.value
    is_usable = isinstance(value, list) and all(isinstance(item, dict) for item in value)
    return value if is_usable else None


def setting_steps(
    old: Sequence[dict[str, Any]], new: Sequence[dict[str, Any]]
) -> tuple[SettingStep, ...]:
    """What became of each change of a drive's file, in its order; the untouched left out."""
    found = []
    approved = {index for index, item in enumerate(old) if is_approved(item)}
    for old_index, new_index in _paired(
        [key_of(item) for item in old], [key_of(item) for item in new]
    ):
        before = None if old_index is None else old[old_index]
        after = None if new_index is None else new[new_index]
        found.append(
            SettingStep(
                step=_step(before, after),
                number=(new_index if new_index is not None else old_index or 0) + 1,
                old=before,
                new=after,
                is_first=approved <= {old_index},
            )
        )
    return tuple(found)


def is_approved(item: dict[str, Any] | None) -> bool:
    return item is not None and bool(item.get("approved_by")) and not item.get("withdrawn")


def without_approval(item: dict[str, Any]) -> dict[str, Any]:
    """A change as it was before anybody approved it."""
    return {
        name: value for name, value in item.items() if name not in ("approved_by", "approved_on")
    }


def _step(old: dict[str, Any] | None, new: dict[str, Any] | None) -> Step:
    if is_approved(old):
        return Step.DELETED if new is None else Step.EDITED
    if new is None:
        return Step.DROPPED
    if is_approved(new):
        return Step.APPROVED
    if new.get("withdrawn") and not (old or {}).get("withdrawn"):
        return Step.WITHDRAWN
    return Step.PROPOSED if old is None else Step.REWORDED


def key_of(item: dict[str, Any]) -> str:
    """The same text for the same fields, in whatever order."""
    return json.dumps(item, sort_keys=True, ensure_ascii=False)


def _paired(old: Sequence[str], new: Sequence[str]) -> list[tuple[int | None, int | None]]:
    """Places of changes that are not the same, paired in order where both files have one."""
    pairs: list[tuple[int | None, int | None]] = []
    matcher = difflib.SequenceMatcher(None, old, new, autojunk=False)
    for tag, first, last, new_first, new_last in matcher.get_opcodes():
        if tag == "equal":
            continue
        for offset in range(max(last - first, new_last - new_first)):
            before, after = first + offset, new_first + offset
            pairs.append((before if before < last else None, after if after < new_last else None))
    return pairs


def object_ids_at(repository: Repository, commit: str) -> dict[str, str]:
    """The object id of every plain file of a commit, by path. Raises GitProblem for no commit."""
    with GitTree(repository, commit) as tree:
        return {path: oid for path in tree.paths() if (oid := tree.object_id(path)) is not None}


def tree_changes(before: dict[str, str], after: dict[str, str]) -> list[Change]:
    """The files that differ between two trees, by path; a rename is a deletion and an addition."""
    return [
        Change(path=path, old_oid=before.get(path), new_oid=after.get(path))
        for path in sorted(before.keys() | after.keys())
        if before.get(path) != after.get(path)
    ]


def compared_texts(old: str, new: str | None) -> "Block":
    """Both texts as one comparison: lines taken out begin with -, lines put in with +."""
    from ledger.book.blocks import Prose  # noqa: PLC0415 - most audits show no text
    from ledger.book.markdown import fenced  # noqa: PLC0415

    lines = difflib.unified_diff(
        old.splitlines(), (new or "").splitlines(), lineterm="", n=len(old)
    )
    compared = "\n".join(list(lines)[3:])
    return Prose(fenced(compared or old))

"""The one place that writes the book to disk: whole files, only what changed, only its own.

A file of the book is known as this program's by the marker, a sentence near its start.
"""

import os
import re
from collections.abc import Container, Iterator, Mapping, Sequence
from pathlib import Path, PurePosixPath
from typing import TypeAlias

from ledger.files.save import replace_file
from ledger.files.survey import content_hash, file_hash
from ledger.files.tree import is_inside
from ledger.values import dataclass

MARKER = "Rendered by tunnelbook from the files of this site; edits here are lost."


# A page starts with it; markup that must come first (a document type) is short.
_WITHIN = 400

_VERSION = re.compile(rf"{re.escape(MARKER)} Version (\d[\w.+-]{{0,39}})\. ")

_MARKER_LINE = re.compile(rf"\A<!-- {re.escape(MARKER)}[^\n]* -->\n*")


def has_marker(text: str) -> bool:
    return MARKER in text[:_WITHIN]


def marker_of(version: str) -> str:
    """The marker with the version of the program that rendered; without one, the marker alone."""
    return f"{MARKER} Version {version}." if version else MARKER


def without_marker_line(markdown: str) -> str:
    """A Markdown page without the comment at its start that holds the marker and the version."""
    return _MARKER_LINE.sub("", markdown, count=1)


def version_in(text: str) -> str:
    """The version that a page's marker names; "" where it names none."""
    found = _VERSION.search(text[:_WITHIN])
    return found[1] if found else ""


@dataclass(frozen=True, slots=True)
class KeptFile:
    """A file of the book as it was made before, by the hash of its bytes (`content_hash`)."""

    hash: str


File: TypeAlias = str | bytes | KeptFile
"""A file of the book: its text or its bytes, or which one of those made before it is."""


def hash_of(file: File) -> str:
    """The hash of a file's bytes."""
    return file.hash if isinstance(file, KeptFile) else content_hash(_in_bytes(file))


def _in_bytes(text: str | bytes) -> bytes:
    return text.encode() if isinstance(text, str) else text


def are_there(folder: Path, wanted: Mapping[str, File], known: Mapping[str, str]) -> bool:
    """Whether each file that is given by its hash lies in the folder with these bytes.

    `known` are the hashes of files that have not been touched since they were read.
    """
    kept = {path: file.hash for path, file in wanted.items() if isinstance(file, KeptFile)}
    try:
        return all(
            (known.get(path) or file_hash(f"{folder}/{path}")) == found
            for path, found in kept.items()
        )
    except OSError:
        return False


_MADE_HERE = frozenset({".md", ".svg", ".html", ".css", ".js"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Refusal:
    """A file that is not written, and why."""

    path: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Written:
    """What became of a folder; paths from its top. With refusals nothing at all was written."""

    written: tuple[str, ...] = ()
    removed: tuple[str, ...] = ()
    unchanged: int = 0
    refused: tuple[Refusal, ...] = ()


def write_files(folder: Path, wanted: Mapping[str, File], *, leave: Sequence[str] = ()) -> Written:
    """Makes `folder` hold `wanted` (path from its top, with `/`, to text), as UTF-8 with LF.

    Files given by their hash are there (`are_there`).

    A file whose bytes are right is not touched; others are replaced whole. A file that an
    earlier run made (it carries the marker) and that is not wanted any more is removed, except
    in the sub-folders named in `leave`. Files without the marker are never removed, and never
    overwritten by text that has it.

    Raises:
        OSError: the folder cannot be read or written.
    """
    texts = {path: f for path, f in sorted(wanted.items()) if not isinstance(f, KeptFile)}
    refused = tuple(
        Refusal(path=path, why=why)
        for path, text in texts.items()
        if (why := _objection(folder, path, _in_bytes(text)))
    )
    if refused:
        return Written(refused=refused)
    written = []
    for path, text in texts.items():
        target = folder / path
        content = _in_bytes(text)
        if _bytes_of(target) != content:
            replace_file(target, content, is_forced=False)
            written.append(path)
    removed = tuple(_left_over(folder, wanted, leave))
    for path in removed:
        _remove(folder, path)
    return Written(written=tuple(written), removed=removed, unchanged=len(wanted) - len(written))


def stale(
    folder: Path, wanted: Mapping[str, File], *, leave: Sequence[str] = ()
) -> tuple[str, ...]:
    """What `write_files` would change: `due.md: changed`, `due.md: missing`, `due.md: left over`.

    Raises:
        OSError: the folder cannot be read.
    """
    found = {}
    for path, file in wanted.items():
        here = _bytes_of(folder / path)
        if here is None:
            found[path] = "missing"
        elif content_hash(here) != hash_of(file):
            found[path] = "changed"
    found |= dict.fromkeys(_left_over(folder, wanted, leave), "left over")
    return tuple(f"{path}: {what}" for path, what in sorted(found.items()))


def open_merges(folder: Path) -> Iterator[tuple[str, int]]:
    """Pages of this program in which a merge left both sides, with the line where they begin."""
    for path in sorted(_files(folder)):
        if not path.endswith(".md"):
            continue
        text = (folder / path).read_text(encoding="utf-8", errors="replace")
        if "\n<<<<<<< " in text and has_marker(text):
            yield path, text.count("\n", 0, text.index("\n<<<<<<< ")) + 2


def _objection(folder: Path, path: str, content: bytes) -> str:
    if folder.is_symlink():
        return "the folder is a link, and a book is written only where its site lies"
    if not is_inside(path):
        return "is not a path inside the folder"
    target = folder / path
    if not target.resolve().is_relative_to(folder.resolve()):
        return "leads out of the folder through a link"
    if target.is_dir():
        return "is a folder"
    if target.exists() and not target.is_file():
        return "is a pipe or a device; move it away first"
    above = (one for one in target.parents if one.is_relative_to(folder))
    if any(one.exists() and not one.is_dir() for one in above):
        return "needs a folder where a file lies"
    here = _bytes_of(target)
    # An empty file is what a loss of power leaves of a page.
    if here and _is_marked(content) and not _is_marked(here):
        return "is there already and was not made by this program; move it away first"
    return ""


def _is_marked(content: bytes) -> bool:
    # A character takes four bytes at most.
    return has_marker(content[: 4 * _WITHIN].decode(errors="replace"))


def _bytes_of(path: Path) -> bytes | None:
    try:
        # A pipe would be waited for without end.
        return path.read_bytes() if path.is_file() else None
    except (FileNotFoundError, NotADirectoryError, IsADirectoryError):
        return None


def _left_over(folder: Path, wanted: Container[str], leave: Sequence[str]) -> Iterator[str]:
    left_alone = tuple(f"{name.rstrip('/')}/" for name in leave)
    for path in sorted(_files(folder, wanted)):
        if path.startswith(left_alone) or PurePosixPath(path).suffix not in _MADE_HERE:
            continue
        if has_marker((folder / path).read_text(encoding="utf-8", errors="replace")):
            yield path


def _files(folder: Path, known: Container[str] = ()) -> Iterator[str]:
    """The files in a folder but the known ones, by their paths below it."""
    for here, _, names in os.walk(folder, followlinks=False):
        above = "".join(f"{name}/" for name in Path(here).relative_to(folder).parts)
        for path in map(above.__add__, names):
            if path not in known and (folder / path).is_file() and not (folder / path).is_symlink():
                yield path


def _remove(folder: Path, path: str) -> None:
    (folder / path).unlink()
    for parent in (folder / path).parents:
        if parent == folder or any(parent.iterdir()):
            return
        parent.rmdir()

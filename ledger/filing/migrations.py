"""What brings the files of a site from an older format to the one that this version reads.

Only site.yaml and the files of machines, tasks and drives are ever moved. Visits are not: their
old keys stay readable for good, since what was filed is never rewritten.
"""

import re
from collections.abc import Callable, Mapping

from ledger import __version__
from ledger.files.names import SITE_FILE
from ledger.files.tree import FileTree, UnreadableFileError
from ledger.values import dataclass

FORMAT = 1
"""The format that this version reads: the number in site.yaml, and in its schema."""


_MOVED_FOLDERS = ("equipment/", "tasks/", "setpoints/")

_STATED = re.compile(r"^format:[ \t]*(\d{1,6})(?=[ \t]*(?:#.*)?\r?$)", re.MULTILINE)


@dataclass(frozen=True, slots=True, kw_only=True)
class Migration:
    """One step to the next format: what it changes in words, and the new text of a file.

    `change` takes the path and the text of one file, and gives the text back with everything kept
    that it has no reason to change: comments, order and layout. The number in site.yaml is not its
    business.
    """

    words: str
    change: Callable[[str, str], str]


MIGRATIONS: Mapping[int, Migration] = {}
"""By the format that a step starts from; there is no older format yet. A step stays as it is for
good: an audit repeats it on the commits that took it."""


def format_of(text: str) -> int | None:
    """The format that the text of a site.yaml states; None where it states none."""
    stated = _STATED.search(text)
    return None if stated is None else int(stated[1])


def can_be_moved(stated: int | None) -> bool:
    """Whether steps lead from a format to the one that this version reads."""
    return stated is not None and stated < FORMAT and set(range(stated, FORMAT)) <= set(MIGRATIONS)


def other_format(stated: int) -> str:
    """What to say of a site in a format that this version does not read."""
    if can_be_moved(stated):
        return f"the site is in format {stated}; move it to {FORMAT} with `tunnelbook migrate`"
    if stated > FORMAT:
        return (
            f"the site is in format {stated}: install a version of tunnelbook that reads it; "
            f"this one, {__version__}, reads format {FORMAT}"
        )
    return f"there is no format {stated}; this version, {__version__}, reads format {FORMAT}"


def is_moved_kind(path: str) -> bool:
    """Whether a file is of the kinds that a migration may change."""
    return path == SITE_FILE or (path.startswith(_MOVED_FOLDERS) and path.endswith(".yaml"))


def moved(path: str, raw: bytes, start: int, end: int = FORMAT) -> bytes:
    """A file of one format as the steps to another one leave it.

    As it is where it is none of the kinds that are moved, or no text: `check` tells of that.
    """
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError:
        return raw
    if not is_moved_kind(path):
        return raw
    for number in range(start, end):
        text = MIGRATIONS[number].change(path, text)
    if path == SITE_FILE:
        text = _STATED.sub(f"format: {end}", text, count=1)
    return text.encode("utf-8")


def moved_site(raw: bytes) -> bytes:
    """A site.yaml in the format that this version reads, where steps lead there."""
    stated = format_of(raw.decode("utf-8", "replace"))
    return moved(SITE_FILE, raw, stated) if stated is not None and can_be_moved(stated) else raw


@dataclass(frozen=True, slots=True, kw_only=True)
class PresentTree:
    """The files of `tree`, an old state of a site, as this version reads them."""

    tree: FileTree
    start: int

    def paths(self) -> tuple[str, ...]:
        return self.tree.paths()

    def read(self, path: str) -> bytes:
        return moved(path, self.tree.read(path), self.start)


def present_tree(tree: FileTree) -> FileTree:
    """The same tree where it is in the present format, or in one that no step leads on from."""
    try:
        stated = format_of(tree.read(SITE_FILE).decode("utf-8", "replace"))
    except UnreadableFileError:
        return tree
    if stated is None or not can_be_moved(stated):
        return tree
    return PresentTree(tree=tree, start=stated)

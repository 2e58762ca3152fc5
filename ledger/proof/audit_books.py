"""What an audit says of the book: each page rendered again from its sources, and how old it is."""

import re
from collections import Counter
from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from datetime import date
from typing import TYPE_CHECKING

from ledger import __version__
from ledger.book.addresses import FRONT_PAGE
from ledger.book.short_words import format_count
from ledger.files.names import BOOK, BOOK_BRANCH
from ledger.files.tree import FileTree, UnreadableFileError
from ledger.history.commit import Commit
from ledger.history.objects import GitTree
from ledger.history.repository import Repository, branch_tip
from ledger.model.site import Site
from ledger.proof.audit_items import Irregularity, Item, Note
from ledger.proof.records import is_visit
from ledger.values import dataclass, field

if TYPE_CHECKING:
    from ledger.model.ledger import Ledger

_FOLDER = f"{BOOK}/"

# Pages of the day say from which day they look; most books have one such day.
_AS_OF = re.compile(rb"As of (\d{4}-\d{2}-\d{2})")

# The commit that the phone's page names, where somebody committed it.
_PAGE_OF = re.compile(rb'"commit": "([0-9a-f]{12})"')

# The line of a message on the book's own branch that names the commit it was rendered from.
_RENDERED_FROM = re.compile(rb"(?m)^Rendered-from: ([0-9a-f]{40,64})$")

_MOST_DAYS = 3

# Each is a book rendered once more.
_MOST_FILED_AFTER = 5

_MAX_PAGE_BYTES = 1 << 24


@dataclass(slots=True)
class BookCommits:
    """The commits asked for that touched the book, and the last one on the line that did.

    `others_since` counts commits on the line after that last one that changed other files.
    """

    touching: list[Commit] = field(default_factory=list)
    last: Commit | None = None
    others_since: int = 0

    def add(self, commit: Commit, *, old: bool, on_line: bool) -> None:
        """Take in the next commit of a walk; an `old` one is not asked for."""
        if not any(change.path.startswith(_FOLDER) for change in commit.changes):
            self.others_since += on_line
            return
        if not old and any(change.path.startswith(_FOLDER) for change in commit.own_changes):
            self.touching.append(commit)
        if on_line:
            self.last, self.others_since = commit, 0


@dataclass(frozen=True, slots=True, kw_only=True)
class PageCheck:
    """The book of one commit: what is wrong with which file, by path.

    `commit` is None for the book that a branch of its own has.
    `unusable` says why the sources of that commit could not be rendered, `other_version` which
    other version of this program rendered the book; with either nothing was compared. `filed_after`
    counts the visits of that commit without which its book is right.
    """

    commit: Commit | None
    faults: tuple[tuple[str, str], ...] = ()
    filed_after: int = 0
    unusable: str = ""
    other_version: str = ""


def book_checks(
    repository: Repository,
    books: BookCommits,
    site: Site,
    known: Container[str],
    *,
    every_book: bool,
) -> list[PageCheck]:
    """The book rendered again as it was last committed, or at each commit that touched it.

    Where `site` keeps it on a branch of its own, the last one there too: of a commit in `known`.
    """
    wanted = {commit.oid: commit for commit in books.touching if every_book}
    if books.last is not None:
        wanted.setdefault(books.last.oid, books.last)
    checks = [_check_pages(repository, commit) for commit in wanted.values()]
    tip = branch_tip(repository, BOOK_BRANCH) if site.policy.book == "branch" else None
    return checks if tip is None else [*checks, _check_branch(repository, tip, known)]


def page_items(checks: Sequence[PageCheck], books: BookCommits) -> Iterator[Item]:
    """What the checks found, how much was filed since the last book, and what was not compared."""
    for check in checks:
        for path, why in check.faults:
            yield Item(Irregularity.PAGE, why, about=path, commit=check.commit)
        if check.unusable:
            yield Item(Note.BOOK, check.unusable, commit=check.commit)
        if check.filed_after:
            visits = format_count(check.filed_after, "visit")
            text = f"rendered before {visits} of this commit; render it again: tunnelbook build"
            yield Item(Note.BOOK, text, commit=check.commit)
        if books.others_since and check.commit and check.commit is books.last:
            others = format_count(books.others_since, "commit")
            text = f"last rendered here; {others} on the line since then changed other files"
            yield Item(Note.BOOK, text, commit=check.commit)
    for version, count in by_other_versions(checks).items():
        text = (
            f"{format_count(count, 'book')} not compared by this version, {__version__}: "
            f"with tunnelbook {version} installed, run the audit again. Where the program was not "
            "changed then, ask who wrote the version on the front page"
        )
        yield Item(Note.OTHER_VERSION, text, about=f"tunnelbook {version}")


def by_other_versions(checks: Sequence[PageCheck]) -> Mapping[str, int]:
    """How many books were rendered by which other version of this program, by its name."""
    return dict(sorted(Counter(one.other_version for one in checks if one.other_version).items()))


def _check_branch(repository: Repository, tip: str, known: Container[str]) -> PageCheck:
    """The pages of the book's own branch, held against the commit that they name."""
    from ledger.site.pipeline import load  # noqa: PLC0415 - as below

    # Other sites of the repository may have theirs there too.
    last = repository.git.line("rev-list", "--max-count=1", tip, "--", BOOK) or tip
    match = _RENDERED_FROM.search(repository.git.output("cat-file", "commit", last))
    source = match[1].decode() if match else ""
    about = f"branch {BOOK_BRANCH}"
    if source not in known:
        named = f"from {source[:12]}, which is not in this history" if source else "from no commit"
        return PageCheck(commit=None, faults=((about, f"says that it was rendered {named}"),))
    with GitTree(repository, tip, max_bytes=_MAX_PAGE_BYTES) as tree:
        committed, faults = _pages_in(tree)
    version = _version(committed)
    if version not in ("", __version__):
        return PageCheck(commit=None, other_version=version)
    with GitTree(repository, source) as tree:
        ledger = load(tree).ledger
    if ledger is None:
        return PageCheck(commit=None, unusable=f"{about}: the files of {source[:12]} have errors")
    faults.extend(_compared(committed, _on_its_days(ledger, committed)))
    listed = [(f"{about}: {path}", f"{why}; the book is of {source[:12]}") for path, why in faults]
    return PageCheck(commit=None, faults=tuple(sorted(listed)))


def _version(committed: Mapping[str, bytes]) -> str:
    """The version of this program that rendered a book; "" where it does not say."""
    from ledger.files.book_files import version_in  # noqa: PLC0415 - as above

    return version_in(committed.get(FRONT_PAGE, b"").decode(errors="replace"))


def _pages_in(tree: GitTree) -> tuple[dict[str, bytes], list[tuple[str, str]]]:
    """The files of the book by path in its folder, and what is wrong with the others."""
    committed: dict[str, bytes] = {}
    faults: list[tuple[str, str]] = []
    for path in tree.paths():
        if path.startswith(_FOLDER):
            try:
                committed[path.removeprefix(_FOLDER)] = tree.read(path)
            except UnreadableFileError as wrong:
                faults.append((path, str(wrong)))
    return committed, faults


def _check_pages(repository: Repository, commit: Commit) -> PageCheck:
    """Render a commit's sources with this program and compare each file of its book.

    A file is right if it is what the sources give on one of the days that the book's pages name.
    A book that another version rendered is not compared: that one chose other words.
    """
    # Takes longer to import than a year's history takes to read, and many sites keep no book.
    from ledger.filing.migrations import present_tree  # noqa: PLC0415
    from ledger.site.pipeline import load  # noqa: PLC0415

    with GitTree(repository, commit.oid, max_bytes=_MAX_PAGE_BYTES) as tree:
        committed, faults = _pages_in(tree)
        version = _version(committed)
        if version not in ("", __version__):
            return PageCheck(commit=commit, other_version=version)
        loaded = load(present_tree(tree))
        if loaded.ledger is None or loaded.has_errors:
            why = "the files of that commit have errors of their own"
            return PageCheck(commit=commit, faults=tuple(sorted(faults)), unusable=why)
        if committed:
            wrong = list(_compared(committed, _kept_with_files(loaded.ledger, committed)))
            after = _filed_after(tree, commit, committed) if wrong and not faults else 0
            if after:
                return PageCheck(commit=commit, filed_after=after)
            faults.extend(wrong)
    return PageCheck(commit=commit, faults=tuple(sorted(faults)))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Without:
    """The files of a tree but some."""

    tree: FileTree
    left_out: Container[str]

    def paths(self) -> tuple[str, ...]:
        return tuple(path for path in self.tree.paths() if path not in self.left_out)

    def read(self, path: str) -> bytes:
        return self.tree.read(path)


def _filed_after(tree: GitTree, commit: Commit, committed: Mapping[str, bytes]) -> int:
    """How many of a commit's newest visits came after its book was rendered; 0 where none did.

    Whoever files a visit and commits it with pages of before has forged nothing.
    """
    from ledger.filing.migrations import present_tree  # noqa: PLC0415 - as above
    from ledger.site.pipeline import load  # noqa: PLC0415 - as above

    added = (change.path for change in commit.changes if change.old_oid is None)
    newest = sorted(filter(is_visit, added), reverse=True)
    for count in range(1, min(len(newest), _MOST_FILED_AFTER) + 1):
        before = load(present_tree(_Without(tree=tree, left_out=newest[:count])))
        if before.ledger is not None and not any(
            _compared(committed, _kept_with_files(before.ledger, committed))
        ):
            return count
    return 0


def _kept_with_files(ledger: "Ledger", committed: Mapping[str, bytes]) -> list[Mapping[str, str]]:
    """What the book beside the files should hold, on each of the days that its pages name."""
    from ledger.site.rendering import main_files  # noqa: PLC0415 - as above

    if ledger.site.policy.book == "branch":
        return [main_files(ledger)]
    html = any(path.startswith("html/") for path in committed)
    return _on_its_days(ledger, committed, html=html)


def _on_its_days(
    ledger: "Ledger", committed: Mapping[str, bytes], *, html: bool = False
) -> list[Mapping[str, str]]:
    from ledger.site.for_browser import POCKET_PATH  # noqa: PLC0415 - as above
    from ledger.site.rendering import book_files  # noqa: PLC0415 - as above

    last = max((visit.day for visit in ledger.visits), default=ledger.site.record_begins)
    days = _days(committed)[-_MOST_DAYS:] or [last]
    named = _PAGE_OF.search(committed.get(POCKET_PATH, b""))
    commit = named[1].decode() if named else ""
    return [book_files(ledger, day, html=html, commit=commit) for day in days]


def _compared(
    committed: Mapping[str, bytes], renderings: Iterable[Mapping[str, str]]
) -> Iterator[tuple[str, str]]:
    wanted: dict[str, set[bytes]] = {}
    for files in renderings:
        for path, text in files.items():
            wanted.setdefault(path, set()).add(text.encode())
    for path in committed.keys() | wanted.keys():
        if path not in committed:
            yield _FOLDER + path, "is missing"
        elif path not in wanted:
            yield _FOLDER + path, "is no page that the sources give"
        elif committed[path] not in wanted[path]:
            yield _FOLDER + path, "differs from what its sources give"


def _days(committed: Mapping[str, bytes]) -> list[date]:
    """The days that Markdown pages look from, oldest first; impossible ones left out."""
    days = set()
    for path, raw in committed.items():
        named = _AS_OF.search(raw[:1000]) if path.endswith(".md") else None
        if named is not None:
            try:
                days.add(date.fromisoformat(named[1].decode("ascii")))
            except ValueError:
                continue  # then the page matches no day, and is found to differ
    return sorted(days)

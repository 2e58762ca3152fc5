"""What an audit says of the book: pages that do not match their sources, and how old it is.

The committed book held against its sources: every page rendered again and compared.
"""

import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from datetime import date

from ledger import __version__
from ledger.book import words
from ledger.book.addresses import FRONT_PAGE
from ledger.files.book_files import version_in
from ledger.files.names import BOOK
from ledger.files.tree import UnreadableFileError
from ledger.filing.migrations import present_tree
from ledger.history.objects import GitTree
from ledger.history.repository import Repository
from ledger.model.ledger import Ledger
from ledger.proof.audit_items import Item, Note, Offence, PageCheck, mark_of
from ledger.proof.audit_trail import Trail
from ledger.site.pipeline import load
from ledger.site.rendering import book_files


def book_checks(repository: Repository, trail: Trail, *, every_book: bool) -> list[PageCheck]:
    """The book rendered again as it was last committed, or at each commit that touched it."""
    wanted = [commit.oid for commit in trail.books] if every_book else []
    if trail.last_book is not None and trail.last_book.oid not in wanted:
        wanted.append(trail.last_book.oid)
    if not wanted:
        return []

    return [check_pages(repository, oid) for oid in wanted]


def page_items(check: PageCheck, trail: Trail) -> Iterator[Item]:
    """What a check found, and how much was filed since where it is of the last book."""
    commits = {commit.oid: commit for commit in trail.books}
    if trail.last_book is not None:
        commits[trail.last_book.oid] = trail.last_book
    mark = mark_of(commits[check.commit])
    for path, why in check.faults:
        yield Item(kind=Offence.PAGE, about=path, words=why, commit=mark)
    if check.unusable:
        yield Item(kind=Note.BOOK, about="", words=check.unusable, commit=mark)
    if trail.sources_since_book and check.commit == (trail.last_book and trail.last_book.oid):
        count = words.format_count(trail.sources_since_book, "commit")
        said = f"last rendered here; {count} on the line since then changed other files"
        yield Item(kind=Note.BOOK, about="", words=said, commit=mark)


def by_other_versions(checks: Sequence[PageCheck]) -> Mapping[str, int]:
    """How many books were rendered by which other version of this program, by its name."""
    return dict(sorted(Counter(one.other_version for one in checks if one.other_version).items()))


def version_items(books: Mapping[str, int]) -> Iterator[Item]:
    """That books of other versions were not compared, and what to do so that they are."""
    for version, count in books.items():
        said = (
            f"{words.format_count(count, 'book')} not compared by this version, {__version__}: "
            f"with tunnelbook {version} installed, run the audit again. Where the program was not "
            "changed then, ask who wrote the version on the front page"
        )
        yield Item(kind=Note.OTHER_VERSION, about=f"tunnelbook {version}", words=said)


# Pages of the day say from which day they look; most books have one such day.
_AS_OF = re.compile(rb"As of (\d{4}-\d{2}-\d{2})")

_MOST_DAYS = 3

_MAX_PAGE_BYTES = 1 << 24


def check_pages(repository: Repository, commit: str) -> PageCheck:
    """Render a commit's sources with this program and compare each file of its book.

    A file is right if it is what the sources give on one of the days that the book's pages name.
    A book that another version rendered is not compared: that one chose other words.
    Raises GitProblem where the commit cannot be read.
    """
    with GitTree(repository, commit, max_bytes=_MAX_PAGE_BYTES) as tree:
        folder = f"{BOOK}/"
        paths = [path for path in tree.paths() if path.startswith(folder)]
        committed: dict[str, bytes] = {}
        faults: list[tuple[str, str]] = []
        for path in paths:
            try:
                committed[path.removeprefix(folder)] = tree.read(path)
            except UnreadableFileError as wrong:
                faults.append((path, str(wrong)))
        days = _days(committed)
        version = version_in(committed.get(FRONT_PAGE, b"").decode(errors="replace"))
        if version not in ("", __version__):
            return PageCheck(
                commit=commit, files=len(paths), days=days, faults=(), other_version=version
            )
        loaded = load(present_tree(tree))
    if loaded.ledger is None or loaded.has_errors:
        return PageCheck(
            commit=commit,
            files=len(paths),
            days=days,
            faults=tuple(faults),
            unusable="the files of that commit have errors of their own",
        )
    if committed:
        faults.extend(_compared(loaded.ledger, committed, days))
    return PageCheck(commit=commit, files=len(paths), days=days, faults=tuple(sorted(faults)))


def _compared(
    ledger: Ledger, committed: dict[str, bytes], days: tuple[date, ...]
) -> list[tuple[str, str]]:
    html = any(path.startswith("html/") for path in committed)
    last = max((visit.day for visit in ledger.visits), default=ledger.site.in_service)
    wanted: dict[str, set[bytes]] = {}
    for day in days[-_MOST_DAYS:] or (last,):
        for path, text in book_files(ledger, day, html=html).items():
            wanted.setdefault(path, set()).add(text.encode())
    found = [
        (f"{BOOK}/{path}", "differs from what its sources give")
        for path, raw in committed.items()
        if path in wanted and raw not in wanted[path]
    ]
    found += [
        (f"{BOOK}/{path}", "is no page that the sources give")
        for path in committed
        if path not in wanted
    ]
    found += [(f"{BOOK}/{path}", "is missing") for path in wanted if path not in committed]
    return found


def _days(committed: dict[str, bytes]) -> tuple[date, ...]:
    """The days that Markdown pages look from, oldest first; impossible ones left out."""
    days = set()
    for path, raw in committed.items():
        named = _AS_OF.search(raw[:1000]) if path.endswith(".md") else None
        if named is not None:
            try:
                days.add(date.fromisoformat(named[1].decode("ascii")))
            except ValueError:
                continue  # then the page matches no day, and is found to differ
    return tuple(sorted(days))

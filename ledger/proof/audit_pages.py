"""The committed book held against its sources: every page rendered again and compared."""

import re
from datetime import date

from ledger import __version__
from ledger.edit.migrations import present_tree
from ledger.history.objects import GitTree
from ledger.history.repository import Repository
from ledger.model.ledger import Ledger
from ledger.pipeline import BOOK, book_files, load
from ledger.proof.audit_items import PageCheck
from ledger.report.pages.today import PATH as FRONT_PAGE
from ledger.source.tree import UnreadableFileError
from ledger.write.marker import version_in

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

"""What an audit says of the book: pages that do not match their sources, and how old it is."""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence

from ledger import __version__
from ledger.history.repository import Repository
from ledger.proof.audit_items import Item, Note, Offence, PageCheck, mark_of
from ledger.proof.audit_trail import Trail
from ledger.report import plain


def book_checks(repository: Repository, trail: Trail, *, every_book: bool) -> list[PageCheck]:
    """The book rendered again as it was last committed, or at each commit that touched it."""
    wanted = [commit.oid for commit in trail.books] if every_book else []
    if trail.last_book is not None and trail.last_book.oid not in wanted:
        wanted.append(trail.last_book.oid)
    if not wanted:
        return []
    # What renders a book takes longer to import than the history of a small site to read.
    from ledger.proof.audit_pages import check_pages  # noqa: PLC0415

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
        count = plain.count_words(trail.sources_since_book, "commit")
        said = f"last rendered here; {count} on the line since then changed other files"
        yield Item(kind=Note.BOOK, about="", words=said, commit=mark)


def by_other_versions(checks: Sequence[PageCheck]) -> Mapping[str, int]:
    """How many books were rendered by which other version of this program, by its name."""
    return dict(sorted(Counter(one.other_version for one in checks if one.other_version).items()))


def version_items(books: Mapping[str, int]) -> Iterator[Item]:
    """That books of other versions were not compared, and what to do so that they are."""
    for version, count in books.items():
        said = (
            f"{plain.count_words(count, 'book')} not compared by this version, {__version__}: with "
            f"tunnelbook {version} installed, run the audit again. Where the program was not "
            "changed then, ask who wrote the version on the front page"
        )
        yield Item(kind=Note.OTHER_VERSION, about=f"tunnelbook {version}", words=said)

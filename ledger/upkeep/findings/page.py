"""What is wrong and still open, and what was put right."""

from collections.abc import Sequence

from ledger.book import words
from ledger.book.addresses import FINDINGS_PAGE
from ledger.book.blocks import Heading, Page, Paragraph, Spans, Table, right
from ledger.model.ledger import Ledger
from ledger.model.visits import Entry
from ledger.upkeep.findings.found import Finding, findings, open_findings


def findings_page(ledger: Ledger) -> Page:
    """Depends on the sources only: it tells when a finding was made, not how long ago."""
    still_open = open_findings(ledger)
    closed = [(one.closed_by, one) for one in findings(ledger) if one.closed_by is not None]
    closed.sort(key=lambda pair: (pair[0].when, pair[0].ref, pair[1].entry.ref), reverse=True)
    return Page(
        path=FINDINGS_PAGE,
        title="Findings",
        blocks=[
            Paragraph(
                f"{words.format_count(len(still_open), 'finding')} open, {len(closed)} closed. "
                "A finding stays open until a later entry closes it."
            ),
            Heading(2, "Open"),
            _open_table(ledger, still_open) if still_open else Paragraph("None."),
            Heading(2, "Closed, newest first"),
            _closed_table(ledger, closed) if closed else Paragraph("None."),
        ],
    )


def _open_table(ledger: Ledger, found: Sequence[Finding]) -> Table:
    return Table.of(
        found,
        ("Urgency", lambda one: one.entry.urgency.value),
        ("Found", lambda one: words.format_day(one.entry.day)),
        ("Where", lambda one: words.place_link(ledger, one.entry.places[0])),
        ("What", lambda one: (one.entry.finding, *words.photo_links(one.entry.photos))),
        ("By", lambda one: words.format_person(one.entry.by, ledger.site)),
        ("Entry", lambda one: str(one.entry.ref)),
        names=("finding", "What"),
    )


def _closed_table(ledger: Ledger, found: Sequence[tuple[Entry, Finding]]) -> Table:
    """Each finding after the entry that closed it."""

    def what(entry: Entry) -> Spans:
        failure = " (failure)" if entry.failed else ""
        return entry.finding + failure, *words.photo_links(entry.photos)

    return Table.of(
        found,
        ("Closed", lambda row: words.format_day(row[0].day)),
        ("Found", lambda row: words.format_day(row[1].entry.day)),
        (right("Days open"), lambda row: str(row[1].days_open(row[0].day))),
        ("Where", lambda row: words.place_link(ledger, row[1].entry.places[0])),
        ("What", lambda row: what(row[1].entry)),
        ("Put right by", lambda row: _put_right(ledger, row[0])),
        ("By", lambda row: words.format_person(row[0].by, ledger.site)),
        newest_first=True,
        names=("closed finding", "What"),
    )


def _put_right(ledger: Ledger, closing: Entry) -> str:
    """What closed a finding: a note, the part renewed, or the task that was done."""
    parts = []
    if closing.changed and closing.changed != "other":
        parts.append(f"New {closing.changed.replace('-', ' ')}.")
    if closing.note:
        parts.append(" ".join(closing.note.split()))
    if not parts and closing.task in ledger.tasks:
        parts.append(ledger.tasks[closing.task].title)
    return " ".join(parts) or words.NONE

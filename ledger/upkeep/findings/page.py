"""What is wrong and still open, and what was put right."""

from ledger.book import words
from ledger.book.addresses import FINDINGS_PAGE
from ledger.book.blocks import Block, Heading, Page, Paragraph, Table, left, right
from ledger.model.ledger import Ledger
from ledger.model.visits import Entry
from ledger.upkeep.findings.found import findings, open_findings


def findings_page(ledger: Ledger) -> Page:
    """Depends on the sources only: it tells when a finding was made, not how long ago."""
    still_open = open_findings(ledger)
    closed = sorted(
        (
            (finding.closed_by, finding)
            for finding in findings(ledger)
            if finding.closed_by is not None
        ),
        key=lambda pair: (pair[0].when, pair[0].ref, pair[1].entry.ref),
        reverse=True,
    )
    blocks: list[Block] = [
        Paragraph(
            f"{words.format_count(len(still_open), 'finding')} open, {len(closed)} closed. "
            "A finding stays open until a later entry closes it."
        ),
        Heading(2, "Open"),
    ]
    if still_open:
        rows = [
            (
                finding.entry.urgency.value,
                words.format_day(finding.entry.day),
                words.place_link(ledger, finding.entry.places[0]),
                finding.entry.finding,
                words.format_person(finding.entry.by, ledger.site),
                str(finding.entry.ref),
            )
            for finding in still_open
        ]
        blocks.append(
            Table(
                (
                    left("Urgency"),
                    left("Found"),
                    left("Where"),
                    left("What"),
                    left("By"),
                    left("Entry"),
                ),
                rows,
            )
        )
    else:
        blocks.append(Paragraph("None."))
    blocks.append(Heading(2, "Closed, newest first"))
    if not closed:
        blocks.append(Paragraph("None."))
        return Page(path=FINDINGS_PAGE, title="Findings", blocks=blocks)
    closed_rows = [
        (
            words.format_day(closing.day),
            words.format_day(finding.entry.day),
            str(finding.days_open(closing.day)),
            words.place_link(ledger, finding.entry.places[0]),
            finding.entry.finding + (" (failure)" if finding.entry.failed else ""),
            _put_right(ledger, closing),
            words.format_person(closing.by, ledger.site),
        )
        for closing, finding in closed
    ]
    blocks.append(
        Table(
            (
                left("Closed"),
                left("Found"),
                right("Days open"),
                left("Where"),
                left("What"),
                left("Put right by"),
                left("By"),
            ),
            closed_rows,
            newest_first=True,
        )
    )
    return Page(path=FINDINGS_PAGE, title="Findings", blocks=blocks)


def _put_right(ledger: Ledger, closing: Entry) -> str:
    """What closed a finding: a note, the part renewed, or the task that was done."""
    said = []
    if closing.changed and closing.changed != "other":
        said.append(f"New {closing.changed.replace('-', ' ')}.")
    if closing.note:
        said.append(" ".join(closing.note.split()))
    if not said and closing.task in ledger.tasks:
        said.append(ledger.tasks[closing.task].title)
    return " ".join(said) or words.NONE

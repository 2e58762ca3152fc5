"""What is wrong and still open, and what was put right."""

from ledger.assess.findings import findings, open_findings
from ledger.model.ledger import Ledger
from ledger.report import words
from ledger.report.blocks import Block, Heading, Page, Paragraph, Table, left, right

PATH = "findings.md"


def findings_page(ledger: Ledger) -> Page:
    """Depends on the sources only: it tells when a finding was made, not how long ago."""
    still_open = open_findings(ledger)
    closed = [finding for finding in findings(ledger) if finding.closed_by is not None]
    blocks: list[Block] = [
        Paragraph(
            f"{words.count_words(len(still_open), 'finding')} open, {len(closed)} closed. "
            "A finding stays open until a later entry closes it."
        ),
        Heading(2, "Open"),
    ]
    if still_open:
        rows = [
            (
                finding.entry.urgency.value,
                words.day_words(finding.entry.day),
                words.place_link(ledger, finding.entry.places[0]),
                finding.entry.finding,
                words.person_words(finding.entry.by, ledger.site),
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
        return Page(path=PATH, title="Findings", blocks=blocks)
    closed_rows = [
        (
            words.day_words(finding.closed_by.day),
            words.day_words(finding.entry.day),
            str(finding.days_open(finding.closed_by.day)),
            words.place_link(ledger, finding.entry.places[0]),
            finding.entry.finding + (" (failure)" if finding.entry.failed else ""),
            finding.closed_by.note or finding.closed_by.changed or words.NONE,
            words.person_words(finding.closed_by.by, ledger.site),
        )
        for finding in reversed(closed)
        if finding.closed_by is not None
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
        )
    )
    return Page(path=PATH, title="Findings", blocks=blocks)

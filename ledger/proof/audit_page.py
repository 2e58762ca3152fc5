"""An audit as one page, and as plain names and values for JSON."""

from collections.abc import Iterator, Sequence
from datetime import tzinfo
from itertools import groupby
from typing import Any

from ledger.history.state import Remembered
from ledger.history.verification import Outcome
from ledger.proof.audit import Audit, Verdict
from ledger.proof.audit_items import CommitMark, Item, Note, Offence
from ledger.proof.printed import compared_texts
from ledger.report import plain
from ledger.report.blocks import (
    Block,
    Bullets,
    Code,
    Heading,
    Page,
    Paragraph,
    Spans,
    Strong,
    Table,
    left,
    right,
)

_ROWS_SHOWN = 100
_TEXTS_SHOWN = 20

_VERDICT = {
    Verdict.CLEAN: "Clean: no rule of the record is broken in what was read.",
    Verdict.FINDINGS: "Not clean",
    Verdict.PARTIAL: "Partial: this clone does not hold all of history, so no verdict on it",
}

_OUTCOME = {
    Outcome.VERIFIED: "verified",
    Outcome.BAD: "bad",
    Outcome.UNKNOWN_KEY: "by an unknown key",
    Outcome.NOT_HERE: "that cannot be verified here",
}

WHAT_IT_PROVES = (
    "Names and dates in commits are claims of whoever made them; only a verified signature ties a "
    "commit to a key that site.yaml named before it. What the audit proves is what changed after "
    "it was committed, in the history that this clone holds. Whether that history is the one of "
    "last time, only a remembered head tells."
)


def audit_page(found: Audit) -> Page:
    """The verdict with its counts first, then offences by gravity, then notes."""
    zone = found.site.zone
    blocks: list[Block] = [Paragraph(_verdict(found)), Bullets(list(_read(found)))]
    if found.items:
        blocks.append(Heading(2, "Counts"))
        blocks.append(_counts(found.items))
    for kind, of_kind in groupby(found.items, key=lambda item: item.kind):
        blocks.extend(_section(kind, list(of_kind), zone))
    blocks.append(Heading(2, "For the next audit"))
    blocks.append(
        Paragraph(
            (
                "Write this head down outside the repository, and next time run ",
                Code(f"tunnelbook audit --head {found.head}"),
                ".",
            )
        )
    )
    blocks.append(Paragraph(WHAT_IT_PROVES))
    return Page(path="audit.md", title=f"Audit of {found.site.name}", blocks=blocks)


def audit_rows(found: Audit) -> dict[str, Any]:
    """Everything the page says, uncut, with both texts of every touched record."""
    return {
        "verdict": found.verdict.value,
        "head": found.head,
        "since": found.since,
        "remembered_head": None if found.remembered is None else found.remembered.value,
        "shallow_at": list(found.state.shallow_at),
        "counts": {
            "commits": found.counts.commits,
            "merges": found.counts.merges,
            "visits": found.counts.visits,
            "approvals": found.counts.approvals,
            "books": found.counts.books,
            "signatures": {
                outcome.name.lower(): found.counts.signatures.get(outcome, 0) for outcome in Outcome
            },
            "offences": len(found.offences),
        },
        "offences": [_row(item) for item in found.offences],
        "notes": [_row(item) for item in found.items if isinstance(item.kind, Note)],
    }


def _verdict(found: Audit) -> Spans:
    count = len(found.offences)
    said = _VERDICT[found.verdict]
    if count:
        said += f": {plain.count_words(count, 'offence')}"
    return Strong(said if said.endswith(".") else f"{said}.")


def _read(found: Audit) -> Iterator[Spans]:
    counts = found.counts
    after = "" if found.since is None else f" after {found.since[:12]}"
    yield (
        (
            f"Read: {plain.count_words(counts.commits, 'commit')}{after}, of them "
            f"{plain.count_words(counts.merges, 'merge')}, up to "
        ),
        Code(found.head[:12]),
    )
    yield (
        f"Filed in them: {plain.count_words(counts.visits, 'visit')}, "
        f"{plain.count_words(counts.approvals, 'approval')} of settings"
    )
    told = [
        f"{count} {_OUTCOME[outcome]}"
        for outcome in Outcome
        if (count := counts.signatures.get(outcome, 0))
    ]
    yield f"Signatures: {', '.join(told) or 'none'}"
    if counts.books:
        yield f"Rendered again and compared: {plain.count_words(counts.books, 'book')}"
    match found.remembered:
        case None:
            yield "No remembered head was given, so a history rewritten as a whole would not show"
        case Remembered.HELD:
            yield "The head builds on the one remembered"
        case Remembered.REWRITTEN:
            yield "The head does NOT build on the one remembered"
        case Remembered.CANNOT_TELL:
            yield "Whether the head builds on the one remembered cannot be told in this clone"


def _counts(items: Sequence[Item]) -> Table:
    rows: list[tuple[Spans, ...]] = []
    for kind, of_kind in groupby(items, key=lambda item: item.kind):
        what = "offence" if isinstance(kind, Offence) else "note"
        rows.append((kind.value, what, str(len(list(of_kind)))))
    return Table((left("What"), left("Weight"), right("Count")), rows)


def _section(kind: Offence | Note, items: Sequence[Item], zone: tzinfo) -> Iterator[Block]:
    yield Heading(2, kind.value)
    shown = items[:_ROWS_SHOWN]
    yield Table(
        (left("What"), left("Commit"), left("Committed"), left("By"), left("Found")),
        [_cells(item, zone) for item in shown],
    )
    if len(items) > len(shown):
        yield Paragraph(
            (f"And {len(items) - len(shown)} more, all in ", Code("--format json"), ".")
        )
    with_texts = [item for item in items if item.old_text is not None]
    for item in with_texts[:_TEXTS_SHOWN]:
        where = f" in {item.commit.oid[:12]}" if item.commit else ""
        yield Heading(3, f"{item.about}{where}")
        yield compared_texts(item.old_text or "", item.new_text)
    if len(with_texts) > _TEXTS_SHOWN:
        more = len(with_texts) - _TEXTS_SHOWN
        yield Paragraph((f"The texts of {more} more are in ", Code("--format json"), "."))


def _cells(item: Item, zone: tzinfo) -> tuple[Spans, ...]:
    mark = item.commit
    if mark is None:
        return (item.about or plain.NONE, plain.NONE, plain.NONE, plain.NONE, item.words)
    when = plain.NONE if mark.at is None else f"{mark.at.astimezone(zone):%Y-%m-%d %H:%M}"
    return (
        item.about or mark.subject or plain.NONE,
        Code(mark.oid[:12]),
        when,
        _who(mark),
        item.words,
    )


def _who(mark: CommitMark) -> str:
    return f"{mark.author} <{mark.email}>" if mark.email else mark.author or "nobody named"


def _row(item: Item) -> dict[str, Any]:
    mark = item.commit
    return {
        "kind": item.kind.name.lower().replace("_", "-"),
        "title": item.kind.value,
        "about": item.about,
        "words": item.words,
        "commit": None
        if mark is None
        else {
            "oid": mark.oid,
            "committed_at": None if mark.at is None else mark.at.isoformat(),
            "author": mark.author,
            "email": mark.email,
            "subject": mark.subject,
        },
        "old_text": item.old_text,
        "new_text": item.new_text,
    }

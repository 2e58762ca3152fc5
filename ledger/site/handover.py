"""Who was on last, and what was left: since the last visit of somebody else."""

from collections.abc import Iterable, Iterator, Sequence
from datetime import date

from ledger.book import words
from ledger.book.blocks import Block, Bullets, Heading, Paragraph, Spans, Strong
from ledger.book.entry_words import format_entry
from ledger.model.ledger import Ledger
from ledger.model.visits import Entry, Outcome, Visit
from ledger.upkeep.due.found import DueWork
from ledger.upkeep.findings.found import open_findings

_MOST_VISITS = 30
"""A person who files alone has nothing to hand over to anybody, and is not told of all years."""


def handover_blocks(ledger: Ledger, work: Sequence[DueWork], as_of: date) -> Iterator[Block]:
    """The visits of the last person on, and of their entries what the next has to know."""
    yield Heading(2, "Handover")
    own, before = _last_on(visit for visit in reversed(ledger.visits) if visit.day <= as_of)
    if not own:
        yield Paragraph("No visit is filed yet.")
        return
    yield Paragraph(_who(ledger, own, before))
    left = list(_left(ledger, work, own, as_of))
    yield Bullets(left or ["Nothing was put off, found wrong or set differently."])


def _last_on(newest_first: Iterable[Visit]) -> tuple[list[Visit], Visit | None]:
    """The visits of the last person on, the newest first, and the one before them."""
    own: list[Visit] = []
    for visit in newest_first:
        if own and (visit.by != own[0].by or len(own) == _MOST_VISITS):
            return own, visit
        own.append(visit)
    return own, None


def _who(ledger: Ledger, own: Sequence[Visit], other: Visit | None) -> str:
    entries = sum(len(visit.entries) for visit in own)
    text = (
        f"{words.format_person(own[0].by, ledger.site)} was on last, until "
        f"{words.format_time(own[0].when, ledger.site)}: {words.format_count(len(own), 'visit')}, "
        f"{words.format_count(entries, 'entry', 'entries')}"
    )
    if other is None:
        return f"{text}."
    if other.by == own[0].by:
        return f"{text}, and more before."
    return (
        f"{text} since {words.format_person(other.by, ledger.site)} on "
        f"{words.format_time(other.when, ledger.site)}."
    )


def _left(
    ledger: Ledger, work: Sequence[DueWork], own: Sequence[Visit], as_of: date
) -> Iterator[Spans]:
    refs = {entry.ref for visit in own for entry in visit.entries}
    for finding in open_findings(ledger, as_of):
        if finding.entry.ref in refs:
            state = f"Finding, {finding.entry.urgency.value}"
            yield _line(
                ledger, words.marked("finding", state), finding.entry, finding.entry.finding
            )
    for tied in ledger.tied_back(as_of).values():
        if tied.entry.ref in refs:
            yield _line(ledger, words.marked("tied back", "Tied back"), tied.entry, tied.why)
    put_off = {one.put_off.ref: one.put_off for one in work if one.put_off is not None}
    for ref, entry in sorted(put_off.items()):
        if ref in refs and entry.outcome is Outcome.NOT_DONE:
            text = f"{ledger.tasks[entry.task].title}: {entry.reason}"
            yield _line(ledger, words.marked("not done", "Not done"), entry, text)
    for visit in reversed(own):
        for entry in visit.entries:
            seen = entry.setting
            if seen is not None and seen.found is not None and seen.left not in {None, seen.found}:
                text = format_entry(ledger, entry)
                yield _line(ledger, words.marked("set otherwise", "Set otherwise"), entry, text)


def _line(ledger: Ledger, state: str, entry: Entry, text: str) -> Spans:
    places = [words.place_link(ledger, place) for place in entry.places[:1]]
    return (Strong(state), ": ", *places, f", {text.rstrip('.')}.")

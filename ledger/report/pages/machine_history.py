"""The history of one machine: entries that say something line by line, rounds by the month."""

from collections.abc import Mapping, Sequence
from itertools import groupby

from ledger.assess.speeds import SpeedResult, raw_words
from ledger.model.ledger import Ledger
from ledger.model.machines import Machine
from ledger.model.references import EntryRef
from ledger.model.visits import Entry
from ledger.report import words
from ledger.report.blocks import Block, Heading, Paragraph, Spans, Table, left
from ledger.report.entry_words import entry_words

# What an entry of a round may hold and still be told by its day and person alone.
_ROUTINE_KEYS = frozenset({"task", "at", "except", "outcome", "minutes", "strokes"})


def history_blocks(
    ledger: Ledger, machine: Machine, speeds: Mapping[EntryRef, SpeedResult]
) -> list[Block]:
    """Everything filed, the newest month first; a corrected entry names what took its place."""
    filed = ledger.filed_at(machine.ident)
    blocks: list[Block] = [Heading(2, "History, newest first")]
    if not filed:
        return [*blocks, Paragraph("Nothing is filed yet.")]
    blocks.append(
        Paragraph(
            "Work that was done with nothing to tell is listed by the month, with the days on "
            "which it was done and by whom. The entry is found in the visit of that day."
        )
    )
    for month, found in groupby(reversed(filed), key=lambda entry: entry.day.replace(day=1)):
        entries = list(found)
        told = [entry for entry in entries if not _is_routine(ledger, entry)]
        rounds = [entry for entry in reversed(entries) if _is_routine(ledger, entry)]
        blocks.append(Heading(3, words.month_words(month)))
        if told:
            blocks.append(
                Table(
                    (left("When"), left("By"), left("Where"), left("What"), left("Entry")),
                    [_row(ledger, machine, entry, speeds) for entry in told],
                )
            )
        if rounds:
            blocks.append(
                Table(
                    (left("Done, nothing to tell"), left("Where"), left("On the")),
                    _round_rows(ledger, machine, rounds),
                )
            )
    return blocks


def _is_routine(ledger: Ledger, entry: Entry) -> bool:
    return (
        entry.did_work and entry.raw.keys() <= _ROUTINE_KEYS and entry.ref not in ledger.corrections
    )


def _round_rows(
    ledger: Ledger, machine: Machine, rounds: Sequence[Entry]
) -> list[tuple[Spans, ...]]:
    """One row for what was done at the same places by the same amount, its days in order."""
    same: dict[tuple[str, str, str], list[Entry]] = {}
    for entry in rounds:
        amount = f", {words.number_words(entry.strokes)} strokes each" if entry.strokes else ""
        key = (entry.task, _where(ledger, machine, entry), amount)
        same.setdefault(key, []).append(entry)
    return [
        (f"{ledger.tasks[task].title}{amount}", where, _days(ledger, entries))
        for (task, where, amount), entries in sorted(same.items())
    ]


def _days(ledger: Ledger, entries: Sequence[Entry]) -> str:
    """`01, 02, 04 (K. Yelloway); 03 (M. Osterby)`."""
    by_person: dict[str, list[str]] = {}
    for entry in entries:
        people = words.people_words((entry.by, *entry.helpers), ledger.site)
        by_person.setdefault(people, []).append(f"{entry.day:%d}")
    return "; ".join(
        f"{', '.join(dict.fromkeys(days))} ({people})" for people, days in sorted(by_person.items())
    )


def _where(ledger: Ledger, machine: Machine, entry: Entry) -> str:
    points = [
        name
        for place in entry.places or ledger.places_meant(entry)
        if place.machine == machine.ident and (name := words.point_words(ledger, place))
    ]
    return ", ".join(points) or "machine"


def _row(
    ledger: Ledger, machine: Machine, entry: Entry, speeds: Mapping[EntryRef, SpeedResult]
) -> tuple[Spans, ...]:
    said = entry_words(ledger, entry)
    result = speeds.get(entry.ref)
    if entry.speed is not None:
        said += f"; {raw_words(entry.speed)}"
        if result is not None and result.speed is not None:
            verdict = f", {result.verdict.value}" if result.verdict else ""
            said += f" = {words.speed_words(result.speed)} r/min{verdict}"
    later = ledger.corrections.get(entry.ref)
    if later is not None:
        said += f" [corrected by {later.ref}: {later.reason}]"
    return (
        words.time_words(entry.when, ledger.site),
        words.people_words((entry.by, *entry.helpers), ledger.site),
        _where(ledger, machine, entry),
        said,
        str(entry.ref),
    )

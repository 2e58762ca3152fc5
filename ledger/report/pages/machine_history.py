"""The history of one machine: entries that say something line by line, rounds by the month."""

from collections.abc import Mapping, Sequence
from itertools import groupby

from ledger.assess.speeds import SpeedResult, raw_words
from ledger.model.ledger import Ledger
from ledger.model.machines import Machine
from ledger.model.references import EntryRef, Place
from ledger.model.visits import Entry
from ledger.report import words
from ledger.report.blocks import Block, Heading, Paragraph, Spans, Table, left
from ledger.report.entry_words import entry_words, reading_words, strokes_words

# What an entry of a round may hold and still be told by its day and person alone.
_ROUTINE_KEYS = frozenset({"task", "at", "except", "outcome", "minutes", "strokes"})

OFTEN = 8
"""Readings of one place in a month from which they are gathered in one row: about every third
working day."""


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
        often = _read_often(ledger, entries)
        gathered = {entry.ref for read in often for entry in read}
        told = [
            entry
            for entry in entries
            if not _is_routine(ledger, entry) and entry.ref not in gathered
        ]
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
        if often:
            blocks.append(
                Table(
                    (left("Read, nothing else to tell"), left("Where"), left("On the")),
                    [
                        (
                            ledger.tasks[read[0].task].title,
                            _where(ledger, machine, read[0]),
                            _days(ledger, read, with_readings=True),
                        )
                        for read in often
                    ],
                )
            )
    return blocks


def _is_routine(ledger: Ledger, entry: Entry) -> bool:
    return (
        entry.did_work and entry.raw.keys() <= _ROUTINE_KEYS and entry.ref not in ledger.corrections
    )


def _read_often(ledger: Ledger, entries: Sequence[Entry]) -> list[list[Entry]]:
    """What was read so often in a month that a row each would bury the rest, by day."""
    same: dict[tuple[str, Place], list[Entry]] = {}
    for entry in reversed(entries):
        if entry.place is not None and _is_bare_reading(ledger, entry):
            same.setdefault((entry.task, entry.place), []).append(entry)
    return [read for _, read in sorted(same.items()) if len(read) >= OFTEN]


def _is_bare_reading(ledger: Ledger, entry: Entry) -> bool:
    """Whether its task and what was read are all that an entry says."""
    read = reading_words(entry.readings, ledger.site)
    return (
        entry.did_work
        and entry.speed is None
        and entry.ref not in ledger.corrections
        and bool(read)
        and entry_words(ledger, entry) == "; ".join((ledger.tasks[entry.task].title, *read))
    )


def _round_rows(
    ledger: Ledger, machine: Machine, rounds: Sequence[Entry]
) -> list[tuple[Spans, ...]]:
    """One row for what was done at the same places by the same amount, its days in order."""
    same: dict[tuple[str, str, str], list[Entry]] = {}
    for entry in rounds:
        amount = f", {strokes_words(entry.strokes)}" if entry.strokes else ""
        key = (entry.task, _where(ledger, machine, entry), amount)
        same.setdefault(key, []).append(entry)
    return [
        (f"{ledger.tasks[task].title}{amount}", where, _days(ledger, entries))
        for (task, where, amount), entries in sorted(same.items())
    ]


def _days(ledger: Ledger, entries: Sequence[Entry], *, with_readings: bool = False) -> str:
    """`01, 02, 04 (K. Yelloway); 03 (M. Osterby)`, or `01 123 psi, 02 120 psi (K. Yelloway)`."""
    by_person: dict[str, list[str]] = {}
    for entry in entries:
        people = words.people_words((entry.by, *entry.helpers), ledger.site)
        read = reading_words(entry.readings, ledger.site) if with_readings else []
        by_person.setdefault(people, []).append(" ".join((f"{entry.day:%d}", *read)))
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

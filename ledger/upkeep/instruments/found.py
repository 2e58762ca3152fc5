"""Which readings lean on an instrument that was overdue, or that was found out of its limits."""

from collections.abc import Iterable, Sequence
from datetime import date
from itertools import chain

from ledger.model.ledger import Ledger
from ledger.model.references import EntryRef
from ledger.model.site import Instrument
from ledger.model.visits import Entry
from ledger.values import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class InstrumentState:
    """One instrument on a day, with how many standing readings lean on it, and those in doubt."""

    instrument: Instrument
    readings: int
    in_doubt: tuple[EntryRef, ...]
    overdue_since: date | None


@dataclass(frozen=True, slots=True)
class ReadWith:
    """How many of some entries were read with an instrument; those in doubt, with their times."""

    instrument: str
    readings: int
    in_doubt: Sequence[tuple[float, EntryRef]]


def instruments_named(entry: Entry) -> tuple[str, ...]:
    """The instruments that an entry, or its steps, were read with."""
    named = (entry.instrument, *(step.instrument for step in entry.steps))
    return tuple(dict.fromkeys(one for one in named if one))


def doubt_of(ledger: Ledger, ident: str, day: date) -> str:
    """What speaks against an instrument on a day, in words; "" where nothing does."""
    instrument = ledger.instruments.get(ident)
    if instrument is None:
        return ""
    out = instrument.found_out_on(day)
    if out is not None:
        return f"{instrument.name} was found out of its limits on {out}"
    overdue = instrument.overdue_since(day)
    return f"{instrument.name} was due for its check by {overdue}" if overdue else ""


def doubts_of(ledger: Ledger, entry: Entry) -> tuple[str, ...]:
    found = (doubt_of(ledger, ident, entry.day) for ident in instruments_named(entry))
    return tuple(one for one in found if one)


def instrument_states(
    ledger: Ledger, as_of: date | None = None, read: Iterable[ReadWith] | None = None
) -> tuple[InstrumentState, ...]:
    """Every instrument, by id; overdue only where a day is asked for.

    `read` tells of all entries, where they have been gone through.
    """
    of: dict[str, list[ReadWith]] = {ident: [] for ident in ledger.instruments}
    for one in read_with(ledger, ledger.detailed) if read is None and of else read or ():
        of[one.instrument].append(one)
    return tuple(
        InstrumentState(
            instrument=instrument,
            readings=sum(one.readings for one in of[instrument.ident]),
            in_doubt=tuple(
                ref for _, ref in sorted(chain(*(o.in_doubt for o in of[instrument.ident])))
            ),
            overdue_since=None if as_of is None else instrument.overdue_since(as_of),
        )
        for instrument in ledger.instruments.values()
    )


def read_with(ledger: Ledger, entries: Iterable[Entry]) -> list[ReadWith]:
    """What some entries were read with."""
    found: dict[str, list[Entry]] = {}
    for entry in entries:
        for ident in instruments_named(entry):
            if ident in ledger.instruments:
                found.setdefault(ident, []).append(entry)
    return [
        ReadWith(
            ident,
            len(read),
            [
                (entry.when.timestamp(), entry.ref)
                for entry in read
                if ledger.instruments[ident].found_out_on(entry.day)
            ],
        )
        for ident, read in found.items()
    ]

"""Which readings lean on an instrument that was overdue, or that was found out of its limits."""

from collections.abc import Iterable
from datetime import date

from ledger.model.instruments import Instrument
from ledger.model.ledger import Ledger
from ledger.model.visits import Entry
from ledger.values import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class InstrumentState:
    """One instrument on a day, with the standing readings that lean on it."""

    instrument: Instrument
    readings: tuple[Entry, ...]
    in_doubt: tuple[Entry, ...]
    overdue_since: date | None


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


def instrument_states(ledger: Ledger, as_of: date | None = None) -> tuple[InstrumentState, ...]:
    """Every instrument, by id; overdue only where a day is asked for."""
    return tuple(
        InstrumentState(
            instrument=instrument,
            readings=(read := tuple(_read_with(ledger.telling, instrument.ident))),
            in_doubt=tuple(entry for entry in read if instrument.found_out_on(entry.day)),
            overdue_since=None if as_of is None else instrument.overdue_since(as_of),
        )
        for instrument in ledger.instruments.values()
    )


def _read_with(entries: Iterable[Entry], ident: str) -> Iterable[Entry]:
    return (entry for entry in entries if ident in instruments_named(entry))

"""What is found of one machine, worked out of its own entries alone."""

from collections.abc import Mapping
from datetime import date
from functools import cached_property

from ledger.model.ledger import EVENTS, Extract, Ledger, Overall
from ledger.model.noted_day import Noted, NotedDay, NotedMeters
from ledger.upkeep.drift.found import Drift, Shared, every_series, judged
from ledger.upkeep.drift.series import Series
from ledger.upkeep.register.found import FollowUp, RegisterLine, follow_up, register_line
from ledger.upkeep.speeds.found import SpeedResult, results_at
from ledger.upkeep.tuning.found import Tuning, tune
from ledger.upkeep.wear.found import Wear, wear, wear_of
from ledger.values import replace


class OfMachine:
    """Each part is worked out when it is asked for.

    `ledger` holds the entries of the machine that say more than that a task was done or not, and
    those linked with them. `noted` tells on which last days of the record, and of which days
    `day`, all that was asked for would come out alike, and whether it asked for a meter.
    """

    def __init__(self, ledger: Ledger, ident: str, day: date) -> None:
        self.machine = ledger.machines[ident]
        self._drifting: Drift | None = None
        self.noted = Noted()
        self.noted_day = Noted()
        self.day = NotedDay(day, self.noted_day)
        whole = noting(ledger.of_machine(ident), self.noted)
        self.ledger = replace(whole, extract=replace(_extract(whole), work={}))
        # What is made of all work done has notes of its own.
        self.noted_of_work = Noted()
        self.whole = noting(ledger.of_machine(ident), self.noted_of_work)
        self._of_site = ledger

    def events(self, noted: Noted) -> Ledger:
        """The ledger of the events there alone."""
        return noting(self._of_site.of_machine(EVENTS).of_machine(self.machine.ident), noted)

    @cached_property
    def results(self) -> list[SpeedResult]:
        return results_at(self.ledger, self.machine.ident)

    @cached_property
    def lines(self) -> tuple[RegisterLine, ...]:
        """One where the machine has a drive that can be set."""
        if not self.machine.has_setpoint:
            return ()
        return (register_line(self.ledger, self.machine, self.results),)

    @cached_property
    def tunings(self) -> tuple[Tuning, ...]:
        """As many as `lines`."""
        return tuple(tune(self.ledger, line.machine, self.results) for line in self.lines)

    @cached_property
    def series(self) -> list[Series]:
        """The readings of its quantities."""
        every = every_series(self.ledger, self.results)
        return [one for one in every if one.place.machine == self.machine.ident]

    @cached_property
    def worn(self) -> Wear:
        return wear_of(wear(self.ledger), self.machine.ident)

    def drifting(self, shared: Shared) -> Drift:
        """Worked out once: `shared` is the same for all."""
        if self._drifting is None:
            self._drifting = judged(self.ledger, self.results, self.series, shared)
        return self._drifting

    def follow_ups(self, read: Mapping[str, date], day: date) -> tuple[FollowUp, ...]:
        """One where a setting is in force; `read` is when each machine's speed was read last."""
        known = [one for one in self.results if one.entry.day <= day]
        found = follow_up(self.ledger, self.machine, known, read, day)
        return () if found is None else (found,)


def noting(ledger: Ledger, noted: Noted) -> Ledger:
    """The ledger of a machine, with what it says of the whole record noted."""
    overall = ledger.overall
    cut = Overall(
        first_day=overall.first_day,
        last_day=None if overall.last_day is None else NotedDay(overall.last_day, noted),
        meters=NotedMeters(overall.meters, noted),
    )
    return replace(ledger, extract=replace(_extract(ledger), overall=cut))


def in_year(ledger: Ledger, year: int) -> Ledger:
    """The ledger of a machine with the entries of a year alone, and those linked with others."""
    extract = _extract(ledger)
    chains = ledger.chains
    return replace(
        ledger,
        extract=replace(
            extract,
            filed_detailed=tuple(
                e for e in extract.filed_detailed if e.day.year == year or e.ref in chains
            ),
            work={year: extract.work.get(year, ())},
        ),
    )


def _extract(ledger: Ledger) -> Extract:
    if ledger.extract is None:
        raise ValueError("not the ledger of a machine")
    return ledger.extract

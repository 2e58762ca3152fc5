"""The parts of the site's pages that single machines give, as they are kept."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from ledger.book.blocks import Spans
from ledger.book.plain import kept, to_text
from ledger.files.survey import content_hash
from ledger.model.ledger import Ledger, last_day_filed
from ledger.model.machines import HydraulicDrive
from ledger.site.decisions import (
    Decision,
    decisions_of_machine,
    decisions_of_site,
    in_order,
    site_found,
)
from ledger.site.of_machine import OfMachine
from ledger.site.parts import Parts
from ledger.upkeep.drift.found import Share, Shared, shared_of
from ledger.upkeep.drift.page import DriftRows, drift_rows
from ledger.upkeep.register.found import FollowUpState
from ledger.upkeep.register.page import RegisterRows, register_rows
from ledger.upkeep.register.words import open_lines
from ledger.upkeep.speeds.page import SpeedRows, speed_rows
from ledger.upkeep.tuning.page import TuningRows, tuning_rows

kept(Share)


@kept
@dataclass(frozen=True, slots=True)
class Settings:
    """What the pages of settings say of a machine, and a line of the front page.

    `judged` is when its speed was first held against a band, with the last verdict.
    """

    register: RegisterRows
    tuning: TuningRows
    in_force: int
    proposals: int
    judged: tuple[float, str, int, str] | None


def settings(found: OfMachine) -> Settings:
    """Of one machine."""
    ledger, lines, results = found.ledger, found.lines, found.results
    judged = [one for one in results if one.verdict is not None]
    first, last = (judged[0].entry, judged[-1].verdict) if judged else (None, None)
    return Settings(
        register_rows(ledger, lines, results),
        tuning_rows(ledger, found.tunings, lines, results),
        sum(line.in_force is not None for line in lines),
        sum(len(line.proposals) for line in lines),
        None
        if first is None or last is None
        else (first.when.timestamp(), first.ref.visit, first.number, last.value),
    )


def speeds(parts: Parts) -> dict[str, SpeedRows]:
    """Of each machine."""

    def make(found: OfMachine) -> SpeedRows:
        if not parts.is_kept:
            return speed_rows(found.ledger, found.results)
        return speed_rows(
            found.ledger, found.results, lambda rows: content_hash(to_text(rows).encode())
        )

    return parts.each("speeds", make)


@kept
@dataclass(frozen=True, slots=True)
class Shares:
    """What a machine adds to what others are judged by; `read` is when its speed was read last."""

    drift: Share
    read: int | None


def _shares(found: OfMachine) -> Shares:
    read = max((one.entry.day.toordinal() for one in found.results), default=None)
    return Shares(found.share, read)


@kept
@dataclass(frozen=True, slots=True)
class Judged:
    """What is asked for at a machine on the last day filed and today, and what of it drifts.

    `to_confirm` are the readings that settings ask for today, of which `late` are overdue.
    """

    drift: DriftRows
    filed: Sequence[Decision]
    today: Sequence[Decision]
    to_confirm: Sequence[Spans]
    late: int


@dataclass(frozen=True, slots=True)
class ByAll:
    """What all machines are judged by; `read` is when the speed of each was read last."""

    drift: Shared
    read: Mapping[str, date]


def by_all(ledger: Ledger, parts: Parts) -> ByAll:
    """Put together of what each machine adds."""
    shares = parts.each("share", _shares)
    return ByAll(
        shared_of(ledger, (one.drift for one in shares.values())),
        {
            ident: date.fromordinal(one.read)
            for ident, one in shares.items()
            if one.read is not None
        },
    )


def judged(ledger: Ledger, parts: Parts, by: ByAll) -> dict[str, Judged]:
    """Each machine. It rests on days on which others were read too, and on others of its oil."""
    of_oil = {
        ident: by.read.get(ident)
        for ident, machine in ledger.machines.items()
        if isinstance(machine.drive, HydraulicDrive)
    }
    days: dict[str, list[object]] = {}
    for day, of_day in by.drift.days.items():
        for ident in of_day:
            days.setdefault(ident, []).append((day, of_day))
    return parts.each(
        "judged",
        lambda found: judged_one(found, by),
        lambda ident: (by.drift.price, days.get(ident), of_oil if ident in of_oil else None),
    )


def judged_one(found: OfMachine, by: ByAll) -> Judged:
    """Of one machine."""
    ledger = found.ledger
    drifting = found.drifting(by.drift)
    filed_on = ledger.overall.last_day or date.min
    to_confirm = [one for one in found.follow_ups(by.read, found.day) if one.is_open]
    filed = decisions_of_machine(found, drifting, found.follow_ups(by.read, filed_on), filed_on)
    return Judged(
        drift_rows(ledger, drifting),
        [replace(one, shown=None) for one in filed],
        decisions_of_machine(found, drifting, to_confirm, found.day),
        open_lines(ledger, to_confirm),
        sum(one.state is FollowUpState.OVERDUE for one in to_confirm),
    )


def asked_at(ledger: Ledger, ident: str) -> tuple[Decision, ...]:
    """What needs a decision at one machine, as of the last day filed, but for its findings."""
    day = last_day_filed(ledger)
    parts = Parts(ledger, day, None)
    own = judged_one(parts.of_machine(ident), by_all(ledger, parts)).filed
    others = decisions_of_site(ledger, site_found(ledger), day, with_findings=False)
    return in_order((one for one in others if one.machine == ident), [own])

"""The parts of the site's pages that single machines give, as they are kept."""

import json
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any

from ledger.book.blocks import Spans
from ledger.book.plain import kept, to_text
from ledger.files.survey import content_hash
from ledger.model.build_visit import content_of
from ledger.model.ledger import Ledger
from ledger.model.machines import HydraulicDrive
from ledger.model.references import Place
from ledger.model.site import Site
from ledger.model.visits import Entry, VisitHead
from ledger.site.asked import ByAll, filed_at
from ledger.site.decisions import (
    Decision,
    decisions_of_machine,
)
from ledger.site.of_machine import OfMachine
from ledger.site.parts import Parts
from ledger.upkeep.drift.page import DriftRows, drift_rows
from ledger.upkeep.drift.plot import year_picture
from ledger.upkeep.due.found import Schedule
from ledger.upkeep.intime.found import Known, Settled, settled
from ledger.upkeep.line.found import line_matching
from ledger.upkeep.line.page import LineRows, line_rows
from ledger.upkeep.register.found import FollowUpState
from ledger.upkeep.register.page import RegisterRows, register_rows
from ledger.upkeep.register.words import open_lines
from ledger.upkeep.speeds.page import SpeedRows, speed_rows
from ledger.upkeep.tuning.page import TuningRows, tuning_rows
from ledger.upkeep.wear.page import WearRows, wear_rows
from ledger.values import dataclass

kept(Settled)


@kept
@dataclass(frozen=True, slots=True)
class Settings:
    """What the pages of settings say of a machine, and a line of the front page.

    `judged` is when its speed was first held against a band, with the last verdict.
    """

    register: RegisterRows
    tuning: TuningRows
    line: LineRows
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
        line_rows(ledger, line_matching(ledger, results, only=found.machine)),
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


def counting(ledger: Ledger, parts: Parts) -> list[Entry]:
    """The entries of all machines by which work is due or not, by time."""

    def make(found: OfMachine) -> str:
        ident, of = found.machine.ident, found.whole
        entries = Schedule(of, found.day).entries_that_count(ident)
        return json.dumps([_row(entry) for entry in entries])

    if not parts.is_kept:
        return []
    rows = parts.each("counting", make, of_work=True).values()
    entries = (_entry(ledger.site, *row) for of_machine in rows for row in json.loads(of_machine))
    return sorted({one.ref: one for one in entries}.values(), key=lambda one: (one.when, one.ref))


def _row(entry: Entry) -> tuple[object, ...]:
    head = entry.head
    people = head.by, head.helpers, head.filed_by, head.returned_by
    places = [str(place) for place in entry.places]
    return entry.ref, head.when.isoformat(), people, places, entry.raw


def _entry(
    site: Site,
    ref: tuple[str, int, int],
    when: str,
    people: tuple[str, Sequence[str], str, str],
    places: Sequence[str],
    raw: Mapping[str, Any],
) -> Entry:
    visit, number, step = ref
    by, helpers, filed_by, returned_by = people
    at = datetime.fromisoformat(when).astimezone(site.zone)
    head = VisitHead(
        visit=visit,
        when=at,
        day=at.date(),
        by=by,
        helpers=tuple(helpers),
        filed_by=filed_by,
        returned_by=returned_by,
    )
    content = content_of(raw, tuple(map(Place.parse, places)), site)
    return Entry(head=head, number=number, step=step, content=content)


def settled_on(parts: Parts, as_of: date) -> list[Settled]:
    """The due dates of each task at all places."""
    known: Known = {}
    found = parts.each(
        "settled",
        lambda of: settled(of.whole, Schedule(of.whole, as_of), as_of, of.machine.ident, known),
        lambda _: as_of,
        of_work=True,
    )
    return [one for of in found.values() for one in of]


@kept
@dataclass(frozen=True, slots=True)
class Judged:
    """What is asked for at a machine on the last day filed and today, and what of it drifts.

    `to_confirm` are the readings that settings ask for today, of which `late` are overdue.
    """

    drift: DriftRows
    wear: WearRows
    filed: Sequence[Decision]
    today: Sequence[Decision]
    to_confirm: Sequence[Spans]
    late: int


def judged(ledger: Ledger, parts: Parts, by: ByAll) -> dict[str, Judged]:
    """Each machine. It rests on days on which others were read too, and on others of its oil."""
    of_oil = {
        ident: by.read.get(ident)
        for ident, machine in ledger.machines.items()
        if isinstance(machine.drive, HydraulicDrive)
    }
    days: dict[str, list[str]] = {}
    for day, of_day in by.drift.days.items():
        stands_for = content_hash(repr((day, of_day)).encode())
        for ident in of_day:
            days.setdefault(ident, []).append(stands_for)
    return parts.each(
        "judged",
        lambda found: _judged(found, by),
        lambda ident: (by.drift.price, days.get(ident), of_oil if ident in of_oil else None),
    )


def _judged(found: OfMachine, by: ByAll) -> Judged:
    ledger, day = found.ledger, found.day
    drifting = found.drifting(by.drift)
    to_confirm = [one for one in found.follow_ups(by.read, day) if one.is_open]
    return Judged(
        drift_rows(ledger, drifting),
        wear_rows(ledger, found.worn),
        filed_at(found, by),
        decisions_of_machine(
            found, drifting, to_confirm, day, lambda one: year_picture(ledger, one, day.year)
        ),
        open_lines(ledger, to_confirm),
        sum(one.state is FollowUpState.OVERDUE for one in to_confirm),
    )

"""The parts of the site's pages that single machines give, as they are kept."""

from array import array
from collections.abc import Sequence
from itertools import chain

from ledger.book.blocks import Spans
from ledger.book.plain import kept, to_text
from ledger.files.survey import content_hash
from ledger.model.ledger import Ledger
from ledger.model.machines import HydraulicDrive
from ledger.site.asked import ByAll, filed_at
from ledger.site.decisions import (
    Decision,
    decisions_of_machine,
)
from ledger.site.of_machine import OfMachine
from ledger.site.parts import Parts
from ledger.upkeep.drift.page import DriftRows, drift_rows
from ledger.upkeep.drift.plot import year_picture
from ledger.upkeep.line.found import line_matching
from ledger.upkeep.line.page import LineRows, line_rows
from ledger.upkeep.register.found import FollowUpState
from ledger.upkeep.register.page import RegisterRows, register_rows
from ledger.upkeep.register.words import open_lines
from ledger.upkeep.speeds.page import SpeedRows, speed_rows
from ledger.upkeep.tuning.page import TuningRows, tuning_rows
from ledger.upkeep.wear.page import WearRows, wear_rows
from ledger.values import dataclass


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
            found.ledger,
            found.results,
            lambda rows: content_hash(to_text(rows, parts.drawn).encode()),
        )

    return parts.each("speeds", make)


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
        numbers = array("d", (day, *chain.from_iterable(of_day.values())))
        stands_for = content_hash(" ".join(of_day).encode() + numbers.tobytes())
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

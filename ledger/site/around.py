"""What the record holds of a machine around one moment, as an answer to a claim of damage.

It names nobody: no person, no vehicle, no entry, since an entry's name holds that of a person.
"""

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from typing import Any

from ledger.book import words
from ledger.book.blocks import Block, Bullets, Heading, Page, Paragraph, Table
from ledger.model.ledger import Ledger
from ledger.model.machines import Machine
from ledger.model.visits import STOP_CAUSES
from ledger.upkeep.downtime.found import stops
from ledger.upkeep.findings.found import findings
from ledger.upkeep.register.found import standing_of
from ledger.upkeep.speeds.found import SpeedResult
from ledger.upkeep.speeds.words import format_count

NEAR = timedelta(hours=1)

LATER = timedelta(days=7)
"""What was found at the machine so soon after is told too."""


def around(
    ledger: Ledger, machine: Machine, results: Sequence[SpeedResult], when: datetime
) -> dict[str, Any]:
    """Each part of the answer with its lines, in the order of the page; for JSON as it is."""
    return {
        "machine": machine.ident,
        "when": when.isoformat(),
        "last_service": list(_service(ledger, machine, when)),
        "speed": list(_speed(ledger, machine, results, when)),
        "open_findings": [
            f"{words.format_time(one.entry.when, ledger.site)}: {one.entry.finding}"
            for one in findings(ledger)
            if _is_of(one.entry.places, machine)
            and one.entry.when <= when
            and (one.closed_by is None or one.closed_by.when > when)
        ],
        "stops": [
            f"{words.format_time(one.entry.when, ledger.site)}: "
            f"{words.format_minutes(one.minutes)}, {STOP_CAUSES[one.cause]}"
            + (f", {ledger.machines[one.machine].name}" if one.machine else "")
            for one in stops(ledger)
            if abs(one.entry.when - when) <= NEAR
        ],
        "found_after": [
            f"{words.format_time(entry.when, ledger.site)}: "
            + (entry.finding or f"changed: {entry.changed.replace('-', ' ')}")
            for entry in ledger.detailed_at(machine.ident)
            if when < entry.when <= when + LATER and (entry.finding or entry.changed)
        ],
    }


def _is_of(places: Sequence[Any], machine: Machine) -> bool:
    return any(place.machine == machine.ident for place in places)


def _service(ledger: Ledger, machine: Machine, when: datetime) -> Iterator[tuple[str, str]]:
    """Each task of the machine and when it was last done by then, the latest first."""
    done: dict[str, datetime] = {}
    for entry in ledger.standing_at(machine.ident):
        tasks = entry.claim.tasks if entry.claim else (entry.task,) if entry.did_work else ()
        if entry.when <= when:
            done |= dict.fromkeys(tasks, entry.when)
    for task, at in sorted(done.items(), key=lambda one: (one[1], one[0]), reverse=True):
        yield ledger.tasks[task].title, words.format_time(at, ledger.site)


def _speed(
    ledger: Ledger, machine: Machine, results: Sequence[SpeedResult], when: datetime
) -> Iterator[str]:
    """The readings before and after, each with its band, and the setting of that day."""
    before = [one for one in results if one.entry.when <= when][-1:]
    after = [one for one in results if one.entry.when > when][:1]
    for one in (*before, *after):
        band = f" {words.format_range(one.band.low, one.band.high)} r/min" if one.band else ""
        at = words.format_time(one.entry.when, ledger.site)
        yield f"Read {at}: {format_count(one, ledger.site)}{band}."
    change = standing_of(ledger, machine.ident, when.astimezone(ledger.site.zone).date()).change
    if change is not None:
        setting = words.format_change(change, ledger.site)
        yield f"Setting in force that day: {setting}, from {words.format_day(change.first_day)}."
    for tied in ledger.tie_backs:
        closed = tied.closed_by
        is_then = tied.since <= when and (closed is None or closed.when > when)
        if tied.machine == machine.ident and is_then:
            yield f"It was tied back since {words.format_time(tied.since, ledger.site)}."


_NOTHING = {
    "last_service": "No work on record before that.",
    "speed": "No speed on record.",
    "open_findings": "None was open.",
    "stops": "None on record within an hour of it.",
    "found_after": "Nothing.",
}

_TITLES = {
    "last_service": "Last service",
    "speed": "Speed, band and setting",
    "open_findings": "Findings open then",
    "stops": "Stops of the line within an hour",
    "found_after": "Found or changed there in the seven days after",
}


def around_page(ledger: Ledger, machine: Machine, found: dict[str, Any], when: datetime) -> Page:
    """The answer, to be printed."""
    blocks: list[Block] = [
        Paragraph(
            "What is on record, at the site's own time. It names no person and no vehicle: keep "
            "those, and photos, with the case outside the book. Findings stand as they were "
            "typed: read them before this leaves the house. What nobody filed is not here, and "
            "nothing here says that a machine was safe."
        )
    ]
    for part, title in _TITLES.items():
        blocks.append(Heading(2, title))
        lines = found[part]
        if not lines:
            blocks.append(Paragraph(_NOTHING[part]))
        elif part == "last_service":
            blocks.append(Table(("Work", "Last done"), lines))
        else:
            blocks.append(Bullets(lines))
    moment = words.format_time(when, ledger.site)
    return Page(
        path=words.machine_page(machine.ident),
        title=f"{machine.name} around {moment}",
        blocks=blocks,
    )

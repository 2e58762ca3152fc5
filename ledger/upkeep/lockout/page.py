"""The lockout sheets: one for each machine, and one for the walk of a day, to print and to tick."""

from collections.abc import Callable, Iterable, Sequence
from datetime import date

from ledger.book import words
from ledger.book.addresses import LOCKOUT_PAGE
from ledger.book.blocks import (
    Block,
    Bullets,
    Caution,
    Checklist,
    Heading,
    Link,
    Page,
    Paragraph,
    Spans,
    Table,
)
from ledger.book.flat import JsonRow
from ledger.model.ledger import Ledger
from ledger.model.machines import Machine
from ledger.upkeep.due.found import DueWork
from ledger.upkeep.lockout.found import TUNNEL, Sheet, Step, sheets_of_walk, steps_of

_NO_PROOF = (
    "This sheet holds what the site wrote down. It does not know the machine, and it proves "
    "nothing: only a test shows that an isolation works. The maker's manual, the local code and "
    "licensed people come first."
)

_CONTROLS = (
    "Push buttons, selector switches and emergency stops isolate nothing. Everyone whose hands go "
    "in fixes a lock of their own, and takes it off with their own hands."
)

_TRY = (
    "Try to start: by the machine's own control, by the start button and by the automatic start. "
    "Nothing may move. Then put every control back to off."
)

_BRING_BACK = (
    "Tools and cloths out, guards back on.",
    "Everybody out of the tunnel, counted by name.",
    "Everyone takes their own lock off.",
    "Tell everybody at the line again: power comes back.",
    "Release and reset: nothing may move.",
    "Sound the horn, wait, then start by the start button.",
)

_LOCKS_ON_PAPER = 4

_HOW: tuple[tuple[str, Callable[[Step], str]], ...] = (
    ("Energy", lambda step: step.energy),
    ("At", lambda step: step.how.isolate_at),
    ("With", lambda step: step.how.device),
)


def sheet_page(ledger: Ledger, sheet: Sheet) -> Page:
    """Depends on the sources only."""
    steps = list(steps_of(ledger, sheet))
    blocks: list[Block] = [
        Paragraph(_for_what(sheet)),
        Caution([_NO_PROOF, *_gaps(ledger, [sheet])]),
        Heading(2, "1 Before"),
        Bullets(_before(ledger, sheet.machine)),
        Heading(2, "2 Shut down and isolate"),
        Paragraph(f"Shut down by the normal controls first. {_CONTROLS}"),
        Table.of(
            steps,
            ("Lock", lambda step: step.name),
            ("Because", lambda step: step.why or "hands go in here"),
            *_HOW,
        ),
        Heading(2, "3 Release and wait"),
        _releases(steps),
        *_prove_and_bring_back("4 Prove", _proofs(steps), "5 Bring back"),
        Heading(2, "Yearly inspection"),
        Paragraph(_inspection(ledger, sheet)),
    ]
    return Page(
        path=words.lockout_sheet_page(sheet.machine.ident),
        title=f"Lockout sheet: {sheet.machine.name}",
        blocks=blocks,
        in_navigation=False,
    )


def walk_page(ledger: Ledger, found: Sequence[Sheet], work: Sequence[DueWork], as_of: date) -> Page:
    """What the hands-in work of one day locks, each device once; and the list of all sheets."""
    due = sheets_of_walk(found, work)
    proofs = dict.fromkeys(proof for one in due for proof in _proofs(steps_of(ledger, one)))
    blocks: list[Block] = []
    if due:
        blocks += [
            Paragraph(
                f"Work with hands in is due at {words.format_count(len(due), 'machine')}. Each is "
                "locked by its own sheet before its work, and stays locked until the work there "
                "is done; this list is what all of them take together."
            ),
            Caution([_NO_PROOF, *_gaps(ledger, due)]),
            isolations(ledger, due),
            *_prove_and_bring_back("Prove", proofs, "Bring back"),
        ]
    else:
        blocks.append(Paragraph("No work with hands in is due on this day."))
    blocks += [
        Heading(2, "All sheets"),
        Table.of(
            found,
            ("Machine", _sheet_link),
            ("Locked with it", _others),
            ("Last inspection", lambda one: _inspected(ledger, one)),
        )
        if found
        else Paragraph("No machine of this site has an energy or work done locked out."),
    ]
    return Page(path=LOCKOUT_PAGE, title="Lockout", blocks=blocks, as_of=words.format_as_of(as_of))


def _for_what(sheet: Sheet) -> Spans:
    if not sheet.tasks:
        return "For any work with hands in at this machine."
    spans: list[str | Link] = ["For work with hands in at this machine: "]
    for number, task in enumerate(sheet.tasks):
        spans += ["; " if number else "", words.task_link(task)]
    return (*spans, ".")


def _gaps(ledger: Ledger, found: Sequence[Sheet]) -> list[str]:
    """What is not written down, and must be found out before hands go in."""
    unstated = dict.fromkeys(machine.name for one in found for machine in one.unstated)
    gaps = []
    if unstated:
        gaps.append(
            f"No energy is written down for {words.in_words(list(unstated))}. Find every source "
            "there before hands go in, and write it under `energy` in the machine's file."
        )
    if any(one.is_in_tunnel for one in found) and ledger.site.automatic_start is None:
        gaps.append(
            "How the automatic start is locked is not written down. Find out what can start the "
            "line, and write it under `automatic_start` in site.yaml."
        )
    return gaps


def _before(ledger: Ledger, machine: Machine) -> list[Spans]:
    able = [
        words.format_person_and_roles(person)
        for person in ledger.site.people.values()
        if "lockout" in person.qualified and person.last_day is None
    ]
    in_tunnel = machine.area == TUNNEL
    zone = ledger.site.zones.get(machine.zone, machine.area.replace("-", " "))
    if machine.kind == "conveyor":
        zone = "all of the tunnel"
    elif in_tunnel and not machine.zone:
        zone = "not stated, so all of the tunnel is locked"
    return [
        f"Zone where you stand: {zone}.",
        f"Done only by people qualified for lockout: {'; '.join(able) or 'nobody of this site'}.",
        *(["Close the entry, so that no vehicle is driven in."] if in_tunnel else ()),
        "Tell everybody at the line what is locked, and for how long.",
        (
            "Ask what else can move, fall, spring back or spray here. What is missing goes on the "
            "sheet before the work."
        ),
    ]


def _releases(steps: Sequence[Step]) -> Block:
    held = [step for step in steps if step.how.release or step.how.wait_minutes]
    if not held:
        return Paragraph("No stored energy is written down. Look for it all the same.")
    return Table.of(
        held,
        ("Of", lambda step: f"{step.name}: {step.energy}"),
        ("Release", lambda step: step.how.release or words.NONE),
        ("Wait", lambda step: words.or_dash(step.how.wait_minutes, words.format_minutes)),
    )


def _proofs(steps: Iterable[Step]) -> list[Spans]:
    return [f"{step.name}: {step.how.prove}" for step in steps]


def _prove_and_bring_back(prove: str, proofs: Iterable[Spans], bring_back: str) -> list[Block]:
    locks = "Lock", "Name", "On at", "Off at"
    return [
        Heading(2, prove),
        Checklist([*proofs, _TRY]),
        Heading(2, bring_back),
        Checklist(list(_BRING_BACK)),
        Heading(2, "Locks"),
        Table(locks, [("", "", "", "")] * _LOCKS_ON_PAPER),
    ]


def _sheet_link(sheet: Sheet) -> Link:
    return Link(sheet.machine.name, words.lockout_sheet_page(sheet.machine.ident))


def _inspected(ledger: Ledger, sheet: Sheet) -> str:
    if sheet.inspected is None:
        return "never on record"
    who = words.format_person(sheet.inspected.by, ledger.site)
    return f"{words.format_day(sheet.inspected.day)} by {who}"


def _inspection(ledger: Ledger, sheet: Sheet) -> str:
    return (
        f"Last: {_inspected(ledger, sheet)}. Once a year somebody who does not work by this sheet "
        "watches it used, talks it over with those who do, and corrects what is found. Check "
        "your own code for how often and by whom."
    )


def _others(sheet: Sheet) -> str:
    names = [one.machine.name for one in sheet.locked if one.why]
    if sheet.is_in_tunnel:
        names.append("automatic start")
    return "; ".join(names) or words.NONE


def isolations(ledger: Ledger, due: Sequence[Sheet]) -> Block:
    """Each isolation once, and the machines it is locked for.

    Two machines may have a valve of one name, so those of different machines stay apart.
    """
    needed: dict[Step, list[str]] = {}
    for sheet in due:
        for step in steps_of(ledger, sheet):
            needed.setdefault(step._replace(why=""), []).append(sheet.machine.name)

    def work_at(step: Step) -> str:
        return "all of them" if len(needed[step]) == len(due) > 1 else "; ".join(needed[step])

    if not needed:
        return Paragraph("Nothing is written down that could be locked.")
    return Table.of(
        needed,
        ("Lock", lambda step: step.name),
        *_HOW,
        ("For work at", work_at),
    )


def sheet_rows(ledger: Ledger, found: Sequence[Sheet]) -> list[JsonRow]:
    """One row an isolation, by the machine that the sheet is for."""
    return [
        {
            "for": sheet.machine.ident,
            "lock": step.name,
            "because": step.why or None,
            "energy": step.energy,
            "isolate_at": step.how.isolate_at,
            "device": step.how.device,
            "release": step.how.release or None,
            "wait_minutes": step.how.wait_minutes,
            "prove": step.how.prove,
        }
        for sheet in found
        for step in steps_of(ledger, sheet)
    ]

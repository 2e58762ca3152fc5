"""The front page: what needs a decision, today in a few lines, the way to every other page."""

from collections.abc import Sequence
from datetime import date

from ledger.book import words
from ledger.book.addresses import (
    DUE_PAGE,
    FINDINGS_PAGE,
    FRONT_PAGE,
    IN_TIME_PAGE,
    IN_TIME_TITLE,
    PARTS_PAGE,
    REGISTER_PAGE,
    SPEEDS_PAGE,
)
from ledger.book.blocks import (
    Block,
    Bullets,
    Heading,
    Link,
    Page,
    Paragraph,
    Spans,
    Table,
    left,
    right,
)
from ledger.compute.band import Verdict
from ledger.compute.schedule import State
from ledger.model.ledger import Ledger
from ledger.site.decisions import Assessed, decision_blocks, last_judged
from ledger.upkeep.due.found import DueWork, minutes_of
from ledger.upkeep.findings.found import open_findings
from ledger.upkeep.register.found import FollowUp, FollowUpState, RegisterLine
from ledger.upkeep.speeds.found import SpeedResult


def today_page(
    ledger: Ledger,
    work: Sequence[DueWork],
    found: Assessed,
    as_of: date,
    contents: Sequence[tuple[Link, str]],
) -> Page:
    """Depends on the day. `contents` are links to further pages, each with what it holds."""
    site = ledger.site
    blocks: list[Block] = [
        Paragraph(
            f"Line rate in force: {words.format_number(site.line.line_rate_per_h)} "
            "vehicles an hour."
        ),
        *decision_blocks(ledger, found, as_of),
        Heading(2, "Today"),
        Bullets(
            [
                *_due_lines(work),
                *_finding_lines(ledger, as_of),
                *_speed_lines(ledger, found.results),
                *_register_lines(found.lines),
                *_follow_up_lines(found.asked),
                *_last_visit(ledger, as_of),
            ]
        ),
        Heading(2, "Pages"),
        Bullets([(link, f": {what}") for link, what in (*_CONTENTS, *contents)]),
        Heading(2, "Machines, entry to exit"),
        Table(
            (right("Station"), left("Machine"), left("Kind"), left("Area")),
            [
                (
                    words.format_number(machine.station),
                    words.machine_link(machine),
                    machine.kind.replace("-", " "),
                    machine.area.replace("-", " "),
                )
                for machine in ledger.machines.values()
            ],
        ),
    ]
    return Page(path=FRONT_PAGE, title=site.name, blocks=blocks, as_of=words.format_as_of(as_of))


_CONTENTS = (
    (Link("Due work", DUE_PAGE), "the walk of the day, with boxes to tick"),
    (Link("Drive settings", REGISTER_PAGE), "the register of what is in force and who agreed"),
    (Link("Shaft speeds", SPEEDS_PAGE), "every reading with its uncertainty and verdict"),
    (Link("Findings", FINDINGS_PAGE), "what is open, and what was put right"),
    (Link("Parts", PARTS_PAGE), "on hand, to order, used each month"),
    (Link(IN_TIME_TITLE, IN_TIME_PAGE), "what was not done, and the share in time"),
)


def _due_lines(work: Sequence[DueWork]) -> list[Spans]:
    walk = [one for one in work if one.is_on_the_walk]
    overdue = [one for one in walk if one.due.state is State.OVERDUE]
    tasks = len({one.task.ident for one in walk})
    places, minutes = words.format_count(len(walk), "place"), minutes_of(walk)
    takes = f", about {words.format_minutes(minutes)}" if minutes else ""
    said: list[Spans] = [
        (
            Link(f"{words.format_count(tasks, 'task')} due", DUE_PAGE),
            f" at {places}{takes}; {words.format_count(len(overdue), 'place')} overdue.",
        )
    ]
    if overdue:
        worst = max(overdue, key=lambda one: one.due.overdue_days)
        said.append(
            (
                "Longest overdue: ",
                words.task_link(worst.task),
                f", by {words.format_count(worst.due.overdue_days, 'day')}.",
            )
        )
    return said


def _finding_lines(ledger: Ledger, as_of: date) -> list[Spans]:
    found = open_findings(ledger, as_of)
    return [(Link(f"{words.format_count(len(found), 'finding')} open", FINDINGS_PAGE), ".")]


def _speed_lines(ledger: Ledger, results: Sequence[SpeedResult]) -> list[Spans]:
    last = last_judged(results)
    by_verdict = {
        verdict: [machine for machine, result in last.items() if result.verdict is verdict]
        for verdict in Verdict
    }
    out = [ledger.machines[machine].name for machine in by_verdict[Verdict.OUT_OF_BAND]]
    return [
        (
            Link("Last speed readings", SPEEDS_PAGE),
            f": {len(by_verdict[Verdict.IN_BAND])} in band, "
            f"{len(by_verdict[Verdict.CANNOT_TELL])} cannot tell, {len(out)} out of band"
            + (f" ({words.in_words(out)})." if out else "."),
        )
    ]


def _register_lines(lines: Sequence[RegisterLine]) -> list[Spans]:
    in_force = sum(line.in_force is not None for line in lines)
    proposals = sum(len(line.proposals) for line in lines)
    return [
        (
            Link(f"{words.format_count(in_force, 'setting')} in force", REGISTER_PAGE),
            f", {words.format_count(proposals, 'proposal')} waiting for a second person.",
        )
    ]


def _follow_up_lines(asked: Sequence[FollowUp]) -> list[Spans]:
    wanted = [one for one in asked if one.is_open]
    if not wanted:
        return []
    late = sum(one.state is FollowUpState.OVERDUE for one in wanted)
    return [
        (
            Link(f"{words.format_count(len(wanted), 'setting')} to confirm", DUE_PAGE),
            f" by a speed read at {'it' if len(wanted) == 1 else 'each'}; {late} overdue.",
        )
    ]


def _last_visit(ledger: Ledger, as_of: date) -> list[Spans]:
    known = [visit for visit in ledger.visits if visit.day <= as_of]
    if not known:
        return ["No visit is filed yet."]
    last = known[-1]
    return [
        (
            f"Last visit: {words.format_time(last.when, ledger.site)} by "
            f"{words.format_person(last.by, ledger.site)}, "
            f"{words.format_count(len(last.entries), 'entry', 'entries')}."
        )
    ]

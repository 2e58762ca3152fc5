"""The front page: today in a few lines, what needs a decision, what was left, the tunnel."""

from collections import Counter
from collections.abc import Sequence
from datetime import date

from ledger.book import addresses, words
from ledger.book.blocks import (
    Block,
    Bullets,
    Heading,
    Lines,
    Link,
    Page,
    Paragraph,
    SmallPlots,
    Spans,
    anchor_of,
)
from ledger.compute.band import Verdict
from ledger.compute.schedule import State
from ledger.model.ledger import Ledger
from ledger.site.decisions import Decision, decision_blocks
from ledger.site.handover import handover_blocks
from ledger.site.machine_parts import Judged, Settings
from ledger.site.tunnel_strip import tunnel_blocks
from ledger.upkeep.due.found import PASSES, DueWork
from ledger.upkeep.due.page import format_extent
from ledger.upkeep.findings.found import open_findings


def today_page(
    ledger: Ledger,
    work: Sequence[DueWork],
    asked: Sequence[Decision],
    of_machines: Sequence[tuple[str, Settings, Judged]],
    as_of: date,
) -> Page:
    """Depends on the day. `asked` is all that needs a decision, the worst first."""
    site = ledger.site
    blocks: list[Block] = [
        Paragraph(
            f"Line rate in force: {words.format_number(site.line.line_rate_per_h)} "
            "vehicles an hour."
        ),
        Heading(2, "Today"),
        Bullets(
            [
                *_due_lines(ledger, work),
                _findings_line(ledger, as_of),
                _speeds_line(ledger, [(ident, one) for ident, one, _ in of_machines]),
                _register_line([one for _, one, _ in of_machines]),
                *_follow_up_lines([one for _, _, one in of_machines]),
            ]
        ),
        *decision_blocks(ledger, asked),
        *handover_blocks(ledger, work, as_of),
        *_moving(ledger, asked, as_of),
        *tunnel_blocks(ledger, work, asked, as_of),
        Heading(2, "Pages", is_folded=True),
        Bullets(
            [
                (Link(title, path), f": {what}")
                for title, path, what in _CONTENTS
                if path != addresses.INSTRUMENTS_PAGE or ledger.instruments
            ]
        ),
    ]
    return Page(
        path=addresses.FRONT_PAGE, title=site.name, blocks=blocks, as_of=words.format_as_of(as_of)
    )


_CONTENTS = (
    ("Due work", addresses.DUE_PAGE, "the walk of the day, with boxes to tick"),
    ("Lockout", addresses.LOCKOUT_PAGE, "what is locked before hands go in, here and today"),
    ("Drive settings", addresses.REGISTER_PAGE, "the register of what is in force and who agreed"),
    ("Shaft speeds", addresses.SPEEDS_PAGE, "every reading with its uncertainty and verdict"),
    ("Findings", addresses.FINDINGS_PAGE, "what is open, and what was put right"),
    ("Parts", addresses.PARTS_PAGE, "on hand, to order, used each month"),
    ("People", addresses.PEOPLE_PAGE, "qualified for what, on what evidence, training due"),
    ("Instruments", addresses.INSTRUMENTS_PAGE, "limits of error, checks, readings in doubt"),
    (addresses.IN_TIME_TITLE, addresses.IN_TIME_PAGE, "what was not done, and the share in time"),
    (
        "Recommended settings",
        addresses.TUNING_PAGE,
        "what each line rate asks, what was found and read",
    ),
    (
        "Line and cloth",
        addresses.LINE_PAGE,
        "rate, bands, cloth on the vehicle, direction of rotation",
    ),
    ("Load and conversion", addresses.LOAD_PAGE, "panels, oil against electricity, blower speed"),
    ("Lubrication", addresses.GREASE_PAGE, "grams, strokes, intervals, grease given and left"),
    (
        "Nozzles, chain, belts, cloth, dampers",
        addresses.WEAR_PAGE,
        "last readings against their limits",
    ),
    (
        "Water and chemistry",
        addresses.WATER_PAGE,
        "bands, softener, membrane, dilution, water and product a vehicle takes",
    ),
    (
        "Pumps, worn cloth and energy",
        addresses.DUTY_PAGE,
        "nozzles against the pump, speed of worn cloth, energy a vehicle",
    ),
    ("Drift and wear", addresses.DRIFT_PAGE, "what moves, and when it leaves its limits"),
    ("Reliability", addresses.RELIABILITY_PAGE, "what fails, how often, what the record says"),
    ("Months for the owner", addresses.MONTHS_PAGE, "vehicles, stops and their cost, water"),
    (
        addresses.METHODS_TITLE,
        addresses.METHODS_PAGE,
        "each method in a few lines, with formula and source",
    ),
)


def _moving(ledger: Ledger, asked: Sequence[Decision], as_of: date) -> list[Block]:
    """The year of each thing that is out of its band or near a limit, to be compared."""
    rows = []
    for decision in asked:
        if decision.place is not None and decision.shown is not None:
            what, picture = decision.shown
            place = words.place_link(ledger, decision.place)
            rows.append((Lines(place, [f"{words.marked(decision.matter)}, {what}"]), picture))
    if not rows:
        return []
    return [Heading(2, "Out of band, or near a limit"), SmallPlots(as_of.year, rows)]


def _due_lines(ledger: Ledger, work: Sequence[DueWork]) -> list[Spans]:
    walk = [one for one in work if one.is_on_the_walk]
    overdue = [one for one in walk if one.due.state is State.OVERDUE]
    lines: list[Spans] = [
        (
            Link(title, f"{addresses.DUE_PAGE}#{anchor_of(title)}"),
            f": {format_extent(ledger, of_pass)}.",
        )
        for when, title in PASSES.items()
        if (of_pass := [one for one in walk if one.task.when is when])
    ]
    if not walk:
        lines.append((Link("Nothing is due", addresses.DUE_PAGE), "."))
    if overdue:
        worst = max(overdue, key=lambda one: one.due.overdue_days)
        lines.append(
            (
                "Longest overdue: ",
                words.task_link(worst.task),
                f", by {words.format_count(worst.due.overdue_days, 'day')}.",
            )
        )
    return lines


def _findings_line(ledger: Ledger, as_of: date) -> Spans:
    found = open_findings(ledger, as_of)
    return Link(f"{words.format_count(len(found), 'finding')} open", addresses.FINDINGS_PAGE), "."


def _speeds_line(ledger: Ledger, of_machines: Sequence[tuple[str, Settings]]) -> Spans:
    last = sorted((one.judged, ident) for ident, one in of_machines if one.judged is not None)
    count = Counter(verdict for (*_, verdict), _ in last)
    out = [
        ledger.machines[machine].name
        for (*_, verdict), machine in last
        if verdict == Verdict.OUT_OF_BAND
    ]
    return (
        Link("Last speed readings", addresses.SPEEDS_PAGE),
        f": {count[Verdict.IN_BAND]} in band, {count[Verdict.CANNOT_TELL]} cannot tell, "
        f"{len(out)} out of band" + (f" ({words.in_words(out)})." if out else "."),
    )


def _register_line(of_machines: Sequence[Settings]) -> Spans:
    in_force = sum(one.in_force for one in of_machines)
    proposals = sum(one.proposals for one in of_machines)
    return (
        Link(f"{words.format_count(in_force, 'setting')} in force", addresses.REGISTER_PAGE),
        f", {words.format_count(proposals, 'proposal')} waiting for a second person.",
    )


def _follow_up_lines(of_machines: Sequence[Judged]) -> list[Spans]:
    wanted = sum(len(one.to_confirm) for one in of_machines)
    if not wanted:
        return []
    late = sum(one.late for one in of_machines)
    return [
        (
            Link(f"{words.format_count(wanted, 'setting')} to confirm", addresses.DUE_PAGE),
            f" by a speed read at {'it' if wanted == 1 else 'each'}; {late} overdue.",
        )
    ]

"""The front page: today in a few lines, what needs a decision, what was left, the tunnel."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
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
    Picture,
    SmallPlots,
    Spans,
    anchor_of,
)
from ledger.book.marks import marked
from ledger.book.svg_scale import year_span
from ledger.compute.band import Verdict
from ledger.compute.schedule import State
from ledger.model.ledger import Ledger
from ledger.site.decisions import (
    OUT_OF_BAND,
    Assessed,
    decision_blocks,
    decisions,
    last_judged,
)
from ledger.site.handover import handover_blocks
from ledger.site.tunnel_strip import tunnel_blocks
from ledger.upkeep.drift.plot import drift_plot
from ledger.upkeep.drift.series import SPEED
from ledger.upkeep.due.found import PASSES, DueWork
from ledger.upkeep.due.page import format_extent
from ledger.upkeep.findings.found import open_findings
from ledger.upkeep.register.found import FollowUp, FollowUpState, RegisterLine
from ledger.upkeep.speeds.found import SpeedResult
from ledger.upkeep.speeds.page import small_picture


def today_page(
    ledger: Ledger,
    work: Sequence[DueWork],
    found: Assessed,
    as_of: date,
) -> Page:
    """Depends on the day."""
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
                _speeds_line(ledger, found.results),
                _register_line(found.lines),
                *_follow_up_lines(found.follow_ups),
            ]
        ),
        *decision_blocks(ledger, found, as_of),
        *handover_blocks(ledger, work, as_of),
        *_moving(ledger, found, as_of),
        *tunnel_blocks(ledger, work, found, as_of),
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


def _moving(ledger: Ledger, found: Assessed, as_of: date) -> list[Block]:
    """The year of each thing that is out of its band or near a limit, to be compared."""
    rows = []
    for decision in decisions(ledger, found, as_of):
        place, result = decision.place, decision.series
        if place is None:
            continue
        if decision.matter == OUT_OF_BAND:
            read = [one for one in found.results if one.machine == place.machine]
            picture, what = small_picture(ledger, read, as_of.year), SPEED.name
        elif result is not None:
            plot = drift_plot(ledger, result)
            year = replace(plot, x=replace(plot.x, span=year_span(as_of.year, as_of.year)))
            path = f"plots/{as_of.year}/small-{result.series.ident}.svg"
            picture, what = Picture(path, year, is_small=True), result.series.kind.name
        else:
            continue
        name = Lines(words.place_link(ledger, place), [f"{marked(decision.matter)}, {what}"])
        rows.append((name, picture))
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


def _speeds_line(ledger: Ledger, results: Sequence[SpeedResult]) -> Spans:
    last = last_judged(results)
    count = Counter(result.verdict for result in last.values())
    out = [
        ledger.machines[machine].name
        for machine, result in last.items()
        if result.verdict is Verdict.OUT_OF_BAND
    ]
    return (
        Link("Last speed readings", addresses.SPEEDS_PAGE),
        f": {count[Verdict.IN_BAND]} in band, {count[Verdict.CANNOT_TELL]} cannot tell, "
        f"{len(out)} out of band" + (f" ({words.in_words(out)})." if out else "."),
    )


def _register_line(lines: Sequence[RegisterLine]) -> Spans:
    in_force = sum(line.in_force is not None for line in lines)
    proposals = sum(len(line.proposals) for line in lines)
    return (
        Link(f"{words.format_count(in_force, 'setting')} in force", addresses.REGISTER_PAGE),
        f", {words.format_count(proposals, 'proposal')} waiting for a second person.",
    )


def _follow_up_lines(follow_ups: Sequence[FollowUp]) -> list[Spans]:
    wanted = [one for one in follow_ups if one.is_open]
    if not wanted:
        return []
    late = sum(one.state is FollowUpState.OVERDUE for one in wanted)
    return [
        (
            Link(f"{words.format_count(len(wanted), 'setting')} to confirm", addresses.DUE_PAGE),
            f" by a speed read at {'it' if len(wanted) == 1 else 'each'}; {late} overdue.",
        )
    ]

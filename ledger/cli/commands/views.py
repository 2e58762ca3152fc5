"""The commands that show a part of the record: each finds something, then prints a page or JSON."""

from argparse import ArgumentTypeError, Namespace
from collections.abc import Callable, Iterable
from datetime import date
from functools import partial
from typing import TYPE_CHECKING, Any

from ledger.book.blocks import Bullets, Heading, Page, Paragraph
from ledger.book.flat import fields_of, json_rows
from ledger.book.terminal import render
from ledger.cli import command as cli
from ledger.cli.arguments import Argument, Command, arg, command, day, flag, moment
from ledger.cli.command import Failure, OpenSite
from ledger.values import dataclass, replace

if TYPE_CHECKING:
    from ledger.model.ledger import Ledger
    from ledger.model.machines import Machine


MOST_WEEKS = 104


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """What was found: as a page, and as a value for JSON; only the one to print is made.

    `asks` says whether it wants something to be done. A `note` stands below the page.
    """

    page: Callable[[], Page]
    json: Callable[[], object]
    asks: bool = False
    note: str = ""


def view(
    find: Callable[[Namespace, Any], View],
    description: str,
    examples: str,
    *arguments: Argument,
    takes: str,
    opens: Callable[[Namespace], Any] = cli.open_site,
) -> Command:
    """The command that opens a site, finds, and prints."""

    def run(parsed: Namespace) -> int:
        found = find(parsed, opens(parsed))
        cli.give(parsed, lambda: render(found.page()) + found.note, found.json)
        return int(found.asks and parsed.exit_code)

    return command(run, description, examples, *arguments, takes=takes)


def machine_named(parsed: Namespace, ledger: "Ledger") -> "Machine | None":
    """The machine named; None where all are meant."""
    if parsed.machine is None:
        return None
    return ledger.machines[cli.known(parsed.machine, ledger.machines, "machine")]


def _due(parsed: Namespace, site: OpenSite) -> View:
    from ledger.site.excerpt import EXCERPT, excerpt_of
    from ledger.upkeep.due import found, page, table
    from ledger.upkeep.register.found import follow_ups
    from ledger.upkeep.register.words import follow_up_rows, open_lines
    from ledger.upkeep.speeds.found import speed_results

    ledger = site.ledger
    schedule = found.Schedule(ledger, site.as_of)
    work = schedule.all_due()
    if parsed.person is not None:
        person = ledger.site.people[cli.known(parsed.person, ledger.site.people, "person")]
        work = tuple(one for one in work if found.may_do(person, one.task))
    unconfirmed = follow_ups(ledger, speed_results(ledger), site.as_of, site.confirmed)
    if "record" in parsed and ledger is site.loaded.ledger:
        parsed.record.make_beside(EXCERPT, partial(excerpt_of, ledger, schedule, unconfirmed))
    note = ""
    if parsed.as_of is None and parsed.at_commit is None and parsed.format == "text":
        from ledger.cli.into_git import waiting_text

        note = waiting_text(site.root, ledger.site.zone)
        # What git holds changes while no file of the site does.
        parsed.answer.is_kept = not note
    return View(
        page=lambda: page.due_page(ledger, work, open_lines(ledger, unconfirmed), site.as_of),
        json=lambda: [
            *table.due_rows(ledger, work),
            *follow_up_rows(unconfirmed),
            *table.tied_back_rows(ledger, site.as_of),
        ],
        asks=bool(unconfirmed) or any(one.is_on_the_walk for one in work),
        note=note and f"\n{note}",
    )


def _lockout(parsed: Namespace, site: OpenSite) -> View:
    from ledger.upkeep.due.found import Schedule
    from ledger.upkeep.lockout import found, page

    ledger = site.ledger
    sheets = found.sheets(ledger)
    machine = machine_named(parsed, ledger)
    if machine is None:
        work = Schedule(ledger, site.as_of).all_due()
        due = found.sheets_of_walk(sheets, work)
        return View(
            page=partial(page.walk_page, ledger, sheets, work, site.as_of),
            json=partial(page.sheet_rows, ledger, due),
        )
    own = [sheet for sheet in sheets if sheet.machine is machine]
    if not own:
        raise Failure(
            f"{machine.name} has no energy and no work done locked out in its files; "
            f"write them under `energy` in equipment/{machine.ident}.yaml"
        )
    return View(
        page=partial(page.sheet_page, ledger, own[0]),
        json=partial(page.sheet_rows, ledger, own),
    )


def _weeks(text: str) -> int:
    if not text.isdecimal() or not 1 <= int(text) <= MOST_WEEKS:
        raise ArgumentTypeError(f"expected 1 to {MOST_WEEKS} weeks, not `{text}`")
    return int(text)


def _ahead(parsed: Namespace, site: OpenSite) -> View:
    from ledger.upkeep.ahead import page
    from ledger.upkeep.ahead.found import ahead
    from ledger.upkeep.due.found import Schedule
    from ledger.upkeep.due.table import due_rows

    ledger = site.ledger
    if parsed.day is not None:
        work = Schedule(ledger, parsed.day).all_due()
        return View(
            page=partial(page.day_page, ledger, work, parsed.day),
            json=lambda: due_rows(ledger, work),
        )
    found = ahead(ledger, Schedule(ledger, site.as_of), site.as_of, parsed.weeks)
    return View(
        page=partial(page.ahead_page, ledger, found, site.as_of),
        json=lambda: page.ahead_rows(found),
        asks=any(week.short for week in found.weeks),
    )


def _day_asked(parsed: Namespace, site: OpenSite) -> date | None:
    """The day that was asked for; None for the files as they are now, and for a revision."""
    return site.as_of if parsed.as_of else site.day_named


def _dated(parsed: Namespace, site: OpenSite, page: Page, machines: "Iterable[Machine]") -> Page:
    """The page with as of what it stands, and which newest settings had not begun by then."""
    from ledger.upkeep.register.words import format_not_begun

    day = _day_asked(parsed, site)
    words = "" if day is None else f"As of {day}."
    if site.commit is not None:
        words = f"As of {parsed.at_commit}: commit {site.commit[:12]}."
    notes = [] if day is None else [format_not_begun(site.ledger, one, day) for one in machines]
    later = [Paragraph(note) for note in notes if note]
    return replace(page, as_of=words, blocks=[*later, *page.blocks])


def _register(parsed: Namespace, site: OpenSite) -> View:
    from ledger.upkeep.register import found, page, words
    from ledger.upkeep.speeds.found import speed_results

    ledger = site.ledger
    results = speed_results(ledger)
    lines = found.register(ledger, results)

    def dated_page() -> Page:
        whole = page.setpoints_page(ledger, lines, results)
        since = page.found_since(ledger, lines)
        for line in lines:
            facts = page.found_facts(ledger, line, results)
            since.extend((Heading(3, line.machine.name), Bullets(facts)))
        whole = replace(whole, blocks=[*whole.blocks, *since])
        return _dated(parsed, site, whole, ledger.machines.values())

    return View(
        page=dated_page,
        json=lambda: {
            "commit": site.commit,
            "drives": words.register_rows(lines, _day_asked(parsed, site)),
        },
    )


def _show(parsed: Namespace, site: OpenSite) -> View:
    from ledger.upkeep.findings.found import findings
    from ledger.upkeep.speeds.found import results_at
    from ledger.upkeep.speeds.table import speed_rows

    ledger, day = site.ledger, _day_asked(parsed, site)
    machine = ledger.machines[cli.known(parsed.machine, ledger.machines, "machine")]
    here = ledger.of_machine(machine.ident)
    if parsed.around is not None:
        from ledger.model.build_visit import local_instant
        from ledger.site.around import around, around_page

        when = local_instant(parsed.around, ledger.site)
        event = around(ledger, machine, results_at(here, machine.ident), when)
        return View(
            page=lambda: _dated(parsed, site, around_page(ledger, machine, event, when), ()),
            json=lambda: event,
        )
    found = [one for one in findings(here) if one.entry.places[0].machine == machine.ident]

    def dated_page() -> Page:
        from ledger.site.shown import shown_page

        page = shown_page(ledger, machine, found, day, cli.store_of_parts(parsed, site))
        return _dated(parsed, site, page, [machine])

    return View(
        page=dated_page,
        json=lambda: {
            "commit": site.commit,
            "machine": machine.ident,
            **fields_of(machine, "name", "kind", "station"),
            "points": {point.ident: point.kind for point in machine.points.values()},
            "speeds": speed_rows(results_at(here, machine.ident)),
            "open_findings": [str(f.entry.ref) for f in found if f.is_open],
        },
    )


def _grease(parsed: Namespace, site: OpenSite) -> View:
    from ledger.upkeep.grease import found, page, table
    from ledger.upkeep.grease.given import grease_supplies

    ledger = site.ledger
    points, supplies = found.lubrication(ledger), grease_supplies(ledger)
    machine = machine_named(parsed, ledger)
    if machine is not None:
        points = tuple(point for point in points if point.place.machine == machine.ident)
    return View(
        page=partial(page.lubrication_page, ledger, points, supplies),
        json=lambda: {
            "points": [table.point_row(point) for point in points],
            "supplies": [table.supply_row(supply) for supply in supplies],
        },
    )


def _water(_: Namespace, site: OpenSite) -> View:
    from ledger.compute.band import Verdict
    from ledger.upkeep.figures.words import figures_table
    from ledger.upkeep.water import found, page

    figures = found.water(site.ledger)
    return View(
        page=partial(page.water_page, site.ledger, figures),
        json=lambda: json_rows(figures_table(figures)),
        asks=any(one.verdict is Verdict.OUT_OF_BAND for one in figures),
    )


def _parts(parsed: Namespace, site: OpenSite) -> View:
    from ledger.upkeep.parts import page
    from ledger.upkeep.parts.found import stock_lines
    from ledger.upkeep.parts.table import parts_table

    lines = stock_lines(site.ledger)
    wanted = [line for line in lines if line.to_order or not parsed.order]
    return View(
        page=partial(page.order_page if parsed.order else page.parts_page, site.ledger),
        json=lambda: json_rows(parts_table(wanted)),
        asks=any(line.to_order for line in lines),
    )


def _wear(parsed: Namespace, site: OpenSite) -> View:
    from ledger.upkeep.wear import found, page, table

    ledger = site.ledger
    worn, machine = found.wear(ledger), machine_named(parsed, ledger)
    if machine is not None:
        worn = found.wear_of(worn, machine.ident)
    return View(
        page=partial(page.wear_page, ledger, worn, in_full=machine is not None),
        json=lambda: {
            "nozzles": [table.group_row(group) for group in worn.nozzles],
            "chains": [table.item_row(item) for item in worn.by_kind["chain"]],
            "belts": [table.item_row(item) for item in worn.by_kind["belt"]],
            "cloth": [table.item_row(item) for item in worn.by_kind["cloth"]],
            "dampers": [table.damper_row(damper) for damper in worn.dampers],
            "never_measured": {
                kind: [str(place) for place in places] for kind, places in worn.never.items()
            },
        },
        asks=bool(worn.faults),
    )


def _drift(parsed: Namespace, site: OpenSite) -> View:
    from ledger.upkeep.drift import found, page, words
    from ledger.upkeep.speeds.found import speed_results

    ledger = site.ledger
    drifting, machine = found.drift(ledger, speed_results(ledger)), machine_named(parsed, ledger)
    if machine is not None:
        drifting = found.drift_of(drifting, machine.ident)
    return View(
        page=partial(page.drift_page, ledger, drifting),
        json=lambda: [words.drift_row(result) for result in drifting.results],
        asks=any(result.signals for result in drifting.results),
    )


def _reliability(_: Namespace, site: OpenSite) -> View:
    from ledger.upkeep.reliability import found, page, table
    from ledger.upkeep.reliability.tasks import task_values

    ledger = site.ledger
    failures, values = found.reliability(ledger), task_values(ledger)
    return View(
        page=partial(page.reliability_page, ledger, failures, values),
        json=lambda: {
            "machines": [table.machine_row(one) for one in (*failures.failed, *failures.unfailed)],
            "kinds": [table.kind_row(kind) for kind in failures.kinds],
            "tasks": [table.task_row(value) for value in values],
            "failures_outside_the_watch": failures.outside,
        },
    )


FROM_A_DAY = "day commit"

MACHINE_HELP = "its file's name in equipment/, without .yaml"

MACHINE = arg("machine", "MACHINE", MACHINE_HELP)

ANY_MACHINE = arg("machine", "MACHINE", "file name in equipment/; default: all", nargs="?")

COMMANDS = {
    "due": view(
        _due,
        "Print what is due, in walking order, with what must be locked out first.",
        """\
  tunnelbook due                       today, for the site in this folder
  tunnelbook due --for m-osterby        only what this person may do
  tunnelbook due --as-of 2026-12-01    what will be due then, if nothing is done
  tunnelbook due --quiet --exit-code   for cron: silent, and 0, on a day without work
""",
        arg("--for", "PERSON", "only what this person may do", dest="person"),
        takes=f"site-here {FROM_A_DAY} exit-code",
        opens=cli.open_due,
    ),
    "ahead": view(
        _ahead,
        "Print the hours of work in the coming weeks against those of the people who may do it, "
        "and what could be moved; or the plan of one day.",
        """\
  tunnelbook ahead                     the next eight weeks
  tunnelbook ahead --weeks 26          half a year
  tunnelbook ahead --day 2026-12-01    all that may be done on that day: order, people, parts, locks

Nothing is moved: the due dates stay as they are. People count with the
`hours_per_week` that site.yaml states for them.
""",
        arg("--weeks", "N", "how many weeks, 8 if left out", type=_weeks, default=8),
        arg("--day", "DAY", "the plan of this day, YYYY-MM-DD", type=day),
        takes=f"{FROM_A_DAY} exit-code",
    ),
    "setpoints": view(
        _register,
        "Print the register of drive settings: what is in force, on what evidence, by whom, what "
        "is proposed, and what was found and read since.",
        """\
  tunnelbook setpoints                       from the files as they are
  tunnelbook setpoints --as-of 2026-06-30    as it was known at the end of that day
  tunnelbook setpoints --at-commit v3        what git held at a tag
""",
        takes=f"site-here {FROM_A_DAY}",
        opens=cli.open_record,
    ),
    "lockout": view(
        _lockout,
        "Print the lockout sheet of a machine, or what the hands-in work of this walk locks.",
        """\
  tunnelbook lockout brush-p2          the sheet of one machine
  tunnelbook lockout                   all that is locked for the work due today
  tunnelbook lockout --json | less

What is locked beside the machine follows from the zones of the site. A sheet
holds what was written down and proves nothing: only a test shows that an
isolation works.
""",
        ANY_MACHINE,
        takes=FROM_A_DAY,
    ),
    "show": view(
        _show,
        "Print everything on record about one machine: facts, points, speeds and history.",
        """\
  tunnelbook show brush-p2
  tunnelbook show brush-p2 --json | less
  tunnelbook show brush-p2 --as-of 2026-06-30    as it was known at the end of that day
  tunnelbook show brush-p2 --around 2026-11-19T14:30   for a claim: service, speed, stops then
""",
        MACHINE,
        arg("--around", "TIME", "what was on record around then, without names", type=moment),
        takes=FROM_A_DAY,
        opens=cli.open_record,
    ),
    "grease": view(
        _grease,
        "Print grams, strokes and intervals for every bearing, the grease it got by the record, "
        "and the cartridges left.",
        """\
  tunnelbook grease                    every bearing of the site
  tunnelbook grease brush-p2           those of one machine
  tunnelbook grease --json | less

Lock out before a hand goes behind a guard. The maker's manual comes before
every amount printed here.
""",
        ANY_MACHINE,
        takes=FROM_A_DAY,
    ),
    "parts": view(
        _parts,
        "Print what should be on the shelf, what is on order and what to order.",
        """\
  tunnelbook parts                     every part, what was used each month
  tunnelbook parts --order             the order list by supplier, to print or to send
  tunnelbook parts --order --json | less

File an order that went out with `part` and `ordered` in a visit, and what has
come with `received`: the lead time is the time between.
""",
        flag("--order", "only what to order, by supplier"),
        takes=f"{FROM_A_DAY} exit-code",
    ),
    "wear": view(
        _wear,
        "Print nozzles, chain, belts, cloth and dampers: the last reading of each, its limit, a "
        "verdict and the date the limit is reached.",
        """\
  tunnelbook wear                      everything that is measured for wear
  tunnelbook wear rinse-arch           that of one machine, with its earlier readings
  tunnelbook wear --json | less

Lock out before a chain, a belt or cloth is measured. Never catch the jet of a
high-pressure nozzle.
""",
        ANY_MACHINE,
        takes=f"{FROM_A_DAY} exit-code",
    ),
    "water": view(
        _water,
        "Print readings of water and chemistry against their bands, softener, membrane, dilution, "
        "and the water and product that a vehicle takes.",
        """\
  tunnelbook water                     every figure, with its uncertainty
  tunnelbook water --json | less

A figure that cannot be worked out names the reading it lacks.
""",
        takes=f"{FROM_A_DAY} exit-code",
    ),
    "drift": view(
        _drift,
        "Print drift signals and when each series of readings will leave its limits.",
        """\
  tunnelbook drift                     every series of readings
  tunnelbook drift brush-p2            those of one machine
  tunnelbook drift --json | less

A signal says that something has changed, not what. Dates assume that wear goes
on at the present rate.
""",
        ANY_MACHINE,
        takes=f"{FROM_A_DAY} exit-code",
    ),
    "reliability": view(
        _reliability,
        "Print what fails, how often and for how long, and whether renewing parts early pays.",
        """\
  tunnelbook reliability               machines, kinds of point and tasks
  tunnelbook reliability --json | less

A failure is a finding filed with `failed: true`. With few of them the answer
is "not enough data", and that is the truth.
""",
        takes=FROM_A_DAY,
    ),
}

"""All pages of the book, from one ledger and one day.

A page that got another name leaves one under its old name that links on, so that a bookmark, a
link in a mail and the code on a printed card keep working.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping
from datetime import date

from ledger.book import addresses
from ledger.book.blocks import Link, Page, Paragraph
from ledger.model.ledger import Ledger, last_day_filed
from ledger.site import methods_page
from ledger.site.decisions import Assessed, assessed, decisions_of_machines
from ledger.site.machine_page import machine_pages
from ledger.site.month_page import months_page
from ledger.site.task_page import task_page
from ledger.site.today_page import today_page
from ledger.upkeep.drift import page as drift_page
from ledger.upkeep.due.found import Schedule
from ledger.upkeep.due.page import due_page
from ledger.upkeep.duty.page import duty_page
from ledger.upkeep.findings.found import findings
from ledger.upkeep.findings.page import findings_page
from ledger.upkeep.grease import page as grease_page
from ledger.upkeep.grease.found import lubrication
from ledger.upkeep.grease.given import grease_supplies
from ledger.upkeep.instruments.page import instruments_page
from ledger.upkeep.intime.found import in_time
from ledger.upkeep.intime.page import in_time_page
from ledger.upkeep.intime.rounds import rounds
from ledger.upkeep.line import page as line_page
from ledger.upkeep.line.found import line_matching
from ledger.upkeep.load import page as load_page
from ledger.upkeep.load.found import site_load
from ledger.upkeep.lockout import page as lockout_page
from ledger.upkeep.lockout.found import sheets
from ledger.upkeep.parts.page import parts_page
from ledger.upkeep.people.page import people_page
from ledger.upkeep.register.page import setpoints_page
from ledger.upkeep.reliability import page as reliability_page
from ledger.upkeep.reliability.tasks import task_values
from ledger.upkeep.speeds.found import by_machine, speed_results
from ledger.upkeep.speeds.page import speeds_pages
from ledger.upkeep.tuning import page as tuning_page
from ledger.upkeep.tuning.found import tunings
from ledger.upkeep.water.page import water_page
from ledger.upkeep.wear import page as wear_page

MOVED: Mapping[str, str] = {
    "compliance.md": addresses.IN_TIME_PAGE,
    "settings.md": addresses.TUNING_PAGE,
}
"""Former path of a page, from the book's top, to the present one, with `#heading` where the page
became a part of another. Nothing is ever taken out of it."""


def moved_pages() -> Iterator[Page]:
    """One small page for each former name."""
    for former, present in MOVED.items():
        yield Page(
            path=former,
            title="This page has moved",
            in_navigation=False,
            blocks=[Paragraph(("It is now here: ", Link(present, present), "."))],
        )


def book_pages(ledger: Ledger, as_of: date) -> tuple[Iterator[Page], Iterator[Page]]:
    """The pages of the site, the front page first, and those of single machines.

    Those that depend on the day say so. Neither half waits for the other.
    """
    results = speed_results(ledger)
    found = assessed(ledger, results, as_of)
    return _pages_of_site(ledger, found, as_of), _pages_of_machines(ledger, found)


def _pages_of_site(ledger: Ledger, found: Assessed, as_of: date) -> Iterator[Page]:
    schedule = Schedule(ledger, as_of)
    work = schedule.all_due()
    results = found.results
    yield today_page(ledger, work, found, as_of)
    yield due_page(ledger, work, found.follow_ups, as_of)
    locked = sheets(ledger)
    yield lockout_page.walk_page(ledger, locked, work, as_of)
    yield in_time_page(ledger, in_time(ledger, schedule, as_of), rounds(ledger, as_of), as_of)
    yield setpoints_page(ledger, found.lines, results)
    yield from speeds_pages(ledger, results)
    yield findings_page(ledger)
    yield parts_page(ledger)
    yield people_page(ledger)
    if ledger.instruments:
        yield instruments_page(ledger)
    yield tuning_page.settings_page(ledger, tunings(ledger, results), found.lines, results)
    yield line_page.line_page(ledger, line_matching(ledger, results))
    yield load_page.load_page(ledger, site_load(ledger, results))
    yield grease_page.lubrication_page(ledger, lubrication(ledger), grease_supplies(ledger))
    yield wear_page.wear_page(ledger, found.worn)
    yield water_page(ledger, found.water)
    yield drift_page.drift_page(ledger, found.drifting)
    yield reliability_page.reliability_page(ledger, found.failing, task_values(ledger, schedule))
    yield duty_page(ledger, found.duty)
    yield months_page(ledger, found)
    yield methods_page.methods_page()
    for sheet in locked:
        yield lockout_page.sheet_page(ledger, sheet)
    for task in ledger.tasks.values():
        yield task_page(ledger, task)


def _pages_of_machines(ledger: Ledger, found: Assessed) -> Iterator[Page]:
    results_of = by_machine(found.results)
    findings_of = defaultdict(list)
    for finding in findings(ledger):
        findings_of[finding.entry.places[0].machine].append(finding)
    decisions_of = defaultdict(list, decisions_of_machines(ledger, found))
    last_filed = Schedule(ledger, last_day_filed(ledger))
    for machine in ledger.machines.values():
        yield from machine_pages(
            ledger,
            machine,
            last_filed,
            results_of[machine.ident],
            findings_of[machine.ident],
            decisions_of[machine.ident],
        )
    yield from moved_pages()

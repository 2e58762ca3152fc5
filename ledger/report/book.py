"""All pages of the book, from one ledger and one day."""

from collections import defaultdict
from collections.abc import Iterator
from datetime import date

from ledger.assess.compliance import compliance
from ledger.assess.conversion import site_load
from ledger.assess.due import Schedule
from ledger.assess.findings import findings
from ledger.assess.line_matching import line_matching
from ledger.assess.lubrication import lubrication
from ledger.assess.lubrication_given import grease_supplies
from ledger.assess.reliability_tasks import task_values
from ledger.assess.speeds import speed_results
from ledger.assess.tuning import tunings
from ledger.model.ledger import Ledger
from ledger.report.blocks import Link, Page
from ledger.report.pages import drift as drift_pages
from ledger.report.pages import line as line_pages
from ledger.report.pages import load as load_pages
from ledger.report.pages import lubrication as lubrication_pages
from ledger.report.pages import method
from ledger.report.pages import methods as methods_pages
from ledger.report.pages import reliability as reliability_pages
from ledger.report.pages import settings as settings_pages
from ledger.report.pages import wear as wear_pages
from ledger.report.pages.compliance import compliance_page
from ledger.report.pages.due import due_page
from ledger.report.pages.findings import findings_page
from ledger.report.pages.machine import machine_page
from ledger.report.pages.moved import moved_pages
from ledger.report.pages.parts import parts_page
from ledger.report.pages.setpoints import setpoints_page
from ledger.report.pages.speeds import speeds_page
from ledger.report.pages.tasks import task_page
from ledger.report.pages.today import today_page
from ledger.report.pages.today_decisions import assessed, decisions_of_machines

_FURTHER = (
    (Link("Recommended settings", settings_pages.PATH), "what each line rate asks of each drive"),
    (
        Link("Line and cloth", line_pages.PATH),
        "rate, bands, cloth on the vehicle, sense of turning",
    ),
    (Link("Load and conversion", load_pages.PATH), "panels, oil against electricity, blower speed"),
    (
        Link("Lubrication", lubrication_pages.PATH),
        "grams, strokes, intervals, grease given and left",
    ),
    (
        Link("Nozzles, chain, belts, cloth, dampers", wear_pages.PATH),
        "last readings against their limits",
    ),
    (Link("Drift and wear", drift_pages.PATH), "what moves, and when it leaves its limits"),
    (Link("Reliability", reliability_pages.PATH), "what fails, how often, what the record says"),
    (
        Link(method.TITLE, method.PATH),
        "each method in a few lines, with formula and source",
    ),
)


def book_pages(ledger: Ledger, as_of: date) -> Iterator[Page]:
    """Every page, the front page first; those that depend on the day say so."""
    schedule = Schedule(ledger, as_of)
    work = schedule.all_due()
    results = speed_results(ledger)
    found = assessed(ledger, results, as_of)
    yield today_page(ledger, work, found, as_of, _FURTHER)
    yield due_page(ledger, work, found.asked, as_of)
    yield compliance_page(compliance(ledger, schedule, as_of), as_of)
    yield setpoints_page(ledger, found.lines, results, found.drifting)
    yield speeds_page(ledger, results)
    yield findings_page(ledger)
    yield parts_page(ledger)
    yield settings_pages.settings_page(ledger, tunings(ledger, results), found.drifting)
    yield line_pages.line_page(ledger, line_matching(ledger, results))
    yield load_pages.load_page(ledger, site_load(ledger, results))
    yield lubrication_pages.lubrication_page(ledger, lubrication(ledger), grease_supplies(ledger))
    yield wear_pages.wear_page(ledger, found.worn)
    yield drift_pages.drift_page(ledger, found.drifting)
    yield reliability_pages.reliability_page(ledger, found.failing, task_values(ledger))
    yield methods_pages.methods_page()
    for task in ledger.tasks.values():
        yield task_page(ledger, task)
    results_of = defaultdict(list)
    for result in results:
        results_of[result.machine].append(result)
    findings_of = defaultdict(list)
    for finding in findings(ledger):
        findings_of[finding.entry.places[0].machine].append(finding)
    decisions_of = defaultdict(list, decisions_of_machines(ledger, found))
    for machine in ledger.machines.values():
        yield machine_page(
            ledger,
            machine,
            results_of[machine.ident],
            findings_of[machine.ident],
            decisions_of[machine.ident],
        )
    yield from moved_pages()

"""All pages of the book, from one ledger and one day.

A page that got another name leaves one under its old name that links on, so that a bookmark, a
link in a mail and the code on a printed card keep working.
"""

from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from functools import cached_property, partial

from ledger.book import addresses
from ledger.book.blocks import Link, Page, Paragraph
from ledger.model.ledger import ALL_YEARS, EVENTS, Ledger, last_day_filed
from ledger.model.noted_day import Noted
from ledger.site import methods_page
from ledger.site.asked import all_read, by_all, site_found
from ledger.site.decisions import Decision, decisions_of_site, in_order
from ledger.site.machine_page import machine_page, page_of_year, years_before
from ledger.site.machine_parts import judged, settings, speeds
from ledger.site.month_page import months_page
from ledger.site.of_machine import in_year, noting
from ledger.site.parts import Parts, Store, Unit
from ledger.site.served import Work
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
from ledger.upkeep.intime.found import in_time, rounds
from ledger.upkeep.intime.page import in_time_page
from ledger.upkeep.line import page as line_page
from ledger.upkeep.line.found import stated_check
from ledger.upkeep.load import page as load_page
from ledger.upkeep.load.found import site_load
from ledger.upkeep.lockout import page as lockout_page
from ledger.upkeep.lockout.found import sheets
from ledger.upkeep.parts.found import stock_lines
from ledger.upkeep.parts.page import parts_page
from ledger.upkeep.people.page import people_page
from ledger.upkeep.register import page as register_page
from ledger.upkeep.reliability import page as reliability_page
from ledger.upkeep.reliability.tasks import task_values
from ledger.upkeep.speeds.found import results_at
from ledger.upkeep.speeds.page import (
    SpeedRows,
    speed_year_rows,
    speeds_of_year,
    speeds_page,
    years_read,
)
from ledger.upkeep.tuning import page as tuning_page
from ledger.upkeep.tuning.found import rates_of
from ledger.upkeep.water.page import water_page
from ledger.upkeep.wear import page as wear_page
from ledger.values import replace

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
            blocks=[Paragraph(("This page has moved: ", Link(present, present), "."))],
        )


class Book:
    """The pages of one ledger on a day, from its parts.

    Those of the site come first, the front page before all; those that depend on the day say so.
    None waits for another.
    """

    def __init__(self, ledger: Ledger, as_of: date, store: Store | None = None) -> None:
        self._ledger, self._as_of = ledger, as_of
        self.parts = Parts(ledger, as_of, store)
        self._work = Work(ledger, self.parts, as_of)
        self._found = replace(
            site_found(ledger, self.parts),
            read=all_read(ledger, self.parts),
            stock=stock_lines(ledger, by_tasks=self._work.uses),
        )
        by = by_all(ledger, self.parts)
        self._judged = judged(ledger, self.parts, by)
        # What else all are judged by takes much memory.
        self._alarms = by.drift.price, by.drift.common

    @property
    def visit_count(self) -> int:
        return self._ledger.overall.visit_count

    @cached_property
    def asked(self) -> Sequence[Decision]:
        """All that needs a decision on the day, the worst first."""
        return in_order(
            decisions_of_site(self._ledger, self._found, self._as_of, in_full=True),
            (one.today for one in self._judged.values()),
        )

    def pages(self) -> Iterator[Page]:
        """Every page."""
        for one in (*self.pages_of_site(), *self.units()):
            yield from _pages_of(one) if isinstance(one, Unit) else (one,)

    def units(self) -> Iterator[Unit]:
        """All pages but those of the site."""
        yield from self._years()
        yield from self._machines()
        yield Unit("moved", tuple, lambda _: moved_pages())

    def pages_of_site(self) -> Iterator[Page | Unit]:
        ledger, as_of, found = self._ledger, self._as_of, self._found
        done, tasks = self._work, ledger.tasks.values()
        work = done.schedule.all_due()
        of_machines = self._judged.values()
        settings_of = self.parts.each("settings", settings)
        of_settings = settings_of.values()
        front = [(ident, one, self._judged[ident]) for ident, one in settings_of.items()]
        yield today_page(ledger, work, self.asked, front, as_of)
        yield due_page(
            ledger, work, [line for one in of_machines for line in one.to_confirm], as_of
        )
        locked = sheets(ledger, done.inspected)
        yield lockout_page.walk_page(ledger, locked, work, as_of)
        yield in_time_page(
            ledger,
            in_time(ledger, done.schedule, as_of, done.settled()),
            rounds(ledger, as_of, done.places),
            as_of,
        )
        yield register_page.page_of_rows(ledger, [one.register for one in of_settings])
        yield speeds_page(ledger, [*self.speeds.values()])
        events = partial(ledger.digest, EVENTS)
        yield Unit("findings", events, lambda _: [findings_page(ledger)])
        yield parts_page(ledger, found.stock)
        yield people_page(ledger)
        if ledger.instruments:
            yield instruments_page(ledger, found.read)
        yield tuning_page.settings_page([one.tuning for one in of_settings])
        yield line_page.page_of_rows(
            ledger,
            stated_check(ledger.site.line),
            rates_of(ledger),
            [one.line for one in of_settings],
        )
        yield load_page.load_page(ledger, site_load(ledger))
        yield grease_page.lubrication_page(
            ledger, lubrication(ledger, done.using), grease_supplies(ledger, [*done.uses])
        )
        yield wear_page.page_of_rows([one.wear for one in of_machines])
        yield water_page(ledger, found.water)
        yield drift_page.page_of_rows(*self._alarms, [one.drift for one in of_machines])
        yield reliability_page.reliability_page(ledger, found.failing, task_values(ledger))
        yield duty_page(ledger, found.duty)
        filed = decisions_of_site(ledger, found, last_day_filed(ledger), in_full=True)
        yield months_page(ledger, found.water, in_order(filed, (one.filed for one in of_machines)))
        yield Unit("methods", tuple, lambda _: [methods_page.methods_page()])
        inspected = [(one.machine.ident, one.inspected) for one in locked]
        yield Unit(
            "sheets",
            lambda: [(name, one and (one.day, one.by)) for name, one in inspected],
            lambda _: [lockout_page.sheet_page(ledger, one) for one in locked],
        )
        yield Unit("tasks", tuple, lambda _: [task_page(ledger, one) for one in tasks])

    @cached_property
    def speeds(self) -> dict[str, SpeedRows]:
        return speeds(self.parts)

    def _years(self) -> Iterator[Unit]:
        """The readings of all machines, a year each."""
        of = [*self.speeds.values()]
        for year in years_read(of):
            stands = [found for rows in of for one, found in rows.years if one == year]
            yield Unit(f"speeds {year}", partial(list, stands), partial(self._speeds_of, year))

    def _speeds_of(self, year: int, _: Noted) -> Iterator[Page]:
        if year == last_day_filed(self._ledger).year:
            rows = [one.present for one in self.speeds.values()]
        else:
            found = [self.parts.of_machine(ident) for ident in self._ledger.machines]
            rows = [speed_year_rows(one.ledger, one.results, year) for one in found]
        yield speeds_of_year(self._ledger, rows, year)

    def _machines(self) -> Iterator[Unit]:
        """Each machine with all its years."""
        ledger = self._ledger
        asked: dict[str, list[Decision]] = {}
        of_site = decisions_of_site(ledger, self._found, last_day_filed(ledger), in_full=False)
        for one in in_order(of_site, (one.filed for one in self._judged.values())):
            asked.setdefault(one.machine, []).append(one)
        for ident in ledger.machines:
            decisions = asked.get(ident, [])
            yield Unit(
                f"machine {ident}",
                partial(self._made_of, ident, ALL_YEARS, decisions),
                partial(self._of_machine, ident, decisions),
            )

    def _made_of(self, ident: str, year: object, *others: object) -> object:
        return self._ledger.digest(ident, year), *map(repr, others)

    def _of_machine(
        self, ident: str, decisions: Sequence[Decision], noted: Noted
    ) -> Iterator[Page | Unit]:
        ledger = noting(self._ledger.of_machine(ident), noted)
        last = last_day_filed(ledger)
        results = results_at(in_year(ledger, last.year), ident)
        if not any(one.entry.day.year == last.year for one in results):
            # The last that was read is told.
            results = results_at(ledger, ident)
        earlier = years_before(last.year, ledger.years_of(ident))
        yield machine_page(
            ledger,
            ledger.machines[ident],
            Schedule(ledger, last, self._work.counting(ident)),
            results,
            [one for one in findings(ledger) if one.entry.places[0].machine == ident],
            decisions,
            last.year,
            earlier,
        )
        for number, year in enumerate(earlier, 1):
            yield Unit(
                f"machine {ident} {year}",
                partial(self._made_of, ident, year, earlier[number:]),
                partial(self._of_machine_in, ident, year, earlier[number:]),
            )

    def _of_machine_in(
        self, ident: str, year: int, earlier: Sequence[int], noted: Noted
    ) -> Iterator[Page]:
        whole = noting(self._ledger.of_machine(ident), noted)
        ledger = in_year(whole, year)
        results = results_at(ledger, ident)
        yield page_of_year(ledger, ledger.machines[ident], results, year, earlier)


def _pages_of(unit: Unit) -> Iterator[Page]:
    for one in unit.pages(Noted()):
        yield from _pages_of(one) if isinstance(one, Unit) else (one,)

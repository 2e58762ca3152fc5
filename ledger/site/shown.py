"""One machine as a terminal shows it, with all its years; closed ones are kept as text."""

from collections.abc import Sequence
from datetime import date
from functools import partial

from ledger.book.blocks import Block, Page, Printed
from ledger.book.terminal import columns_now, printed
from ledger.model.ledger import Ledger, last_day_filed
from ledger.model.machines import Machine
from ledger.model.noted_day import Noted
from ledger.site.asked import asked_at
from ledger.site.machine_page import machine_page, months_filed
from ledger.site.of_machine import in_year, noting
from ledger.site.parts import Parts, Store
from ledger.site.served import Work
from ledger.upkeep.due.found import Schedule
from ledger.upkeep.findings.found import Finding
from ledger.upkeep.speeds.found import by_entry, results_at


def shown_page(
    ledger: Ledger,
    machine: Machine,
    found: Sequence[Finding],
    as_of: date | None,
    store: Store | None,
) -> Page:
    """As `machine_page`, as of a day or the last on record."""
    ident, last = machine.ident, last_day_filed(ledger)
    parts = Parts(ledger, last, store)
    here = ledger.of_machine(ident)
    *closed, year = here.years_of(ident) or (last.year,)
    columns = columns_now()
    before: list[Block] = []
    for one in reversed(closed):
        text = parts.text(
            f"history {ident} {one}",
            (ledger.digest(ident, one), columns),
            partial(_history, here, machine, one, columns),
        )
        before.append(Printed(text))
    work = Work(ledger, parts, as_of or last, [ident])
    return machine_page(
        here,
        machine,
        Schedule(here, as_of or last, work.counting(ident)),
        parts.of_machine(ident).results,
        found,
        asked_at(ledger, ident, parts),
        year,
        before=before,
        as_of=as_of,
    )


def _history(here: Ledger, machine: Machine, year: int, columns: int, noted: Noted) -> str:
    ledger = in_year(noting(here, noted), year)
    speeds = by_entry(results_at(ledger, machine.ident))
    filed = ledger.filed_in(machine.ident, year)
    return printed(months_filed(ledger, machine, filed, speeds), columns)

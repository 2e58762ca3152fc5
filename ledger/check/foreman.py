"""What a foreman would raise on reading the files: no fault of form, but worth a question."""

from collections.abc import Callable, Mapping
from datetime import date

from ledger.check.coverage import coverage_warnings
from ledger.check.drives import drive_warnings
from ledger.check.order import order_warnings
from ledger.check.people import people_warnings
from ledger.check.readings import reading_warnings
from ledger.check.times import time_warnings
from ledger.diagnostics import Diagnostic
from ledger.model.ledger import Ledger
from ledger.model.problems import Problems
from ledger.source.document import Document

Check = Callable[[Ledger, Mapping[str, Document], date, Problems], None]

CHECKS: tuple[Check, ...] = (
    coverage_warnings,
    drive_warnings,
    order_warnings,
    people_warnings,
    reading_warnings,
    time_warnings,
)


def foreman_warnings(
    ledger: Ledger, documents: Mapping[str, Document], as_of: date
) -> tuple[Diagnostic, ...]:
    """The warnings of every check, as seen on a day."""
    problems = Problems()
    for check in CHECKS:
        check(ledger, documents, as_of, problems)
    return tuple(problems.found)

"""What a foreman would raise on reading the files: no fault of form, but worth a question."""

from collections.abc import Callable, Collection, Mapping
from datetime import date

from ledger.files.diagnostics import Diagnostic, Severity
from ledger.files.document import Document
from ledger.files.paths import Kind
from ledger.model.ledger import Ledger
from ledger.rules.coverage import coverage_warnings
from ledger.rules.drives import drive_warnings
from ledger.rules.lockout import lockout_warnings, tie_back_warnings
from ledger.rules.nowhere import nowhere_warnings
from ledger.rules.people import people_warnings
from ledger.rules.readings import reading_warnings
from ledger.rules.site_check import SiteCheck
from ledger.rules.times import order_warnings, time_warnings
from ledger.values import replace

CHECKS: tuple[Callable[[SiteCheck], None], ...] = (
    coverage_warnings,
    drive_warnings,
    nowhere_warnings,
    lockout_warnings,
    order_warnings,
    people_warnings,
    reading_warnings,
    tie_back_warnings,
    time_warnings,
)


_OFF = "off"

_NEEDS_EVERY = {
    "no-setting": Kind.SETPOINTS,
    "point-without-task": Kind.TASK,
    "selects-nothing": Kind.MACHINE,
}
"""Questions about what is missing make sense only where every file of a kind could be used."""


def foreman_warnings(
    ledger: Ledger,
    documents: Mapping[str, Document],
    as_of: date,
    left_out: Collection[Kind] = (),
) -> tuple[Diagnostic, ...]:
    """The warnings of every check, as seen on a day.

    `left_out` are the kinds of which a file could not be used for faults of its own.
    """
    site = SiteCheck(ledger=ledger, documents=documents, as_of=as_of)
    for check in CHECKS:
        check(site)
    grades = dict(ledger.site.policy.rules)
    return tuple(
        replace(one, severity=Severity(grades.get(one.rule, Severity.WARNING)))
        for one in site.problems.kept()
        if _NEEDS_EVERY.get(one.rule) not in left_out and grades.get(one.rule) != _OFF
    )

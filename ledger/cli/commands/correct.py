"""`tunnelbook correct`: put an entry right by a later one; the original stays as filed."""

import argparse
from datetime import datetime

from ledger.cli.command import Failure, add_site_option, known, open_site
from ledger.cli.filing import (
    add_filing_options,
    file_visit,
    ledger_of,
    person_who,
    time_of,
    visit_of,
)

DESCRIPTION = "File a correction of an entry: the whole entry again as it should read, and why."
EXAMPLES = """\
examples:
  tunnelbook correct 2026-11-23T0640-m-okafor#2 --reason 'misread 38 as 33' --set counted=38
  tunnelbook correct 2026-11-23T0640-m-okafor#1 --reason 'other brush' --set at=brush-p1
  tunnelbook correct 2026-11-23T0640-m-okafor#3 --reason 'filed twice' --void

The original is never touched, and the book shows both.
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("entry", metavar="VISIT#N", help="the entry, as the book names it")
    parser.add_argument("--reason", required=True, metavar="TEXT", help="why it was wrong")
    parser.add_argument(
        "--set",
        dest="changes",
        metavar="KEY=VALUE",
        action="append",
        default=[],
        help="as it should read",
    )
    parser.add_argument(
        "--unset", dest="removals", metavar="KEY", action="append", default=[], help="leave out"
    )
    parser.add_argument("--void", action="store_true", help="nothing takes its place")
    add_site_option(parser)
    add_filing_options(parser)


def run(parsed: argparse.Namespace) -> int:
    from ledger.edit.correction import correction, entry_to_correct, void  # noqa: PLC0415

    if parsed.void and (parsed.changes or parsed.removals):
        raise Failure("--void leaves nothing to set; say one of the two")
    site = open_site(parsed.site, None)
    ledger = ledger_of(site)
    person = person_who(parsed, site, ledger)
    for helper in parsed.helpers:
        known(helper, ledger.site.people, "person")
    now = datetime.now(tz=ledger.site.zone).replace(second=0, microsecond=0)
    when = time_of(parsed, ledger.site, now)
    try:
        original = entry_to_correct(ledger, parsed.entry)
        entry = (
            void(original, parsed.reason)
            if parsed.void
            else correction(original, parsed.reason, parsed.changes, parsed.removals)
        )
    except ValueError as wrong:
        raise Failure(str(wrong)) from None
    visit = visit_of(parsed, person.ident, when, now, entries=[entry])
    return file_visit(parsed, site, visit, when)

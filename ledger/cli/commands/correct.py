"""`tunnelbook correct`: put an entry right by a later one; the original stays as filed."""

import argparse

from ledger.cli.command import Failure, add_site_option
from ledger.cli.filing import add_filing_options, file_visit, named, start_filing

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
    from ledger.filing.correction import correction, entry_to_correct, hold_to_order, void  # noqa: PLC0415

    if parsed.void and (parsed.changes or parsed.removals):
        raise Failure("--void leaves nothing to set; say one of the two")
    filing = start_filing(parsed)
    try:
        named_entry, original = entry_to_correct(filing.ledger, parsed.entry)
        entry = (
            void(original, parsed.reason)
            if parsed.void
            else correction(filing.ledger, original, parsed.reason, parsed.changes, parsed.removals)
        )
        visit = filing.visit(entries=[entry])
        hold_to_order(original, filing.when, named(filing, visit).ident)
    except ValueError as wrong:
        raise Failure(str(wrong)) from None
    if original != named_entry:
        print(
            f"{named_entry.ref} was corrected already, by {original.ref} on "
            f"{original.when:%Y-%m-%d %H:%M}; this corrects {original.ref}."
        )
    return file_visit(filing, visit)

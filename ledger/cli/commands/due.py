"""`tunnelbook due`: the walk of the day in the terminal."""

import argparse

from ledger.cli.command import add_as_of, add_json, add_site_position, known, open_site, print_json

DESCRIPTION = "Print what is due, in walking order, with what must be locked out first."

EXAMPLES = """\
examples:
  tunnelbook due                       today, for the site in this folder
  tunnelbook due --for m-okafor        only what this person may do
  tunnelbook due --as-of 2026-12-01    what will be due then, if nothing is done
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_site_position(parser)
    add_as_of(parser)
    add_json(parser)
    parser.add_argument(
        "--for", dest="person", metavar="PERSON", help="only what this person is qualified for"
    )


def run(parsed: argparse.Namespace) -> int:
    from ledger.book.terminal import render  # noqa: PLC0415
    from ledger.upkeep.due.found import Schedule, may_do  # noqa: PLC0415
    from ledger.upkeep.due.page import due_page  # noqa: PLC0415
    from ledger.upkeep.due.table import due_rows  # noqa: PLC0415
    from ledger.upkeep.register.found import follow_ups  # noqa: PLC0415
    from ledger.upkeep.register.table import follow_up_rows  # noqa: PLC0415
    from ledger.upkeep.speeds.found import speed_results  # noqa: PLC0415

    site = open_site(parsed.site, parsed.as_of, parsed.clock)
    ledger = site.ledger
    work = Schedule(ledger, site.as_of).all_due()
    if parsed.person is not None:
        person = ledger.site.people[known(parsed.person, ledger.site.people, "person")]
        work = tuple(one for one in work if may_do(person, one.task))
    asked = follow_ups(ledger, speed_results(ledger), site.as_of)
    if parsed.json:
        rows = due_rows(ledger, work) + follow_up_rows(asked)
        print_json(rows)
    else:
        print(render(due_page(ledger, work, asked, site.as_of)), end="")
    return 0

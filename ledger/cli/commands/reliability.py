"""`tunnelbook reliability`: what fails, how often, and what the record says of intervals."""

import argparse

from ledger.cli.command import add_as_of, add_json, add_site_option, open_site, print_json

DESCRIPTION = "Print what fails, how often and for how long, and what the record says of renewals."

EXAMPLES = """\
examples:
  tunnelbook reliability               machines, kinds of point and tasks
  tunnelbook reliability --json | less

A failure is a finding filed with `failed: true`. With few of them the answer
is "not enough data", and that is the truth.
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_site_option(parser)
    add_as_of(parser)
    add_json(parser)


def run(parsed: argparse.Namespace) -> int:
    from ledger.book.terminal import render  # noqa: PLC0415
    from ledger.upkeep.reliability.found import reliability  # noqa: PLC0415
    from ledger.upkeep.reliability.page import reliability_page  # noqa: PLC0415
    from ledger.upkeep.reliability.table import kind_row, machine_row, task_row  # noqa: PLC0415
    from ledger.upkeep.reliability.tasks import task_values  # noqa: PLC0415

    ledger = open_site(parsed.site, parsed.as_of, parsed.clock).ledger
    found, values = reliability(ledger), task_values(ledger)
    if not parsed.json:
        print(render(reliability_page(ledger, found, values)), end="")
        return 0
    facts = {
        "machines": [machine_row(machine) for machine in (*found.failed, *found.unfailed)],
        "kinds": [kind_row(kind) for kind in found.kinds],
        "tasks": [task_row(value) for value in values],
        "failures_outside_the_watch": found.outside,
    }
    print_json(facts)
    return 0

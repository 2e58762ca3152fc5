"""`tunnelbook drift`: what moves, what wears, and when it leaves its limits."""

import argparse

from ledger.cli.command import (
    add_as_of,
    add_json,
    add_machine_choice,
    add_site_option,
    known,
    open_site,
    print_json,
)

DESCRIPTION = "Print drift signals and when each series of readings will leave its limits."

EXAMPLES = """\
examples:
  tunnelbook drift                     every series of readings
  tunnelbook drift brush-p2            those of one machine
  tunnelbook drift --json | less

A signal says that something has moved, not what. Dates hold if wear goes on
as it did.
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_machine_choice(parser)
    add_site_option(parser)
    add_as_of(parser)
    add_json(parser)


def run(parsed: argparse.Namespace) -> int:
    from ledger.book.terminal import render  # noqa: PLC0415
    from ledger.upkeep.drift.found import drift, drift_of  # noqa: PLC0415
    from ledger.upkeep.drift.page import drift_page  # noqa: PLC0415
    from ledger.upkeep.drift.table import drift_row  # noqa: PLC0415
    from ledger.upkeep.speeds.found import speed_results  # noqa: PLC0415

    ledger = open_site(parsed.site, parsed.as_of, parsed.clock).ledger
    found = drift(ledger, speed_results(ledger))
    if parsed.machine is not None:
        found = drift_of(found, known(parsed.machine, ledger.machines, "machine"))
    if parsed.json:
        rows = [drift_row(result) for result in found.results]
        print_json(rows)
    else:
        print(render(drift_page(ledger, found)), end="")
    return 0

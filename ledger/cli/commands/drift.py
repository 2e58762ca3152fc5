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
    from ledger.assess.drift import drift, drift_of  # noqa: PLC0415
    from ledger.assess.speeds import speed_results  # noqa: PLC0415
    from ledger.report.pages.drift import drift_page  # noqa: PLC0415
    from ledger.report.pages.drift_rows import drift_row  # noqa: PLC0415
    from ledger.write.terminal import render  # noqa: PLC0415

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

"""`tunnelbook drift`: what moves, what wears, and when it leaves its limits."""

import argparse
import json
import sys

from ledger.cli.command import add_json, add_site_option, known, open_site

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
    parser.add_argument(
        "machine", nargs="?", metavar="MACHINE", help="stem of a file in equipment/; default: all"
    )
    add_site_option(parser)
    add_json(parser)


def run(parsed: argparse.Namespace) -> int:
    from ledger.assess.drift import drift, drift_of  # noqa: PLC0415
    from ledger.assess.speeds import speed_results  # noqa: PLC0415
    from ledger.report.pages.drift import drift_page  # noqa: PLC0415
    from ledger.report.pages.drift_rows import drift_row  # noqa: PLC0415
    from ledger.write.terminal import render  # noqa: PLC0415

    ledger = open_site(parsed.site, None).ledger
    found = drift(ledger, speed_results(ledger))
    if parsed.machine is not None:
        found = drift_of(found, known(parsed.machine, ledger.machines, "machine"))
    if parsed.json:
        rows = [drift_row(result) for result in found.results]
        json.dump(rows, sys.stdout, indent=2, ensure_ascii=False)
        print()
    else:
        print(render(drift_page(ledger, found)), end="")
    return 0

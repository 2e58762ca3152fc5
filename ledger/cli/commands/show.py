"""`tunnelbook show`: what is known of one machine."""

import argparse

from ledger.cli.command import (
    add_as_of_revision,
    add_json,
    add_site_option,
    known,
    open_standing,
    print_json,
)

DESCRIPTION = "Print what is known of one machine: facts, points, speeds and history."

EXAMPLES = """\
examples:
  tunnelbook show brush-p2
  tunnelbook show brush-p2 --json | less
  tunnelbook show brush-p2 --as-of 2026-06-30    as it stood at the end of that day
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "machine", metavar="MACHINE", help="its file's name in equipment/, without .yaml"
    )
    add_site_option(parser)
    add_as_of_revision(parser)
    add_json(parser)


def run(parsed: argparse.Namespace) -> int:
    from ledger.book.terminal import render  # noqa: PLC0415
    from ledger.model.ledger import last_day_filed  # noqa: PLC0415
    from ledger.site.decisions import assessed, decisions_of_machines  # noqa: PLC0415
    from ledger.site.machine_page import machine_page  # noqa: PLC0415
    from ledger.upkeep.findings.found import findings  # noqa: PLC0415
    from ledger.upkeep.speeds.found import speed_results  # noqa: PLC0415
    from ledger.upkeep.speeds.table import speed_rows  # noqa: PLC0415

    standing = open_standing(parsed.site, parsed.as_of, parsed.clock)
    ledger = standing.ledger
    machine = ledger.machines[known(parsed.machine, ledger.machines, "machine")]
    every = speed_results(ledger)
    results = [r for r in every if r.machine == machine.ident]
    found = [f for f in findings(ledger) if f.entry.places[0].machine == machine.ident]
    if not parsed.json:
        asking = decisions_of_machines(ledger, assessed(ledger, every, last_day_filed(ledger)))
        page = machine_page(
            ledger, machine, results, found, asking.get(machine.ident, ()), standing.day
        )
        print(render(standing.dated(page, [machine])), end="")
        return 0
    facts = {
        "commit": standing.commit,
        "machine": machine.ident,
        "name": machine.name,
        "kind": machine.kind,
        "station": machine.station,
        "points": {point.ident: point.kind for point in machine.points.values()},
        "speeds": speed_rows(results),
        "open_findings": [str(f.entry.ref) for f in found if f.is_open],
    }
    print_json(facts)
    return 0

"""`tunnelbook grease`: how much, how often, what each bearing got, what is left."""

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

DESCRIPTION = (
    "Print grams, strokes and intervals of every bearing, what it got by the record, and how many "
    "cartridges are left."
)

EXAMPLES = """\
examples:
  tunnelbook grease                    every bearing of the site
  tunnelbook grease brush-p2           those of one machine
  tunnelbook grease --json | less

Lock out before a hand goes behind a guard. The maker's manual comes before
every amount printed here.
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_machine_choice(parser)
    add_site_option(parser)
    add_as_of(parser)
    add_json(parser)


def run(parsed: argparse.Namespace) -> int:
    from ledger.book.terminal import render  # noqa: PLC0415
    from ledger.upkeep.grease.found import lubrication  # noqa: PLC0415
    from ledger.upkeep.grease.given import grease_supplies  # noqa: PLC0415
    from ledger.upkeep.grease.page import lubrication_page  # noqa: PLC0415
    from ledger.upkeep.grease.table import point_row, supply_row  # noqa: PLC0415

    ledger = open_site(parsed.site, parsed.as_of, parsed.clock).ledger
    points, supplies = lubrication(ledger), grease_supplies(ledger)
    if parsed.machine is not None:
        machine = known(parsed.machine, ledger.machines, "machine")
        points = tuple(point for point in points if point.place.machine == machine)
    if not parsed.json:
        print(render(lubrication_page(ledger, points, supplies)), end="")
        return 0
    facts = {
        "points": [point_row(point) for point in points],
        "supplies": [supply_row(supply) for supply in supplies],
    }
    print_json(facts)
    return 0

"""`tunnelbook wear`: what wears by readings, its limit, verdict and date."""

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
    "Print nozzles, chain, belts, cloth and dampers: the last reading of each, its limit, a "
    "verdict and the date the limit is reached."
)

EXAMPLES = """\
examples:
  tunnelbook wear                      everything that is measured for wear
  tunnelbook wear rinse-arch           that of one machine, with its earlier readings
  tunnelbook wear --json | less

Lock out before a chain, a belt or cloth is measured. Never catch the jet of a
high-pressure nozzle.
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_machine_choice(parser)
    add_site_option(parser)
    add_as_of(parser)
    add_json(parser)


def run(parsed: argparse.Namespace) -> int:
    from ledger.book.terminal import render  # noqa: PLC0415
    from ledger.upkeep.wear.found import wear, wear_of  # noqa: PLC0415
    from ledger.upkeep.wear.page import wear_page  # noqa: PLC0415
    from ledger.upkeep.wear.table import damper_row, group_row, item_row  # noqa: PLC0415

    ledger = open_site(parsed.site, parsed.as_of, parsed.clock).ledger
    found = wear(ledger)
    if parsed.machine is not None:
        found = wear_of(found, known(parsed.machine, ledger.machines, "machine"))
    if not parsed.json:
        print(render(wear_page(ledger, found, in_full=parsed.machine is not None)), end="")
        return 0
    facts = {
        "nozzles": [group_row(group) for group in found.nozzles],
        "chains": [item_row(item) for item in found.chains],
        "belts": [item_row(item) for item in found.belts],
        "cloth": [item_row(item) for item in found.cloth],
        "dampers": [damper_row(damper) for damper in found.dampers],
        "never_measured": {
            kind: [str(place) for place in places] for kind, places in found.never.items()
        },
    }
    print_json(facts)
    return 0

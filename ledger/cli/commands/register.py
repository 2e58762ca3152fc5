"""`tunnelbook register`: the settings in force, now or as they stood."""

import argparse

from ledger.cli.command import (
    add_as_of_revision,
    add_json,
    add_site_position,
    open_standing,
    print_json,
)

DESCRIPTION = (
    "Print the register of drive settings: what is in force, on what evidence, by whom, what "
    "is proposed, and what was found and read since."
)

EXAMPLES = """\
examples:
  tunnelbook register                       from the files as they are
  tunnelbook register --as-of 2026-06-30    as it stood at the end of that day
  tunnelbook register --as-of v3 --json     as it stood at a tag
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_site_position(parser)
    add_as_of_revision(parser)
    add_json(parser)


def run(parsed: argparse.Namespace) -> int:
    from dataclasses import replace  # noqa: PLC0415

    from ledger.book.blocks import Bullets, Heading  # noqa: PLC0415
    from ledger.book.terminal import render  # noqa: PLC0415
    from ledger.upkeep.drift.found import speed_drift  # noqa: PLC0415
    from ledger.upkeep.register.found import register  # noqa: PLC0415
    from ledger.upkeep.register.page import found_facts, found_since, setpoints_page  # noqa: PLC0415
    from ledger.upkeep.register.table import register_rows  # noqa: PLC0415
    from ledger.upkeep.speeds.found import speed_results  # noqa: PLC0415

    standing = open_standing(parsed.site, parsed.as_of, parsed.clock)
    ledger = standing.ledger
    results = speed_results(ledger)
    lines = register(ledger, results)
    if parsed.json:
        told = {"commit": standing.commit, "drives": register_rows(lines, standing.day)}
        print_json(told)
    else:
        page = setpoints_page(ledger, lines, results)
        drifting = speed_drift(ledger, results)
        since = found_since(ledger, lines)
        for line in lines:
            facts = found_facts(ledger, line, results, drifting)
            since.extend((Heading(3, line.machine.name), Bullets(facts)))
        page = replace(page, blocks=[*page.blocks, *since])
        print(render(standing.dated(page, ledger.machines.values())), end="")
    return 0

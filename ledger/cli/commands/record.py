"""`tunnelbook record`: file a visit, asking only what cannot be known."""

import argparse
from typing import TYPE_CHECKING, Any

from ledger.cli.command import Failure, add_site_option
from ledger.cli.filing import add_filing_options, file_visit, start_filing

if TYPE_CHECKING:
    from ledger.filing.options import Told


DESCRIPTION = (
    "File one visit: what was done, read and found. Without work among the options it asks, "
    "with the due work of this walk as the list to answer to."
)

EXAMPLES = """\
examples:
  tunnelbook record                              asks; counts with the space bar
  tunnelbook record --done look-at-nozzles --done grease-shaft-bearings@brush-1
  tunnelbook record --speed brush-1=38/30@44     38 passes in 30 s, drive found at 44
  tunnelbook record --not-done grease-shaft-bearings@brush-1='line could not be stopped'
  tunnelbook record --finding brush-1/nozzle-1='sprays aside' --urgency now
  tunnelbook record --close 2026-11-23T0640-m-okafor#3
  tunnelbook record --entry '{at: brush-1, temperature_f: 126}' --at 06:40

The whole site is checked with the new visit in it before anything is written.
Nothing is ever overwritten. A count with SETTING notes the drive as found, in
Hz, or in the site's unit of flow.
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_site_option(parser)
    add_filing_options(parser)
    several: dict[str, Any] = {"action": "append", "default": []}
    parser.add_argument("--done", metavar="TASK[@PLACE,...]", help="work done", **several)
    parser.add_argument(
        "--not-done", metavar="TASK[@PLACE,...]=REASON", help="work that stays due", **several
    )
    parser.add_argument(
        "--speed", metavar="PLACE=PASSES/SECONDS[@SETTING]", help="passes counted", **several
    )
    parser.add_argument("--finding", metavar="PLACE=TEXT", help="what is wrong", **several)
    parser.add_argument(
        "--urgency", choices=("now", "soon", "planned"), default="soon", help="of the findings"
    )
    parser.add_argument("--close", metavar="VISIT#N", help="a finding put right", **several)
    parser.add_argument("--entry", metavar="{YAML}", help="any other entry", **several)
    parser.add_argument("--meter", metavar="NAME=VALUE", help="what a counter shows", **several)
    parser.add_argument("--note", metavar="TEXT", default="", help="about the visit as a whole")


def run(parsed: argparse.Namespace) -> int:
    from ledger.filing.options import told_entries, told_meters  # noqa: PLC0415

    filing = start_filing(parsed)
    told = _told(parsed)
    try:
        meters = told_meters(parsed.meter)
        entries = told_entries(filing.ledger, told, filing.when.date())
    except ValueError as wrong:
        raise Failure(str(wrong)) from None
    if entries:
        return file_visit(filing, filing.visit(meters=meters, note=parsed.note, entries=entries))
    from ledger.cli.walk_list import VisitByQuestions  # noqa: PLC0415

    return VisitByQuestions(filing, meters, parsed.note).file()


def _told(parsed: argparse.Namespace) -> "Told":
    from ledger.filing.options import Told  # noqa: PLC0415

    return Told(
        done=parsed.done,
        not_done=parsed.not_done,
        speeds=parsed.speed,
        findings=parsed.finding,
        urgency=parsed.urgency,
        closes=parsed.close,
        entries=parsed.entry,
    )

"""`tunnelbook cards`: small cards of the approved settings, to fix on drive enclosures."""

import argparse
import sys
from pathlib import Path

from ledger.cli.command import Failure, add_site_position, known, open_site

DESCRIPTION = (
    "Make one printable page of cards to fix on the drives' enclosures: approved setting, band, "
    "date, approver, register revision and, where site.yaml gives an address, a code that opens "
    "the machine's page."
)

EXAMPLES = """\
examples:
  tunnelbook cards                                  drive-cards.html, two across and four down
  tunnelbook cards --out cards.html --svg cards     also one SVG a card in the folder cards/
  tunnelbook cards --only brush-p2                  the one that has changed

Print at full size on A4 or Letter. A drive without an approved setting has no
card. The register revision is the beginning of the SHA-256 of the drive's
file in setpoints/, as sha256sum prints it.
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_site_position(parser)
    parser.add_argument(
        "--out", metavar="FILE", default="drive-cards.html", help="default: drive-cards.html"
    )
    parser.add_argument("--svg", metavar="DIR", help="also one SVG a card in this folder")
    parser.add_argument(
        "--only", nargs="+", metavar="MACHINE", default=[], help="cards of these machines alone"
    )


def run(parsed: argparse.Namespace) -> int:
    from ledger.book.words import format_change  # noqa: PLC0415
    from ledger.files.tree import DiskTree  # noqa: PLC0415
    from ledger.upkeep.register import cards as register_cards  # noqa: PLC0415
    from ledger.upkeep.register.cards import (  # noqa: PLC0415
        drive_cards,
        render_page,
    )
    from ledger.upkeep.register.found import register  # noqa: PLC0415
    from ledger.upkeep.register.words import format_pending_claims  # noqa: PLC0415
    from ledger.upkeep.speeds.found import speed_results  # noqa: PLC0415

    site = open_site(parsed.site, None, parsed.clock)
    ledger = site.ledger
    with_setting = [machine.ident for machine in ledger.machines.values() if machine.has_setpoint]
    wanted = {known(word, with_setting, "drive with a setting") for word in parsed.only}
    tree = DiskTree(site.root)
    file_bytes = {drive.path: tree.read(drive.path) for drive in ledger.setpoints.values()}
    lines = [
        line
        for line in register(ledger, speed_results(ledger))
        if not wanted or line.machine.ident in wanted
    ]
    cards = drive_cards(ledger, lines, file_bytes)
    for line in lines:
        ident, in_force = line.machine.ident, line.in_force
        if in_force is None:
            sys.stderr.write(f"no card: {ident} has no approved setting\n")
        for claim in format_pending_claims(line.setpoints, ledger.site):
            shown = (
                "no card"
                if in_force is None
                else f"card shows {format_change(in_force.change, ledger.site)}"
            )
            sys.stderr.write(f"{shown}: {ident}: {claim}\n")
    files = {Path(parsed.out): render_page(cards, site_name=ledger.site.name)}
    if parsed.svg is not None:
        files |= {
            Path(parsed.svg) / f"{card.machine}.svg": register_cards.render(card) for card in cards
        }
    _write(files)
    return 0


def _write(files: dict[Path, str]) -> None:
    from ledger.files.book_files import has_marker  # noqa: PLC0415
    from ledger.files.save import remove_leftovers, replace_file  # noqa: PLC0415

    for path in files:
        if path.exists() and not (
            path.is_file() and has_marker(path.read_text("utf-8", "replace"))
        ):
            raise Failure(
                f"{path} is there already and was not made by this program; "
                "nothing was written; move it away, or name another with --out"
            )
    for folder in {path.parent for path in files}:
        remove_leftovers(folder, below=False)
    for path, text in files.items():
        replace_file(path, text.encode())
        print(f"wrote {path}")

"""What stands on the card at each drive: its approved setting, by whom, and out of which file."""

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from urllib.parse import urlsplit, urlunsplit

from ledger.assess.register import RegisterLine
from ledger.model.ledger import Ledger
from ledger.report import words

CAUTION = (
    "CAUTION: lock out and wait for stored energy before this is opened. Changed only by a "
    "person qualified for the drive, and first in the register. The makers' manuals come first."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class DriveCard:
    """Words as they are printed. `band` and `address` are empty where there is none.

    `revision` is the beginning of the SHA-256 of the drive's file of settings, so that a card
    can be held against the file that it was printed from.
    """

    machine: str
    name: str
    value: str
    unit: str
    band: str
    line_rate: str
    since: str
    approver: str
    revision: str
    caution: str
    address: str


def drive_cards(
    ledger: Ledger, lines: Sequence[RegisterLine], file_bytes: Mapping[str, bytes]
) -> tuple[DriveCard, ...]:
    """A card for each drive with an approved setting, in walking order; depends on no day.

    `file_bytes` are the files of settings by their path below the site's root.
    """
    found = []
    for line in lines:
        if line.in_force is None or line.setpoints is None:
            continue
        change, band = line.in_force.change, line.in_force.band
        value, _, unit = words.change_words(change, ledger.site).partition(" ")
        found.append(
            DriveCard(
                machine=line.machine.ident,
                name=line.machine.name,
                value=value,
                unit=unit,
                band="" if band is None else f"{words.range_words(band.low, band.high)} r/min",
                line_rate=f"{words.number_words(change.line_rate_per_h)} vehicles an hour",
                since=words.day_words(change.first_day),
                approver=words.person_words(change.approved_by, ledger.site),
                revision=revision_of(file_bytes[line.setpoints.path]),
                caution=CAUTION,
                address=page_address(ledger.site.address, line.machine.ident),
            )
        )
    return tuple(found)


def revision_of(file_bytes: bytes) -> str:
    """The first eight signs of the SHA-256 of a file (FIPS 180-4), as `sha256sum` prints it."""
    return hashlib.sha256(file_bytes).hexdigest()[:8]


def page_address(address: str, machine: str) -> str:
    """Where a machine's page of the HTML book opens; nothing where the site gives no address."""
    if not address:
        return ""
    parts = urlsplit(address)
    path = f"{parts.path.rstrip('/')}/machines/{machine}.html"
    return urlunsplit((parts.scheme, parts.netloc, path, parts.query, ""))

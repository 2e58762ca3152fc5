"""What stands on the card at each drive: its approved setting, by whom, and out of which file.

An address as a QR code, drawn as one path (ISO/IEC 18004).

A drive card as SVG, in millimetres: black on white, legible at arm's length, for any printer.

Style stands in presentation attributes, so that no content security policy strips it.

Drive cards on one page that prints on A4 and on Letter: two across, four down.

The page is one file: its style is allowed by its hash, and nothing else is loaded.
"""

import base64
import hashlib
from collections.abc import Mapping, Sequence
from itertools import groupby
from textwrap import wrap

import segno

from ledger.book import words
from ledger.book.addresses import html_address
from ledger.book.escape import html_text, terminal_text, xml_text
from ledger.files.book_files import MARKER
from ledger.model.ledger import Ledger
from ledger.upkeep.register.found import RegisterLine
from ledger.values import dataclass

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
        value, _, unit = words.format_change(change, ledger.site).partition(" ")
        found.append(
            DriveCard(
                machine=line.machine.ident,
                name=line.machine.name,
                value=value,
                unit=unit,
                band="" if band is None else f"{words.format_range(band.low, band.high)} r/min",
                line_rate=f"{words.format_number(change.line_rate_per_h)} vehicles an hour",
                since=words.format_day(change.first_day),
                approver=words.format_person(change.approved_by, ledger.site),
                revision=revision_of(file_bytes[line.setpoints.path]),
                address=html_address(ledger.site.address, f"machines/{line.machine.ident}.md"),
            )
        )
    return tuple(found)


def revision_of(file_bytes: bytes) -> str:
    """The first eight signs of the SHA-256 of a file (FIPS 180-4), as `sha256sum` prints it."""
    return hashlib.sha256(file_bytes).hexdigest()[:8]


QUIET = 4
"""Modules of white that a reader needs on every side (ISO/IEC 18004)."""


def code_path(address: str, size: float) -> str:
    """The dark modules of the code for an address, as SVG path data `size` wide, margin included.

    Error correction M stands a scratch or a drop of oil: about 15 % may be lost.
    """
    rows = matrix(address)
    module = size / (len(rows) + 2 * QUIET)
    drawn = []
    for down, row in enumerate(rows):
        across = QUIET
        for is_dark, run in groupby(row):
            length = len(list(run))
            if is_dark:
                x, y, width = across * module, (down + QUIET) * module, length * module
                drawn.append(f"M{x:.3f} {y:.3f}h{width:.3f}v{module:.3f}h{-width:.3f}z")
            across += length
    return "".join(drawn)


def matrix(address: str) -> tuple[tuple[bool, ...], ...]:
    """The modules of the code, dark ones true, without the margin."""
    code = segno.make_qr(address, error="m", boost_error=False)
    return tuple(tuple(bool(module) for module in row) for row in code.matrix)


WIDTH_MM, HEIGHT_MM = 92, 60


_EDGE = 5.0

_CODE = 26.0

_CODE_TOP = 11.5

_GAP = 2.0

_LETTER = 0.567
"""A generous mean width of a letter by its size; the reader's font is not known here."""

_BOLD = 0.64


def render(card: DriveCard) -> str:
    """SVG text of one card, ending in a line feed."""
    column = WIDTH_MM - 2 * _EDGE - (_CODE + _GAP if card.address else 0)
    body = [
        f'<rect width="{WIDTH_MM}" height="{HEIGHT_MM}" fill="#ffffff"/>',
        (
            f'<rect x="0.2" y="0.2" width="{WIDTH_MM - 0.4}" height="{HEIGHT_MM - 0.4}" fill="none"'
            ' stroke="#666666" stroke-width="0.2" stroke-dasharray="2 1"/>'
        ),
        _fitted(card.name, 9.0, WIDTH_MM - 2 * _EDGE, size=5.2, smallest=3.0, bold=True),
        _setting(card, column),
        *_facts(card, column),
        *_caution(),
    ]
    if card.address:
        body += _code(card.address)
    return "\n".join((*_head(card), *body, "</svg>")) + "\n"


def _head(card: DriveCard) -> tuple[str, ...]:
    label = f"{card.name}: {card.value} {card.unit}, approved by {card.approver}"
    return (
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH_MM} {HEIGHT_MM}"'
            f' width="{WIDTH_MM}mm" height="{HEIGHT_MM}mm" role="img"'
            f' aria-label="{xml_text(label)}"'
            ' font-family="system-ui, sans-serif" fill="#000000">'
        ),
        f"<!-- {MARKER} -->",
        f"<title>{xml_text(label)}</title>",
    )


def _setting(card: DriveCard, column: float) -> str:
    """The value as large as its column lets it be, and its unit beside it at half the size."""
    letters = _BOLD * (len(card.value) + 0.5 * (len(card.unit) + 1))
    size = min(16.0, column / letters)
    unit = f'<tspan font-size="{_n(size / 2)}"> {xml_text(card.unit)}</tspan>'
    return (
        f'<text x="{_n(_EDGE)}" y="25" font-size="{_n(size)}" font-weight="bold">'
        f"{xml_text(card.value)}{unit}</text>"
    )


def _code(address: str) -> list[str]:
    x = WIDTH_MM - _EDGE - _CODE
    path = code_path(address, _CODE)
    below = _CODE_TOP + _CODE + 2.2
    return [
        f'<path transform="translate({_n(x)} {_n(_CODE_TOP)})" d="{path}" fill="#000000"/>',
        _text("This machine's page", x + _CODE / 2, below, 2.6, anchor="middle"),
    ]


def _facts(card: DriveCard, column: float) -> list[str]:
    lines = (
        f"Band {card.band}" if card.band else "No band stated",
        f"For {card.line_rate}",
        f"In force from {card.since}",
        f"Approved by {card.approver}",
        f"Register {card.revision} · {card.machine}",
    )
    return [
        _fitted(line, 31.0 + 3.8 * at, column, size=3.3, smallest=2.2)
        for at, line in enumerate(lines)
    ]


def _caution() -> list[str]:
    left, top = _EDGE - 2, 48.2
    lines = wrap(CAUTION, int((WIDTH_MM - 2 * _EDGE) / (2.4 * _LETTER)))
    return [
        (
            f'<rect x="{_n(left)}" y="{_n(top)}" width="{_n(WIDTH_MM - 2 * left)}" height="10"'
            f' fill="none" stroke="#000000" stroke-width="0.5"/>'
        ),
        *(_text(line, _EDGE, top + 3.0 + 2.95 * at, 2.4) for at, line in enumerate(lines)),
    ]


def _fitted(
    words: str, y: float, width: float, *, size: float, smallest: float, bold: bool = False
) -> str:
    """Words in a width: smaller where they are long, cut with an ellipsis where too long."""
    letter = _BOLD if bold else _LETTER
    shown = terminal_text(words)
    most = int(width / (letter * smallest))
    if len(shown) > most:
        shown = shown[: most - 1].rstrip() + "…"
    return _text(shown, _EDGE, y, min(size, width / (letter * max(1, len(shown)))), bold=bold)


def _text(
    words: str, x: float, y: float, size: float, *, anchor: str = "", bold: bool = False
) -> str:
    more = f' text-anchor="{anchor}"' if anchor else ""
    more += ' font-weight="bold"' if bold else ""
    return f'<text x="{_n(x)}" y="{_n(y)}" font-size="{_n(size)}"{more}>{xml_text(words)}</text>'


def _n(value: float) -> str:
    """Millimetres to a hundredth, the same on every machine."""
    return f"{value:.2f}".rstrip("0").rstrip(".")


# No paper size is named, so the printer's own is used; the cards fit either with this margin.
_STYLE = f"""
body {{ margin: 8mm; background: #ffffff; color: #000000; font: 11pt system-ui, sans-serif; }}
h1 {{ font-size: 14pt; }}
p {{ max-width: 42em; }}
ul {{ margin: 0; padding: 0; list-style: none; font-size: 0; orphans: 1; widows: 1; }}
li {{ display: inline-block; margin: 0 3mm 3mm 0; break-inside: avoid; vertical-align: top; }}
li svg {{ display: block; width: {WIDTH_MM}mm; height: {HEIGHT_MM}mm; }}
@page {{ margin: 10mm; }}
@media print {{
  body {{ margin: 0; }}
  .screen {{ display: none; }}
  ul {{ width: {2 * WIDTH_MM + 6}mm; margin-right: -6mm; }}
}}
"""


def render_page(cards: Sequence[DriveCard], *, site_name: str) -> str:
    """The page; the same cards give the same bytes."""
    digest = base64.b64encode(hashlib.sha256(_STYLE.encode()).digest()).decode()
    items = "".join(f"<li>{_inline(card)}</li>\n" for card in cards)
    return f"""\
<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<!-- {MARKER} -->
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; \
style-src 'sha256-{digest}'; form-action 'none'; base-uri 'none'">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="referrer" content="no-referrer">
<title>Drive cards · {html_text(site_name)}</title>
<style>{_STYLE}</style>
</head>
<body>
<main>
<div class="screen">
<h1>Drive cards · {html_text(site_name)}</h1>
<p>Print at full size (100 %) and cut along the dashed lines. A card is out of date once its
register number is no longer the beginning of the SHA-256 of the drive's file in setpoints/.
It tells what was approved, not what the drive is set to now.</p>
</div>
<ul>
{items}</ul>
</main>
</body>
</html>
"""


def _inline(card: DriveCard) -> str:
    """The card's picture without the comment that marks it as a file of its own."""
    return render(card).replace(f"<!-- {MARKER} -->\n", "").rstrip("\n")

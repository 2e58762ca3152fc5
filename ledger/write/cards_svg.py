"""A drive card as SVG, in millimetres: black on white, legible at arm's length, for any printer.

Style stands in presentation attributes, so that no content security policy strips it.
"""

from ledger.report.cards import DriveCard
from ledger.write.cards_code import code_path
from ledger.write.escape import terminal_text, xml_text
from ledger.write.marker import MARKER

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
        *_caution(card.caution),
    ]
    if card.address:
        body += _code(card.address)
    return "\n".join((*_head(card), *body, "</svg>")) + "\n"


def _head(card: DriveCard) -> tuple[str, ...]:
    said = f"{card.name}: {card.value} {card.unit}, approved by {card.approver}"
    return (
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH_MM} {HEIGHT_MM}"'
            f' width="{WIDTH_MM}mm" height="{HEIGHT_MM}mm" role="img" aria-label="{xml_text(said)}"'
            ' font-family="system-ui, sans-serif" fill="#000000">'
        ),
        f"<!-- {MARKER} -->",
        f"<title>{xml_text(said)}</title>",
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


def _caution(words: str) -> list[str]:
    left, top = _EDGE - 2, 48.2
    lines = _wrapped(words, WIDTH_MM - 2 * _EDGE, 2.4)
    return [
        (
            f'<rect x="{_n(left)}" y="{_n(top)}" width="{_n(WIDTH_MM - 2 * left)}" height="10"'
            f' fill="none" stroke="#000000" stroke-width="0.5"/>'
        ),
        *(_text(line, _EDGE, top + 3.0 + 2.95 * at, 2.4) for at, line in enumerate(lines)),
    ]


def _wrapped(words: str, width: float, size: float) -> list[str]:
    lines = [""]
    for word in terminal_text(words).split():
        longer = f"{lines[-1]} {word}".strip()
        if _LETTER * size * len(longer) > width and lines[-1]:
            lines.append(word)
        else:
            lines[-1] = longer
    return lines


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

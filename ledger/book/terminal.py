"""A page as plain text for a terminal: no markup, columns aligned, control characters shown."""

import re
import shutil
import unicodedata
from collections.abc import Iterable, Iterator, Sequence

from ledger.book import blocks
from ledger.book.escape import defused, terminal_text

_NARROWEST = 40

_WIDEST = 120

_NARROWEST_COLUMN = 8

_FENCE = re.compile("`{3,}")

# Not a space that holds two words together.
_SPACES = re.compile(r"[ \t\n]+")
_TO_JOIN = re.compile(r"^ |[\t\n]|  | $")

_FIRST_WIDE = "\u0300"
"""The first character, a combining accent, that does not take one column."""


def render(page: blocks.Page, width: int | None = None) -> str:
    """The page within a width in columns, by default the terminal's; pictures are left out.

    A log that takes the page in finds no command in it, wherever its lines were broken.
    """
    head = [plain(page.title), "=" * text_width(plain(page.title))]
    if page.as_of:
        head.append(plain(page.as_of))
    return "\n\n".join((_joined(head), *_texts(page.blocks, width or columns_now()))) + "\n"


def columns_now() -> int:
    """The width of a page at this terminal."""
    return min(_WIDEST, max(_NARROWEST, shutil.get_terminal_size((100, 24)).columns))


def printed(found: Iterable[blocks.Block], columns: int) -> str:
    """Blocks as the text of a `Printed` one."""
    return "\n\n".join(_texts(found, columns))


def _texts(found: Iterable[blocks.Block], columns: int) -> Iterator[str]:
    for block in found:
        if isinstance(block, blocks.Printed):
            yield block.spans
        elif lines := list(_block(block, columns)):
            yield _joined(lines)


def _joined(lines: Iterable[str]) -> str:
    return "\n".join(defused(line.rstrip()) for line in lines)


def plain(spans: blocks.Spans) -> str:
    """The words of spans, with control characters made visible."""
    if isinstance(spans, str):
        return terminal_text(spans)
    if isinstance(spans, blocks.Text | blocks.Strong | blocks.Code | blocks.Link):
        return terminal_text(spans.text)
    return "".join(plain(span) for span in spans)


def text_width(text: str) -> int:
    """Terminal columns that a text takes; wide East Asian characters take two."""
    if _is_narrow(text):
        return len(text)
    return sum(
        0 if unicodedata.combining(c) else 2 if unicodedata.east_asian_width(c) in "WF" else 1
        for c in text
    )


def _is_narrow(text: str) -> bool:
    """Whether each character takes one column for certain."""
    return text.isascii() or max(text) < _FIRST_WIDE


def _block(block: blocks.Block, columns: int) -> Iterator[str]:
    match block:
        case blocks.Heading(level=level, text=text):
            title = plain(text)
            yield title
            if level == 2:
                yield "-" * text_width(title)
        case blocks.Paragraph(spans=spans):
            yield from _wrapped(plain(spans), columns, "", "")
        case blocks.Bullets(items=items):
            for item in items:
                yield from _wrapped(plain(item), columns, "- ", "  ")
        case blocks.Checklist(items=items):
            yield from _boxes(items, columns, "")
        case blocks.Walk():
            yield from _boxes([block.claim] if block.claim else [], columns, "")
            yield from _boxes(block.exceptions, columns, "  ")
            yield from _boxes(block.alone, columns, "")
            for station in block.stations:
                name = f"{station.number} {plain(station.name)}"
                yield from _wrapped(name, columns, "", "  ")
                yield from _boxes(station.items, columns, "  ")
        case blocks.Caution(lines=lines):
            for line in lines:
                yield from _wrapped(plain(line), columns, "! ", "  ")
        case blocks.Prose(commonmark=text):
            yield from _prose(text, columns)
        case blocks.Table():
            yield from _table(block, columns)
        case blocks.SmallPlots(rows=rows):
            for label, _ in rows:
                words = " · ".join(map(plain, blocks.lines_of(label)))
                yield from _wrapped(words, columns, "- ", "  ")
        case blocks.Picture():
            return


def _boxes(
    items: Sequence[blocks.Spans | blocks.Lines], columns: int, indent: str
) -> Iterator[str]:
    for box in items:
        first, *others = blocks.lines_of(box)
        yield from _wrapped(plain(first), columns, f"{indent}[ ] ", f"{indent}    ")
        for beneath in others:
            yield from _wrapped(plain(beneath), columns, f"{indent}    ", f"{indent}    ")


def _prose(text: str, columns: int) -> Iterator[str]:
    """Paragraphs wrapped; lines between fences as they stand, where they are not too wide."""
    fence = ""
    for line in text.splitlines():
        if fence and line != fence and text_width(plain(line)) <= columns:
            yield plain(line)
            continue
        if line == fence:
            fence = ""
        elif not fence and _FENCE.fullmatch(line):
            fence = line
        yield from _wrapped(plain(line), columns, "", "") if line else ("",)


def _wrapped(text: str, columns: int, first: str, rest: str) -> list[str]:
    """Lines of at most so many columns, broken at spaces, or inside a word that is wider."""
    width_of = len if _is_narrow(text) else text_width
    if first == rest == "" and width_of(text) <= columns and not _TO_JOIN.search(text):
        return [text] if text else []
    lines: list[str] = []
    line = start = first
    for word in filter(None, _SPACES.split(text)):
        longer = f"{line} {word}" if line != start else line + word
        if width_of(longer) <= columns:
            line = longer
            continue
        if line != start:
            lines.append(line)
            line = start = rest
        left = word
        while text_width(line + left) > columns:
            head = _head(left, columns - text_width(line))
            lines.append(line + head)
            left = left[len(head) :]
            line = start = rest
        line += left
    return lines if line == start else [*lines, line]


def _head(word: str, columns: int) -> str:
    """As much of a word as the columns hold, with the marks that belong to its last letter."""
    taken = 0
    for number, letter in enumerate(word):
        taken += text_width(letter)
        if taken > columns and number > 0:
            return word[:number]
    return word


def _table(table: blocks.Table, columns: int) -> Iterator[str]:
    """Aligned columns; where they do not fit, the widest give way and are folded."""
    header = [plain(column.title) for column in table.columns]
    rows = [[plain(cell) for cell in row] for row in table.rows]
    widths = [max(map(text_width, cells)) for cells in zip(header, *rows, strict=True)]
    while sum(widths) + 2 * (len(widths) - 1) > columns and max(widths) > _NARROWEST_COLUMN:
        widths[widths.index(max(widths))] -= 1
    yield from _row(header, table, widths)
    yield "  ".join("-" * width for width in widths)
    for row in rows:
        yield from _row(row, table, widths)


def _row(cells: Sequence[str], table: blocks.Table, widths: Sequence[int]) -> Iterator[str]:
    folded = [
        _wrapped(cell, width, "", "") or [""] for cell, width in zip(cells, widths, strict=True)
    ]
    for line in range(max(map(len, folded))):
        parts = [lines[line] if line < len(lines) else "" for lines in folded]
        yield "  ".join(
            _padded(part, width, column.align)
            for part, width, column in zip(parts, widths, table.columns, strict=True)
        )


def _padded(text: str, width: int, align: blocks.Align) -> str:
    fill = " " * max(0, width - text_width(text))
    return fill + text if align is blocks.Align.RIGHT else text + fill

"""A page as Markdown: CommonMark with the tables and tick boxes of GFM.

Made to be read as a diff: one row a line, one paragraph a line, no padding of columns.
"""

import posixpath
import re
from collections.abc import Sequence
from urllib.parse import quote

from ledger.report.blocks import (
    CAUTION_WORDS,
    Align,
    Block,
    Bullets,
    Caution,
    Checklist,
    Code,
    Heading,
    Lines,
    Link,
    Page,
    Paragraph,
    Picture,
    Prose,
    Span,
    Spans,
    Strong,
    Table,
    Text,
    lines_of,
)
from ledger.write.escape import markdown_text, terminal_text
from ledger.write.markdown_prose import code_span, embedded, guarded_line
from ledger.write.marker import marker_of


def render(page: Page, *, version: str = "") -> str:
    """Markdown text, ending in a line feed. Links start from the page's own folder.

    `version`, where given, is the program's, for the marker to name.
    """
    blocks = [f"<!-- {marker_of(version)} -->", f"# {_words(page.title)}"]
    if page.as_of:
        blocks.append(guarded_line(_words(page.as_of)))
    under_level = 1
    previous: Block | None = None
    marker = "-"
    for block in page.blocks:
        if isinstance(block, Bullets | Checklist):
            # A second list right after a first would become part of it with the same marker.
            after_list = isinstance(previous, Bullets | Checklist)
            marker = "+" if after_list and marker == "-" else "-"
        written = _block(block, page.path, under_level, marker)
        if not written:
            continue
        blocks.append(written)
        previous = block
        if isinstance(block, Heading):
            under_level = block.level
    return "\n\n".join(blocks) + "\n"


def _block(block: Block, path: str, under_level: int, marker: str) -> str:
    match block:
        case Heading(level=level, text=text):
            return f"{'#' * level} {_words(text)}"
        case Paragraph(spans=spans):
            return guarded_line(_inline(spans, path))
        case Bullets(items=items):
            return "\n".join(f"{marker} {guarded_line(_inline(item, path))}" for item in items)
        case Checklist(items=items):
            return "\n".join(f"{marker} [ ] {_item(item, path)}" for item in items)
        case Caution(lines=lines):
            first, *others = [_inline(line, path) for line in lines] or [""]
            shown = [f"**{CAUTION_WORDS}** {first}".rstrip(), *map(guarded_line, others)]
            return "\n>\n".join(f"> {line}" for line in shown)
        case Prose(commonmark=text):
            return embedded(text, under_level)
        case Table():
            return _table(block, path)
        case Picture(path=picture, plot=plot):
            return f"![{_words(plot.summary or plot.title)}]({_href(picture, path)})"


def _item(item: Spans | Lines, path: str) -> str:
    shown = [_inline(line, path) for line in lines_of(item)]
    first, *others = [line for line in shown if line] or ["–"]
    return "\\\n  ".join([first, *map(guarded_line, others)])


def _table(table: Table, path: str) -> str:
    if not table.columns:
        return ""
    rows = [
        [_words(column.title) for column in table.columns],
        ["---:" if column.align is Align.RIGHT else "---" for column in table.columns],
        *([_cell(cell, path) for cell in row] for row in table.rows),
    ]
    return "\n".join(f"| {' | '.join(row)} |" for row in rows)


def _cell(spans: Spans, path: str) -> str:
    """A bar ends a cell even inside a code span (GFM 4.10), so any bar still bare is escaped.

    Hosts differ on a backslash before a bar inside a code span; such code is shown as words.
    """
    if isinstance(spans, str):
        return _inline(spans, path)
    one_by_one = spans if isinstance(spans, tuple) else (spans,)
    shown = tuple(
        Text(span.text) if isinstance(span, Code) and "\\|" in span.text else span
        for span in one_by_one
    )
    return re.sub(r"(?<!\\)((?:\\\\)*)\|", r"\1\\|", _inline(shown, path))


def _words(text: str) -> str:
    """Plain words on one line; a closing run of `#` would be taken off a heading."""
    return re.sub(r"(?<!\\)(#+)$", r"\\\1", markdown_text(text.strip()))


def _inline(spans: Spans, path: str) -> str:
    if isinstance(spans, str):
        return markdown_text(spans).strip()
    written = ""
    for span in _merged(spans):
        match span:
            case Text(text=text):
                written = _joined(written, markdown_text(text))
            case Code(text=text):
                words = code_span(text) if text.strip("` ") else markdown_text(text)
                written = _joined(written, words)
            case Strong(text=text):
                written = _joined(written, _strong(text))
            case Link(text=text, to=to):
                words = markdown_text(text.strip() or to)
                written = _joined(written, f"[{words}]({_href(to, path)})")
    return written.strip()


def _strong(text: str) -> str:
    """Bold words; blanks at their ends stand outside, where CommonMark wants them."""
    words = text.strip()
    if not words:
        return text
    start = text.index(words)
    return f"{text[:start]}**{markdown_text(words)}**{text[start + len(words) :]}"


def _merged(spans: Spans) -> Sequence[Span]:
    """The spans on one line, neighbours of one kind made one where markup could not part them."""
    found: list[Span] = []
    for span in spans if isinstance(spans, tuple) else (spans,):
        one = Text(span) if isinstance(span, str) else span
        if isinstance(one, Link):
            found.append(one)
            continue
        text = terminal_text(one.text)
        if found and type(found[-1]) is type(one):
            text = found.pop().text + text
        if text:
            found.append(type(one)(text))
    return found


def _joined(before: str, after: str) -> str:
    """Two pieces side by side, each still read as what it is."""
    if not before or not after:
        return before + after
    if after[0] == "[" and before[-1] == "!":
        # `!` before a link would make it a picture.
        before = re.sub(r"(?<!\\)!$", r"\\!", before)
    if "**" in (after[:2], before[-2:]):
        # Bold words that begin or end with punctuation are bold only if what stands next to
        # them outside is no letter (CommonMark 6.2): an entity is none.
        if after[:2] == "**" and before[-1].isalnum():
            before = before[:-1] + f"&#{ord(before[-1])};" if _is_odd(after[2]) else before
        if before[-2:] == "**" and after[0].isalnum() and _is_odd(before[-3]):
            after = f"&#{ord(after[0])};" + after[1:]
    return before + after


def _is_odd(character: str) -> bool:
    return not character.isalnum()


def _href(to: str, path: str) -> str:
    """The link from the page at `path` to `to`, which is given from the book's top."""
    if "://" in to:
        return quote(to, safe="/:?#@!$&'*+,;=%-._~")
    target, _, anchor = to.partition("#")
    relative = posixpath.relpath(target, posixpath.dirname(path) or ".") if target else ""
    if target == path and anchor:
        relative = ""
    return quote(relative) + (f"#{quote(anchor)}" if anchor else "")

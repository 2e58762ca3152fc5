"""A page as Markdown: CommonMark with the tables and tick boxes of GFM.

Made to be read as a diff: one row a line, one paragraph a line, no padding of columns.
"""

import posixpath
import re
from collections.abc import Iterator, Sequence
from urllib.parse import quote

from ledger.book import blocks
from ledger.book.escape import markdown_text, terminal_text
from ledger.files.book_files import marker_of

_LISTS = blocks.Bullets | blocks.Checklist | blocks.Walk

_NUMBERED = re.compile(r"(\d{1,9})([.)])(?=\s|$)")

# Backticks are escaped in words, and those of a code span come again in its line, which keeps them
# from opening a fence (CommonMark 4.5).
_OPENS_BLOCK = re.compile(r"[-+*](?=\s|$)|#|>|=+\s*$|[-:|][-:| ]*$|~~~")


def render(page: blocks.Page, *, version: str = "") -> str:
    """Markdown text, ending in a line feed. Links start from the page's own folder.

    `version`, where given, is the program's, for the marker to name.
    """
    lines = [f"<!-- {marker_of(version)} -->", f"# {_words(page.title)}"]
    if page.as_of:
        lines.append(guarded_line(_words(page.as_of)))
    under_level = 1
    previous: blocks.Block | None = None
    marker = "-"
    for block in page.blocks:
        if isinstance(block, _LISTS):
            # A second list right after a first would become part of it with the same marker.
            after_list = isinstance(previous, _LISTS)
            marker = "+" if after_list and marker == "-" else "-"
        written = _block(block, page.path, under_level, marker)
        if not written:
            continue
        lines.append(written)
        previous = block
        if isinstance(block, blocks.Heading):
            under_level = block.level
    return "\n\n".join(lines) + "\n"


def _block(block: blocks.Block, path: str, under_level: int, marker: str) -> str:
    match block:
        case blocks.Heading(level=level, text=text):
            return f"{'#' * level} {_words(text)}"
        case blocks.Paragraph(spans=spans):
            return guarded_line(_inline(spans, path))
        case blocks.Bullets(items=items):
            return "\n".join(f"{marker} {guarded_line(_inline(item, path))}" for item in items)
        case blocks.Checklist(items=items):
            return "\n".join(f"{marker} [ ] {_item(item, path)}" for item in items)
        case blocks.Walk():
            return "\n".join(_walk(block, path, marker))
        case blocks.Caution(lines=lines):
            first, *others = [_inline(line, path) for line in lines] or [""]
            shown = [f"**{blocks.CAUTION_WORDS}** {first}".rstrip(), *map(guarded_line, others)]
            return "\n>\n".join(f"> {line}" for line in shown)
        case blocks.Prose(commonmark=text):
            # Few pages have any, and the parser takes long to import.
            from ledger.book.prose import embedded  # noqa: PLC0415

            return embedded(text, under_level)
        case blocks.Table():
            return _table(block, path)
        case blocks.Picture():
            return _picture(block, path)
        case blocks.SmallPlots(year=year, rows=plots):
            cells = [
                (
                    " · ".join(_cell(line, path) for line in blocks.lines_of(label)),
                    _picture(picture, path),
                )
                for label, picture in plots
            ]
            table = [("", str(year)), ("---", "---"), *cells]
            return "\n".join(f"| {words} | {drawn} |" for words, drawn in table)


def _picture(picture: blocks.Picture, path: str) -> str:
    words = _words(picture.plot.summary or picture.plot.title)
    return f"![{words}]({relative_address(picture.path, path)})"


def _item(item: blocks.Spans | blocks.Lines, path: str, indent: str = "  ") -> str:
    shown = [_inline(line, path) for line in blocks.lines_of(item)]
    first, *others = [line for line in shown if line] or ["–"]
    return f"\\\n{indent}".join([first, *map(guarded_line, others)])


def _walk(walk: blocks.Walk, path: str, marker: str) -> Iterator[str]:
    if walk.claim:
        yield f"{marker} [ ] {_item(walk.claim, path)}"
    yield from (f"  {marker} [ ] {_item(item, path, '    ')}" for item in walk.exceptions)
    yield from (f"{marker} [ ] {_item(item, path)}" for item in walk.alone)
    for station in walk.stations:
        yield f"{marker} {_inline((blocks.Strong(station.number), ' ', station.name), path)}"
        yield from (f"  {marker} [ ] {_item(item, path, '    ')}" for item in station.items)


def _table(table: blocks.Table, path: str) -> str:
    if not table.columns:
        return ""
    rows = [
        [_words(column.title) for column in table.columns],
        ["---:" if column.align is blocks.Align.RIGHT else "---" for column in table.columns],
        *(
            # Most are words alone, of tens of thousands.
            [markdown_text(c).strip() if isinstance(c, str) else _cell(c, path) for c in row]
            for row in table.rows
        ),
    ]
    return "\n".join(f"| {' | '.join(row)} |" for row in rows)


def _cell(spans: blocks.Spans, path: str) -> str:
    """A bar ends a cell even inside a code span (GFM 4.10), so any bar still bare is escaped.

    Hosts differ on a backslash before a bar inside a code span; such code is shown as words.
    """
    if isinstance(spans, str):
        return _inline(spans, path)
    one_by_one = spans if isinstance(spans, tuple) else (spans,)
    shown = tuple(
        blocks.Text(span.text) if isinstance(span, blocks.Code) and "\\|" in span.text else span
        for span in one_by_one
    )
    return re.sub(r"(?<!\\)((?:\\\\)*)\|", r"\1\\|", _inline(shown, path))


def _words(text: str) -> str:
    """Plain words on one line; a closing run of `#` would be taken off a heading."""
    return re.sub(r"(?<!\\)(#+)$", r"\\\1", markdown_text(text.strip()))


def _inline(spans: blocks.Spans, path: str) -> str:
    if isinstance(spans, str):
        return markdown_text(spans).strip()
    written = ""
    for span in merged(spans):
        match span:
            case blocks.Text(text=text):
                written = _joined(written, markdown_text(text))
            case blocks.Code(text=text):
                words = code_span(text) if text.strip("` ") else markdown_text(text)
                written = _joined(written, words)
            case blocks.Strong(text=text):
                written = _joined(written, _strong(text))
            case blocks.Link(text=text, to=to):
                words = markdown_text(text.strip() or to)
                written = _joined(written, f"[{words}]({relative_address(to, path)})")
    return written.strip()


def _strong(text: str) -> str:
    """Bold words; blanks at their ends stand outside, where CommonMark wants them."""
    words = text.strip()
    if not words:
        return text
    start = text.index(words)
    return f"{text[:start]}**{markdown_text(words)}**{text[start + len(words) :]}"


def merged(spans: blocks.Spans) -> Sequence[blocks.Span]:
    """The spans on one line, neighbours of one kind made one where markup could not part them."""
    found: list[blocks.Span] = []
    for span in spans if isinstance(spans, tuple) else (spans,):
        one = blocks.Text(span) if isinstance(span, str) else span
        if isinstance(one, blocks.Link):
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
        # `!` before a link would make it a picture, unless a backslash of its own stands before it.
        before = re.sub(r"(?<!\\)((?:\\\\)*)!$", r"\1\\!", before)
    if "**" in (after[:2], before[-2:]):
        # Bold words that begin or end with punctuation are bold only if what stands next to
        # them outside is no letter (CommonMark 6.2): an entity is none.
        if after[:2] == "**" and before[-1].isalnum():
            before = before if after[2].isalnum() else before[:-1] + f"&#{ord(before[-1])};"
        if before[-2:] == "**" and after[0].isalnum() and not before[-3].isalnum():
            after = f"&#{ord(after[0])};" + after[1:]
    return before + after


def relative_address(to: str, path: str) -> str:
    """The link from the page at `path` to `to`, which is given from the book's top."""
    if "://" in to:
        return quote(to, safe="/:?#@!$&'*+,;=%-._~")
    target, _, anchor = to.partition("#")
    folder = posixpath.dirname(path)
    relative = posixpath.relpath(target, folder) if target and folder else target
    if target == path and anchor:
        relative = ""
    return quote(relative) + (f"#{quote(anchor)}" if anchor else "")


def fenced(text: str) -> str:
    """The text as typed, in a fence longer than any inside it."""
    fence = _backticks(text, at_least=3)
    line_end = "" if not text or text.endswith("\n") else "\n"
    return f"{fence}\n{text}{line_end}{fence}"


def _backticks(text: str, *, at_least: int) -> str:
    """More backticks than stand together anywhere in the text."""
    longest = max(map(len, re.findall("`+", text)), default=0)
    return "`" * max(at_least, longest + 1)


def code_span(text: str) -> str:
    """A code span that shows `text`, whatever backticks it has."""
    fence = _backticks(text, at_least=1)
    needs_pad = (
        text[:1] == "`" or text[-1:] == "`" or (text.strip(" ") and text[0] == text[-1] == " ")
    )
    pad = " " if needs_pad else ""
    return f"{fence}{pad}{text}{pad}{fence}"


def guarded_line(line: str) -> str:
    """A line of a paragraph that cannot be read as the start of a list, heading or the like."""
    if numbered := _NUMBERED.match(line):
        return f"{numbered[1]}\\{line[numbered.end(1) :]}"
    return f"\\{line}" if _OPENS_BLOCK.match(line) else line

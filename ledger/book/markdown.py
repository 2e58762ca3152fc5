"""A page as Markdown: CommonMark with the tables and tick boxes of GFM.

Made to be read as a diff: one row a line, one paragraph a line, no padding of columns.

What a person wrote as CommonMark is parsed with raw HTML off and written anew from the parse:
fences are closed, reference links become plain links, pictures become links, headings go below the
page's own, and every other character that could mean markup is escaped. The result is parsed
again, as strictly as any host would (raw HTML, tables and strike-through on); if that does not say
the same, the text is shown as typed in a fence instead. So no text can break a page.
"""

import posixpath
import re
from collections.abc import Iterator, Sequence
from urllib.parse import quote

from markdown_it import MarkdownIt
from markdown_it.token import Token
from markdown_it.tree import SyntaxTreeNode

from ledger.book import blocks
from ledger.book.escape import markdown_text, terminal_text, visible
from ledger.files.book_files import marker_of

READER = MarkdownIt("commonmark", {"html": False})

_HOST = MarkdownIt("commonmark", {"html": True}).enable(["table", "strikethrough"])

_DEEPEST = 6

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
        *([_cell(cell, path) for cell in row] for row in table.rows),
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
    relative = posixpath.relpath(target, posixpath.dirname(path) or ".") if target else ""
    if target == path and anchor:
        relative = ""
    return quote(relative) + (f"#{quote(anchor)}" if anchor else "")


def embedded(commonmark: str, under_level: int) -> str:
    """CommonMark that means the same as `commonmark`, its headings below `under_level`.

    Ends without a line feed; empty for text that shows nothing.
    """
    tokens = prose_tokens(commonmark, under_level)
    written = "\n".join(_blocks(SyntaxTreeNode(tokens).children, is_tight=False))
    meant = READER.renderer.render(tokens, READER.options, {})
    if _HOST.render(written) == meant:
        return written
    return fenced(_typed(commonmark))


def prose_tokens(commonmark: str, under_level: int) -> list[Token]:
    """What a person wrote, parsed by `READER`, its headings below `under_level`, no pictures."""
    return _adapted(READER.parse(_typed(commonmark)), under_level)


def _typed(commonmark: str) -> str:
    return visible(commonmark.replace("\r\n", "\n").replace("\r", "\n"))


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


def _adapted(tokens: Sequence[Token], under_level: int) -> list[Token]:
    """Headings in steps of one below `under_level`, indented code as fences, pictures as links."""
    levels = sorted({token.tag for token in tokens if token.type.startswith("heading_")})
    adapted: list[Token] = []
    for token in tokens:
        if token.type.startswith("heading_"):
            level = min(_DEEPEST, under_level + 1 + levels.index(token.tag))
            token.tag = f"h{level}"
        elif token.type in ("fence", "code_block"):
            token.type, token.tag, token.info = "fence", "code", ""
            if token.content and not token.content.endswith("\n"):
                token.content += "\n"
        elif token.children:
            in_heading = bool(adapted) and adapted[-1].type == "heading_open"
            token.children = list(_without_pictures(token.children, in_heading=in_heading))
        adapted.append(token)
    return adapted


def _without_pictures(children: Sequence[Token], *, in_heading: bool) -> Iterator[Token]:
    link_depth = 0
    for child in children:
        link_depth += child.nesting if child.type.startswith("link_") else 0
        if child.type == "image":
            words = Token("text", "", 0, content=child.content or str(child.attrs["src"]))
            if link_depth:
                yield words
                continue
            yield Token("link_open", "a", 1, attrs={"href": child.attrs["src"]})
            yield words
            yield Token("link_close", "a", -1)
        elif child.type in ("softbreak", "hardbreak") and in_heading:
            yield Token("text", "", 0, content=" ")
        else:
            yield child


def _blocks(nodes: Sequence[SyntaxTreeNode], *, is_tight: bool) -> list[str]:
    lines: list[str] = []
    flips = 0
    for at, node in enumerate(nodes):
        if at and not is_tight:
            lines.append("")
        # Two lists side by side stay two only if their markers differ.
        flips = flips + 1 if at and nodes[at - 1].type == node.type else 0
        lines += _prose_block(node, flips % 2)
    return lines


def _prose_block(node: SyntaxTreeNode, flip: int) -> list[str]:
    match node.type:
        case "heading":
            return [f"{'#' * int(node.tag[1:])} {_prose_inline(node)}".rstrip(" ")]
        case "paragraph":
            return [guarded_line(line) for line in _prose_inline(node).split("\n")]
        case "bullet_list":
            return _list(node, ["*+"[flip] + " "] * len(node.children))
        case "ordered_list":
            start = int(node.attrs.get("start", 1))
            ends = ".)"[flip]
            return _list(node, [f"{start + n}{ends} " for n in range(len(node.children))])
        case "blockquote":
            lines = _blocks(node.children, is_tight=False) or [""]
            return [f"> {line}".rstrip(" ") for line in lines]
        case "hr":
            return ["___"]
        case "fence":
            return fenced(node.content).split("\n")
        case _:
            return []


def _list(node: SyntaxTreeNode, markers: Sequence[str]) -> list[str]:
    children = [child for item in node.children for child in item.children]
    paragraphs = [child for child in children if child.type == "paragraph"]
    is_tight = not paragraphs or any(one.hidden for one in paragraphs)
    lines: list[str] = []
    for at, (marker, item) in enumerate(zip(markers, node.children, strict=True)):
        if at and not is_tight:
            lines.append("")
        first, *others = _blocks(item.children, is_tight=is_tight) or [""]
        lines.append(f"{marker}{first}".rstrip(" "))
        lines += [f"{' ' * len(marker)}{line}".rstrip(" ") for line in others]
    return lines


def _prose_inline(node: SyntaxTreeNode) -> str:
    return "".join(map(_span, node.children[0].children)) if node.children else ""


def _span(node: SyntaxTreeNode) -> str:
    inner = "".join(map(_span, node.children))
    match node.type:
        case "text":
            return _text(node)
        case "softbreak":
            return "\n"
        case "hardbreak":
            return "\\\n"
        case "code_inline":
            return code_span(node.content)
        case "em" | "strong":
            return f"{node.markup}{inner}{node.markup}"
        case "link":
            return f"[{inner}](<{node.attrs['href']}>{_title(node)})"
        case _:
            return inner


def _text(node: SyntaxTreeNode) -> str:
    # A hard space at the end of a line would be taken off; `!` would make a link a picture.
    words = markdown_text(node.content).replace("\u00a0", "&nbsp;")
    following = node.next_sibling
    if words.endswith("!") and following is not None and following.type == "link":
        return f"{words[:-1]}\\!"
    return words


def _title(node: SyntaxTreeNode) -> str:
    title = str(node.attrs.get("title", ""))
    quoted = title.replace("\\", "\\\\").replace('"', '\\"').replace("&", "&amp;")
    return f' "{quoted}"' if title else ""

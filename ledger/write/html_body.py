"""A page's Markdown as the HTML inside its `<main>`: raw HTML off, no inline style or script.

Markdown has no word for a caution, a box to tick, a table that scrolls or a part that is folded;
those are found in the parsed tokens and given their markup there, so that the writer itself
stays the library's.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from itertools import count

from markdown_it import MarkdownIt
from markdown_it.rules_core import StateCore
from markdown_it.token import Token

from ledger.report.anchor import anchors_of
from ledger.report.blocks import CAUTION_WORDS
from ledger.write.escape import html_text
from ledger.write.html_tables import adapt_table, plain
from ledger.write.marker import without_marker_line

_ELSEWHERE = re.compile(r"[a-z][a-z0-9+.-]*:|//", re.IGNORECASE)
_KEPT_WHOLE = re.compile(
    r"(\b\d{4}-\d\d-\d\d(?!\w)|[−-]?\d[\d.]* ± \d[\d.]*\d|\d ± \d|\b(?:\d+ h )?\d+ min\b)"
)
_NEWEST_FIRST = ", newest first"
_PARTS_SHOWN = 2
_BOX = "[ ] "


def body(markdown: str, picture_sizes: Mapping[str, tuple[str, str]]) -> str:
    """HTML of one page. `picture_sizes`: width and height by a picture's address on the page."""
    return str(_WRITER.render(without_marker_line(markdown), {"sizes": picture_sizes}))


def html_address(address: str) -> str:
    """The address in the HTML book of what `address` is in the Markdown book."""
    if _ELSEWHERE.match(address):
        return address
    path, hash_sign, anchor = address.partition("#")
    if path == "README.md" or path.endswith("/README.md"):
        path = path.removesuffix("README.md") + "index.html"
    elif path.endswith(".md"):
        path = path.removesuffix(".md") + ".html"
    return f"{path}{hash_sign}{anchor}"


def _adapt(state: StateCore) -> None:
    """Runs before escaped characters join their neighbours, so that an escaped `[ ]` is text."""
    _name_headings(state.tokens)
    tokens = list(_with_tables(list(_with_folded_history(state.tokens))))
    for at, token in enumerate(tokens):
        if token.type == "inline" and token.children:
            _adapt_block_of(tokens, at)
            token.children = list(_adapted_inline(token.children, state.env["sizes"]))
    state.tokens = tokens


def _name_headings(tokens: Sequence[Token]) -> None:
    openings = [at for at, token in enumerate(tokens) if token.type == "heading_open"]
    anchors = anchors_of(plain(tokens[at + 1]) for at in openings)
    for at, anchor in zip(openings, anchors, strict=True):
        tokens[at].attrSet("id", anchor)


def _adapt_block_of(tokens: Sequence[Token], at: int) -> None:
    children = tokens[at].children or []
    holder = tokens[at - 2] if at >= 2 else tokens[0]
    if holder.type == "list_item_open" and _starts_with_box(children):
        children[0].content = children[0].content.removeprefix(_BOX)
        opening = Token("html_inline", "", 0, content='<label><input type="checkbox"><span>')
        closing = Token("html_inline", "", 0, content="</span></label>")
        tokens[at].children = [opening, *_lines_of_item(children), closing]
        _enclosing_list(tokens, at - 2).attrSet("class", "ticks")
    elif holder.type == "blockquote_open" and _starts_with_caution(children):
        holder.tag = _closing(tokens, at - 2).tag = "div"
        holder.attrs = {"class": "caution", "role": "note"}
    elif [child.type for child in children] == ["image"]:
        tokens[at - 1].tag = tokens[at + 1].tag = "figure"


def _starts_with_box(children: Sequence[Token]) -> bool:
    return children[0].type == "text" and children[0].content.startswith(_BOX)


def _lines_of_item(children: Sequence[Token]) -> Iterator[Token]:
    """Lines beneath the first get a place of their own; a caution among them is set apart."""
    in_line = False
    for at, child in enumerate(children):
        if child.type != "hardbreak":
            yield child
            continue
        if in_line:
            yield Token("html_inline", "", 0, content="</span>")
        kind = "beware" if _starts_with_caution(children[at + 1 :]) else "beneath"
        yield Token("html_inline", "", 0, content=f'<span class="{kind}">')
        in_line = True
    if in_line:
        yield Token("html_inline", "", 0, content="</span>")


def _starts_with_caution(children: Sequence[Token]) -> bool:
    first = [
        (child.type, child.content) for child in children if child.type != "text" or child.content
    ]
    return first[:2] == [("strong_open", ""), ("text", CAUTION_WORDS)]


def _enclosing_list(tokens: Sequence[Token], item: int) -> Token:
    level = tokens[item].level - 1
    return next(
        token for token in reversed(tokens[:item]) if token.level == level and token.nesting == 1
    )


def _closing(tokens: Sequence[Token], opening: int) -> Token:
    level = tokens[opening].level
    return next(
        token for token in tokens[opening + 1 :] if token.level == level and token.nesting == -1
    )


def _adapted_inline(
    children: Sequence[Token], sizes: Mapping[str, tuple[str, str]]
) -> Iterator[Token]:
    for child in children:
        if child.type == "link_open":
            address = str(child.attrs["href"])
            child.attrSet("href", html_address(address))
            if _ELSEWHERE.match(address):
                child.attrSet("rel", "noreferrer")
            yield child
        elif child.type == "image":
            address = str(child.attrs["src"])
            if address in sizes:
                child.attrs["width"], child.attrs["height"] = sizes[address]
            # A phone shows the picture small; a tap on it shows the picture alone.
            yield Token("html_inline", "", 0, content=f'<a href="{html_text(address)}">')
            yield child
            yield Token("html_inline", "", 0, content="</a>")
        elif child.type == "text":
            yield from _unbroken(child)
        else:
            yield child


def _unbroken(text: Token) -> Iterator[Token]:
    """A day, a value with its uncertainty and a span of minutes stay on one line."""
    for at, part in enumerate(_KEPT_WHOLE.split(text.content)):
        if at % 2:
            yield Token(
                "html_inline", "", 0, content=f'<span class="whole">{html_text(part)}</span>'
            )
        else:
            yield Token("text", "", 0, content=part)


def _with_tables(tokens: Sequence[Token]) -> Iterator[Token]:
    numbers = count(1)
    heading = ""
    opened: int | None = None
    for at, token in enumerate(tokens):
        if token.type == "heading_open":
            heading = plain(tokens[at + 1])
        if token.type == "table_open":
            opened = at
        if opened is None:
            yield token
        elif token.type == "table_close":
            yield from adapt_table(tokens[opened : at + 1], f"Table {next(numbers)}: {heading}")
            opened = None


def _with_folded_history(tokens: Sequence[Token]) -> Iterator[Token]:
    """Under a heading that ends in `newest first`, all but the first parts are folded."""
    is_history = is_open = False
    parts = 0
    anchor = ""
    for at, token in enumerate(tokens):
        if token.type == "heading_open" and token.tag in ("h2", "h3"):
            if is_open:
                yield Token("html_block", "", 0, content="</details>\n")
                is_open = False
            if token.tag == "h2":
                is_history, parts = plain(tokens[at + 1]).endswith(_NEWEST_FIRST), 0
            elif is_history:
                parts += 1
                is_open = parts > _PARTS_SHOWN
                if is_open:
                    # A link to what is folded opens it; one to the summary would not.
                    anchor = html_text(str(token.attrs.pop("id")))
                    yield Token("html_block", "", 0, content='<details class="earlier">\n<summary>')
        yield token
        if is_open and token.type == "heading_close" and token.tag == "h3":
            folded = f'</summary>\n<div id="{anchor}"></div>\n'
            yield Token("html_block", "", 0, content=folded)
    if is_open:
        yield Token("html_block", "", 0, content="</details>\n")


def _writer() -> MarkdownIt:
    writer = MarkdownIt("commonmark", {"html": False}).enable("table")
    writer.core.ruler.before("text_join", "book", _adapt)
    return writer


_WRITER = _writer()

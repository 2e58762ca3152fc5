"""The book as a static site: it works from a file or a server, with no network and no cookies.

Every page has a policy that lets it load nothing but this site's own files.

Tables of a page as HTML: wide ones slide, those of words become cards on a phone, long ones
of days show the newest rows and fold the older.

What a table is, is read from its own cells, so that the Markdown needs no marks for it.

A page's Markdown as the HTML inside its `<main>`: raw HTML off, no inline style or script.

Markdown has no word for a caution, a box to tick, a table that scrolls or a part that is folded;
those are found in the parsed tokens and given their markup there, so that the writer itself
stays the library's.
"""

import json
import posixpath
import re
from collections.abc import Iterator, Mapping, Sequence
from copy import deepcopy
from dataclasses import dataclass
from importlib.resources import files
from itertools import count, pairwise
from pathlib import PurePosixPath

from markdown_it import MarkdownIt
from markdown_it.rules_core import StateCore
from markdown_it.token import Token

from ledger.book.blocks import CAUTION_WORDS, Bullets, Heading, Page, Spans, Table, anchors_of
from ledger.book.escape import html_text
from ledger.files.book_files import MARKER, without_marker_line

_SHORT = 20

_FIT_A_SHEET = 10

# Characters that a phone shows side by side, and what a column of words is folded to.
_FIT_A_PHONE = 45

_FOLDED_WORDS = 16

_GAP = 1


# A table of days is folded where it saves more than a screen.
_NEWEST_ROWS = 6

_FEWEST_TO_FOLD = 6

_DAY = re.compile(r"\d{4}-\d\d(-\d\d)?( \d\d:\d\d)?")

_NOTHING = frozenset({"", "\N{EN DASH}"})

_ROLES: Mapping[str, str] = {
    "table_open": "table",
    "thead_open": "rowgroup",
    "tbody_open": "rowgroup",
    "tr_open": "row",
    "th_open": "columnheader",
    "td_open": "cell",
}


def plain(inline: Token) -> str:
    """The words of an inline token, without their markup."""
    return "".join(child.content for child in inline.children or ())


@dataclass(frozen=True, slots=True)
class _Cell:
    opening: Token
    text: str


def adapt_table(tokens: Sequence[Token], label: str) -> Iterator[Token]:
    """The tokens of one table, from its opening to its closing, with what goes around them.

    `label` names the table to those who cannot see it.
    """
    rows = _cells(tokens)
    stacks = _becomes_cards(rows)
    for column in zip(*rows, strict=True):
        _class_column(column, for_cards=stacks)
    if stacks:
        for token in tokens:
            if token.type in _ROLES:
                # Laid out as a card, a table would no longer be one to a screen reader.
                token.attrSet("role", _ROLES[token.type])
    is_wide = len(rows[0]) > _FIT_A_SHEET
    classes = "scroll" + (" stack" if stacks else "") + (" wide" if is_wide else "")
    label += ", slides sideways" if is_wide else ""
    older = _first_older(tokens, [row[0].text for row in rows[1:]])
    if older is None:
        yield from _in_region(tokens, classes, label)
        return
    body = next(at for at, token in enumerate(tokens) if token.type == "tbody_open")
    head = deepcopy(tokens[: body + 1])
    ending = tokens[-2:]
    yield from _in_region([*tokens[:older], *ending], classes, label)
    left = len(rows) - 1 - _NEWEST_ROWS
    said = html_text(f"{left} earlier, back to {rows[-1][0].text}")
    yield _html(f'<details class="earlier">\n<summary>{said}</summary>\n')
    yield from _in_region([*head, *tokens[older:]], classes, f"{label}, earlier")
    yield _html("</details>\n")


def _cells(tokens: Sequence[Token]) -> list[list[_Cell]]:
    rows: list[list[_Cell]] = []
    for at, token in enumerate(tokens):
        if token.type == "tr_open":
            rows.append([])
        elif token.type in ("th_open", "td_open"):
            rows[-1].append(_Cell(token, plain(tokens[at + 1])))
    return rows


def _becomes_cards(rows: Sequence[Sequence[_Cell]]) -> bool:
    """Whether a phone could not show the columns side by side, and a card could hold a row."""
    if not 2 < len(rows[0]) <= _FIT_A_SHEET:
        return False
    widths = [max(len(cell.text) for cell in column) for column in zip(*rows, strict=True)]
    needed = sum(w if w <= _SHORT else _FOLDED_WORDS for w in widths)
    return needed + _GAP * (len(widths) - 1) > _FIT_A_PHONE


def _class_column(column: Sequence[_Cell], *, for_cards: bool) -> None:
    """Numbers to the right, room for words, and what a card needs to know of each cell.

    Classes, since the policy of the page allows no style attributes.
    """
    head, *cells = column
    is_long = max(len(cell.text) for cell in column) > _SHORT
    for cell in column:
        if cell.opening.attrs.pop("style", "") == "text-align:right":
            cell.opening.attrJoin("class", "number")
        elif is_long:
            cell.opening.attrJoin("class", "words")
    head.opening.attrSet("scope", "col")
    for cell in cells:
        if head.text == "Verdict":
            cell.opening.attrJoin("class", "verdict")
        if for_cards:
            _fit_for_card(cell, head.text)


def _fit_for_card(cell: _Cell, head: str) -> None:
    if len(cell.text) > _SHORT:
        cell.opening.attrJoin("class", "long")
    elif cell.text in _NOTHING:
        cell.opening.attrJoin("class", "none")
    cell.opening.attrSet("data-head", head)


def _first_older(tokens: Sequence[Token], first_cells: Sequence[str]) -> int | None:
    """Where the older rows begin, in a table whose rows run back in time; None where none fold."""
    if len(first_cells) < _NEWEST_ROWS + _FEWEST_TO_FOLD:
        return None
    if not all(_DAY.fullmatch(text) for text in first_cells):
        return None
    if not all(newer >= older for newer, older in pairwise(first_cells)):
        return None
    rows = [at for at, token in enumerate(tokens) if token.type == "tr_open"]
    return rows[1 + _NEWEST_ROWS]


def _in_region(tokens: Sequence[Token], classes: str, label: str) -> Iterator[Token]:
    yield _html(
        f'<div class="{classes}" role="region" tabindex="0" aria-label="{html_text(label)}">\n'
    )
    yield from tokens
    yield _html("</div>\n")


def _html(text: str) -> Token:
    return Token("html_block", "", 0, content=text)


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


TOP = "html/"

POLICY = (
    "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self' data:; "
    "form-action 'none'; base-uri 'none'"
)


_SEARCHED = "machines/"

_SIZE = re.compile(r'viewBox="0 0 ([\d.]+) ([\d.]+)"')

_SAFETY = (
    "This book never says that a machine is safe: the maker's manual, the local code and "
    "licensed people come first."
)


def render_site(
    pages: Sequence[Page],
    markdown: Mapping[str, str],
    pictures: Mapping[str, str],
    *,
    site_name: str,
    extra_links: Sequence[tuple[str, str]] = (),
) -> Mapping[str, str]:
    """Every file of the HTML book, path from the book's top (`html/due.html`) to text.

    `markdown` holds each page's rendering by its path, `pictures` each SVG by its path.
    `extra_links` are further words and addresses (from the top of the HTML book) for the
    navigation, such as the page for the walk. Pages at the top, in the order given, make up
    the rest of it; README.md is the first page and stands behind the site's name.
    """
    sizes = {path: size for path, svg in pictures.items() if (size := _size(svg))}
    links = [(page.title, page.path) for page in pages if _is_top(page)]
    found = {
        f"{TOP}{html_address(page.path)}": _page(
            page, markdown[page.path], sizes, site_name, (*links, *extra_links)
        )
        for page in pages
    }
    found |= {f"{TOP}{path}": svg for path, svg in pictures.items()}
    for name in ("book.css", "search.js"):
        found[f"{TOP}{name}"] = asset(name)
    found[f"{TOP}machines.js"] = _index(pages)
    return found


def asset(name: str) -> str:
    """A style sheet or script that goes into the book as it is."""
    return (files("ledger.book") / "assets" / name).read_text(encoding="utf-8")


def page_frame(*, title: str, site_name: str, top: str, navigation: str, content: str) -> str:
    """A whole HTML page around `content`; `top` leads from its folder to the site's top."""
    return f"""\
<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<!-- {MARKER} -->
<meta http-equiv="Content-Security-Policy" content="{POLICY}">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark">
<meta name="referrer" content="no-referrer">
<title>{html_text(title)} · {html_text(site_name)}</title>
<link rel="icon" href="data:,">
<link rel="stylesheet" href="{top}book.css">
<script src="{top}machines.js" defer></script>
<script src="{top}search.js" defer></script>
</head>
<body>
<a class="skip" href="#content">Skip to the page</a>
<header>
<p class="site"><a href="{top}index.html">{html_text(site_name)}</a></p>
<nav aria-label="Pages">
<details class="menu">
<summary>Pages</summary>
<ul>
{navigation}</ul>
</details>
</nav>
<form class="find" role="search" data-top="{top}" hidden>
<label for="find">Find a machine</label>
<input id="find" type="search" autocomplete="off" spellcheck="false" aria-describedby="found">
<p id="found" role="status"></p>
<ul id="hits" aria-label="Machines found"></ul>
</form>
</header>
<main id="content" tabindex="-1">
{content}</main>
<footer>
<p>{html_text(_SAFETY)}</p>
</footer>
</body>
</html>
"""


def _size(svg: str) -> tuple[str, str] | None:
    """Width and height of a picture, so that the page does not jump when it loads."""
    found = _SIZE.search(svg)
    return (found[1], found[2]) if found else None


def _is_top(page: Page) -> bool:
    return "/" not in page.path and page.path != "README.md" and page.in_navigation


def _page(
    page: Page,
    markdown: str,
    sizes: Mapping[str, tuple[str, str]],
    site_name: str,
    links: Sequence[tuple[str, str]],
) -> str:
    folder = posixpath.dirname(page.path)
    top = "../" * len(PurePosixPath(folder).parts)
    here = {posixpath.relpath(path, folder or "."): size for path, size in sizes.items()}
    return page_frame(
        title=page.title,
        site_name=site_name,
        top=top,
        navigation="".join(_navigation_item(*link, top, page.path) for link in links),
        content=body(markdown, here),
    )


def _navigation_item(words: str, path: str, top: str, current: str) -> str:
    mark = ' aria-current="page"' if path == current else ""
    address = html_text(top + html_address(path))
    return f'<li><a href="{address}"{mark}>{html_text(words)}</a></li>\n'


def _index(pages: Sequence[Page]) -> str:
    """A script that holds what the search knows of each machine, one machine a line."""
    entries = [
        json.dumps({"title": page.title, "page": html_address(page.path), "words": _words(page)})
        for page in pages
        if page.path.startswith(_SEARCHED) and page.in_navigation
    ]
    lines = ",\n".join(entries)
    return f"/* {MARKER} */\nconst machines = [\n{lines}\n];\n"


def _words(page: Page) -> str:
    """What a machine can be found by: its id, facts, points and headings."""
    words = [PurePosixPath(page.path).stem]
    tables = 0
    for block in page.blocks:
        match block:
            case Heading(text=text):
                words.append(text)
            case Bullets(items=items) if not tables:
                words += [_plain(item) for item in items]
            case Table(rows=rows):
                words += [_plain(row[0]) for row in rows if row and not tables]
                tables += 1
            case _:
                pass
    return " ".join(dict.fromkeys(" ".join(words).lower().split()))


def _plain(spans: Spans) -> str:
    if isinstance(spans, str):
        return spans
    if isinstance(spans, tuple):
        return "".join(map(_plain, spans))
    return spans.text

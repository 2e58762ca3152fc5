"""The book as a static site: it works from a file or a server, with no network and no cookies.

Every page has a policy that lets it load nothing but this site's own files, and no inline style
or script.

Wide tables slide, those of words become cards on a phone; of what runs back in time the newest
shows and the older is folded.
"""

import json
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from importlib.resources import files
from pathlib import PurePosixPath

from markdown_it.token import Token

from ledger.book.blocks import (
    CAUTION_WORDS,
    Align,
    Block,
    Bullets,
    Caution,
    Checklist,
    Code,
    Column,
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
    next_anchor,
)
from ledger.book.escape import html_text
from ledger.book.markdown import READER, merged, prose_tokens, relative_address
from ledger.book.terminal import plain
from ledger.files.book_files import MARKER

_SHORT = 20

_FIT_A_SHEET = 10

# Characters that a phone shows side by side, and what a column of words is folded to.
_FIT_A_PHONE = 45

_FOLDED_WORDS = 16

_GAP = 1


# A table of days is folded where it saves more than a screen.
_NEWEST_ROWS = 6

_FEWEST_TO_FOLD = 6

_PART_LEVEL = 3

_PARTS_SHOWN = 2

_NOTHING = frozenset({"", "\N{EN DASH}"})

_FOLD = '<details class="earlier">\n<summary>'

_FOLD_END = "</details>\n"

_ELSEWHERE = re.compile(r"[a-z][a-z0-9+.-]*:|//", re.IGNORECASE)

_KEPT_WHOLE = re.compile(
    r"(\b\d{4}-\d\d-\d\d(?!\w)|[−-]?\d[\d.]* ± \d[\d.]*\d|\d ± \d|\b(?:\d+ h )?\d+ min\b)"
)


def body(page: Page, picture_sizes: Mapping[str, tuple[str, str]]) -> str:
    """HTML inside the `<main>` of a page. `picture_sizes`: width and height by a picture's path."""
    blocks = [Heading(1, page.title), Paragraph(page.as_of), *page.blocks]
    return "".join(_Body(page.path, picture_sizes).render(blocks))


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


class _Body:
    """Writes blocks in the order of the page; keeps what the next one needs of those before."""

    def __init__(self, path: str, picture_sizes: Mapping[str, tuple[str, str]]) -> None:
        self._path = path
        self._sizes = picture_sizes
        self._anchors: set[str] = set()
        self._heading = ""
        self._level = 1
        self._tables = 0

    def render(self, blocks: Sequence[Block]) -> Iterator[str]:
        """Each block; of the parts below a heading that runs newest first the older are folded."""
        runs_back = is_folded = False
        parts = 0
        for block in blocks:
            if not isinstance(block, Heading) or block.level > _PART_LEVEL:
                yield self._block(block)
                continue
            if is_folded:
                yield _FOLD_END
            if block.level < _PART_LEVEL:
                runs_back, parts = block.newest_first, 0
            else:
                parts += 1
            is_folded = block.is_folded or (runs_back and parts > _PARTS_SHOWN)
            yield self._titled(block, is_folded=is_folded)
        if is_folded:
            yield _FOLD_END

    def _block(self, block: Block) -> str:
        match block:
            case Heading():
                return self._titled(block, is_folded=False)
            case Paragraph(spans=spans):
                words = self._inline(spans)
                return f"<p>{words}</p>\n" if words else ""
            case Bullets(items=items):
                return _list("<ul>", map(self._inline, items))
            case Checklist(items=items):
                return _list('<ul class="ticks">', map(self._item, items))
            case Caution(lines=lines):
                first, *others = map(self._inline, lines or [""])
                shown = [f"<strong>{CAUTION_WORDS}</strong> {first}".rstrip(), *others]
                words = "".join(f"<p>{line}</p>\n" for line in shown)
                return f'<div class="caution" role="note">\n{words}</div>\n'
            case Prose(commonmark=text):
                return self._prose(text)
            case Table(columns=columns):
                return self._table(block) if columns else ""
            case Picture():
                return self._picture(block)

    def _titled(self, heading: Heading, *, is_folded: bool) -> str:
        self._level = heading.level
        anchor = self._anchor(plain(heading.text))
        tag, words = f"h{heading.level}", self._inline(heading.text)
        if is_folded:
            # A link to what is folded opens it; one to the summary would not.
            return f'{_FOLD}<{tag}>{words}</{tag}>\n</summary>\n<div id="{anchor}"></div>\n'
        return f'<{tag} id="{anchor}">{words}</{tag}>\n'

    def _anchor(self, heading: str) -> str:
        self._heading = heading
        anchor = next_anchor(heading, self._anchors)
        self._anchors.add(anchor)
        return html_text(anchor)

    def _inline(self, spans: Spans) -> str:
        return "".join(map(self._span, merged(spans))).strip()

    def _span(self, span: Span) -> str:
        match span:
            case Text(text=text):
                return _unbroken(text)
            case Code(text=text):
                return f"<code>{html_text(text)}</code>"
            case Strong(text=text):
                return f"<strong>{_unbroken(text)}</strong>"
            case Link(text=text, to=to):
                address = html_address(relative_address(to, self._path))
                rel = ' rel="noreferrer"' if _ELSEWHERE.match(address) else ""
                words = _unbroken(plain(text.strip() or to))
                return f'<a href="{html_text(address)}"{rel}>{words}</a>'

    def _item(self, item: Spans | Lines) -> str:
        """Lines beneath the first get a place of their own; a caution among them is set apart."""
        first, *beneath = map(self._inline, lines_of(item))
        cautions = len(item.cautions) if isinstance(item, Lines) else 0
        words = first or "–"
        for at, line in enumerate(beneath):
            kind = "beware" if at < cautions else "beneath"
            words += f'<span class="{kind}">{line}</span>' if line else ""
        return f'<label><input type="checkbox"><span>{words}</span></label>'

    def _picture(self, picture: Picture) -> str:
        """A phone shows the picture small; a tap on it shows the picture alone."""
        address = html_text(relative_address(picture.path, self._path))
        words = html_text(plain(picture.plot.summary or picture.plot.title).strip())
        size = self._sizes.get(picture.path)
        fitted = "" if size is None else f' width="{size[0]}" height="{size[1]}"'
        image = f'<img src="{address}" alt="{words}"{fitted} />'
        return f'<figure><a href="{address}">{image}</a></figure>\n'

    def _prose(self, commonmark: str) -> str:
        tokens = prose_tokens(commonmark, self._level)
        for at, token in enumerate(tokens):
            if token.type == "heading_open":
                words = "".join(child.content for child in tokens[at + 1].children or ())
                token.attrSet("id", self._anchor(words))
            token.children = token.children and list(map(_adapted, token.children))
        return str(READER.renderer.render(tokens, READER.options, {}))

    def _table(self, table: Table) -> str:
        self._tables += 1
        by_column = list(zip((c.title for c in table.columns), *table.rows, strict=True))
        texts = [[plain(cell).strip() for cell in cells] for cells in by_column]
        as_cards = not table.is_strip and _becomes_cards(texts)
        is_wide = len(texts) > _FIT_A_SHEET
        classes = "scroll" + " stack" * as_cards + " wide" * is_wide + " strip" * table.is_strip
        label = f"Table {self._tables}: {self._heading}" + (", slides sideways" * is_wide)
        written = [
            self._column(*of_column, as_cards=as_cards)
            for of_column in zip(table.columns, by_column, texts, strict=True)
        ]
        opening = f"<tr{_role('row', as_cards=as_cards)}>\n"
        head, *rows = (f"{opening}{''.join(row)}</tr>\n" for row in zip(*written, strict=True))

        def region(label: str, rows: Sequence[str]) -> str:
            group = _role("rowgroup", as_cards=as_cards)
            below = f"<tbody{group}>\n{''.join(rows)}</tbody>\n" if rows else ""
            return (
                f'<div class="{classes}" role="region" tabindex="0" '
                f'aria-label="{html_text(label)}">\n<table{_role("table", as_cards=as_cards)}>\n'
                f"<thead{group}>\n{head}</thead>\n{below}</table>\n</div>\n"
            )

        if not table.newest_first or len(rows) < _NEWEST_ROWS + _FEWEST_TO_FOLD:
            return region(label, rows)
        shown, older = rows[:_NEWEST_ROWS], rows[_NEWEST_ROWS:]
        said = html_text(f"{len(older)} earlier, back to {texts[0][-1]}")
        folded = region(f"{label}, earlier", older)
        return f"{region(label, shown)}{_FOLD}{said}</summary>\n{folded}{_FOLD_END}"

    def _column(
        self, column: Column, cells: Sequence[Spans], texts: Sequence[str], *, as_cards: bool
    ) -> Iterator[str]:
        """Numbers to the right, room for words, and what a card needs to know of each cell.

        Classes, since the policy of the page allows no style attributes.
        """
        is_long = max(map(len, texts)) > _SHORT
        side = "number" if column.align is Align.RIGHT else "words" if is_long else ""
        title, *words = map(self._inline, cells)
        role = _role("columnheader", as_cards=as_cards)
        yield f'<th{_classes(side)} scope="col"{role}>{title}</th>\n'
        head = f' data-head="{html_text(texts[0])}"' * as_cards + _role("cell", as_cards=as_cards)
        for cell, text in zip(words, texts[1:], strict=True):
            size = "long" if len(text) > _SHORT else "none" if text in _NOTHING else ""
            classes = _classes(side, "verdict" * column.is_verdict, size * as_cards)
            yield f"<td{classes}{head}>{cell}</td>\n"


def _becomes_cards(columns: Sequence[Sequence[str]]) -> bool:
    """Whether a phone could not show the columns side by side, and a card could hold a row."""
    if not 2 < len(columns) <= _FIT_A_SHEET:
        return False
    widths = [max(map(len, texts)) for texts in columns]
    needed = sum(w if w <= _SHORT else _FOLDED_WORDS for w in widths)
    return needed + _GAP * (len(widths) - 1) > _FIT_A_PHONE


def _role(role: str, *, as_cards: bool) -> str:
    """Laid out as a card, a table would no longer be one to a screen reader."""
    return f' role="{role}"' if as_cards else ""


def _classes(*classes: str) -> str:
    named = " ".join(filter(None, classes))
    return f' class="{named}"' if named else ""


def _list(opening: str, items: Iterable[str]) -> str:
    lines = "".join(f"<li>{item}</li>\n" for item in items)
    return f"{opening}\n{lines}</ul>\n" if lines else ""


def _adapted(child: Token) -> Token:
    """A token of prose: links lead to the HTML book, words are written as in every block."""
    if child.type == "text":
        return Token("html_inline", "", 0, content=_unbroken(child.content))
    if child.type == "link_open":
        address = str(child.attrs["href"])
        child.attrSet("href", html_address(address))
        if _ELSEWHERE.match(address):
            child.attrSet("rel", "noreferrer")
    return child


def _unbroken(text: str) -> str:
    """A day, a value with its uncertainty and a span of minutes stay on one line."""
    return _KEPT_WHOLE.sub(r'<span class="whole">\1</span>', html_text(text))


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
    pictures: Mapping[str, str],
    *,
    site_name: str,
    extra_links: Sequence[tuple[str, str]] = (),
) -> Mapping[str, str]:
    """Every file of the HTML book, path from the book's top (`html/due.html`) to text.

    `pictures` holds each SVG by its path.
    `extra_links` are further words and addresses (from the top of the HTML book) for the
    navigation, such as the page for the walk. Pages at the top, in the order given, make up
    the rest of it; README.md is the first page and stands behind the site's name.
    """
    sizes = {path: size for path, svg in pictures.items() if (size := _size(svg))}
    links = [(page.title, page.path) for page in pages if _is_top(page)]
    found = {
        f"{TOP}{html_address(page.path)}": _page(page, sizes, site_name, (*links, *extra_links))
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
    sizes: Mapping[str, tuple[str, str]],
    site_name: str,
    links: Sequence[tuple[str, str]],
) -> str:
    top = "../" * page.path.count("/")
    return page_frame(
        title=page.title,
        site_name=site_name,
        top=top,
        navigation="".join(_navigation_item(*link, top, page.path) for link in links),
        content=body(page, sizes),
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
                words += [plain(item) for item in items]
            case Table(rows=rows):
                words += [plain(row[0]) for row in rows if row and not tables]
                tables += 1
            case _:
                pass
    return " ".join(dict.fromkeys(" ".join(words).lower().split()))

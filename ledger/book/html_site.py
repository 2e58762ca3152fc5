"""The book as a static site: it works from a file or a server, with no network and no cookies.

Every page has a policy that lets it load nothing but this site's own files, and no inline style
or script.
"""

import json
import re
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path, PurePosixPath

from ledger.book.addresses import FRONT_PAGE, MAIN_PAGES
from ledger.book.blocks import Bullets, Heading, Page, Table
from ledger.book.escape import html_text
from ledger.book.html import body, html_address
from ledger.book.terminal import plain
from ledger.files.book_files import MARKER

TOP = "html/"

POLICY = (
    "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self' data:; "
    "form-action 'none'; base-uri 'none'"
)


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
    navigation, such as the page for the walk. A few pages head it; all at the top, in the order
    given, are folded behind them. README.md also stands behind the site's name.
    """
    # So that a page does not jump when it loads.
    sizes = {path: (at[1], at[2]) for path, svg in pictures.items() if (at := _SIZE.search(svg))}
    there = {page.path for page in pages}
    main = [link for link in MAIN_PAGES if link[1] in there]
    every = [*((page.title, page.path) for page in pages if _is_top(page)), *extra_links]
    found = {
        f"{TOP}{html_address(page.path)}": _page(page, sizes, site_name, main, every)
        for page in pages
    }
    found |= {f"{TOP}{path}": svg for path, svg in pictures.items()}
    for name in ("book.css", "book.js"):
        found[f"{TOP}{name}"] = asset(name)
    found[f"{TOP}index.js"] = _index(pages)
    return found


def asset(name: str) -> str:
    """A style sheet or script that goes into the book as it is."""
    return (Path(__file__).parent / "assets" / name).read_text(encoding="utf-8")


def page_frame(*, title: str, site_name: str, top: str, main: str, every: str, content: str) -> str:
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
<script src="{top}index.js" defer></script>
<script src="{top}book.js" defer></script>
</head>
<body>
<a class="skip" href="#content">Skip to the page</a>
<header>
<p class="site"><a href="{top}index.html">{html_text(site_name)}</a></p>
<nav aria-label="Pages">
<ul class="main">
{main}</ul>
<details class="menu">
<summary>All pages</summary>
<ul>
{every}</ul>
</details>
</nav>
<form class="find" role="search" data-top="{top}" hidden>
<label for="find">Find a machine, task, part or finding</label>
<input id="find" type="search" autocomplete="off" spellcheck="false" aria-describedby="found">
<p id="found" role="status"></p>
<ul id="hits" aria-label="Found"></ul>
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


def _is_top(page: Page) -> bool:
    return "/" not in page.path and page.path != FRONT_PAGE and page.in_navigation


def _page(
    page: Page,
    sizes: Mapping[str, tuple[str, str]],
    site_name: str,
    main: Sequence[tuple[str, str]],
    every: Sequence[tuple[str, str]],
) -> str:
    top = "../" * page.path.count("/")
    return page_frame(
        title=page.title,
        site_name=site_name,
        top=top,
        main="".join(_navigation_item(*link, top, page.path) for link in main),
        every="".join(_navigation_item(*link, top, page.path) for link in every),
        content=body(page, sizes),
    )


def _navigation_item(words: str, path: str, top: str, current: str) -> str:
    mark = ' aria-current="page"' if path == current else ""
    address = html_text(top + html_address(path))
    return f'<li><a href="{address}"{mark}>{html_text(words)}</a></li>\n'


def _index(pages: Sequence[Page]) -> str:
    """A script that holds what the search knows of each thing in the book, one a line."""
    entries = [
        json.dumps({"title": title, "page": html_address(path), "kind": kind, "words": words})
        for page in pages
        if page.in_navigation
        for title, path, kind, words in _things(page)
    ]
    lines = ",\n".join(entries)
    return f"/* {MARKER} */\nconst things = [\n{lines}\n];\n"


def _things(page: Page) -> Iterator[tuple[str, str, str, str]]:
    """The page itself, and each row of a table whose rows are named: title, page, kind, words."""
    folder = page.path.partition("/")[0] if "/" in page.path else ""
    kind = {"machines": "machine", "tasks": "task", "": "page"}.get(folder, folder)
    words = _words(page) if kind == "machine" else _headings(page)
    yield page.title, page.path, kind, _as_typed(words)
    for block in page.blocks:
        if isinstance(block, Table) and block.names is not None:
            kind, title = block.names
            named = [column.title for column in block.columns].index(title)
            for row in block.rows:
                texts = [plain(cell) for cell in row]
                yield texts[named], page.path, kind, _as_typed(texts)


def _headings(page: Page) -> list[str]:
    headings = (block.text for block in page.blocks if isinstance(block, Heading))
    return [PurePosixPath(page.path).stem, page.title, *headings]


def _words(page: Page) -> list[str]:
    """What a machine can be found by: its id, headings, facts, points and tasks."""
    words = _headings(page)
    for block in page.blocks:
        if isinstance(block, Bullets):
            words += [plain(item) for item in block.items]
        elif isinstance(block, Table) and not block.newest_first:
            words += [plain(cell) for row in block.rows for cell in row]
    return words


def _as_typed(words: Sequence[str]) -> str:
    """Each word once, in small letters."""
    return " ".join(dict.fromkeys(" ".join(words).lower().split()))

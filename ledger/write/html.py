"""The book as a static site: it works from a file or a server, with no network and no cookies.

Every page has a policy that lets it load nothing but this site's own files.
"""

import json
import posixpath
import re
from collections.abc import Mapping, Sequence
from importlib.resources import files
from pathlib import PurePosixPath

from ledger.report.blocks import Bullets, Heading, Page, Spans, Table
from ledger.write.escape import html_text
from ledger.write.html_body import body, html_address
from ledger.write.marker import MARKER

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
    return (files("ledger.write") / "assets" / name).read_text(encoding="utf-8")


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

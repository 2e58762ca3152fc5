"""The book as programs of others read it: a checker of HTML, and the Markdown of other hosts."""

import json
import os
import subprocess
from html.parser import HTMLParser
from pathlib import Path

import cmarkgfm
import mistune
from cmarkgfm.cmark import Options
from example import EXAMPLE, EXAMPLE_DAY, example_ledger
from markdown_it import MarkdownIt
from tools import find_tool, missing

from ledger.files.book_files import write_files
from ledger.site.rendering import book_files


def test_every_page_is_valid_html(tmp_path):
    """By the Nu Html Checker, which follows the HTML standard and ARIA in HTML."""
    checker = os.environ.get("NU_HTML_CHECKER", "")
    if not Path(checker).is_file():
        missing("vnu.jar is not there: `npm install vnu-jar` and name it in NU_HTML_CHECKER")
    files = book_files(example_ledger(), EXAMPLE_DAY, html=True)
    write_files(tmp_path, {path: text for path, text in files.items() if path.startswith("html/")})
    ran = subprocess.run(
        [find_tool("java"), "-jar", checker, "--errors-only", "--format", "json", "--skip-non-html", tmp_path],
        capture_output=True,
        check=False,
    )  # fmt: skip
    assert json.loads(ran.stderr)["messages"] == []
    assert len(list(tmp_path.rglob("*.html"))) > 200


class Tables(HTMLParser):
    """The tables of a page, each a list of rows of the words in its cells."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.found: list[list[list[str]]] = []
        self._is_in_cell = False
        self.feed(html)

    def handle_starttag(self, tag, attrs):
        if tag == "table":
            self.found.append([])
        elif tag == "tr":
            self.found[-1].append([])
        elif tag in ("td", "th"):
            self.found[-1][-1].append("")
            self._is_in_cell = True

    def handle_endtag(self, tag):
        if tag in ("td", "th"):
            self._is_in_cell = False

    def handle_data(self, data):
        if self._is_in_cell:
            self.found[-1][-1][-1] += data


def test_other_hosts_see_the_same_tables_in_the_committed_book():
    ours = MarkdownIt("commonmark", {"html": True}).enable(["table", "strikethrough"]).render
    others = (
        lambda text: cmarkgfm.github_flavored_markdown_to_html(text, Options.CMARK_OPT_UNSAFE),
        mistune.create_markdown(escape=False, plugins=["table", "strikethrough"]),
    )
    tables = 0
    book = EXAMPLE / "book"
    # Of the pages alike, as of machines and tasks, one in eight.
    for path in [*sorted(book.glob("*.md")), *sorted(book.glob("*/**/*.md"))[::8]]:
        text = path.read_text(encoding="utf-8")
        expected = Tables(ours(text)).found
        for render in others:
            assert Tables(render(text)).found == expected, path
        tables += len(expected)
    assert tables > 100

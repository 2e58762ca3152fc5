"""From files to a book: the same files and the same day give the same bytes, and nothing more changes."""

import json
import os
import subprocess
import sys
from collections import Counter
from datetime import timedelta
from functools import cache

import pytest
from campaign import examples
from example import EXAMPLE, EXAMPLE_DAY, example_ledger, example_loaded
from hypothesis import given, settings
from hypothesis import strategies as st
from markdown_it import MarkdownIt
from sound_site import AS_OF, CASES, LAST_VISIT, SOUND, edited, found_in, ledger_in, texts_below

from ledger.files.book_files import write_files
from ledger.files.tree import DiskTree
from ledger.site.pages import Book
from ledger.site.pipeline import check, load
from ledger.site.rendering import book_files


@pytest.fixture(scope="module")
def book():
    return book_files(ledger_in(texts_below(SOUND)), AS_OF, html=True)


class TestLoading:
    def test_the_example_gives_the_warnings_that_its_readme_explains_and_no_error(self):
        found = check(example_loaded(), EXAMPLE_DAY)
        assert not [one for one in found if one.is_error]
        assert Counter(one.rule for one in found) == {
            "count-too-short": 6,
            "found-differs": 1,
            "turns-wrong-way": 1,
            "not-qualified": 1,
        }

    def test_a_document_on_which_the_check_fails_is_named_and_the_others_are_checked(
        self, monkeypatch
    ):
        def explain(document, schemas):
            raise KeyError(document.path)

        files = edited(LAST_VISIT, "by:", "bye:") | {"tasks/odd.yaml": "title: 1\n"}
        monkeypatch.setattr("ledger.files.schema_explain.explain", explain)
        faults = [one for one in found_in(files) if one.rule == "program-fault"]
        assert [one.position.path for one in faults] == [LAST_VISIT, "tasks/odd.yaml"]
        assert all("KeyError" in one.message for one in faults)

    def test_everything_wrong_is_said_in_reading_order_and_once(self):
        files = texts_below(SOUND)
        for folder in CASES.iterdir():
            if folder.is_dir():
                files |= texts_below(folder)
        found = found_in(files)
        assert list(found) == sorted(found, key=lambda d: (d.position, d.rule, d.message))
        assert len(set(found)) == len(found)

    def test_progress_is_told_for_every_file(self):
        told = []
        load(DiskTree(SOUND), lambda done, total: told.append((done, total)))
        assert told == [(number, 12) for number in range(1, 13)]

    def test_a_folder_without_a_site_says_so(self, tmp_path):
        loaded = load(DiskTree(tmp_path))
        assert loaded.ledger is None
        assert [one.rule for one in check(loaded, AS_OF)] == ["missing-file"]


class TestBook:
    def test_the_committed_book_of_the_example_is_current(self):
        for path, text in book_files(example_ledger(), EXAMPLE_DAY).items():
            committed = (EXAMPLE / "book" / path).read_text(encoding="utf-8")
            assert committed == text, f"book/{path} is stale: tunnelbook build example_site --as-of {EXAMPLE_DAY}"  # fmt: skip

    @pytest.mark.parametrize("seed", ["0", "1", "4242"])
    def test_another_process_with_another_order_of_sets_writes_the_same_bytes(
        self, tmp_path, seed, book
    ):
        program = (
            "import sys\nfrom datetime import date\nfrom pathlib import Path\n"
            "from ledger.site.pipeline import load\nfrom ledger.site.rendering import book_files\n"
            "from ledger.files.tree import DiskTree\n"
            "for path, text in book_files(load(DiskTree(Path(sys.argv[1]))).ledger, date(2026, 12, 1), html=True).items():\n"
            "    place = Path(sys.argv[2], path)\n    place.parent.mkdir(parents=True, exist_ok=True)\n"
            "    place.write_bytes(text.encode())\n"
        )
        subprocess.run(
            [sys.executable, "-c", program, str(SOUND), str(tmp_path)],
            env={**os.environ, "PYTHONHASHSEED": seed, "TZ": "Pacific/Kiritimati", "LC_ALL": "C"},
            check=True,
        )
        written = {p.relative_to(tmp_path).as_posix(): p.read_text(encoding="utf-8") for p in tmp_path.rglob("*.*")}  # fmt: skip
        assert written == book

    def test_the_order_in_which_files_are_found_changes_nothing(self, book):
        backwards = dict(reversed(texts_below(SOUND).items()))
        assert book_files(ledger_in(backwards), AS_OF, html=True) == book

    def test_no_page_for_a_browser_shows_the_marker_as_text(self, book):
        pages = {path: text for path, text in book.items() if path.endswith(".html")}
        assert "html/index.html" in pages
        for path, text in pages.items():
            assert "&lt;!--" not in text, path

    @settings(max_examples=examples(20))
    @given(st.integers(1, 1000))
    def test_another_day_changes_only_pages_that_say_which_day(self, days):
        ledger = ledger_in(texts_below(SOUND))
        of_the_day = {page.path for page in Book(ledger, AS_OF).pages() if page.as_of}
        assert of_the_day == {"README.md", "due.md", "lockout.md", "in-time.md"}
        now, later = book_files(ledger, AS_OF), book_files(ledger, AS_OF + timedelta(days=days))
        changed = {path for path in now | later if now.get(path) != later.get(path)}
        assert "due.md" in changed
        assert changed <= of_the_day | {"plots/in-time.svg"}
        for path in of_the_day:
            assert f"As of {AS_OF}" in now[path]

    def test_the_mark_of_the_program_is_a_comment_and_never_shown(self, book):
        assert book["README.md"].startswith("<!-- Rendered by ")
        assert not [path for path, text in book.items() if "&lt;!--" in text]

    def test_a_page_says_its_day_only_where_it_depends_on_it(self, book):
        saying = {path for path, text in book.items() if path.endswith(".md") and "As of " in text}
        assert saying == {"README.md", "due.md", "lockout.md", "in-time.md"}

    def test_a_visit_changes_the_pages_it_is_about_and_no_others_on_disk(self, tmp_path):
        write_files(tmp_path, book_files(ledger_in(texts_below(SOUND)), AS_OF))
        before = {path: path.stat().st_mtime_ns for path in tmp_path.rglob("*.*")}
        noted = edited(LAST_VISIT, "note: New fitting.", "note: New fitting and cap.")
        result = write_files(tmp_path, book_files(ledger_in(noted), AS_OF))
        touched = {p.relative_to(tmp_path).as_posix() for p, at in before.items() if p.stat().st_mtime_ns != at}  # fmt: skip
        assert touched == {"findings.md", "machines/low-brush.md"}
        assert set(result.written) == touched


MARKDOWN = MarkdownIt("commonmark").enable("table")
HOSTILE = st.lists(
    st.sampled_from([*"|\\`*_[]()<>#~-+!&;:=\"'/ \t\u00a0\u200bé9.", "\n", "<script>", "|---|", "](x)", "&amp;", "```"]),
    min_size=1, max_size=30,
).map("".join).filter(str.strip)  # fmt: skip


def tables_of(text):
    """For each table the count of cells in each of its rows, as a reader of Markdown sees them."""
    found = []
    for token in MARKDOWN.parse(text):
        if token.type == "table_open":
            found.append([])
        elif token.type == "tr_open":
            found[-1].append(0)
        elif token.type in {"td_open", "th_open"}:
            found[-1][-1] += 1
    return found


@cache
def plain_book():
    return book_files(ledger_in(texts_below(SOUND)), AS_OF)


@settings(max_examples=examples(40))
@given(HOSTILE)
def test_tables_stay_tables_whatever_the_notes_contain(words):
    quoted = json.dumps(words)
    files = edited(LAST_VISIT, "note: New fitting.", f"note: {quoted}")
    files["equipment/low-brush.yaml"] = files["equipment/low-brush.yaml"].replace("name: Low brush", f"name: {quoted}").replace("shaft-bearing: {kind", f"shaft-bearing: {{name: {quoted}, kind")  # fmt: skip
    files["setpoints/low-brush.yaml"] = files["setpoints/low-brush.yaml"].replace("why: Commissioned.", f"why: {quoted}")  # fmt: skip
    plain = plain_book()
    hostile = book_files(ledger_in(files), AS_OF)
    for path in (
        "machines/low-brush.md",
        "setpoints.md",
        "speeds.md",
        "due.md",
        "findings.md",
        "README.md",
    ):
        assert tables_of(hostile[path]) == tables_of(plain[path]), path
        assert not any(
            token.type.startswith("html")
            for token in MARKDOWN.parse(hostile[path].partition("\n")[2])
        ), path

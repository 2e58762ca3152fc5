"""What is kept of single machines never says what the files no longer say."""

from collections import Counter
from dataclasses import replace
from datetime import date, timedelta

import pytest
from campaign import examples
from example import example_pages
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sound_site import AS_OF, SOUND, Files, texts_below
from store_traps import EDITS, NEW_VISITS, TACHOMETER, drawn_visit

from ledger.book import markdown
from ledger.book.plain import KeptPlot, from_text, to_text
from ledger.files.book_files import KeptFile
from ledger.files.survey import content_hash
from ledger.model.ledger import known_on
from ledger.model.noted_day import Noted, NotedDay
from ledger.site.parts import Store
from ledger.site.pipeline import load
from ledger.site.rendering import book_files, book_files_by


class Site:
    """A site in memory with what a build of it keeps."""

    def __init__(self) -> None:
        self.files = {**texts_below(SOUND), "instruments/tachometer-1.yaml": TACHOMETER}
        self.kept: dict[str, str] = {}
        self.day = AS_OF
        self.how = Counter[str]()

    def build(self) -> None:
        """Hold each file of the book to that of a build without what was kept."""
        loaded = load(Files(self.files))
        ledger = loaded.ledger
        if ledger is None or loaded.has_errors or known_on(ledger, self.day) is not ledger:
            return
        store = Store(program="", kept=dict(self.kept), new={})
        found = book_files_by(store, ledger, self.day)
        self.kept |= store.new
        wanted = book_files(ledger, self.day)
        assert found.keys() == wanted.keys()
        for path, file in found.items():
            is_kept = isinstance(file, KeptFile)
            self.how["kept" if is_kept else "made"] += 1
            if is_kept:
                assert file.hash == content_hash(wanted[path].encode()), path
            else:
                assert file.decode() == wanted[path]


def edit(number):
    path, old, new = EDITS[number % len(EDITS)]

    def turn(site):
        text = site.files.get(path, "")
        there = old if old in text else new
        site.files[path] = text.replace(there, new if there == old else old, 1)

    return turn


def come_or_go(path, text):
    def turn(site):
        if site.files.pop(path, None) is None:
            site.files[path] = text

    return turn


def another_day(days):
    def turn(site):
        site.day += timedelta(days=days)

    return turn


CHANGES = [
    *map(edit, range(len(EDITS))),
    *(come_or_go(path, text) for path, text in NEW_VISITS.items()),
    *(another_day(days) for days in (1, 9, 31, -1, -8)),
]
ANY_CHANGE = st.one_of(
    st.sampled_from(CHANGES),
    st.integers(0, 10_000).map(lambda number: come_or_go(*drawn_visit(number))),
)


@settings(max_examples=examples(40), deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(ANY_CHANGE, min_size=1, max_size=6))
def test_whatever_changes_each_file_is_that_of_a_build_from_nothing(changes):
    site = Site()
    site.build()
    for change in changes:
        change(site)
        site.build()


@pytest.mark.parametrize("number", range(len(CHANGES)))
def test_each_change_alone_and_taken_back(number):
    site = Site()
    site.build()
    for _ in range(2):
        CHANGES[number](site)
        site.build()


def test_a_visit_at_one_machine_leaves_the_pages_of_the_others():
    site = Site()
    site.build()
    before = dict(site.kept)
    come_or_go(
        "observations/2026/11/2026-11-30T0700-d-fenwold.yaml",
        "at: 2026-11-30T07:00\nby: d-fenwold\nentries:\n"
        "  - {task: check-speed, at: low-brush, turns: 70, seconds: 50}\n",
    )(site)
    site.build()
    changed = {name for name, text in site.kept.items() if before.get(name) != text}
    assert {name for name in changed if name.startswith("files machine")} == {
        "files machine low-brush"
    }
    assert site.how["kept"] > 0


def test_blocks_are_the_same_once_kept():
    """But for what their pictures show, which lies in files of its own."""
    for page in example_pages().values():
        again = from_text(to_text(list(page.blocks)))
        assert markdown.render(replace(page, blocks=again)) == markdown.render(page)
        assert to_text(again) == to_text(list(page.blocks))
        assert not any(
            type(block).__name__ == "Picture" and not isinstance(block.plot, KeptPlot)
            for block in again
        )


DAYS = st.dates(date(2026, 1, 1), date(2026, 3, 1))

QUESTIONS = (
    lambda day, other: day < other,
    lambda day, other: day <= other,
    lambda day, other: other < day,
    lambda day, other: other >= day,
    lambda day, other: day == other,
    lambda day, other: other != day,
    lambda day, other: max(other, day).isoformat() if other > day else "other",
    lambda day, other: day + timedelta(days=30) > other,
    lambda day, other: other - timedelta(days=9) < day - timedelta(days=3),
    lambda day, other: (day - other).days,
    lambda day, other: (other - day).days,
    lambda day, other: timedelta(days=2) + day == other,
    lambda day, other: day.year + other.year,
    lambda day, other: (day.month, day.day),
    lambda day, other: f"{day:%d} {day}",
    lambda day, other: hash(day) == hash(other),
    lambda day, other: min([other, day]) == other,
    lambda day, other: day + timedelta(days=1) > day,
    lambda day, other: day.replace(day=1) < other,
    lambda day, other: day.toordinal() % 7,
)


@given(DAYS, st.lists(st.tuples(st.sampled_from(QUESTIONS), DAYS), max_size=6), DAYS)
def test_a_noted_day_answers_as_the_day_does_and_says_where_that_holds(day, asked, another):
    noted = Noted()
    asked_of = NotedDay(day, noted)
    answers = [ask(asked_of, other) for ask, other in asked]
    assert answers == [ask(day, other) for ask, other in asked]
    assert noted.first <= day.toordinal() <= noted.last
    if noted.first <= another.toordinal() <= noted.last:
        assert answers == [ask(another, other) for ask, other in asked]

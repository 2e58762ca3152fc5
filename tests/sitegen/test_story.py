"""The example site's visits are those that the generator draws, and the few typed by hand."""

import re
from collections import Counter
from datetime import date
from pathlib import Path

import pytest
from pinned_clock import pinned_clock
from sitegen.story import example_visits

from ledger.cli.command import open_site
from ledger.site.pipeline import check

EXAMPLE = Path(__file__).resolve().parents[2] / "example_site"
BY_HAND = frozenset(
    {
        "observations/2026/07/2026-07-14T1620-t-varrick.yaml",
        "observations/2026/10/2026-10-08T1335-j-holmquill.yaml",
    }
)


@pytest.fixture(scope="module")
def drawn():
    return example_visits(EXAMPLE)


def test_drawn_visits_are_committed_byte_for_byte(drawn):
    differing = [
        path
        for path, text in drawn.items()
        if not (EXAMPLE / path).is_file() or (EXAMPLE / path).read_bytes() != text.encode()
    ]
    assert differing == [], "draw them anew: PYTHONPATH=tests python -m sitegen example"


def test_every_other_visit_is_one_typed_by_hand(drawn):
    committed = {
        path.relative_to(EXAMPLE).as_posix()
        for path in (EXAMPLE / "observations").rglob("*")
        if path.is_file()
    }
    assert committed - set(drawn) == BY_HAND


def test_drawing_twice_gives_the_same(drawn):
    assert example_visits(EXAMPLE) == drawn


def test_every_visit_named_in_the_readme_exists(drawn):
    named = re.findall(r"`(20\d\d-\d\d-\d\dT\d{4}-[a-z-]+)`", (EXAMPLE / "README.md").read_text())
    known = {Path(path).stem for path in {*drawn, *BY_HAND}}
    assert len(named) > 15
    assert set(named) <= known


def test_the_check_warns_of_what_the_readme_tells_and_no_more():
    site = open_site(EXAMPLE, date(2026, 11, 25), pinned_clock)
    found = check(site.loaded, site.as_of)
    assert Counter(diagnostic.rule for diagnostic in found) == {
        "count-too-short": 6,
        "found-differs": 1,
        "turns-wrong-way": 1,
        "not-qualified": 1,
    }

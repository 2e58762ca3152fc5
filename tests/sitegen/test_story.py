"""The example site's visits are those that the generator draws, and the few typed by hand."""

import re
from pathlib import Path

import pytest
from example import EXAMPLE
from sitegen.story import example_visits

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

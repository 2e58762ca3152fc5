"""What one more visit alters in the book: a few lines, and nothing of a closed year."""

import difflib
from functools import cache

import pytest
from example import EXAMPLE, EXAMPLE_DAY, example_ledger
from sound_site import ledger_in, texts_below

from ledger.site.rendering import book_files

MOST_FILES = 14
MOST_LINES = 120
"""Of the example's book, by one reading of one brush."""


@cache
def book_before() -> dict[str, str]:
    return book_files(example_ledger(), EXAMPLE_DAY)


def altered(visit: str, *entries: str) -> dict[str, int]:
    """Files of the example's book that a visit alters, each with its lines added and removed."""
    by, moment = visit[16:], f"{visit[:13]}:{visit[13:15]}"
    text = f"at: {moment}\nby: {by}\nentries:\n" + "".join(f"  - {{{one}}}\n" for one in entries)
    path = f"observations/{visit[:4]}/{visit[5:7]}/{visit}.yaml"
    before = book_before()
    after = book_files(ledger_in({**texts_below(EXAMPLE), path: text}), EXAMPLE_DAY)
    return {
        path: _lines_altered(before.get(path, ""), after.get(path, ""))
        for path in before.keys() | after.keys()
        if before.get(path) != after.get(path)
    }


def _lines_altered(before: str, after: str) -> int:
    diff = difflib.unified_diff(before.splitlines(), after.splitlines(), n=0, lineterm="")
    return sum(not line.startswith("@@") for line in list(diff)[2:])


@pytest.mark.parametrize(
    ("brush", "counted", "hz"),
    [("brush-p2", 45, 42.5), ("buffer", 45, 47.5)],
)
def test_one_reading_of_one_brush_alters_a_few_lines(brush, counted, hz):
    found = altered(
        "2026-11-25T0640-m-osterby",
        f"task: check-brush-speed, at: {brush}, counted: {counted}, seconds: 30, found_hz: {hz}",
    )
    assert f"plots/speed-{brush}.svg" in found, "it was filed"
    assert (len(found) <= MOST_FILES, sum(found.values()) <= MOST_LINES) == (True, True), found
    assert "setpoints.md" not in found
    assert not [path for path in found if "2025" in path]


def test_a_late_visit_alters_its_own_year_and_leaves_the_present_history():
    found = altered(
        "2025-12-30T0700-m-osterby",
        "finding: a strip came loose, at: brush-p2/cloth, urgency: planned",
    )
    assert [path for path in found if "2025" in path] == ["machines/brush-p2/2025.md"]
    assert found["machines/brush-p2.md"] == 1, "the open finding"

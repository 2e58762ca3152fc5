"""A file with thousands of faults: the first of each kind are told, the others counted, in little time.

Time is not measured here: what is held is that a short document is explained.
"""

import pytest

from ledger.files import schema_explain
from ledger.files.diagnostics import MOST_OF_A_KIND, count_of
from ledger.files.paths import Kind
from ledger.files.schemas import check_document

HEAD = "at: 2026-11-17T06:40\nby: m-tarrow\nentries:\n"
GOOD = "- {task: check-brush-speed, at: brush-p2, counted: 38, seconds: 30}\n"
MANY = 1500


@pytest.fixture
def explained_sizes(monkeypatch):
    """How many items or keys the longest collection has that is explained."""
    sizes = []
    real = schema_explain.errors_of

    def watched(value, *rest):
        parts = value.values() if isinstance(value, dict) else value
        sizes.extend(len(part) for part in (value, *parts) if isinstance(part, list | dict))
        return real(value, *rest)

    monkeypatch.setattr(schema_explain, "errors_of", watched)
    return sizes


@pytest.mark.parametrize(
    ("entry", "rule"),
    [
        ("- {task: a, at: b, counted: x, seconds: 30}\n", "wrong-type"),
        ("- {task: a, at: b, counted: 38, secnds: 30}\n", "unknown-key"),
        ("- {foo: 1}\n", "unknown-key"),
        ("- 5\n", "wrong-type"),
        ("- {finding: dry, at: b, urgency: x}\n", "not-allowed-value"),
    ],
)
def test_many_entries_at_fault(read, explained_sizes, entry, rule):
    found = check_document(read(HEAD + GOOD + entry * MANY))
    assert sum(one.rule == rule for one in found) == MOST_OF_A_KIND
    (others,) = [one for one in found if one.rule == "more-at-fault"]
    assert others.more == MANY - MOST_OF_A_KIND
    assert others.message == f"and {MANY - 10:,} more like the ones above in this file"
    # The line of the first that is not told: three lines of head, one good entry, ten told.
    assert (others.position.line, others.is_error) == (3 + 1 + 10 + 1, True)
    too_long = [one for one in found if f"has {MANY + 1} items" in one.message]
    assert [(one.rule, one.position.line) for one in too_long] == [("wrong-length", 4)]
    assert count_of(found) >= MANY
    assert max(explained_sizes) < 20


def test_a_list_that_is_only_too_long(read, explained_sizes):
    (found,) = check_document(read(HEAD + GOOD * MANY))
    assert (found.rule, found.message, found.expected) == ("wrong-length", f"`entries` has {MANY} items", "at most 200")  # fmt: skip
    assert max(explained_sizes, default=0) < 20


def test_the_faults_beside_a_long_list_are_told_too(read):
    found = check_document(read("at: never\nfoo: 1\nby: 7\nentries:\n" + GOOD * 30 + "- {foo: 1}\n" + GOOD * 30))  # fmt: skip
    assert {(one.rule, one.position.line) for one in found} >= {("bad-format", 1), ("unknown-key", 2), ("wrong-type", 3), ("unknown-key", 35)}  # fmt: skip


def test_many_unknown_keys(read, explained_sizes):
    text = HEAD + GOOD + "".join(f"k{number}: 1\n" for number in range(MANY))
    found = check_document(read(text))
    assert [one.rule for one in found] == ["unknown-key"] * (MOST_OF_A_KIND + 1)
    assert found[-1].more == MANY - MOST_OF_A_KIND
    assert found[-1].source_line == "k10: 1"
    assert max(explained_sizes) < 20


def test_many_faults_in_a_mapping_of_names(read, explained_sizes):
    points = "".join(f"  p{number}: {{kind: no-such}}\n" for number in range(MANY))
    good = "".join(f"  g{number}: {{kind: nozzle}}\n" for number in range(MANY))
    text = f"name: Brush\nkind: side-brush\nstation: 1\npoints:\n{good}{points}"
    found = check_document(read(text, Kind.MACHINE))
    assert sum(one.rule == "not-allowed-value" for one in found) == MOST_OF_A_KIND
    assert [one.more for one in found if one.more] == [MANY - MOST_OF_A_KIND]
    assert max(explained_sizes) < 30


def test_many_settings_at_fault(read, explained_sizes):
    found = check_document(read("- {hz: x}\n" * MANY, Kind.SETPOINTS))
    more = {one.rule: one.more for one in found if one.more}
    # Each of the ten that are explained lacks four keys.
    assert more == {"missing-key": 4 * 10 - 10, "more-at-fault": MANY - 10}
    assert max(explained_sizes) < 20

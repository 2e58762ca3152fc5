"""Which words of a log say that work was done."""

import pytest

from ledger.files.schemas import BASE_URI, shipped_schemas
from ledger.filing.import_map import Condition, read_map


def condition(only_if: str, fields: str = "task: {always: grease}") -> Condition:
    by_map, found = read_map(
        "map.yaml",
        'when: {columns: [D], written: "%Y", time: "06:00"}\nby: T\n'
        f"entries: [{{only_if: {only_if}, fields: {{{fields}}}}}]\n".encode(),
    )
    assert found == ()
    assert by_map is not None
    (entry,) = by_map.entries
    assert entry.only_if is not None
    return entry.only_if


@pytest.mark.parametrize(
    ("word", "meaning"),
    [
        *(
            (word, True)
            for word in ("yes", "Y", "X", "Done", "Complete", "OK", "1", "1.0", "TRUE", "✓", "✔️")
        ),
        *(
            (word, False)
            for word in ("", "no", "N", "-", "–", "0", "0.0", "FALSE", "n/a", "Skipped", "☐")
        ),
        *((word, None) for word in ("later", "2", "?", "yes and no", "✗", "ja", "x?")),
    ],
)
def test_a_tick(word, meaning):
    assert condition("Greased").meaning(word) is meaning


@pytest.mark.parametrize(
    ("fields", "word", "meaning"),
    [
        ("counted: C", "38", True),
        ("counted: C", "many", True),  # refused later, as no whole number
        ("counted: C", "-", False),
        ("temperature_c: C", "0", True),
        ("temperature_c: C", "0.0", True),
        # No strokes of grease are no greasing.
        ("task: {always: grease}, strokes: C", "0", False),
        ("task: {always: grease}, strokes: C", "0.0", False),
        ("task: {always: grease}, strokes: C", "2", True),
        # What was remarked does not say whether it was done.
        ("task: {always: grease}, note: C", "tomorrow", None),
        ("task: {always: grease}, note: C", "done", True),
        ("outcome: {column: C, words: {No: not-done}}", "no", True),
    ],
)
def test_a_column_that_is_read_too(fields, word, meaning):
    assert condition("C", fields).meaning(word) is meaning


@pytest.mark.parametrize(
    ("told", "word", "meaning"),
    [
        ("yes: [Lubed, 2]", "lubed", True),
        ("yes: [Lubed, 2]", "2", True),
        ("yes: [Lubed]", "x", True),
        ("yes: [-]", "-", True),
        ("no: [x, true]", "X", False),
        ("no: [x, true]", "True", False),
        ("no: [x]", "done", True),
        ("others: yes", "later", True),
        ("others: yes", "no", False),
        ("others: no", "later", False),
        ("others: no", "x", True),
        ("others: refused", "later", None),
    ],
)
def test_the_map_has_the_last_word(told, word, meaning):
    assert condition(f"{{column: C, {told}}}").meaning(word) is meaning


def test_the_reference_tells_the_words():
    """Every word that the field reference lists as a yes or a no is one, and no other is."""
    common = shipped_schemas().by_uri[f"{BASE_URI}common.schema.json"]
    described = common["$defs"]["condition"]["description"]
    yes, no = described.split("These mean no")
    usual = condition("C")
    assert set(yes.split("`")[1::2]) == usual.yes
    assert {"", *no.split("`")[1::2]} == usual.no

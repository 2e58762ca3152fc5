"""A visit read line by line has the value that it has as a whole, or is read as a whole."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.files.yaml_fast import MAX_DEPTH, RefusedError, _accept_whole, _by_line

VISITS = [
    path.read_text(encoding="utf-8")
    for path in sorted((Path(__file__).parents[2] / "example_site/observations").rglob("*.yaml"))
]
PIECES = (
    " ", "  ", "\n", "\n  ", "#", " #", ": ", ":", "-", "- ", "{", "}", "[", "]", ",", '"', "'", "|", ">",
    "?", "&a ", "*a", "!t ", "...", "---", "%", "\n\n", "entries:\n", "at: ", "<<: ", "0123", "~", "é",
    "\nentries:\n", "x: |\n", "}\n", "  - {a: 1}\n",
)  # fmt: skip


def held_to_the_whole(text):
    value = _by_line(text)
    if value is not None:
        assert value == _accept_whole(text)
        assert list(value) == list(_accept_whole(text))
    return value


def test_most_visits_are_read_by_line():
    read = [text for text in VISITS if held_to_the_whole(text) is not None]
    assert len(read) > len(VISITS) / 2


def test_what_is_refused_as_a_whole_is_not_read_by_line_in_a_comment():
    assert _by_line("# a ?b\nat: 2026-11-03T06:40\nentries:\n  - {task: look-over}\n") is None


@given(st.data())
def test_a_visit_with_pieces_put_in_or_taken_out(data):
    text = data.draw(st.sampled_from(VISITS))
    for _ in range(data.draw(st.integers(1, 4))):
        start = data.draw(st.integers(0, len(text)))
        end = min(len(text), start + data.draw(st.integers(0, 3)))
        text = text[:start] + data.draw(st.sampled_from(PIECES)) + text[end:]
    try:
        held_to_the_whole(text)
    except RefusedError:
        pytest.fail("read by line what is refused as a whole")


PLAIN = st.text("aZ09 _./-", min_size=1, max_size=6) | st.sampled_from(
    ["null", "Null", "true", "0123", "0x1F", "1e3", "1.", ".5", "-1", "12 .", "a - b", "no", "1_0"]
)


@given(st.dictionaries(st.sampled_from(["a", "a_b", "null", "true", "_a"]), PLAIN, max_size=3))
def test_an_entry_of_plain_words(words):
    entry = ", ".join(f"{key}: {word}" for key, word in words.items())
    text = f"at: 2026-11-03T06:40\nentries:\n  - {{{entry}}}\n"
    try:
        whole = _accept_whole(text)
    except RefusedError:
        whole = None
    assert repr(_by_line(text)) == repr(whole)


@pytest.mark.parametrize("depth", [MAX_DEPTH - 3, MAX_DEPTH - 2, MAX_DEPTH - 1])
def test_the_depth_counts_as_in_the_whole(depth):
    text = "at: 2026-11-03T06:40\nentries:\n  - {a: " + "[" * depth + "]" * depth + "}\n"
    try:
        whole = _accept_whole(text)
    except RefusedError:
        whole = None
    assert _by_line(text) == whole


@pytest.mark.parametrize(
    "head",
    [
        "by: a\nby: b",
        "by: |\n  a",
        "by: a\n  b",
        "entries: 1",
        "- a",
        "by: 'a\nwith: b'",
        "{by: a}",
    ],
)
def test_what_takes_more_than_a_line_is_read_as_a_whole(head):
    assert _by_line(f"{head}\nentries:\n  - {{a: 1}}\n") is None

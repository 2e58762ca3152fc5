"""Emitted text means what was put in, read back by the library that the ledger explains with."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from ruamel.yaml import YAML
from sitegen.emit import entry_lines, scalar, visit_text


def read(text: str):
    return YAML(typ="safe", pure=True).load(text)


@pytest.mark.parametrize(
    ("value", "written"),
    [
        ("brush-p2/damper", "brush-p2/damper"),
        ("2026-11-23T0640-m-osterby#2", "2026-11-23T0640-m-osterby#2"),
        ("2026-11-23T06:40", "2026-11-23T06:40"),
        ("yes", '"yes"'),
        ("12", '"12"'),
        ("a, b", '"a, b"'),
        ("a: b", '"a: b"'),
        ("a #b", '"a #b"'),
        (44.0, "44.0"),
        (30, "30"),
        (True, "true"),
    ],
)
def test_scalars_are_quoted_only_where_they_must_be(value, written):
    assert scalar(value) == written


text_of_one_line = st.text(
    st.characters(min_codepoint=32, max_codepoint=0x2FF, exclude_categories=["Cc"]), min_size=1
)


@given(
    st.dictionaries(st.sampled_from(["note", "at", "reason", "task"]), text_of_one_line, min_size=1)
)
def test_an_entry_reads_back_as_it_was(entry):
    assert read("\n".join(entry_lines(entry)))[0] == entry


def test_a_long_entry_takes_a_line_for_each_key():
    lines = entry_lines({"task": "look", "note": "word " * 40 + "end"})
    assert lines[0] == "  - task: look"
    assert lines[1].startswith("    note: word")


def test_a_visit_begins_with_the_modeline():
    text = visit_text({"at": "2026-11-23T06:40", "entries": [{"task": "look"}]}, schema="x.json")
    assert text.splitlines() == [
        "# yaml-language-server: $schema=x.json",
        "at: 2026-11-23T06:40",
        "entries:",
        "  - {task: look}",
    ]

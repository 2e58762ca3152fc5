"""A proposal is put into a person's file: every byte of theirs stays, where and as it was."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.files.paths import Kind, Source
from ledger.files.reading import parse_document
from ledger.upkeep.tuning.proposal_file import appended, insertion, new_file

CHANGE = {
    "from": "2026-12-01",
    "hz": 43.5,
    "line_rate_per_h": 110,
    "why": "Near the bottom: count again.",
    "evidence": ["2026-11-19T0920-m-osterby#3", "2026-11-19T0920-m-osterby~2#1"],
    "proposed_by": "m-osterby",
    "proposed_on": "2026-11-30",
}
ITEM = """\
- from: 2026-12-01
  hz: 43.5
  line_rate_per_h: 110
  why: 'Near the bottom: count again.'
  evidence: [2026-11-19T0920-m-osterby#3, 2026-11-19T0920-m-osterby~2#1]
  proposed_by: m-osterby
  proposed_on: 2026-11-30
"""
OLD = """\
- from: 2026-01-05
  hz: 45
  line_rate_per_h: 110
  why: Taken over.   # from the card
  proposed_by: a-holt
"""


def value_of(raw: bytes):
    source = Source(kind=Kind.SETPOINTS, path="setpoints/brush.yaml", ident="brush")
    document, diagnostics = parse_document(source, raw)
    assert not diagnostics
    return document.value


def indented(text: str, spaces: int) -> str:
    return "".join(" " * spaces + line for line in text.splitlines(keepends=True))


LAYOUTS = [
    pytest.param(OLD, OLD + ITEM, id="block list"),
    pytest.param(OLD.rstrip("\n"), OLD + ITEM, id="no line end at the end"),
    pytest.param(OLD + "# look again in May\n", OLD + "# look again in May\n" + ITEM, id="last line a comment"),
    pytest.param("# top\n\n" + OLD + "\n\n", "# top\n\n" + OLD + "\n\n" + ITEM, id="blank lines"),
    pytest.param("\ufeff" + OLD, "\ufeff" + OLD + ITEM, id="byte order mark"),
    pytest.param("---\n" + OLD + "...\n", "---\n" + OLD + ITEM + "...\n", id="document marks"),
    pytest.param(
        indented(OLD, 2), indented(OLD, 2) + indented(ITEM, 2), id="dash indented"
    ),
    pytest.param(
        OLD.replace("\n  ", "\n    ").replace("- ", "-   "),
        OLD.replace("\n  ", "\n    ").replace("- ", "-   ") + ITEM.replace("\n  ", "\n    ").replace("- f", "-   f"),
        id="keys further in",
    ),
    pytest.param(
        OLD.replace("\n", "\r\n"), (OLD + ITEM).replace("\n", "\r\n"), id="CRLF"
    ),
    pytest.param(
        "- {from: 2026-01-05, hz: 45, line_rate_per_h: 110, why: ü, proposed_by: a-holt}\n",
        "- {from: 2026-01-05, hz: 45, line_rate_per_h: 110, why: ü, proposed_by: a-holt}\n" + ITEM,
        id="items in braces",
    ),
    pytest.param(
        OLD + "  withdrawn: |\n    Two lines,\n    as typed.\n",
        OLD + "  withdrawn: |\n    Two lines,\n    as typed.\n" + ITEM,
        id="block text at the end",
    ),
    pytest.param(
        '[{"from": "2026-01-05", "hz": 45, "why": "ü ]"}, # one\n]\n',
        '[{"from": "2026-01-05", "hz": 45, "why": "ü ]"},\n  ' + json.dumps(CHANGE) + ", # one\n]\n",
        id="list in brackets with a comma at the end",
    ),
    pytest.param(
        '# ü\r\n[{"from": "2026-01-05", "hz": 45}]\r\n',
        '# ü\r\n[{"from": "2026-01-05", "hz": 45},\r\n  ' + json.dumps(CHANGE) + "]\r\n",
        id="list in brackets, CRLF",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("old", "wanted"), LAYOUTS)
def test_the_layout_of_the_file_is_kept(old, wanted):
    assert appended(old.encode(), CHANGE, "brush").decode() == wanted


@pytest.mark.parametrize(("old", "wanted"), LAYOUTS)
def test_every_old_byte_stays_in_its_order(old, wanted):
    raw = old.encode()
    at, item = insertion(raw, CHANGE)
    new = appended(raw, CHANGE, "brush")
    assert new[:at] == raw[:at]
    assert new[at : at + len(item)] == item
    assert new[at + len(item) :] == raw[at:]
    assert value_of(new) == [*value_of(raw), CHANGE]


def test_where_the_end_belongs_to_a_text_that_keeps_its_line_ends_it_is_refused():
    """A line end added to such a text would change what the older change says."""
    old = OLD + "  withdrawn: |+\n    Kept as typed."
    with pytest.raises(ValueError, match="without touching it"):
        appended(old.encode(), CHANGE, "brush")


def test_a_new_file_leads_editors_to_the_schema():
    text = new_file(CHANGE, "../.schemas/setpoints.schema.json").decode()
    assert text == "# yaml-language-server: $schema=../.schemas/setpoints.schema.json\n" + ITEM


LINES = (
    st.text(
        st.characters(codec="utf-8", exclude_categories=("Cc", "Cs", "Zl", "Zp", "Cn", "Cf")),
        min_size=1,
        max_size=60,
    )
    .map(lambda text: " ".join(text.split()))
    .filter(bool)
)


@given(
    why=LINES,
    comment=st.text(
        st.characters(min_codepoint=32, max_codepoint=0x24F, exclude_categories=("Cc",))
    ),
    crlf=st.booleans(),
    indent=st.integers(0, 6),
    flow=st.booleans(),
)
def test_whatever_is_typed_reads_back(why, comment, crlf, indent, flow):
    body = '[{hz: 45, why: "a, ] }"}]\n' if flow else indented(OLD, indent)
    old = f"# {comment}\n{body}# {comment}"
    raw = (old.replace("\n", "\r\n") if crlf else old).encode()
    new = appended(raw, {**CHANGE, "why": why}, "brush")
    assert value_of(new)[-1]["why"] == why
    assert new.count(b"\n") == new.count(b"\r\n") if crlf else b"\r" not in new

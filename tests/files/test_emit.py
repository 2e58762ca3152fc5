"""Whatever a person types into a visit is read back as typed, or the file is refused."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from ledger.files.yaml_write import visit_text
from ledger.filing.visit_file import faults_of, free_stem, instant_text, visit_file, write_new

PATH = "observations/2026/11/2026-11-23T0640-a-b.yaml"
WORD = st.text(st.characters(codec="utf-8"), min_size=1, max_size=200)
NUMBER = st.one_of(
    st.integers(0, 100), st.floats(0, 100, allow_nan=False).map(lambda value: round(value, 6))
)


def visit(note, **entry):
    return {
        "at": "2026-11-23T06:40",
        "by": "a-b",
        "note": note,
        "entries": [{"task": "look", **entry}],
    }


@given(WORD, WORD, NUMBER)
@example(note="no", line="12:30", strokes=3)
@example(note="---\nby: other", line="}, {finding: x", strokes=0.5)
@example(note="*a", line="&a !tag | > ' \" # :", strokes=1e-6)
@example(note="?", line="?0", strokes=0)
@example(note="tab\there\n\n  indented\n", line="2026-11-23", strokes=0)
def test_a_hostile_text_survives(note, line, strokes):
    """The text is either read back as it was meant, or what is wrong with it is told."""
    meant = visit(note, reason=line[:500], strokes=strokes)
    text = visit_text(meant, "x/visit.schema.json")
    faults = faults_of(PATH, "2026-11-23T0640-a-b", text, meant)
    assert {fault.rule for fault in faults} <= {"control-character"}
    if note.isprintable() and line.isprintable():
        assert not faults


@pytest.mark.parametrize("word", ["", "no", "~", "null", "1e3", "0x1F", "=", "<<", "[a", "a: b"])
def test_words_that_yaml_would_take_for_something_else(word):
    meant = visit(f"{word}.", reason=f"{word} ")
    assert not faults_of(PATH, "x", visit_text(meant, "s"), meant)


def test_a_visit_looks_as_a_person_would_have_typed_it():
    text = visit_text(
        {
            "at": "2026-11-23T06:40",
            "by": "m-osterby",
            "meters": {"vehicles": 184233},
            "entries": [
                {"task": "grease", "at": ["brush-p1", "brush-p2/damper"], "strokes": 3},
                {"at": "brush-p2", "counted": 38, "seconds": 30, "found_hz": 44.0},
            ],
        },
        "../../../.schemas/visit.schema.json",
    )
    assert text == (
        "# yaml-language-server: $schema=../../../.schemas/visit.schema.json\n"
        "at: 2026-11-23T06:40\n"
        "by: m-osterby\n"
        "meters: {vehicles: 184233}\n"
        "entries:\n"
        "  - {task: grease, at: [brush-p1, brush-p2/damper], strokes: 3}\n"
        "  - {at: brush-p2, counted: 38, seconds: 30, found_hz: 44.0}\n"
    )


def test_a_visit_that_breaks_the_schema_says_so(tmp_path):
    (tmp_path / "site.yaml").write_text("format: 1\n")
    made = visit_file(tmp_path, visit("n", strokes=-1), datetime(2026, 11, 23, 6, 40, tzinfo=UTC))
    assert [fault.position.line for fault in made.diagnostics] == [6]


def test_a_second_visit_of_the_minute_takes_a_number(tmp_path):
    assert free_stem(tmp_path, "2026-11-23T0640-a-b") == "2026-11-23T0640-a-b"
    write_new(tmp_path, "2026-11-23T0640-a-b.yaml", "one")
    assert free_stem(tmp_path, "2026-11-23T0640-a-b") == "2026-11-23T0640-a-b~2"
    write_new(tmp_path, "2026-11-23T0640-a-b~2.yaml", "two")
    assert free_stem(tmp_path, "2026-11-23T0640-a-b") == "2026-11-23T0640-a-b~3"


def test_a_file_is_never_written_over(tmp_path):
    write_new(tmp_path, "a/b.yaml", "first")
    with pytest.raises(FileExistsError):
        write_new(tmp_path, "a/b.yaml", "second")
    assert (tmp_path / "a/b.yaml").read_text() == "first"


@pytest.mark.parametrize(
    ("fold", "text"),
    [(0, "2026-11-01T01:30-05:00"), (1, "2026-11-01T01:30-06:00")],
    ids=["summer", "winter"],
)
def test_an_hour_that_comes_twice_says_which(fold, text):
    when = datetime(2026, 11, 1, 1, 30, fold=fold, tzinfo=ZoneInfo("America/Chicago"))
    assert instant_text(when) == text

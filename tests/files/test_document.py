"""A document tells the place of each of its parts."""

import pytest

from ledger.files.diagnostics import Position, Severity
from ledger.files.document import Document
from ledger.files.paths import Kind

TEXT = "at: 2026-11-23T06:40\nentries:\n  - {task: a, strokes: 3}\n  - finding: dry\n"
VISIT = Document(
    kind=Kind.VISIT,
    path="observations/v.yaml",
    ident="v",
    value={"at": "2026-11-23T06:40", "entries": [{"task": "a", "strokes": 3}, {"finding": "dry"}]},
    read=lambda _: TEXT,
)


@pytest.mark.parametrize(
    ("pointer", "key", "place"),
    [
        (("at",), False, (1, 5, 21)),
        (("at",), True, (1, 1, 3)),
        (("entries", 0), False, (3, 5, 0)),
        (("entries", 0, "strokes"), False, (3, 24, 25)),
        (("entries", 0, "strokes"), True, (3, 15, 22)),
        (("entries", 1, "finding"), True, (4, 5, 12)),
        (("entries", 1), True, (4, 5, 0)),
        # What is missing is looked for at what it is missing from.
        (("entries", 0, "seconds"), False, (3, 5, 0)),
        (("entries", 9, "x", "y"), True, (3, 3, 0)),
        ((), False, (1, 1, 0)),
    ],
)
def test_locate(pointer, key, place):
    line, column, end_column = place
    assert VISIT.locate(pointer, key=key) == Position(
        path="observations/v.yaml", line=line, column=column, end_column=end_column
    )


def test_a_diagnostic_carries_its_line():
    found = VISIT.diagnose(
        ("entries", 1, "finding"),
        rule="vague-finding",
        message="says little",
        remedy="say what is wrong",
        severity=Severity.WARNING,
    )
    assert found.source_line == "  - finding: dry"
    assert not found.is_error
    assert str(found.position) == "observations/v.yaml:4:14"

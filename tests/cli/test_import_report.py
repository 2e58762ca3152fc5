"""The report of an import: one line a cause, cut where there are very many."""

from ledger.cli.import_report import lines_text, refusal_lines
from ledger.filing.import_visits import Refusal


def refusal(line: int, cell: str, why: str = "is no number") -> Refusal:
    return Refusal(line=line, columns=("Cars",), cell=cell, why=f"`{cell}` {why}")


def test_the_cells_of_one_cause_stand_together():
    told = list(refusal_lines([refusal(4, "many"), refusal(5, "many"), refusal(9, "few")]))
    assert told == [
        "lines 4, 5, 9: refused: column `Cars`: `many` is no number; likewise `few`",
    ]


def test_causes_and_columns_are_kept_apart():
    other = Refusal(line=4, columns=("Day", "Hour"), cell="x", why="`x` is no number")
    whole = Refusal(line=6, why="2 cells under 3 headings")
    assert list(refusal_lines([refusal(4, "x"), other, refusal(5, "y", "is late"), whole])) == [
        "line 4: refused: column `Cars`: `x` is no number",
        "line 4: refused: columns `Day` and `Hour`: `x` is no number",
        "line 5: refused: column `Cars`: `y` is late",
        "line 6: refused: 2 cells under 3 headings",
    ]


def test_very_many_are_counted():
    assert lines_text(range(2, 102)).endswith(", 40, 41 and 60 more")
    (told,) = refusal_lines(refusal(line, f"word {line}") for line in range(2, 102))
    assert told.endswith(
        "likewise " + ", ".join(f"`word {n}`" for n in range(3, 11)) + " and 91 more"
    )
    *causes, rest = refusal_lines(refusal(line, "x", f"is {line}") for line in range(2, 102))
    assert len(causes) == 50
    assert rest == "and 50 more causes"

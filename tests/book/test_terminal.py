"""Pages as plain text: aligned, folded to the width, without a control character that acts."""

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.book.blocks import (
    Bullets,
    Caution,
    Checklist,
    Code,
    Column,
    Heading,
    Lines,
    Link,
    Page,
    Paragraph,
    Prose,
    Station,
    Strong,
    Table,
    Walk,
    right,
)
from ledger.book.terminal import plain, render, text_width

TABLE = Table((Column("Machine"), right("r/min ± U")), [("Side brush", "76.0 ± 1.7"), ("Low", "8")])

WALK = Walk(
    claim=Strong("Round"),
    exceptions=[Lines("Look", ["At: 10"])],
    alone=[Lines("Stops")],
    stations=[Station("10", Link("Wrap", "machines/wrap.md"), [Lines("Grease", brief="grease")])],
)


def page(*blocks, **rest):
    return Page(path="x.md", title="Speeds", blocks=blocks, **rest)


def test_a_page():
    text = render(
        page(
            Paragraph(("See ", Link("the register", "setpoints.md"), " of ", Strong("44 Hz"), ".")),
            Heading(2, "Read"), TABLE, Caution(["Lock out."]), Bullets(["a", "b"]),
            Checklist(["Grease", Lines("Oil", ["At: Wrap"])]), WALK, Heading(3, "More"), Prose("One *two*.\n\nThree."), Paragraph(Code("x: 1")),
            as_of="As of 2026-12-01.",
        ),
        width=40,
    )  # fmt: skip
    assert text == (
        "Speeds\n======\nAs of 2026-12-01.\n\nSee the register of 44 Hz.\n\nRead\n----\n\n"
        "Machine      r/min ± U\n----------  ----------\nSide brush  76.0 ± 1.7\nLow                  8\n\n"
        "! Lock out.\n\n- a\n- b\n\n[ ] Grease\n[ ] Oil\n    At: Wrap\n\n"
        "[ ] Round\n  [ ] Look\n      At: 10\n[ ] Stops\n10 Wrap\n  [ ] Grease\n\nMore\n\nOne *two*.\n\nThree.\n\nx: 1\n"
    )


def test_lines_between_fences_keep_their_blanks():
    """A comparison of two files tells nothing where its indentation is gone."""
    compared = "```\n at: x\n-  - {at: brush, turns: 80}\n+  - {at: brush, turns: 84}\n```"
    assert compared in render(page(Prose(f"One  two.\n\n{compared}\n\nThree  four.")), width=40)
    assert "One two." in render(page(Prose("One  two.")), width=40)
    assert max(map(len, render(page(Prose(compared)), width=20).splitlines())) <= 20


@given(
    st.lists(st.lists(st.text(st.characters(codec="utf-8"), max_size=40), min_size=2, max_size=2), max_size=4),
    st.integers(40, 120),
)  # fmt: skip
def test_whatever_the_cells_hold_no_line_is_wider_and_no_character_acts(rows, width):
    text = render(page(Table((Column("A"), right("B")), rows)), width)
    for line in text.split("\n"):
        assert text_width(line) <= width, line
        assert not any(unicodedata.category(c) == "Cc" for c in line), line


@pytest.mark.parametrize("word", ["\x1b[31m", "\x07", "\r", "\u202e"])
def test_a_control_character_is_shown_and_does_not_act(word):
    assert word not in plain(f"a{word}b")
    assert plain(f"a{word}b").startswith("a")


def test_wide_letters_take_two_columns():
    assert text_width("漢字") == 4
    assert text_width("é") == text_width("e\u0301") == 1
    lines = render(
        page(Table((Column("A"), Column("B")), [("漢字", "x"), ("ab", "y")])), 60
    ).splitlines()
    # The two rows end in columns that stand under each other.
    assert [text_width(line) for line in lines[-2:]] == [7, 7]


def test_a_column_never_gives_way_below_what_can_be_read():
    wide = Table([Column(str(number)) for number in range(12)], [["word " * 20] * 12])
    text = render(page(wide), 40)
    assert all("word" in line for line in text.splitlines()[5:] if line.strip())


def test_a_table_without_rows_is_its_heading():
    assert render(page(Table((Column("A"), Column("B")), []))).endswith("A  B\n-  -\n")


@pytest.mark.parametrize("width", [40, 60])
@pytest.mark.parametrize("said", ["::error::x", "##vso[task.setvariable]x", "##[error]x"])
def test_no_log_reader_finds_a_command_even_where_a_line_was_broken(said, width):
    """A commit's subject or a finding is typed by anybody, and the review is printed in a job."""
    long = f"{'a' * 39} {said} {'b' * 30}"
    table = Table((Column("A"), Column("B")), [(said, long)])
    text = render(page(Paragraph(long), Bullets([long]), table, Prose(f"```\n{said}\n```")), width)
    assert not any(line.lstrip().startswith("::") for line in text.splitlines())
    assert "##[" not in text
    assert "##vso[" not in text

"""The tunnel as a ruler: who stands beside whom, and what is said beside a name."""

import pytest
from example import example_ledger, example_pages
from small_site import ledger_of, on, visit

from ledger.book.blocks import Heading, Table
from ledger.book.terminal import plain
from ledger.site.pages import Book
from ledger.site.tunnel_strip import tunnel_blocks
from ledger.upkeep.due.found import Schedule


def strips(page):
    heading = ""
    found = {}
    for block in page.blocks:
        if isinstance(block, Heading):
            heading = block.text
        elif isinstance(block, Table) and block.is_strip:
            found[heading] = [tuple(map(plain, row)) for row in block.rows]
    return found


@pytest.fixture(scope="module")
def example_strips():
    return strips(example_pages()["README.md"])


def test_every_machine_stands_once_on_the_strip_in_walking_order(example_strips):
    stations = [
        float(number)
        for area in ("The tunnel, entry to exit", "Plant room")
        for _, numbers, _ in example_strips[area]
        for number in numbers.split(" · ")
    ]
    in_order = sorted(
        example_ledger().machines.values(), key=lambda one: (one.area != "tunnel", one.station)
    )
    assert stations == [machine.station for machine in in_order]


def test_neighbours_on_both_sides_share_a_row(example_strips):
    rows = {numbers: (driver, other) for driver, numbers, other in example_strips["The tunnel, entry to exit"]}  # fmt: skip
    assert rows["70 · 80"] == ("Wrap", "Wrap")
    driver, across = rows["150"]
    assert (driver, across.startswith("Top brush")) == ("", True)


def test_what_there_is_to_say_stands_beside_the_name(example_strips):
    beside = " ".join(
        cell.replace("\N{NO-BREAK SPACE}", " ")
        for rows in example_strips.values()
        for driver, _, other in rows
        for cell in (driver, other)
    )
    for said in ("◆ out of band", "✱ finding, soon", "■ 3 overdue", "↘ slack"):
        assert said in beside


def test_what_is_tied_back_is_told_with_its_day_and_needs_a_decision():
    found = ledger_of([visit(1, {"tied_back": "Arm bent.", "at": "low"})])
    asked = Book(found, on(9)).asked
    strip = tunnel_blocks(found, Schedule(found, on(9)).all_due(), asked, on(9))
    (table,) = (block for block in strip if isinstance(block, Table))
    said = " ".join(plain(cell) for row in table.rows for cell in row).replace(
        "\N{NO-BREAK SPACE}", " "
    )
    assert said.count("⊂ tied back") == 1
    assert f"Low brush ⊂ tied back since {on(1)}" in said
    (decision,) = (one for one in asked if one.matter == "Tied back")
    assert plain(decision.line(found)).endswith(f": Low brush, since {on(1)} 10:00: Arm bent. Before it runs again: guards on, people clear, released by who may. Open until an entry closes {on(1)}T1000-a-holt#1. Due work")  # fmt: skip

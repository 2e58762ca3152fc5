"""The tunnel as a ruler: who stands beside whom, and what is said beside a name."""

import pytest
from example import example_ledger, example_pages

from ledger.book.blocks import Heading, Table
from ledger.book.terminal import plain


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

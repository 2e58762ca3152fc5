"""The full round of the example site as a person meets it in a terminal."""

import pytest
from example import EXAMPLE_DAY, example_ledger

from ledger.cli.walk_list import WalkList
from ledger.model.tasks import When
from ledger.upkeep.due.found import Schedule
from ledger.upkeep.due.rounds import walk_lines


@pytest.fixture(scope="module")
def ledger():
    return example_ledger()


@pytest.fixture(scope="module")
def work(ledger):
    return Schedule(ledger, EXAMPLE_DAY).all_due()


def lines_of(ledger, work, person):
    return walk_lines(work, ledger.site.people[person])


def test_a_line_a_task_with_every_place_that_is_due(ledger, work):
    lines = lines_of(ledger, work, "t-varrick")
    assert len({line.task.ident for line in lines}) == len(lines)
    walk = [one for one in work if one.is_on_the_walk]
    assert sorted(str(one.place) for line in lines for one in line.work) == sorted(
        str(one.place) for one in walk
    )
    assert len(walk) > 4 * len(lines)


def test_the_late_stand_first_then_the_passes_of_the_day(ledger, work):
    lines = lines_of(ledger, work, "t-varrick")
    for is_late in (True, False):
        passes = [one.task.when for one in lines if bool(one.overdue_days) is is_late]
        assert passes == sorted(passes, key=list(When).index)
    assert lines[0].overdue_days
    assert not lines[-1].overdue_days
    assert {one.task.when for one in lines} == set(When)


def test_work_that_a_person_may_not_do_is_left_out(ledger, work):
    assert all(not line.task.lockout for line in lines_of(ledger, work, "k-yelloway"))
    assert any(line.task.lockout for line in lines_of(ledger, work, "t-varrick"))


def test_the_whole_round_fits_a_screen(ledger, work):
    lines = lines_of(ledger, work, "t-varrick")
    shown = WalkList(ledger, lines, EXAMPLE_DAY)
    rows = [*shown.first_screen(), *shown.ways_to_answer()]
    assert len(rows) <= 45
    assert all(len(row) <= 100 for row in rows)
    assert shown.next_screen() == []
    assert "Late" in rows
    strainers = "Clean the strainers: at 30, 340-350, 410, 24 min, lock out, 3 days late"
    assert [row[4:] for row in rows if "strainers" in row] == [strainers]


def test_the_places_of_a_line_stand_with_their_numbers(ledger, work):
    lines = lines_of(ledger, work, "t-varrick")
    nozzles = next(at for at, line in enumerate(lines, 1) if line.task.ident == "look-at-nozzles")
    title, first, *_ = WalkList(ledger, lines, EXAMPLE_DAY).places_of(nozzles)
    assert title == f"{nozzles}  Look at every nozzle"
    assert first.startswith(f"    30 Soak arch: {nozzles}.1 Nozzle 1, {nozzles}.2 Nozzle 2,")
    with pytest.raises(ValueError, match=f"1 to {len(lines)}"):
        WalkList(ledger, lines, EXAMPLE_DAY).places_of(len(lines) + 1)

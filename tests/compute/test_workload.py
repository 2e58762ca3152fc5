import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.compute.workload import Piece, Shortfall, levelled, shortfall

LOCKS, HEIGHT, ANYONE = frozenset({"lockout"}), frozenset({"lockout", "height"}), frozenset()


def loads(fixed, days, pieces):
    load = list(fixed)
    for piece, week in zip(pieces, levelled(fixed, days, pieces), strict=True):
        load[week] += piece.minutes
    return load


# The fullest of the rows as the rule "longest first, into the emptiest" leaves it: 17 of two weeks
# (the textbook row 8 7 6 5 4), 110 of four, which is the best there is (by trying all).
@pytest.mark.parametrize(
    ("minutes", "weeks", "fullest"),
    [
        pytest.param((8, 7, 6, 5, 4), 2, 17, id="longest processing time first, textbook row"),
        pytest.param((90, 60, 60, 45, 40, 30, 30, 25, 20, 20), 4, 110, id="the best of all"),
    ],
)
def test_the_fullest_week_is_no_fuller_than_by_the_usual_rule(minutes, weeks, fullest):
    pieces = [Piece(minutes=10 * m, planned=0, weeks=range(weeks)) for m in minutes]

    assert max(loads([0] * weeks, [1] * weeks, pieces)) <= 10 * fullest


def test_what_is_even_stays():
    pieces = [Piece(minutes=60, planned=week, weeks=range(3)) for week in range(3)]

    assert levelled([0, 0, 0], [6, 6, 6], pieces) == [0, 1, 2]


def test_a_week_with_few_open_days_counts_as_fuller():
    pieces = [
        Piece(minutes=60, planned=0, weeks=(0, 1)),
        Piece(minutes=60, planned=1, weeks=(0, 1)),
    ]

    assert levelled([0, 0], [1, 6], pieces) == [1, 1]
    assert levelled([0, 0], [0, 6], pieces) == [1, 1]


def test_where_nothing_is_won_all_stays_as_planned():
    """By hand: week 1 keeps 3 + 3 in two days, and week 0 three in one, wherever they go."""
    pieces = [
        Piece(minutes=3, planned=0, weeks=(1, 2)),
        Piece(minutes=3, planned=1, weeks=(0, 2)),
    ]

    assert levelled([0, 3, 2], [1, 2, 2], pieces) == [0, 1]


def test_of_two_weeks_alike_the_planned_one_comes_first():
    """By hand: 60 stays in week 1, 50 and 40 in week 0, and 30 moves: 90 in either."""
    pieces = [
        Piece(minutes=60, planned=1, weeks=(0, 1)),
        Piece(minutes=50, planned=0, weeks=(0, 1)),
        Piece(minutes=40, planned=0, weeks=(0,)),
        Piece(minutes=30, planned=0, weeks=(0, 1)),
    ]

    assert levelled([0, 0], [1, 1], pieces) == [1, 0, 0, 1]


def test_what_need_not_move_goes_back_by_the_minutes_a_day():
    """By hand: week 2 has 40 minutes a day whatever moves, and week 0 with the 5 has 32.5."""
    pieces = [
        Piece(minutes=60, planned=0, weeks=(0,)),
        Piece(minutes=50, planned=0, weeks=(0, 1)),
        Piece(minutes=5, planned=0, weeks=(0, 1)),
    ]

    assert levelled([0, 0, 80], [2, 2, 2], pieces) == [0, 1, 0]


weeks_of_work = st.lists(
    st.builds(
        Piece,
        minutes=st.integers(1, 300),
        planned=st.integers(0, 3),
        weeks=st.just(range(4)),
    ),
    max_size=12,
)


@given(st.lists(st.integers(0, 500), min_size=4, max_size=4), weeks_of_work)
def test_no_move_makes_the_fullest_week_fuller(fixed, pieces):
    before = list(fixed)
    for piece in pieces:
        before[piece.planned] += piece.minutes

    after = loads(fixed, [5, 5, 5, 5], pieces)

    assert max(after) <= max(before)
    assert sum(after) == sum(before)


def test_negative_minutes_cannot_be():
    with pytest.raises(ValueError, match="minutes"):
        levelled([0], [5], [Piece(minutes=-1, planned=0, weeks=(0,))])


@pytest.mark.parametrize(
    ("work", "people", "short"),
    [
        ({LOCKS: 60}, [(LOCKS, 60)], None),
        ({LOCKS: 90}, [(LOCKS, 60), (frozenset(), 600)], ((LOCKS,), 90, 60)),
        # Each alone could be done; both together need the one who may do either twice.
        ({LOCKS: 60, HEIGHT: 60}, [(HEIGHT, 100)], ((LOCKS, HEIGHT), 120, 100)),
        ({ANYONE: 30, HEIGHT: 60}, [(frozenset(), 600)], ((HEIGHT,), 60, 0)),
        ({LOCKS: 0.005}, [], ((LOCKS,), 0.005, 0)),
        ({}, [], None),
    ],
    ids=["just enough", "one may", "one for both", "nobody may", "nobody", "nothing"],
)
def test_what_the_time_is_too_short_for(work, people, short):
    found = shortfall(work, people)

    if short is None:
        assert found is None
    else:
        kinds, minutes, present = short
        assert found == Shortfall(kinds=found.kinds, minutes=minutes, present=present)
        assert set(found.kinds) == set(kinds)


@given(
    st.dictionaries(st.sampled_from([LOCKS, HEIGHT, ANYONE]), st.integers(0, 100)),
    st.lists(st.tuples(st.sampled_from([LOCKS, HEIGHT, ANYONE]), st.integers(0, 100)), max_size=4),
)
def test_time_is_enough_where_the_work_can_be_shared_out(work, people):
    """Whoever may do least is given work first; with qualifications in a row that is best."""
    left = [minutes for _, minutes in people]
    can_be = True
    for kind in sorted(work, key=len, reverse=True):
        wanted = work[kind]
        for index in sorted(range(len(people)), key=lambda n: len(people[n][0])):
            if kind <= people[index][0]:
                done = min(wanted, left[index])
                left[index] -= done
                wanted -= done
        can_be &= not wanted

    assert (shortfall(work, people) is None) == can_be

"""When to count again before setting anything, and how often."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.compute.band import Band, wider_than
from ledger.compute.ratio import RatioFit, RatioReading, SharedPart, fit_ratio, predict, reading_of
from ledger.compute.speed import Speed, from_timed_turns, u_of_pass_count
from ledger.compute.tuning import (
    BAND_SHARE,
    FEW_READINGS,
    few_disagree,
    timings_to_settle,
)

USUAL = Band(low=75, high=85)
U_30_S = u_of_pass_count(79, 30)


def counted(*speeds: float, u: float = U_30_S) -> RatioFit:
    return fit_ratio(
        [
            RatioReading(setting=45, rpm=rpm, u_rpm=u, key=f"r{index}")
            for index, rpm in enumerate(speeds)
        ]
    )


def test_two_counts_that_disagree_are_too_few_to_set_by():
    fit = counted(76, 82)

    assert few_disagree(fit)
    assert wider_than(predict(fit, 45), USUAL)


@pytest.mark.parametrize(
    "speeds", [(79,), (79, 80), (76, 82, 76, 82)], ids=["one", "two alike", "four apart"]
)
def test_one_count_counts_alike_and_four_are_not_too_few(speeds):
    assert not few_disagree(counted(*speeds))


def test_the_counts_named_do_what_is_said_of_them():
    """The fit of the counts there are and those named, all at the fitted speed, says the same U."""
    fit = counted(76, 82)
    more = timings_to_settle(fit, USUAL, 45)
    assert more is not None

    speed = predict(fit, 45).rpm
    timed = from_timed_turns(more.turns, more.turns * 60 / speed)
    after = fit_ratio(
        [
            *(RatioReading(setting=45, rpm=r, u_rpm=U_30_S, key=str(r)) for r in (76, 82)),
            *(
                reading_of(
                    f"n{n}",
                    45,
                    timed,
                    (SharedPart(key="press", u=timed.u_shared_rpm / timed.rpm),),
                )
                for n in range(more.timings)
            ),
        ]
    )

    # The hand's own share is taken as if it grew with the Birge ratio, on the safe side.
    assert 0.7 * more.expanded_rpm < predict(after, 45).expanded() <= more.expanded_rpm
    assert more.expanded_rpm <= BAND_SHARE * 10
    assert len((76, 82)) + more.timings >= FEW_READINGS


@pytest.mark.parametrize(("turns", "seconds"), [(20, 15), (40, 30)])
def test_a_timing_adds_to_what_one_count_says(turns, seconds):
    """1/u² = 1/1.5² + 1/u², worked by hand: so many turns at 80 r/min last so many seconds, 0.1 s
    of them by chance and 0.05 s by the hand."""
    u_timed = 80 / seconds * math.hypot(0.1, 0.05)
    expanded = 2 / math.sqrt(1 / 1.5**2 + 1 / u_timed**2)
    # A quarter of the band is wanted: a thousandth more than one such timing gives.
    band = Band(low=80 - 2.002 * expanded, high=80 + 2.002 * expanded)
    found = timings_to_settle(counted(80.0, u=1.5), band, 45)

    assert found is not None
    assert (found.timings, found.turns) == (1, turns)
    assert found.expanded_rpm == pytest.approx(expanded)


def test_of_two_counts_that_disagree_two_more_are_enough():
    more = timings_to_settle(counted(77, 82), Band(low=50, high=110), 45)

    assert more is not None
    assert more.timings == FEW_READINGS - 2


def test_counts_far_apart_are_not_settled_by_counting():
    assert timings_to_settle(counted(40, 120), USUAL, 45) is None


def test_a_band_with_one_limit_gives_no_measure():
    assert timings_to_settle(counted(76, 82), Band(low=75, high=math.inf), 45) is None


def test_a_setting_of_nought_is_refused():
    with pytest.raises(ValueError, match="above 0"):
        timings_to_settle(counted(79), USUAL, 0)


def test_a_speed_is_wider_than_its_band_by_its_expanded_uncertainty():
    assert wider_than(Speed(rpm=80, u_rpm=5.01, dof=math.inf), USUAL)
    assert not wider_than(Speed(rpm=80, u_rpm=5.0, dof=math.inf), USUAL)


@given(st.lists(st.floats(70, 90), min_size=1, max_size=3))
def test_more_counts_never_ask_for_a_wider_band(speeds):
    fit = counted(*speeds)
    narrow = timings_to_settle(fit, USUAL, 45)
    wide = timings_to_settle(fit, Band(low=60, high=100), 45)

    if narrow is not None:
        assert wide is not None
        assert wide.timings * wide.turns <= narrow.timings * narrow.turns

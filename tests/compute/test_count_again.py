"""When to count again before setting anything, and how often."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.compute.band import (
    BAND_SHARE,
    FEW_READINGS,
    Band,
    counts_to_settle,
    few_disagree,
    wider_than,
)
from ledger.compute.ratio import RatioFit, RatioReading, fit_ratio, predict
from ledger.compute.speed import Speed, u_of_pass_count

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
    more = counts_to_settle(fit, USUAL, 45)
    assert more is not None

    speed = predict(fit, 45).rpm
    after = fit_ratio(
        [
            *(RatioReading(setting=45, rpm=r, u_rpm=U_30_S, key=str(r)) for r in (76, 82)),
            *(
                RatioReading(
                    setting=45, rpm=speed, u_rpm=u_of_pass_count(speed, more.seconds), key=f"n{n}"
                )
                for n in range(more.counts)
            ),
        ]
    )

    assert predict(after, 45).expanded() == pytest.approx(more.expanded_rpm, rel=1e-9)
    assert more.expanded_rpm <= BAND_SHARE * 10
    assert len((76, 82)) + more.counts >= FEW_READINGS


def test_counts_far_apart_are_not_settled_by_counting():
    assert counts_to_settle(counted(40, 120), USUAL, 45) is None


def test_a_band_with_one_limit_gives_no_measure():
    assert counts_to_settle(counted(76, 82), Band(low=75, high=math.inf), 45) is None


def test_a_setting_of_nought_is_refused():
    with pytest.raises(ValueError, match="above 0"):
        counts_to_settle(counted(79), USUAL, 0)


def test_a_speed_is_wider_than_its_band_by_its_expanded_uncertainty():
    assert wider_than(Speed(rpm=80, u_rpm=5.01, dof=math.inf), USUAL)
    assert not wider_than(Speed(rpm=80, u_rpm=4.99, dof=math.inf), USUAL)


@given(st.lists(st.floats(70, 90), min_size=1, max_size=3))
def test_more_counts_never_ask_for_a_wider_band(speeds):
    fit = counted(*speeds)
    narrow = counts_to_settle(fit, USUAL, 45)
    wide = counts_to_settle(fit, Band(low=60, high=100), 45)

    if narrow is not None:
        assert wide is not None
        assert wide.counts * wide.seconds <= narrow.counts * narrow.seconds

"""Does time since the service show in the failures?"""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from ledger.compute.numbers import NotEnoughData
from ledger.compute.reliability import IntervalEffect, IntervalValue, ServiceSpan, interval_value

spans_watched = st.lists(
    st.floats(1, 60).flatmap(
        lambda days: st.builds(
            ServiceSpan,
            days=st.just(days),
            failure_days=st.lists(st.floats(0, days), max_size=4).map(tuple),
        )
    ),
    min_size=1,
    max_size=12,
)


def spans_with(early: int, late: int) -> list[ServiceSpan]:
    """Full intervals of 28 days, a failure on day 3 or on day 25."""
    return [ServiceSpan(days=28, failure_days=(3,))] * early + [
        ServiceSpan(days=28, failure_days=(25,))
    ] * late


def value_of(spans, **options) -> IntervalValue:
    value = interval_value(spans, interval_days=28, **options)
    assert isinstance(value, IntervalValue)
    return value


@pytest.mark.parametrize(
    ("early", "late", "effect"),
    [
        (0, 6, IntervalEffect.LATE),
        (6, 0, IntervalEffect.EARLY),
        (1, 5, IntervalEffect.NONE_SHOWN),
        (4, 16, IntervalEffect.LATE),
        (10, 10, IntervalEffect.NONE_SHOWN),
    ],
)
def test_effect_and_test_of_equal_halves(early, late, effect):
    value = value_of(spans_with(early, late))
    reference = stats.binomtest(late, early + late, 0.5)

    assert value.effect is effect
    assert (value.early_failures, value.late_failures) == (early, late)
    assert value.p_value == pytest.approx(reference.pvalue)


@given(spans_watched)
def test_limits_are_clopper_and_pearsons(spans):
    value = interval_value(spans, interval_days=28)
    if isinstance(value, NotEnoughData):
        assert value.have < value.need
        return
    count = value.early_failures + value.late_failures
    interval = stats.binomtest(value.late_failures, count).proportion_ci(0.95, method="exact")
    late_days = sum(max(0.0, span.days - 14) for span in spans)
    scale = (sum(span.days for span in spans) - late_days) / late_days

    assert value.ratio_lower == pytest.approx(interval.low / (1 - interval.low) * scale)
    if interval.high < 1:
        assert value.ratio_upper == pytest.approx(interval.high / (1 - interval.high) * scale)
    else:
        assert math.isinf(value.ratio_upper)
    assert value.ratio_lower <= value.rate_ratio <= value.ratio_upper


@given(spans_watched)
def test_failures_are_all_counted_once(spans):
    value = interval_value(spans, interval_days=28)

    if isinstance(value, IntervalValue):
        assert value.early_failures + value.late_failures == sum(len(s.failure_days) for s in spans)


@given(spans_watched)
def test_verdict_and_limits_agree(spans):
    value = interval_value(spans, interval_days=28)

    if isinstance(value, IntervalValue) and value.effect is not IntervalEffect.NONE_SHOWN:
        assert not value.ratio_lower < 1 < value.ratio_upper


def test_without_a_late_failure_the_lower_limit_is_nought():
    assert value_of(spans_with(6, 0)).ratio_lower == 0
    share = 1 - 0.025 ** (1 / 1000)
    assert value_of(spans_with(1000, 0)).ratio_upper == pytest.approx(share / (1 - share))


def test_a_failure_halfway_is_a_late_one():
    assert value_of([ServiceSpan(days=28, failure_days=(14,))] * 6).late_failures == 6


def test_unequal_watching_is_allowed_for():
    """Early services: 20 spans of 15 days watch the late half for 1 day each."""
    spans = [ServiceSpan(days=15)] * 14 + [ServiceSpan(days=15, failure_days=(14.5,))] * 6
    value = value_of(spans)

    assert value.p_value == pytest.approx(2 * (20 / 300) ** 6)
    assert value.effect is IntervalEffect.LATE
    # Six in 20 days, none in 280; and one in 280 beside them.
    assert math.isinf(value.rate_ratio)
    one = value_of([*spans, ServiceSpan(days=10, failure_days=(3,))])
    assert (one.early_failures, one.late_failures) == (1, 6)
    assert one.rate_ratio == pytest.approx((6 / 20) / (1 / 290))


def test_five_failures_can_never_speak():
    answer = interval_value(spans_with(0, 5), interval_days=28)

    assert isinstance(answer, NotEnoughData)
    assert (answer.have, answer.need) == (5, 6)


def test_a_half_never_watched_says_nothing():
    spans = [ServiceSpan(days=10, failure_days=(3,))] * 8
    answer = interval_value(spans, interval_days=28)

    assert isinstance(answer, NotEnoughData)
    assert (answer.have, answer.need) == (0, 1)


@pytest.mark.parametrize(
    "ask",
    [
        lambda: ServiceSpan(days=0),
        lambda: ServiceSpan(days=7, failure_days=(8,)),
        lambda: ServiceSpan(days=7, failure_days=(-1,)),
        lambda: interval_value(spans_with(3, 3), interval_days=0),
    ],
)
def test_questions_without_meaning_are_refused(ask):
    with pytest.raises(ValueError, match="expected"):
        ask()

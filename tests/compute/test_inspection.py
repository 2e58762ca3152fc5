"""How often to look within a P-F interval."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.compute.reliability import inspection_plan, looks_needed

chances = st.floats(0.01, 0.99)


def test_nine_in_ten_and_one_in_a_hundred_need_two_looks():
    """n = ln(0.01)/ln(1 - 0.9) = 2 (NAVAIR 00-25-403, recalled)."""
    assert looks_needed(detection=0.9, acceptable_miss=0.01) == pytest.approx(2)

    plan = inspection_plan(pf_interval_days=60, detection=0.9, acceptable_miss=0.01)
    assert (plan.looks, plan.interval_days) == (2, 30)


@given(st.floats(1, 1000), chances, chances)
def test_the_plan_keeps_its_promise_with_no_look_to_spare(pf_days, detection, acceptable):
    plan = inspection_plan(
        pf_interval_days=pf_days, detection=detection, acceptable_miss=acceptable
    )

    assert (1 - detection) ** plan.looks <= acceptable * (1 + 1e-6)
    assert plan.looks == 1 or (1 - detection) ** (plan.looks - 1) > acceptable * (1 - 1e-6)
    assert plan.looks * plan.interval_days == pytest.approx(pf_days)


@given(chances, chances, st.floats(0.1, 0.99))
def test_a_sharper_eye_or_more_patience_needs_fewer_looks(detection, acceptable, less):
    needed = looks_needed(detection=detection, acceptable_miss=acceptable)

    assert looks_needed(detection=detection * less, acceptable_miss=acceptable) > needed
    assert looks_needed(detection=detection, acceptable_miss=acceptable * less) > needed


@pytest.mark.parametrize(
    ("detection", "acceptable", "looks"),
    [
        pytest.param(1.0, 0.001, 1, id="a-look-that-always-finds"),
        pytest.param(1.0, 1.0, 0, id="nothing-to-find"),
        pytest.param(0.3, 1.0, 0, id="every-miss-accepted"),
    ],
)
def test_looks_at_the_ends(detection, acceptable, looks):
    assert looks_needed(detection=detection, acceptable_miss=acceptable) == looks


def test_one_look_at_least():
    assert inspection_plan(pf_interval_days=60, detection=0.3, acceptable_miss=1).looks == 1


@pytest.mark.parametrize(
    ("pf_days", "detection", "acceptable"),
    [(0, 0.9, 0.01), (60, 0, 0.01), (60, 1.1, 0.01), (60, 0.9, 0), (60, 0.9, 1.1)],
)
def test_numbers_without_meaning_are_refused(pf_days, detection, acceptable):
    with pytest.raises(ValueError, match="expected"):
        inspection_plan(pf_interval_days=pf_days, detection=detection, acceptable_miss=acceptable)

"""Chain, belts and dampers against the limits of the trade."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.compute.wear import (
    RIVETLESS_LIMIT_PERCENT,
    TAPE_U_MM,
    WearVerdict,
    belt_deflection_mm,
    belt_verdict,
    chain_limit_percent,
    chain_wear,
    damper_verdict,
)


@pytest.mark.parametrize(
    ("limit", "percent"),
    [
        pytest.param(chain_limit_percent(adjustable=True), 3.0, id="chain makers' pages: 3 %"),
        pytest.param(
            chain_limit_percent(adjustable=False),
            1.5,
            id="chain makers' pages: 1.5 % on fixed centres",
        ),
        pytest.param(RIVETLESS_LIMIT_PERCENT, 3.0, id="forged rivetless: own rule, no source"),
    ],
)
def test_chain_limits(limit, percent):
    assert limit == percent


@pytest.mark.parametrize(
    ("measured_in", "verdict"),
    [
        pytest.param(24.0, WearVerdict.WITHIN, id="new"),
        pytest.param(23.99, WearVerdict.WITHIN, id="as long as new, as far as a tape can say"),
        pytest.param(23.0, WearVerdict.TOO_SHORT, id="one pitch less than was counted"),
        pytest.param(24.75, WearVerdict.WORN, id="24 pitches of 1 in at 24.75 in: worn, chain dealer's page"),
        pytest.param(24.72, WearVerdict.MORE_PITCHES, id="on the limit"),
    ],
)  # fmt: skip
def test_a_chain_of_one_inch_pitch_over_24_pitches(measured_in, verdict):
    found = chain_wear(measured_mm=25.4 * measured_in, pitches=24, pitch_mm=25.4, limit_percent=3)
    assert found.elongation_percent == pytest.approx(100 * (measured_in - 24) / 24)
    assert found.verdict is verdict


@given(st.integers(1, 200), st.floats(5, 200), st.floats(-1, 10))
def test_more_pitches_make_elongation_surer_and_leave_it_as_it_is(pitches, pitch_mm, percent):
    def over(count):
        return chain_wear(
            measured_mm=count * pitch_mm * (1 + percent / 100), pitches=count, pitch_mm=pitch_mm, limit_percent=3
        )  # fmt: skip

    few, many = over(pitches), over(2 * pitches)
    assert few.elongation_percent == pytest.approx(percent, abs=1e-6)
    assert many.u_percent == pytest.approx(few.u_percent / 2)


def test_a_belt_span_of_100_inches_is_pushed_100_64ths():
    # TM 5-4310-339-15, 5-5.1: 100/64 in, or 1 9/16 in.
    assert belt_deflection_mm(100 * 25.4) / 25.4 == pytest.approx(1 + 9 / 16)


@pytest.mark.parametrize(
    ("force_n", "u_force_n", "verdict"),
    [
        pytest.param(20, 0, WearVerdict.GOOD, id="normal, TM 5-4310-339-15"),
        pytest.param(30, 0, WearVerdict.GOOD, id="150 % of normal, same"),
        pytest.param(19, 0, WearVerdict.SLACK, id="below normal, same"),
        pytest.param(31, 0, WearVerdict.TIGHT, id="above 150 %, same"),
        pytest.param(20, 2, WearVerdict.CANNOT_TELL, id="on the limit with a rough scale"),
    ],
)
def test_belt_tension_by_force(force_n, u_force_n, verdict):
    assert belt_verdict(force_n=force_n, normal_force_n=20, u_force_n=u_force_n) is verdict


def test_a_force_stated_without_its_uncertainty_is_taken_as_exact():
    assert belt_verdict(force_n=20, normal_force_n=20) is WearVerdict.GOOD


def test_a_damper_lets_nothing_bounce():
    # Common practice, no source.
    assert damper_verdict(0) is WearVerdict.RETURNS
    assert damper_verdict(1) is WearVerdict.BOUNCES
    assert damper_verdict(1, allowed=1) is WearVerdict.RETURNS


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: chain_wear(measured_mm=0, pitches=1, pitch_mm=1, limit_percent=3),
        lambda: belt_deflection_mm(0),
        lambda: belt_verdict(force_n=1, normal_force_n=0),
        lambda: damper_verdict(-1),
    ],
)
def test_impossible_quantities_are_refused(wrong):
    with pytest.raises(ValueError):
        wrong()


def test_a_tape_read_at_both_ends_errs_by_a_triangle():
    """Of half-width 1 mm: 1/√6 (GUM 4.3.9, recalled)."""
    assert pytest.approx(0.408248, abs=1e-6) == TAPE_U_MM


@pytest.mark.parametrize(("in_u", "is_short"), [(1.999, False), (2.001, True)])
def test_a_chain_is_too_short_by_more_than_the_tape_may_err(in_u, is_short):
    """Short by so many standard uncertainties of the tape."""
    measured_mm = 100 - in_u * TAPE_U_MM
    found = chain_wear(measured_mm=measured_mm, pitches=10, pitch_mm=10, limit_percent=3)
    assert (found.verdict is WearVerdict.TOO_SHORT) == is_short

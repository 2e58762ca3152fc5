"""Verdicts against a band, the time that decides, and bands between line rates."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from ledger.compute.band import (
    Band,
    BandPoint,
    Verdict,
    band_at,
    p_in_band,
    seconds_to_decide_by_count,
    seconds_to_decide_by_turns,
    turns_to_decide,
    verdict,
    verdict_of,
)
from ledger.compute.speed import from_pass_count, from_timed_turns, u_of_pass_count

USUAL = Band(low=75, high=85)
speed = st.floats(40, 130)
uncertainty = st.floats(0.01, 30)


@pytest.mark.parametrize(
    ("value", "u", "band", "expected"),
    [
        pytest.param(80, 5, USUAL, 0.682689, id="one sigma either side: normal table"),
        pytest.param(80, 2.5, USUAL, 0.954500, id="two sigma either side: normal table"),
        pytest.param(85, 1, USUAL, 0.5, id="on a limit"),
        pytest.param(86.644854, 1, USUAL, 0.05, id="1.644854 beyond a limit: normal table"),
        pytest.param(83.355146, 1, USUAL, 0.95, id="1.644854 within a limit: normal table"),
        pytest.param(80, 0, USUAL, 1, id="exact and inside"),
        pytest.param(85, 0, USUAL, 1, id="exact and on the limit"),
        pytest.param(85.1, 0, USUAL, 0, id="exact and outside"),
        pytest.param(
            0.0, 1.0, Band(low=-math.inf, high=0.0), 0.5, id="one-sided band, on its limit"
        ),
    ],
)
def test_probability_of_conformity(value, u, band, expected):
    assert p_in_band(value, u, band) == pytest.approx(expected, abs=5e-7)


def test_the_voltage_example_of_jcgm_106():
    # JCGM 106:2012, clause 7 (recalled, not read): breakdown voltage of a Zener diode -5.47 V,
    # u 0.05 V, upper limit -5.40 V: 0.92.
    assert p_in_band(-5.47, 0.05, Band(low=-math.inf, high=-5.40)) == pytest.approx(0.92, abs=0.005)


@given(speed, uncertainty, st.floats(1, 200))
def test_probability_is_scipys_t_with_few_degrees_of_freedom(value, u, dof):
    t = stats.t(dof, loc=value, scale=u)
    expected = t.cdf(85) - t.cdf(75)
    assert p_in_band(value, u, USUAL, dof) == pytest.approx(expected, abs=1e-9)


@given(speed, uncertainty)
def test_probability_is_scipys_normal(value, u):
    normal = stats.norm(loc=value, scale=u)
    assert p_in_band(value, u, USUAL) == pytest.approx(normal.cdf(85) - normal.cdf(75), abs=1e-12)


@given(speed, uncertainty, st.floats(0, 20))
def test_a_wider_band_is_never_less_probable(value, u, more):
    wider = Band(low=75 - more, high=85 + more)
    assert p_in_band(value, u, wider) >= p_in_band(value, u, USUAL) - 1e-12


@pytest.mark.parametrize(
    ("value", "u", "expected"),
    [
        (80, 2.5, Verdict.IN_BAND),
        (80, 2.6, Verdict.CANNOT_TELL),
        (84, 1, Verdict.CANNOT_TELL),
        (86, 1, Verdict.CANNOT_TELL),
        (87, 1, Verdict.OUT_OF_BAND),
        (72, 1.7, Verdict.OUT_OF_BAND),
        (80, 0, Verdict.IN_BAND),
        (85.1, 0, Verdict.OUT_OF_BAND),
    ],
)
def test_verdicts(value, u, expected):
    assert verdict(value, u, USUAL) is expected


def test_a_hopelessly_vague_reading_is_not_called_out_of_band():
    assert p_in_band(80, 100, USUAL) < 0.05
    assert verdict(80, 100, USUAL) is Verdict.CANNOT_TELL


@pytest.mark.parametrize("counted", range(8, 20))
def test_no_ten_second_count_from_a_random_start_proves_75_to_85(counted):
    assert verdict_of(from_pass_count(counted, 10), USUAL) is not Verdict.IN_BAND


def test_a_ten_second_count_started_on_a_pass_proves_only_the_middle():
    proved = [
        counted
        for counted in range(8, 20)
        if verdict_of(from_pass_count(counted, 10, start="on-pass"), USUAL) is Verdict.IN_BAND
    ]
    assert proved == [13]


def test_few_taps_need_more_than_k_2():
    assert verdict(80, 2.5, USUAL) is Verdict.IN_BAND
    assert verdict(80, 2.5, USUAL, dof=3) is Verdict.CANNOT_TELL


@given(st.floats(60, 100), st.sampled_from(["random", "on-pass"]), st.integers(1, 6))
def test_the_time_to_decide_decides_and_five_seconds_less_does_not(rpm, start, marks):
    ways = {"passes_per_turn": marks, "start": start}
    needed = seconds_to_decide_by_count(rpm, USUAL, **ways)
    if needed is None:
        u = u_of_pass_count(rpm, 300, **ways)
        assert verdict(rpm, u, USUAL) is Verdict.CANNOT_TELL
        return
    assert needed % 5 == 0
    assert verdict(rpm, u_of_pass_count(rpm, needed, **ways), USUAL) is not Verdict.CANNOT_TELL
    if needed > 5:
        u = u_of_pass_count(rpm, needed - 5, **ways)
        assert verdict(rpm, u, USUAL) is Verdict.CANNOT_TELL


@pytest.mark.parametrize(
    ("rpm", "count_s", "turns_s", "turns"),
    [
        pytest.param(80, 15, 5, 7, id="middle of the band"),
        pytest.param(84, 45, 20, 28, id="one from the limit"),
        pytest.param(84.9, None, 160, 227, id="a tenth from the limit: time turns"),
        pytest.param(85, None, None, None, id="on the limit: never"),
        pytest.param(90, 10, 5, 8, id="well out"),
    ],
)
def test_how_long_to_count(rpm, count_s, turns_s, turns):
    assert seconds_to_decide_by_count(rpm, USUAL) == count_s
    assert seconds_to_decide_by_turns(rpm, USUAL) == turns_s
    assert turns_to_decide(rpm, USUAL) == turns


def test_timing_the_turns_advised_does_decide():
    turns = turns_to_decide(84, USUAL)
    reading = from_timed_turns(turns, turns * 60 / 84)
    assert verdict_of(reading, USUAL) is Verdict.IN_BAND


POINTS = (
    BandPoint(line_rate_per_h=120, band=Band(low=75, high=85)),
    BandPoint(line_rate_per_h=80, band=Band(low=70, high=80)),
)


@pytest.mark.parametrize(
    ("rate", "low", "high", "clamped"),
    [
        (80, 70, 80, False),
        (100, 72.5, 82.5, False),
        (120, 75, 85, False),
        (60, 70, 80, True),
        (150, 75, 85, True),
    ],
)
def test_bands_are_linear_between_line_rates_and_held_beyond(rate, low, high, clamped):
    found = band_at(POINTS, rate)
    assert (found.band.low, found.band.high, found.clamped) == (low, high, clamped)


@pytest.mark.parametrize(("rate", "target"), [(60, 75), (80, 75), (100, 79), (120, 83), (150, 83)])
def test_the_target_is_the_middle_or_the_one_given_and_follows_the_rate(rate, target):
    points = [
        BandPoint(line_rate_per_h=80, band=Band(low=70, high=80)),
        BandPoint(line_rate_per_h=120, band=Band(low=75, high=85), target=83),
    ]
    assert band_at(points, rate).target == target


@given(st.floats(0, 300))
def test_an_interpolated_band_lies_between_its_neighbours(rate):
    band = band_at(POINTS, rate).band
    assert 70 <= band.low <= 75
    assert 80 <= band.high <= 85


def test_one_sided_bands_interpolate():
    points = [
        BandPoint(line_rate_per_h=80, band=Band(low=70, high=math.inf)),
        BandPoint(line_rate_per_h=120, band=Band(low=75, high=math.inf)),
    ]
    assert band_at(points, 100).band == Band(low=72.5, high=math.inf)


@pytest.mark.parametrize(
    "call",
    [
        lambda: Band(low=85, high=75),
        lambda: Band(low=math.nan, high=75),
        lambda: p_in_band(math.inf, 1, USUAL),
        lambda: p_in_band(80, -1, USUAL),
        lambda: band_at([], 100),
        lambda: band_at([*POINTS, POINTS[0]], 100),
        lambda: band_at(POINTS, math.nan),
    ],
)
def test_what_makes_no_sense_is_refused(call):
    with pytest.raises(ValueError, match="expected"):
        call()

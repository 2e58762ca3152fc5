"""Verdicts against a band, the time that decides, and bands between line rates."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, stats

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

USUAL = Band(low=86, high=96)
speed = st.floats(40, 130)
uncertainty = st.floats(0.01, 30)


@pytest.mark.parametrize(
    ("value", "u", "band", "expected"),
    [
        pytest.param(91, 5, USUAL, 0.682689, id="one sigma either side: normal table"),
        pytest.param(91, 2.5, USUAL, 0.954500, id="two sigma either side: normal table"),
        pytest.param(96, 1, USUAL, 0.5, id="on a limit"),
        pytest.param(97.644854, 1, USUAL, 0.05, id="1.644854 beyond a limit: normal table"),
        pytest.param(94.355146, 1, USUAL, 0.95, id="1.644854 within a limit: normal table"),
        pytest.param(91, 0, USUAL, 1, id="exact and inside"),
        pytest.param(96, 0, USUAL, 1, id="exact and on the limit"),
        pytest.param(96.1, 0, USUAL, 0, id="exact and outside"),
        pytest.param(91, 0, Band(low=91, high=91), 1, id="exact and in a band of one value"),
        pytest.param(96.006, 0.006, USUAL, 0.158655, id="one sigma beyond, u 0.006: normal table"),
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
    expected = t.cdf(96) - t.cdf(86)
    assert p_in_band(value, u, USUAL, dof) == pytest.approx(expected, abs=1e-9)


@given(speed, uncertainty)
def test_probability_is_scipys_normal(value, u):
    normal = stats.norm(loc=value, scale=u)
    assert p_in_band(value, u, USUAL) == pytest.approx(normal.cdf(96) - normal.cdf(86), abs=1e-12)


@given(speed, uncertainty, st.floats(0, 20))
def test_a_wider_band_is_never_less_probable(value, u, more):
    wider = Band(low=86 - more, high=96 + more)
    assert p_in_band(value, u, wider) >= p_in_band(value, u, USUAL) - 1e-12


@pytest.mark.parametrize(
    ("value", "u", "expected"),
    [
        (91, 2.5, Verdict.IN_BAND),
        (91, 2.6, Verdict.CANNOT_TELL),
        (95, 1, Verdict.CANNOT_TELL),
        (97, 1, Verdict.CANNOT_TELL),
        (98, 1, Verdict.OUT_OF_BAND),
        (72, 1.7, Verdict.OUT_OF_BAND),
        (91, 0, Verdict.IN_BAND),
        (96.1, 0, Verdict.OUT_OF_BAND),
    ],
)
def test_verdicts(value, u, expected):
    assert verdict(value, u, USUAL) is expected


def test_a_hopelessly_vague_reading_is_not_called_out_of_band():
    assert p_in_band(91, 100, USUAL) < 0.05
    assert verdict(91, 100, USUAL) is Verdict.CANNOT_TELL


@pytest.mark.parametrize("counted", range(10, 24))
def test_no_eleven_second_count_from_a_random_start_proves_86_to_96(counted):
    assert verdict_of(from_pass_count(counted, 11), USUAL) is not Verdict.IN_BAND


def test_an_eleven_second_count_started_on_a_pass_proves_only_the_middle():
    proved = [
        counted
        for counted in range(10, 24)
        if verdict_of(from_pass_count(counted, 11, start="on-pass"), USUAL) is Verdict.IN_BAND
    ]
    assert proved == [16]


def test_few_taps_need_more_than_k_2():
    assert verdict(91, 2.5, USUAL) is Verdict.IN_BAND
    assert verdict(91, 2.5, USUAL, dof=3) is Verdict.CANNOT_TELL


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
        pytest.param(91, 15, 5, 8, id="middle of the band"),
        pytest.param(95, 45, 20, 32, id="one from the limit"),
        pytest.param(95.9, None, 180, 288, id="a tenth from the limit: time turns"),
        pytest.param(96, None, None, None, id="on the limit: never"),
        pytest.param(101, 10, 5, 9, id="well out"),
    ],
)
def test_how_long_to_count(rpm, count_s, turns_s, turns):
    assert seconds_to_decide_by_count(rpm, USUAL) == count_s
    assert seconds_to_decide_by_turns(rpm, USUAL) == turns_s
    assert turns_to_decide(rpm, USUAL) == turns


def test_timing_the_turns_advised_does_decide():
    turns = turns_to_decide(95, USUAL)
    reading = from_timed_turns(turns, turns * 60 / 95)
    assert verdict_of(reading, USUAL) is Verdict.IN_BAND


POINTS = (
    BandPoint(line_rate_per_h=110, band=Band(low=85, high=97)),
    BandPoint(line_rate_per_h=90, band=Band(low=81, high=92)),
)


@pytest.mark.parametrize(
    ("rate", "low", "high", "clamped"),
    [
        (90, 81, 92, False),
        (100, 83, 94.5, False),
        (110, 85, 97, False),
        (60, 81, 92, True),
        (150, 85, 97, True),
    ],
)
def test_bands_are_linear_between_line_rates_and_held_beyond(rate, low, high, clamped):
    found = band_at(POINTS, rate)
    assert (found.band.low, found.band.high, found.clamped) == (low, high, clamped)


@pytest.mark.parametrize(
    ("rate", "target"), [(60, 86.5), (90, 86.5), (100, 88.25), (110, 90), (150, 90)]
)
def test_the_target_is_the_middle_or_the_one_given_and_follows_the_rate(rate, target):
    points = [
        BandPoint(line_rate_per_h=90, band=Band(low=81, high=92)),
        BandPoint(line_rate_per_h=110, band=Band(low=85, high=97), target=90),
    ]
    assert band_at(points, rate).target == target


@given(st.floats(0, 300))
def test_an_interpolated_band_lies_between_its_neighbours(rate):
    band = band_at(POINTS, rate).band
    assert 81 <= band.low <= 85
    assert 92 <= band.high <= 97


def test_one_sided_bands_interpolate():
    points = [
        BandPoint(line_rate_per_h=90, band=Band(low=81, high=math.inf)),
        BandPoint(line_rate_per_h=110, band=Band(low=85, high=math.inf)),
    ]
    assert band_at(points, 100).band == Band(low=83, high=math.inf)


@pytest.mark.parametrize(
    "call",
    [
        lambda: Band(low=97, high=85),
        lambda: Band(low=math.nan, high=85),
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


@pytest.mark.parametrize(
    ("rpm", "exact", "normal"),
    [(84.63, 0.71860, 0.77398), (83.5, 1.0, 0.99885), (84.2, 0.96856, 0.94802)],
)
def test_a_scale_of_one_percent_is_taken_as_normal_and_stays_honest_in_the_tail(rpm, exact, normal):
    """A tachometer of ±0.8463 r/min and steps of 0.2, band up to 85: the exact chance is that of a
    rectangle and a normal together, by scipy's integral."""
    own, half = 0.2 / math.sqrt(12), 0.8463
    both = integrate.quad(
        lambda e: stats.norm.cdf((85 - rpm - e) / own), -half, half, points=[85 - rpm]
    )
    band = Band(low=-math.inf, high=85)

    assert both[0] / (2 * half) == pytest.approx(exact, abs=1e-5)
    assert p_in_band(rpm, math.hypot(own, half / math.sqrt(3)), band) == pytest.approx(
        normal, abs=1e-5
    )

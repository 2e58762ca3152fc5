"""Line rate, cloth speed and cloth per vehicle."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import ufloat

from ledger.compute.band import Band, BandPoint
from ledger.compute.line import (
    HeldBy,
    chain_speed_over_distance,
    cloth_speed_m_s,
    contacts_per_m,
    edge_speed_m_s,
    line_rate,
    line_rate_of_timed_vehicles,
    same_cloth_table,
)
from ledger.compute.numbers import Estimate, convert

POINTS = (
    BandPoint(line_rate_per_h=90, band=Band(low=81, high=92)),
    BandPoint(line_rate_per_h=110, band=Band(low=85, high=97)),
)


@pytest.mark.parametrize(
    ("m_s", "pitch_m", "per_h"),
    [
        pytest.param(
            convert(90, "ft_min", "m_s"), convert(21, "ft", "m"), 257.14, id="90 ft/min at 21 ft"
        ),
        pytest.param(0.5, 6.5, 276.92, id="0.5 m/s at 6.5 m"),
    ],
)
def test_vehicles_an_hour(m_s, pitch_m, per_h):
    chain = Estimate(value=m_s, u=0)
    assert line_rate(chain, pitch_m).value == pytest.approx(per_h, abs=0.005)


@pytest.mark.parametrize(
    ("diameter_m", "rpm", "m_s"),
    [
        pytest.param(0.76, 92, 3.66100, id="0.76 m at 92 r/min"),
        pytest.param(
            convert(30, "in", "m"),
            92,
            convert(722.566, "ft_min", "m_s"),
            id="30 in at 92 r/min: 722.566 ft/min",
        ),
    ],
)
def test_edge_speed(diameter_m, rpm, m_s):
    assert edge_speed_m_s(diameter_m, rpm) == pytest.approx(m_s, rel=2e-6)


def test_cloth_against_and_with_the_travel():
    edge = edge_speed_m_s(0.76, 92)
    assert cloth_speed_m_s(0.76, 92, 0.5, against=True) == pytest.approx(edge + 0.5)
    assert cloth_speed_m_s(0.76, 92, 0.5, against=False) == pytest.approx(edge - 0.5)
    assert cloth_speed_m_s(0.76, 5, 0.5, against=False) < 0


@given(st.floats(0.1, 50), st.floats(1, 600), st.floats(0, 1), st.floats(0.001, 0.5))
def test_chain_speed_is_the_propagation_of_the_uncertainties_library(distance, t, u_d, u_t):
    expected = ufloat(distance, u_d + 1e-9) / ufloat(t, u_t)
    chain = chain_speed_over_distance(distance, t, u_distance_m=u_d + 1e-9, u_seconds=u_t)
    assert chain.value == pytest.approx(expected.n)
    assert chain.u == pytest.approx(expected.s)


@given(st.floats(0.05, 1), st.floats(0.001, 0.1), st.floats(4, 12))
def test_line_rate_is_the_propagation_of_the_uncertainties_library(v, u_v, pitch):
    expected = 3600 * ufloat(v, u_v) / pitch
    rate = line_rate(Estimate(value=v, u=u_v), pitch)
    assert rate.value == pytest.approx(expected.n)
    assert rate.u == pytest.approx(expected.s)


def test_vehicles_timed_front_to_front():
    """Eleven fronts are ten gaps: 350 s for ten is 102.86 an hour; eleven would be the fault."""
    rate = line_rate_of_timed_vehicles(10, 350)
    assert rate.value == pytest.approx(3600 / 35)
    assert rate.u == pytest.approx(3600 / 35 * 0.10 / 350)
    assert line_rate_of_timed_vehicles(11, 350).value == pytest.approx(3960 / 35)


def test_timed_vehicles_and_timed_distance_agree():
    pitch, seconds, gaps = 6.5, 130.0, 10
    chain = chain_speed_over_distance(pitch * gaps, seconds, u_seconds=0.1)
    by_distance = line_rate(chain, pitch)
    by_vehicles = line_rate_of_timed_vehicles(gaps, seconds, u_seconds=0.1)
    assert by_distance.value == pytest.approx(by_vehicles.value)
    assert by_distance.u == pytest.approx(by_vehicles.u)


def test_contacts_on_a_metre_of_vehicle():
    """18 strips at 80 r/min are 24 strikes a second; at 0.25 m/s a metre takes four seconds."""
    assert contacts_per_m(18, 80, 0.25) == pytest.approx(96)


@given(st.integers(1, 40), st.floats(40, 120), st.floats(0.05, 1), st.floats(0.2, 5))
def test_speeding_brush_and_line_alike_keeps_the_contacts(strips, rpm, v, factor):
    before = contacts_per_m(strips, rpm, v)
    assert contacts_per_m(strips, rpm * factor, v * factor) == pytest.approx(before)


def test_the_table_that_keeps_cloth_per_vehicle():
    rows = same_cloth_table(
        [110, 90, 100, 130, 110], POINTS, reference_rate_per_h=110, reference_rpm=91
    )
    told = [
        (row.line_rate_per_h, round(row.same_cloth_rpm, 3), row.rpm, row.held_by, row.band_clamped)
        for row in rows
    ]
    assert told == [
        (90, 74.455, 81, HeldBy.LOW, False),
        (100, 82.727, 83, HeldBy.LOW, False),
        (110, 91.0, 91.0, None, False),
        (130, 107.545, 97, HeldBy.HIGH, True),
    ]
    assert rows[0].cloth_share == pytest.approx(81 / 74.4545, rel=1e-5)


@given(
    st.lists(st.floats(20, 250), min_size=1, max_size=8),
    st.floats(40, 200),
    st.floats(60, 95),
)
def test_every_row_is_in_its_band_and_free_rows_keep_the_cloth(rates, reference_rate, rpm):
    rows = same_cloth_table(rates, POINTS, reference_rate_per_h=reference_rate, reference_rpm=rpm)
    for row in rows:
        assert row.rpm in row.band
        if row.held_by is None:
            assert row.cloth_share == 1
            assert contacts_per_m(18, row.rpm, row.line_rate_per_h / 1000) == pytest.approx(
                contacts_per_m(18, rpm, reference_rate / 1000)
            )


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: chain_speed_over_distance(0, 10), "distance_m"),
        (lambda: chain_speed_over_distance(3, 0), "seconds"),
        (lambda: chain_speed_over_distance(3, 10, u_distance_m=-1), "u_distance_m"),
        (lambda: line_rate(Estimate(value=0, u=0), 6.5), "m_s"),
        (lambda: line_rate(Estimate(value=0.5, u=0), 0), "pitch_m"),
        (lambda: line_rate_of_timed_vehicles(0, 300), "gaps"),
        (lambda: edge_speed_m_s(0, 80), "diameter_m"),
        (lambda: edge_speed_m_s(0.76, -80), "rpm"),
        (lambda: cloth_speed_m_s(0.76, 80, -0.1, against=True), "line_m_s"),
        (lambda: contacts_per_m(0, 80, 0.3), "strips_around"),
        (lambda: contacts_per_m(18, 80, 0), "line_m_s"),
        (
            lambda: same_cloth_table([0], POINTS, reference_rate_per_h=110, reference_rpm=80),
            "line_rate_per_h",
        ),
        (
            lambda: same_cloth_table([80], POINTS, reference_rate_per_h=0, reference_rpm=80),
            "reference_rate_per_h",
        ),
        (
            lambda: same_cloth_table([80], [], reference_rate_per_h=110, reference_rpm=80),
            "at least one line rate",
        ),
        (lambda: line_rate_of_timed_vehicles(10, math.inf), "seconds"),
    ],
)
def test_what_cannot_be_is_refused(call, words):
    with pytest.raises(ValueError, match=words):
        call()

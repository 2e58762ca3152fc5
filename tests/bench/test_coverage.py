"""The figures of the bench on few sites: none far from what it asks."""

import math

import pytest
from bench import few_failures, reading_coverage, trend_power
from campaign import examples


def most_below(share, sites):
    return share - 4 * math.sqrt(share * (1 - share) / sites)


@pytest.mark.parametrize(
    ("name", "way"), [pytest.param(*way, id=way[0]) for way in reading_coverage.WAYS[:6]]
)
def test_readings_that_share_errors_hold_the_truth(name, way):
    sites = examples(40)
    held, _ = reading_coverage.coverage(name, way, 12, sites=sites)

    assert held >= most_below(reading_coverage.WANTED, sites)


def test_one_instrument_read_often_is_not_called_sure():
    name, way = reading_coverage.WAYS[0]

    assert reading_coverage.verdict_errors(name, way, 12, sites=60)[0] < 0.04


@pytest.mark.parametrize(
    ("read", "off"),
    [
        pytest.param(read, off, id=name)
        for name, read, off, wander in trend_power.READERS
        if not wander
    ],
)
def test_the_interval_of_a_pace_holds_it(read, off):
    sites = examples(100)
    held, shown = trend_power.shares(read, -0.61, off, sites=sites)

    assert held >= most_below(0.95, sites)
    assert shown > 0.8


def test_a_steady_shaft_seldom_seems_to_move():
    assert trend_power.shares(trend_power.READERS[2][1], 0.0, sites=150)[1] < 0.12


def test_few_lives_hold_the_shape_and_few_stops_the_availability():
    sites = examples(80)
    shape, scale = few_failures.life_coverage(4, 2.0, sites=sites)

    assert min(shape, scale) >= most_below(0.95, sites)
    assert few_failures.availability_coverage(5, 0.6, sites=300) >= most_below(0.9, 300)


def test_an_age_is_seldom_advised_without_wear():
    sites = examples(80)

    assert 1 - few_failures.advised(5, 1.0, sites=sites) >= most_below(0.95, sites)

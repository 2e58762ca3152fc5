import math

import pytest
from bench.tune_coverage import FEW, MANY, ONE, WANTED, coverage


@pytest.mark.parametrize(
    "readings",
    [pytest.param(ONE, id="one"), pytest.param(FEW, id="few"), pytest.param(MANY, id="many")],
)
def test_the_interval_holds_the_true_setting_as_often_as_it_says(readings):
    share = coverage(*readings, sites=150)

    spread = math.sqrt(WANTED * (1 - WANTED) / share.sites)
    assert share.held_share >= WANTED - 3 * spread
    assert share.mean_half_width_hz < 1
    assert share.asked_again <= share.sites / 10


def test_steady_shafts_are_seldom_taken_to_have_moved():
    """About one in 400, as two independent tests at 5 % make it."""
    assert coverage(*MANY, sites=150).called_moved <= 5

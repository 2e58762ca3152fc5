import math

import pytest
from bench.drift_alarms import READERS, price_of, steady_share, wandering_share


@pytest.mark.parametrize("read", [pytest.param(read, id=name) for name, read in READERS])
def test_steady_brushes_are_accused_no_more_often_than_asked(read):
    brushes = 200
    chance = price_of(10).chance

    spread = math.sqrt(chance * (1 - chance) / brushes)
    assert steady_share(read, 10, brushes) <= chance + 4 * spread


def test_what_is_common_to_all_accuses_fewer_once_it_is_taken_out():
    as_read = wandering_share(10, removed=False, sites=10)

    assert wandering_share(10, removed=True, sites=10) < as_read / 2

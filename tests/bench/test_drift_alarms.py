import math

import pytest
from bench.drift_alarms import READERS, published_chances, steady_shares


@pytest.mark.parametrize("read", [pytest.param(read, id=name) for name, read in READERS])
def test_steady_brushes_are_accused_no_more_often_than_published(read):
    sites = 200
    shares = steady_shares(read, sites)

    for rule, published in published_chances().items():
        spread = math.sqrt(published * (1 - published) / sites)
        assert shares[rule] <= published + 4 * spread, rule

"""The cost of a stop, held to a worked example computed apart from this program."""

import pytest

from ledger.compute.line import lost_vehicles, stop_cost_per_h


def test_vehicles_lost_and_what_they_cost():
    """26 min at 96 an hour, of which 40 % leave, at 8.50: 141.44."""
    assert lost_vehicles(26, 96, 0.4) == pytest.approx(16.64)
    low, high = stop_cost_per_h(96, 8.5, (0.4, 0.4))
    assert (low, 26 / 60 * high) == (high, pytest.approx(141.44))
    assert stop_cost_per_h(96, 8.5, (0.0, 1.0)) == (0.0, pytest.approx(816.0))


@pytest.mark.parametrize("numbers", [(-1, 96, 0.4), (26, -1, 0.4), (26, 96, 1.1)])
def test_what_cannot_be_is_refused(numbers):
    with pytest.raises(ValueError, match="expected"):
        lost_vehicles(*numbers)

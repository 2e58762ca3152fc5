"""The direction of rotation, against the trade's statement and against the vector product."""

import numpy as np
import pytest

from ledger.compute.line import SeenFrom, Sense, Turning, expected_turning


@pytest.mark.parametrize(
    ("side", "turns", "sense"),
    [
        pytest.param(
            "passenger",
            "against",
            Sense.COUNTERCLOCKWISE,
            id="passenger side, driver left: common practice, no source",
        ),
        pytest.param(
            "driver",
            "against",
            Sense.CLOCKWISE,
            id="driver side, driver left: common practice, no source",
        ),
        pytest.param("passenger", "with", Sense.CLOCKWISE, id="wrap, passenger side"),
        pytest.param("driver", "with", Sense.COUNTERCLOCKWISE, id="wrap, driver side"),
    ],
)
def test_side_brushes_seen_from_above(side, turns, sense):
    assert expected_turning(side, turns) == Turning(sense=sense, seen_from=SeenFrom.ABOVE)


def sense_by_vector_product(side, turns, *, driver_on_left):
    """Travel +y, up +z; the touching face must move along the wanted direction: v = ω × r."""
    driver_x = -1.0 if driver_on_left else 1.0
    touching = {
        "driver": (-driver_x, 0, 0),
        "passenger": (driver_x, 0, 0),
        "over": (0, 0, -1),
        "under": (0, 0, 1),
    }[side]
    axis = (0, 0, 1) if side in {"driver", "passenger"} else (1, 0, 0)
    towards_viewer = (0, 0, 1) if side in {"driver", "passenger"} else (driver_x, 0, 0)
    velocity = np.cross(axis, touching)[1]
    wanted = -1 if turns == "against" else 1
    turns_about_axis = np.sign(velocity) * wanted
    seen = turns_about_axis * np.dot(axis, towards_viewer)
    return Sense.COUNTERCLOCKWISE if seen > 0 else Sense.CLOCKWISE


@pytest.mark.parametrize("side", ["driver", "passenger", "over", "under"])
@pytest.mark.parametrize("turns", ["against", "with"])
@pytest.mark.parametrize("driver_on_left", [True, False])
def test_every_case_is_the_vector_product(side, turns, driver_on_left):
    expected = sense_by_vector_product(side, turns, driver_on_left=driver_on_left)
    assert expected_turning(side, turns, driver_on_left=driver_on_left).sense is expected


@pytest.mark.parametrize("side", ["over", "under"])
def test_shafts_across_the_line_are_judged_from_the_driver_side(side):
    assert expected_turning(side, "against").seen_from is SeenFrom.DRIVER_SIDE


def test_unknown_words_are_refused():
    with pytest.raises(ValueError, match="expected a side among driver"):
        expected_turning("left", "against")
    with pytest.raises(ValueError, match="'against' or 'with'"):
        expected_turning("driver", "backwards")

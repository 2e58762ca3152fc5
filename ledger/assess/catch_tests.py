"""What a catch test says of its nozzle, from the numbers of one entry."""

from ledger.compute.spray import CatchTest, NozzleState, nozzle_state
from ledger.model.machines import NozzleRating, Point
from ledger.model.visits import Readings

# A gauge is read to a hundredth of what it shows. Common practice, no source.
_GAUGE_U_SHARE = 0.01


def catch_state(readings: Readings, point: Point | None) -> NozzleState | None:
    """The nozzle's state; None without a catch, a pressure and the nozzle's rating."""
    rating = point.rating if point else None
    catch, pressure_kpa = readings.catch, readings.pressure_kpa
    if catch is None or not pressure_kpa or not isinstance(rating, NozzleRating):
        return None
    test = CatchTest(
        volume_ml=1000 * catch.volume_l,
        seconds=catch.seconds,
        pressure_kpa=pressure_kpa,
        u_pressure_kpa=_GAUGE_U_SHARE * pressure_kpa,
    )
    return nozzle_state(test, new_flow_l_min=rating.flow_lpm, rated_pressure_kpa=rating.at_kpa)

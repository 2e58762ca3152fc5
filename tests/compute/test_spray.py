"""Nozzles: flow by pressure and the catch test."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.compute.numbers import convert
from ledger.compute.wear import (
    CatchTest,
    WearVerdict,
    average_hides,
    catch_flow_l_min,
    flow_at_pressure,
    nozzle_state,
)


@pytest.mark.parametrize(
    ("psi", "gpm"),
    [(40, 4.0), (60, 4.899), (80, 5.657)],
    ids=["as rated", "4 gpm at 40 psi, published Q2 = Q1 √(p2/p1)", "same, 80 psi"],
)
def test_flow_goes_with_the_root_of_pressure(psi, gpm):
    assert flow_at_pressure(4, from_pressure=40, to_pressure=psi) == pytest.approx(gpm, abs=5e-4)


def test_800_ml_in_12_s_are_4_litres_a_minute():
    assert catch_flow_l_min(800, 12) == pytest.approx(4.0)


@given(st.floats(0, 1000), st.floats(1, 1e5), st.floats(1, 1e5))
def test_there_and_back_is_the_same_flow(flow, low, high):
    there = flow_at_pressure(flow, from_pressure=low, to_pressure=high)
    assert flow_at_pressure(there, from_pressure=high, to_pressure=low) == pytest.approx(flow)


def test_the_uncertainty_is_that_of_the_reference_library():
    uncertainties = pytest.importorskip("uncertainties")
    umath = pytest.importorskip("uncertainties.umath")
    volume = uncertainties.ufloat(800, 20 / 2 / math.sqrt(3))
    seconds = uncertainties.ufloat(12, 0.10)
    pressure = uncertainties.ufloat(250, 5)
    share = volume / 1000 * 60 / seconds * umath.sqrt(276 / pressure) / 4
    test = CatchTest(volume_ml=800, seconds=12, pressure_kpa=250, u_pressure_kpa=5)
    found = nozzle_state([test], new_flow_l_min=4, rated_pressure_kpa=276)
    assert found.share == pytest.approx(share.nominal_value, rel=1e-12)
    assert found.u_share == pytest.approx(share.std_dev, rel=1e-9)


def test_catches_of_one_visit_are_averaged_and_share_their_gauge():
    uncertainties = pytest.importorskip("uncertainties")
    umath = pytest.importorskip("uncertainties.umath")
    gauge = uncertainties.ufloat(1, 0.02)
    tests, shares = [], []
    for volume_ml, seconds, kpa in ((800, 12, 250), (820, 12, 250), (1010, 15, 252)):
        tests.append(
            CatchTest(
                volume_ml=volume_ml, seconds=seconds, pressure_kpa=kpa, u_pressure_kpa=0.02 * kpa
            )
        )
        volume = uncertainties.ufloat(volume_ml, 20 / 2 / math.sqrt(3))
        taken_s = uncertainties.ufloat(seconds, 0.10)
        shares.append(volume / 1000 * 60 / taken_s * umath.sqrt(276 / kpa / gauge) / 4)
    own = [math.hypot(20 / 2 / math.sqrt(3) / t.volume_ml, 0.1 / t.seconds) for t in tests]
    weights = [1 / (s.nominal_value * u) ** 2 for s, u in zip(shares, own, strict=True)]
    mean = sum(w * s for w, s in zip(weights, shares, strict=True)) / sum(weights)

    found = nozzle_state([*tests, tests[0]], new_flow_l_min=4, rated_pressure_kpa=276)

    assert found.share == pytest.approx(mean.nominal_value, rel=1e-12)
    assert found.u_share == pytest.approx(mean.std_dev, rel=1e-6)
    assert found.flow_at_rated_l_min == pytest.approx(4 * mean.nominal_value)
    assert found.catches == 4


def test_of_catches_that_do_not_agree_the_last_counts():
    found = nozzle_state(
        [caught(0.5), caught(1.0)], new_flow_l_min=NEW_L_MIN, rated_pressure_kpa=RATED_KPA
    )

    assert (found.catches, found.verdict) == (1, WearVerdict.SOUND)
    assert found == state(caught(1.0))


RATED_KPA = convert(40, "psi", "kpa")
NEW_L_MIN = convert(0.5, "gpm", "l_min")


def caught(share: float, seconds: float = 60, pressure_kpa: float = RATED_KPA) -> CatchTest:
    """A catch of so large a share of a new 0.5 gpm nozzle's flow at 40 psi."""
    flow = share * flow_at_pressure(NEW_L_MIN, from_pressure=RATED_KPA, to_pressure=pressure_kpa)
    return CatchTest(
        volume_ml=flow * 1000 * seconds / 60, seconds=seconds, pressure_kpa=pressure_kpa
    )


def state(test: CatchTest):
    return nozzle_state([test], new_flow_l_min=NEW_L_MIN, rated_pressure_kpa=RATED_KPA)


@pytest.mark.parametrize(
    ("share", "seconds", "verdict"),
    [
        pytest.param(1.00, 60, WearVerdict.SOUND, id="as new"),
        pytest.param(1.08, 60, WearVerdict.SOUND, id="within ten percent"),
        pytest.param(1.12, 60, WearVerdict.WORN, id="over ten percent, makers' manuals"),
        pytest.param(0.88, 60, WearVerdict.CLOGGED, id="under ten percent, makers' manuals"),
        pytest.param(0.00, 60, WearVerdict.CLOGGED, id="nothing caught"),
        pytest.param(0.905, 3600, WearVerdict.SOUND, id="just within ten percent"),
        pytest.param(1.10, 60, WearVerdict.CATCH_LONGER, id="on the limit"),
        pytest.param(1.12, 5, WearVerdict.CATCH_LONGER, id="caught for too short a time"),
    ],
)
def test_the_verdict_on_a_nozzle(share, seconds, verdict):
    assert state(caught(share, seconds)).verdict is verdict


@given(st.floats(0, 3), st.floats(5, 120), st.floats(50, 2000))
def test_pressure_at_the_test_does_not_change_the_share(share, seconds, pressure_kpa):
    found = state(caught(share, seconds, pressure_kpa))
    assert found.share == pytest.approx(share)


def test_a_clogged_nozzle_hides_wear_in_an_average():
    worn_and_clogged = [state(caught(share)) for share in (1.15, 1.15, 1.15, 0.6)]
    assert average_hides(worn_and_clogged)
    assert not average_hides([state(caught(1.0)), state(caught(1.02))])
    assert not average_hides([])


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: flow_at_pressure(-1, from_pressure=1, to_pressure=1),
        lambda: flow_at_pressure(1, from_pressure=0, to_pressure=1),
        lambda: catch_flow_l_min(1, 0),
        lambda: CatchTest(volume_ml=-1, seconds=1, pressure_kpa=1),
        lambda: CatchTest(volume_ml=1, seconds=0, pressure_kpa=1),
        lambda: nozzle_state([caught(1)], new_flow_l_min=0, rated_pressure_kpa=1),
    ],
)
def test_impossible_quantities_are_refused(wrong):
    with pytest.raises(ValueError):
        wrong()


def test_a_gauge_is_exact_unless_more_is_said():
    assert caught(1.0).u_pressure_kpa == 0

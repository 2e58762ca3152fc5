"""Motor and drive by nameplate, against published values."""

import pytest

from ledger.compute.ratio import (
    DriveCaution,
    drive_cautions,
    nameplate_prior,
    shaft_rpm,
    slip,
    slip_rpm_at_shaft,
    synchronous_rpm,
)


@pytest.mark.parametrize(
    ("hz", "poles", "rpm"),
    [
        pytest.param(60, 2, 3600, id="NEMA MG 1, 60 Hz 2 poles"),
        pytest.param(60, 4, 1800, id="NEMA MG 1, 60 Hz 4 poles"),
        pytest.param(60, 6, 1200, id="NEMA MG 1, 60 Hz 6 poles"),
        pytest.param(60, 8, 900, id="NEMA MG 1, 60 Hz 8 poles"),
        pytest.param(50, 2, 3000, id="IEC 60034-1, 50 Hz 2 poles"),
        pytest.param(50, 4, 1500, id="IEC 60034-1, 50 Hz 4 poles"),
        pytest.param(50, 6, 1000, id="IEC 60034-1, 50 Hz 6 poles"),
        pytest.param(50, 8, 750, id="IEC 60034-1, 50 Hz 8 poles"),
    ],
)
def test_synchronous_speed(hz, poles, rpm):
    assert synchronous_rpm(hz, poles) == rpm


def test_slip_of_the_worked_example():
    """DOE-HDBK-1011/4: 2 poles, 60 Hz, 3554 r/min: 1.28 %."""
    assert slip(3554, 60, 2) == pytest.approx(0.0128, abs=5e-5)


def test_shaft_speed_behind_a_reduction():
    assert shaft_rpm(1740, 20.5) == pytest.approx(84.878, abs=5e-4)
    assert slip_rpm_at_shaft(1740, 60, 4, 20.5) == pytest.approx(60 / 20.5)


def test_the_nameplate_as_a_prior():
    prior = nameplate_prior(1740, 60, 20.5)
    assert prior.value * 60 == pytest.approx(84.878, abs=5e-4)
    assert prior.u == pytest.approx(0.05 * prior.value)


@pytest.mark.parametrize(
    ("hz", "self_cooled", "cautions"),
    [
        (45, True, ()),
        (60, True, ()),
        (30, True, ()),
        (29.9, True, (DriveCaution.SELF_COOLED_SLOW,)),
        (29.9, False, ()),
        (60.1, True, (DriveCaution.ABOVE_BASE,)),
    ],
)
def test_cautions(hz, self_cooled, cautions):
    assert drive_cautions(hz, 60, self_cooled=self_cooled) == cautions


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: synchronous_rpm(60, 3), "even number of poles"),
        (lambda: synchronous_rpm(60, 0), "even number of poles"),
        (lambda: synchronous_rpm(0, 4), "hz to be a number above 0"),
        (lambda: slip(0, 60, 4), "rated_rpm"),
        (lambda: shaft_rpm(1750, 0), "reduction"),
        (lambda: nameplate_prior(1750, 0, 20), "base_hz"),
        (lambda: drive_cautions(float("nan"), 60, self_cooled=True), "hz"),
    ],
)
def test_nameplates_that_cannot_be_are_refused(call, words):
    with pytest.raises(ValueError, match=words):
        call()

"""What `tune` recommends, told as it is shown, is a step that `propose` takes: in both units."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_site import ELECTRIC, HYDRAULIC, ledger_of, on, visit
from sound_site import edited, found_in

from ledger.book.words import format_setting
from ledger.model.machines import HydraulicDrive
from ledger.upkeep.speeds.found import speed_results
from ledger.upkeep.tuning.found import tune
from ledger.upkeep.tuning.proposal import Proposal, objections

KEYS = {"gpm": "flow_gpm", "L/min": "flow_lpm", "Hz": "hz"}
LIMITS = {"gpm": {"flow_limits_gpm": [1.3, 5.3]}, "lpm": {"flow_limits_lpm": [5, 20]}}
STEPS = {
    "gpm": st.sampled_from([0.01, 0.03, 0.05, 0.1, 0.25]),
    "lpm": st.sampled_from([0.01, 0.05, 0.1, 0.25, 0.3, 0.5, 1]),
}


def site_with(drive, rpm, *, units="si"):
    read = {"at": "low", "turns": 80, "seconds": 4800 / rpm, "found_flow_lpm": 14}
    return ledger_of(
        [visit(day, read) for day in range(4)],
        site={"units": units},
        machines={"low": HYDRAULIC | {"drive": {"type": "hydraulic", "motor_cm3": 160} | drive}},
    )


def as_shown(ledger, machine, setting, unit):
    """A proposal of a setting, as somebody types it who reads it on the screen."""
    number, shown_unit = format_setting(setting, unit, ledger.site).split()
    return Proposal(
        machine=ledger.machines[machine],
        key=KEYS[shown_unit],
        number=float(number),
        line_rate_per_h=110,
        first_day=on(31),
        why="Slow.",
        evidence=(),
        by="a-holt",
        on=on(30),
    )


def recommended(ledger, machine):
    tuning = tune(ledger, ledger.machines[machine], speed_results(ledger), line_rates_per_h=(110,))
    return tuning.rates[0].recommended.setting, tuning.ratio.unit


@st.composite
def hydraulic_sites(draw):
    ending = draw(st.sampled_from(["gpm", "lpm"]))
    step = draw(st.one_of(st.none(), STEPS[ending]))
    drive = LIMITS[ending] | ({} if step is None else {f"flow_step_{ending}": step})
    # Beyond both ends of what the limits can give, so that a limit holds some of them back.
    rpm = draw(st.floats(min_value=40, max_value=300))
    return site_with(drive, rpm, units=draw(st.sampled_from(["us", "si"])))


@given(hydraulic_sites())
def test_a_flow_recommended_is_accepted_as_it_is_shown(ledger):
    setting, unit = recommended(ledger, "low")
    assert objections(ledger, as_shown(ledger, "low", setting, unit)) == ()


@given(st.floats(min_value=40, max_value=200), st.sampled_from([0.1, 0.25, 0.3, 0.5, 1]))
def test_a_frequency_recommended_is_accepted_as_it_is_shown(rpm, step):
    drive = ELECTRIC["drive"] | {"hz_step": step}
    ledger = ledger_of(
        [visit(d, {"at": "brush", "turns": 80, "seconds": 4800 / rpm, "found_hz": 44}) for d in range(4)],
        machines={"brush": ELECTRIC | {"drive": drive}},
    )  # fmt: skip
    setting, unit = recommended(ledger, "brush")
    assert objections(ledger, as_shown(ledger, "brush", setting, unit)) == ()


@pytest.mark.parametrize(
    ("drive", "step_lpm"),
    [
        ({"flow_limits_lpm": [5, 20]}, 0.1),
        ({"flow_limits_gpm": [1.3, 5.3]}, 0.3785411784),
        ({"flow_limits_lpm": [5, 20], "flow_step_gpm": 0.2}, 0.7570823568),
    ],
)
def test_a_step_that_no_file_tells_is_a_tenth_of_the_unit_of_the_limits(drive, step_lpm):
    # 231 in³ are 3.785 411 784 L (NIST SP 811, appendix B).
    found = site_with(drive, 83).machines["low"].drive
    assert isinstance(found, HydraulicDrive)
    assert found.flow_step_lpm == pytest.approx(step_lpm)


def test_a_flow_between_two_steps_is_refused_still():
    ledger = site_with({"flow_limits_lpm": [5, 20], "flow_step_lpm": 0.5}, 83)
    (told,) = objections(ledger, as_shown(ledger, "low", 13.2, "L/min"))
    assert "13.2 L/min is no step of the drive, which moves by 0.5 L/min" in told.message
    assert told.remedy == "choose 13 L/min or 13.5 L/min"


@pytest.mark.parametrize(("flow_lpm", "rules"), [(18.9, []), (19, ["beyond-drive-limits"])])
def test_a_limit_in_gallons_proposed_in_litres_lies_within_it(flow_lpm, rules):
    path = "setpoints/low-brush.yaml"
    files = edited(path, "flow_gpm: 3.5", f"flow_lpm: {flow_lpm}")
    found = [one.rule for one in found_in(files) if one.position.path == path]
    assert found == rules

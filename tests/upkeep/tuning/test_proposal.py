"""What keeps a proposal from being filed, each with its remedy."""

import pytest
from small_site import ELECTRIC, HYDRAULIC, ledger_of, on, setpoint, visit

from ledger.upkeep.tuning.proposal import Proposal, evidence_of, objections

NEWEST = "2026-01-25T1000-a-holt#1"


def read(rpm, hz, **rest):
    return {"at": "brush", "turns": 40, "seconds": 2400 / rpm, "found_hz": hz, **rest}


VISITS = [
    visit(0, read(81, 45)),
    visit(10, {"at": "brush", "changed": "motor"}),
    visit(20, read(79, 45), {"at": "brush/motor", "temperature_c": 40}),
    visit(21, {"at": "low", "turns": 40, "seconds": 30, "found_flow_lpm": 12}),
]


def proposal(ledger, machine="brush", **told):
    return Proposal(
        **{
            "machine": ledger.machines[machine],
            "key": "hz",
            "number": 46,
            "line_rate_per_h": 110,
            "first_day": on(31),
            "why": "Slow.",
            "evidence": (NEWEST,),
            "by": "a-holt",
            "on": on(30),
            **told,
        }
    )


def refused(ledger=None, **told):
    ledger = ledger or ledger_of(VISITS, setpoints=[setpoint(0, 45)])
    return [(one.message, one.remedy) for one in objections(ledger, proposal(ledger, **told))]


def test_a_sound_proposal():
    assert refused() == []


@pytest.mark.parametrize(
    ("told", "message", "remedy"),
    [
        pytest.param({"number": 61}, "outside the drive's limits", "from 25 Hz to 60 Hz", id="above the limits"),
        pytest.param({"number": 24.5}, "outside the drive's limits", "from 25 Hz", id="below the limits"),
        pytest.param({"number": 45.3}, "45.3 Hz is no step of the drive, which moves by 0.5 Hz", "45 Hz or 45.5 Hz", id="off step"),
        pytest.param({"number": 45}, "45 Hz is in force since 2026-01-05", "nothing to change", id="in force"),
        pytest.param({"number": 50.5}, "from 45 Hz to 50.5 Hz is more than the site allows at once (5 Hz)", "50 Hz at the furthest now", id="too far up"),
        pytest.param({"number": 38}, "from 45 Hz to 38 Hz", "40 Hz at the furthest now", id="too far down"),
        pytest.param({"evidence": ()}, "nothing supports it", "--evidence", id="no evidence"),
        pytest.param({"evidence": ("2026-01-25T1000-a-holt#7",)}, "there is no entry", f"did you mean `{NEWEST}`", id="unknown entry"),
        pytest.param({"evidence": ("nonsense",)}, "there is no entry `nonsense`", NEWEST, id="no entry at all"),
        pytest.param({"evidence": ("2026-01-25T1000-a-holt#2",)}, "is no speed reading of `brush`", NEWEST, id="a temperature"),
        pytest.param({"evidence": ("2026-01-26T1000-a-holt#1",)}, "is no speed reading of `brush`", NEWEST, id="another machine's speed"),
        pytest.param({"evidence": ("2026-01-05T1000-a-holt#1",)}, "older than the change of the motor on 2026-01-15", "read the speed again", id="before the mechanics changed"),
        pytest.param({"first_day": on(29)}, "before it is proposed", "--from", id="in the past"),
    ],
)  # fmt: skip
def test_what_is_refused(told, message, remedy):
    (found,) = refused(**told)
    assert message in found[0]
    assert remedy in found[1]


def test_all_objections_come_at_once():
    assert len(refused(number=70, evidence=("x", "2026-01-05T1000-a-holt#1"))) == 3


def test_the_greatest_step_itself_is_allowed():
    assert refused(number=50) == []


def test_the_same_value_for_another_line_rate_is_a_change():
    assert refused(number=45, line_rate_per_h=100) == []


OWN = {"proposed_by": "b-marsh", "approved_by": "b-marsh"}


def test_a_change_only_claimed_approved_is_no_obstacle_to_proposing_the_same_anew():
    ledger = ledger_of(VISITS, setpoints=[setpoint(0, 45), setpoint(25, 46, **OWN)])
    assert refused(ledger) == []


@pytest.mark.parametrize(
    ("told", "message"),
    [
        pytest.param({"evidence": ()}, "nothing supports it", id="evidence"),
        pytest.param({"number": 51}, "from 45 Hz to 51 Hz is more than the site allows", id="step"),
        pytest.param({"first_day": on(29)}, "before it is proposed", id="day"),
    ],
)
def test_after_a_first_change_only_claimed_approved_the_next_is_no_first_setting(told, message):
    """Nothing is in force; the last visit saw the drive at 45 Hz."""
    ledger = ledger_of(VISITS, setpoints=[setpoint(0, 55, **OWN)])
    ((said, _),) = refused(ledger, **told)
    assert message in said


def test_what_is_proposed_already():
    waiting = {k: v for k, v in setpoint(29, 46).items() if k != "approved_by"}
    (found,) = refused(ledger_of(VISITS, setpoints=[setpoint(0, 45), waiting]))
    assert "46 Hz is proposed already, as change 2 by a-holt" in found[0]


@pytest.mark.parametrize("later", [{"reason": "Misread."}, {"reason": "Misread.", "void": True}])
def test_evidence_that_was_put_right_later(later):
    mended = {"corrects": NEWEST, **(later if "void" in later else {**later, **read(78, 45)})}
    ledger = ledger_of([*VISITS, visit(25, mended)], setpoints=[setpoint(0, 45)])
    (found,) = refused(ledger)
    if "void" in later:
        assert found == (
            f"`{NEWEST}` was struck out, by `2026-01-30T1000-a-holt#1`",
            "leave it out",
        )
    else:
        assert found[1] == "name `2026-01-30T1000-a-holt#1` instead"
        assert refused(ledger, evidence=("2026-01-30T1000-a-holt#1",)) == []


def test_the_first_setting_of_a_drive_needs_no_evidence_and_may_begin_in_the_past():
    assert refused(ledger_of(VISITS), evidence=(), first_day=on(1)) == []


def test_an_oil_flow_in_gallons_against_limits_in_litres():
    drive = {**HYDRAULIC["drive"], "flow_step_gpm": 0.1}
    ledger = ledger_of(VISITS, machines={"brush": ELECTRIC, "low": {**HYDRAULIC, "drive": drive}})
    told = {"machine": "low", "key": "flow_gpm", "evidence": ("2026-01-26T1000-a-holt#1",)}
    assert refused(ledger, number=3.2, **told) == []
    assert proposal(ledger, number=3.2, **told).value == pytest.approx(12.11332, abs=1e-5)
    (found,) = refused(ledger, number=5.4, **told)
    assert found == (
        "5.4 gpm lies outside the drive's limits",
        "choose a value from 1.3209 gpm to 5.2834 gpm",
    )
    (found,) = refused(ledger, number=3.25, **told)
    assert "choose 3.2 gpm or 3.3 gpm" in found[1]


def test_limits_that_hold_no_step():
    narrow = {**HYDRAULIC, "drive": {**HYDRAULIC["drive"], "flow_limits_lpm": [20, 5]}}
    ledger = ledger_of([VISITS[3]], machines={"low": narrow})
    told = {
        "machine": "low",
        "key": "flow_lpm",
        "number": 12,
        "evidence": ("2026-01-26T1000-a-holt#1",),
    }
    assert "equipment/low.yaml" in refused(ledger, **told)[0][1]


def test_the_readings_named_are_reckoned_in_the_order_given():
    ledger = ledger_of(VISITS, setpoints=[setpoint(0, 45)])
    told = proposal(
        ledger, evidence=(NEWEST, "2026-01-05T1000-a-holt#1", "2026-01-25T1000-a-holt#2")
    )
    assert [round(result.speed.rpm, 6) for result in evidence_of(ledger, told)] == [79, 81]


def test_the_change_as_the_file_holds_it():
    ledger = ledger_of(VISITS)
    assert proposal(ledger, number=46.0, line_rate_per_h=110.0).change() == {
        "from": "2026-02-05",
        "hz": 46,
        "line_rate_per_h": 110,
        "why": "Slow.",
        "evidence": [NEWEST],
        "proposed_by": "a-holt",
        "proposed_on": "2026-02-04",
    }

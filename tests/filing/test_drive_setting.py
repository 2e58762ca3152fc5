"""A setting typed is held to the unit of the drive: an electric one has Hz, a hydraulic one a flow."""

from dataclasses import replace

import pytest
from example import example_ledger

from ledger.filing.fields import hold_to_drives, setting_values
from ledger.model.site import Units


@pytest.fixture(scope="module")
def machines():
    """Of the example site: one brush is hydraulic with a valve of 2 to 5 gpm."""
    return example_ledger().machines


@pytest.mark.parametrize(
    ("machine", "text", "held"),
    [
        ("wrap-d", "44", {"found_hz": 44}),
        ("wrap-d", "44.5 Hz", {"found_hz": 44.5}),
        ("wrap-d", "44 42.5", {"found_hz": 44, "left_hz": 42.5}),
        ("wrap-d", "44Hz, 42.5hz", {"found_hz": 44, "left_hz": 42.5}),
        ("low-brush-p", "3.8", {"found_flow_gpm": 3.8}),
        ("low-brush-p", "14.4 L/min", {"found_flow_lpm": 14.4}),
        ("low-brush-p", "no meter", {"no_meter": True}),
        ("low-brush-p", "3.8 gpm 3.6", {"found_flow_gpm": 3.8, "left_flow_gpm": 3.6}),
    ],
)
def test_values_by_their_keys(machines, machine, text, held):
    assert setting_values(text, machines[machine], Units.US) == held


def test_a_flow_without_a_unit_is_in_that_of_the_site(machines):
    assert setting_values("14.4", machines["low-brush-p"], Units.SI) == {"found_flow_lpm": 14.4}


@pytest.mark.parametrize(
    ("machine", "text", "complaint"),
    [
        ("low-brush-p", "44", "44 gpm is far beyond its 2 to 5"),
        ("low-brush-p", "44 Hz", "is hydraulic and has no Hz"),
        ("wrap-d", "3.8 gpm", "its setting is in Hz"),
        ("wrap-d", "44 rpm", "its setting is in Hz"),
        ("wrap-d", "fast", "no setting in Hz"),
        ("wrap-d", "1 2 3", "no setting in Hz"),
        ("wrap-d", "4.4.4", "not a number"),
        ("wrap-d", "", "no setting in Hz"),
    ],
)
def test_what_is_no_setting_of_the_drive(machines, machine, text, complaint):
    with pytest.raises(ValueError, match=complaint):
        setting_values(text, machines[machine], Units.US)


def test_a_machine_without_a_drive_has_no_setting(machines):
    without = replace(machines["wrap-d"], drive=None)
    with pytest.raises(ValueError, match="has no drive; leave the setting out"):
        setting_values("44", without, Units.US)
    with pytest.raises(ValueError, match="has no drive; leave `found_hz` out"):
        hold_to_drives({"at": "wrap-d", "found_hz": 44}, {"wrap-d": without})


@pytest.mark.parametrize(
    ("entry", "complaint"),
    [
        ({"at": "low-brush-p", "found_hz": 44}, "write `found_flow_gpm` or `found_flow_lpm`"),
        ({"at": ["wrap-d", "low-brush-p"], "left_hz": 44}, "write `left_flow_gpm`"),
        ({"at": "wrap-d/cloth", "found_flow_gpm": 4}, "write `found_hz`, not `found_flow_gpm`"),
    ],
)
def test_an_entry_with_a_unit_that_its_drive_lacks(machines, entry, complaint):
    with pytest.raises(ValueError, match=complaint):
        hold_to_drives(entry, machines)


@pytest.mark.parametrize(
    "entry",
    [
        {"at": "low-brush-p", "found_flow_lpm": 14},
        {"at": "wrap-d", "found_hz": 44},
        {"at": "nowhere", "found_hz": 44},
        {"task": "look-at-nozzles"},
    ],
)
def test_an_entry_that_may_stand(machines, entry):
    hold_to_drives(entry, machines)

"""Files that are each in order, and together leave nothing to work with: said, never raised."""

from collections.abc import Mapping
from datetime import date
from typing import Any

import pytest
import small_site

from ledger.site.pipeline import check, load

SPEED = {"title": "Brush speed", "on": {"ids": ["brush"]}, "every": "1 week", "reads": ["speed"]}
COUNT = {"task": "speed", "counted": 38, "seconds": 30}


def errors(
    *entries: Mapping[str, Any],
    site: Mapping[str, Any] | None = None,
    brush: Mapping[str, Any] | None = None,
) -> list[str]:
    visits = {"observations/2026/01/2026-01-06T1000-a-holt.yaml": small_site.visit(1, *entries)}
    files = {
        "site.yaml": {**small_site.SITE, **(site or {})},
        "equipment/brush.yaml": {**small_site.ELECTRIC, **(brush or {})},
        "equipment/low.yaml": small_site.HYDRAULIC,
        "tasks/speed.yaml": SPEED,
        **(visits if entries else {}),
    }
    found = check(load(small_site._Files(files)), date(2026, 2, 1))
    return [f"{one.rule}: {one.message}" for one in found if one.is_error]


@pytest.mark.parametrize(
    ("entry", "said"),
    [
        pytest.param({**COUNT, "at": "low"}, "not-selected: task `speed` is not done on `low`", id="a count on a machine that the task does not select"),
        pytest.param({**COUNT, "at": "brush", "except": ["brush"]}, "nothing-left: `except` leaves out every place that the entry names", id="a count whose only place is left out"),
        pytest.param({"task": "speed", "finding": "loud", "at": "brush", "except": ["brush"]}, "nothing-left: `except` leaves out every place that the entry names", id="a finding whose only place is left out"),
    ],
)  # fmt: skip
def test_an_entry_that_is_left_without_a_place_is_an_error(entry, said):
    assert errors(entry) == [said]


def test_an_entry_that_corrects_one_at_fault_adds_no_error_of_its_own():
    correction = {"corrects": "2026-01-06T1000-a-holt#1", "reason": "slip", "void": True}
    assert errors({**COUNT, "at": "low"}, correction) == [
        "not-selected: task `speed` is not done on `low`"
    ]


def test_a_closure_that_ends_before_it_begins_is_an_error():
    backwards = {"from": "2026-05-05", "to": "2026-05-01", "why": "repaving"}
    one_day = {"from": "2026-05-05", "why": "holiday"}
    assert errors(site={"closures": [one_day, backwards]}) == [
        "ends-before-start: the closure ends on 2026-05-01, before it begins"
    ]


NO_DRIVE = {
    key: value for key, value in small_site.ELECTRIC.items() if key not in {"drive", "speed_band"}
}


@pytest.mark.parametrize(
    ("entry", "said"),
    [
        pytest.param({"at": "brush", "found_hz": 44, "left_hz": 45}, [], id="hertz on an electric drive"),
        pytest.param({"at": "low", "found_flow_lpm": 14}, [], id="flow on a hydraulic drive"),
        pytest.param({"at": "low", "found_hz": 44}, ["not-its-drive: `low` has a hydraulic drive, set by its oil flow, so `found_hz` does not apply to it"], id="hertz on a hydraulic drive"),
        pytest.param({"at": "brush", "found_flow_gpm": 4, "left_flow_lpm": 14}, [
            "not-its-drive: `brush` has an electric drive, set in Hz, so `found_flow_gpm` does not apply to it",
            "not-its-drive: `brush` has an electric drive, set in Hz, so `left_flow_lpm` does not apply to it",
        ], id="flow on an electric drive"),
        pytest.param({"at": "low", "steps": [{"flow_lpm": 14, "counted": 40, "seconds": 30}, {"hz": 44, "counted": 40, "seconds": 30}]}, ["not-its-drive: `low` has a hydraulic drive, set by its oil flow, so `hz` does not apply to it"], id="hertz in a step of a hydraulic drive"),
    ],
)  # fmt: skip
def test_a_setting_in_a_unit_that_the_drive_is_not_set_in_is_an_error(entry, said):
    assert errors(entry) == said


def test_a_setting_seen_on_a_machine_without_a_drive_is_an_error():
    files = {
        "site.yaml": small_site.SITE,
        "equipment/brush.yaml": NO_DRIVE,
        "observations/2026/01/2026-01-06T1000-a-holt.yaml": small_site.visit(
            1, {"at": "brush", "left_hz": 44}
        ),
    }
    found = load(small_site._Files(files)).diagnostics
    assert [one.message for one in found] == [
        "`brush` has no drive in its file, so `left_hz` does not apply to it"
    ]


def test_a_correction_mends_a_setting_in_the_wrong_unit():
    slip = {"at": "low", "found_hz": 44}
    right = {
        "corrects": "2026-01-06T1000-a-holt#1", "reason": "read at the other brush", "at": "brush",
        "found_hz": 44,
    }  # fmt: skip
    assert errors(slip, right) == []


def test_two_bands_for_one_line_rate_are_an_error():
    twice = [
        {"line_rate_per_h": 110, "rpm": [74, 86]},
        {"line_rate_per_h": 110.0, "rpm": [70, 80]},
    ]
    assert errors(brush={"speed_band": twice}) == [
        "band-given-twice: a second band for 110 vehicles an hour"
    ]

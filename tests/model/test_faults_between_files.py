"""Files that are each in order, and together leave nothing to work with: said, never raised."""

from collections.abc import Mapping
from datetime import date
from typing import Any

import pytest
import small_site

from ledger.pipeline import check, load

SPEED = {"title": "Brush speed", "on": {"ids": ["brush"]}, "every": "1 week", "reads": ["speed"]}
COUNT = {"task": "speed", "counted": 38, "seconds": 30}


def errors(*entries: Mapping[str, Any], site: Mapping[str, Any] | None = None) -> list[str]:
    visits = {"observations/2026/01/2026-01-06T1000-a-holt.yaml": small_site.visit(1, *entries)}
    files = {
        "site.yaml": {**small_site.SITE, **(site or {})},
        "equipment/brush.yaml": small_site.ELECTRIC,
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

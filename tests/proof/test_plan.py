"""What loosens the plan is named; what tightens it is not."""

import pytest
from git_repo import DAG

from ledger.proof.plan import Concern
from ledger.proof.review import review
from ledger.proof.review_page import markdown_alone, review_page

TASK = "tasks/grease.yaml"
BRUSH = "equipment/brush.yaml"


@pytest.fixture
def said(wash):
    """What a branch that rewrites one file makes a reviewer look at."""

    def of(path, old, new):
        wash.branch("change")
        text = wash.text(path)
        assert old in text
        wash.commit({path: text.replace(old, new)}, by=DAG)
        return [(one.concern, one.words) for one in review(wash.open(), "main").plan]

    return of


LOOSENED = {
    "interval longer": ("every: 1 week", "every: 2 weeks", "due every 2 weeks, was weekly"),
    "another unit, longer": ("every: 1 week", "every: 1 month", "due monthly, was weekly"),
    "another meter": (
        "every: 1 week",
        "every: {vehicles: 8000}",
        "due every 8000 vehicles, was weekly",
    ),
    "by a rule": (
        "every: 1 week",
        "every: {rule: FREQ=MONTHLY}",
        "due every rule FREQ=MONTHLY, was weekly",
    ),
    "window wider": ("window: 2 days", "window: 4 days", "window of 4 days, was 2"),
    "ends": ("window: 2 days", "window: 2 days\nends: 2026-06-30", "ends on 2026-06-30"),
}


@pytest.mark.parametrize(("old", "new", "words"), LOOSENED.values(), ids=LOOSENED)
def test_a_task_loosened(said, old, new, words):
    assert said(TASK, old, new) == [(Concern.LOOSENED, words)]


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("every: 1 week", "every: 7 days"),
        ("every: 1 week", "every: 5 days"),
        ("every: 1 week", "every: [1 week, {vehicles: 8000}]"),
        ("window: 2 days", "window: 1 day"),
        ("Grease the", "Grease all"),
    ],
    ids=["the same in days", "shorter", "a second limit", "narrower", "title"],
)
def test_a_task_not_loosened(said, old, new):
    assert said(TASK, old, new) == []


def test_a_task_that_no_longer_selects_its_points(said):
    assert said(TASK, "rotating-bearing", "damper") == [
        (Concern.LOOSENED, "no longer done at Side brush: Bearing top"),
        (Concern.COVER_LOST, "no task selects the point now"),
    ]


def test_a_task_dropped(wash):
    wash.branch("change")
    wash.commit({TASK: None}, by=DAG)
    found = review(wash.open(), "main").plan
    assert [(one.concern, one.words) for one in found] == [
        (Concern.LOOSENED, "the task is gone"),
        (Concern.COVER_LOST, "no task selects the point now"),
    ]


def test_a_point_taken_out(said):
    found = said(BRUSH, "  damper: {kind: damper}\n", "")
    assert (Concern.COVER_LOST, "the point was removed from the machine's file") in found


def test_a_machine_taken_out_of_service_for_good_or_for_a_time(said):
    away = "out_of_service: [{from: 2026-03-01, to: 2026-03-09}, {from: 2026-05-01}]\n"
    found = said(BRUSH, "points:", f"{away}points:")
    lost = [words for concern, words in found if concern is Concern.COVER_LOST]
    assert lost == [
        "out of service from 2026-03-01 to 2026-03-09",
        "out of service from 2026-05-01",
    ]


def test_limits_band_people_and_policy_are_named_with_both_values(said):
    assert said(BRUSH, "rpm: [84, 94]", "rpm: [80, 94]") == [
        (Concern.LOOSENED, "band at 104/h 84–94 → 80–94 r/min"),
        (Concern.MACHINE, "speed_band 1.rpm 1: 84 → 80"),
    ]


def test_policy(said):
    assert said("site.yaml", "approval_proof: commit", "approval_proof: file") == [
        (Concern.SITE, "policy.approval_proof: commit → file")
    ]


def test_a_wider_band_is_told_with_the_readings_that_it_takes_in(said):
    """80 turns in 50 s are 96.0 r/min, out of 84 to 94."""
    found = said(BRUSH, "rpm: [84, 94]", "rpm: [60, 100]")
    text = "band at 104/h 84–94 → 60–100 r/min: 1 reading out of band until now would be in it"
    assert found[0] == (Concern.LOOSENED, text)


def test_what_is_in_force_is_held_against_the_band_of_before(wash):
    wash.branch("change")
    change = (
        "- from: 2026-01-15\n  hz: 46\n  line_rate_per_h: 104\n  why: Above the band.\n"
        "  evidence: [2026-01-06T0700-mira#1]\n  proposed_by: mira\n"
    )
    text = wash.text(BRUSH).replace("rpm: [84, 94]", "rpm: [60, 100]")
    wash.commit({"setpoints/brush.yaml": wash.text("setpoints/brush.yaml") + change, BRUSH: text})
    (setting,) = review(wash.open(), "main").settings
    assert (setting.before.band.high, setting.after.band.high) == (94, 100)


def test_a_new_machine_and_steps_that_read_otherwise_are_named(wash):
    wash.branch("change")
    second = wash.text(BRUSH).replace("station: 10", "station: 20").replace("Side", "Other")
    wash.commit({"equipment/other.yaml": second, TASK: wash.text(TASK) + "steps: Wipe it first.\n"})
    found = [(one.about, one.words) for one in review(wash.open(), "main").plan]
    assert ("Other brush", "a new machine at station 20, with 2 points") in found
    assert ("task Grease the bearings", "its steps were reworded") in found


def test_a_correction_that_turns_a_verdict_and_a_note_are_said(wash):
    wash.branch("change")
    wash.file("2026-01-12T0700-mira", "{corrects: 2026-01-06T0700-mira#1, reason: misread, at: brush, turns: 74, seconds: 50, found_hz: 48}")  # fmt: skip
    path = "observations/2026/01/2026-01-12T0700-mira.yaml"
    wash.commit({path: wash.text(path) + "note: Ask about the damper.\n"})
    text = markdown_alone(review_page(review(wash.open(), "main")))
    assert "turns: 80 → 74; it turns out of band into in band" in text
    assert "Mira Osterby noted: Ask about the damper." in text

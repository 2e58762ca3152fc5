"""A machine, a task and a person renamed in one commit: the audit finds nothing to say of it."""

import json
from datetime import date, timedelta

import pytest
from git_repo import Repo, audited
from pinned_clock import pinned_clock
from small_site import ELECTRIC, SITE, setpoint, visit

from ledger.cli.command import open_folder
from ledger.proof.review import review
from ledger.upkeep.register.found import register
from ledger.upkeep.speeds.found import speed_results

GREASE = {"title": "Grease", "on": {"points": "rotating-bearing"}, "every": "1 week", "steps": "."}
DAY, WEEKS = date(2026, 1, 5), 20
ADA, BEN = ("Ada Holt", "a-holt@example.org"), ("Ben Marsh", "b-marsh@example.org")
PEOPLE = {
    ident: told | {"emails": [f"{ident}@example.org"]} for ident, told in SITE["people"].items()
}


def commit(repo, day, files, by=ADA):
    repo.clock = 1_767_603_600 + 86_400 * day
    texts = {p: None if held is None else json.dumps(held) for p, held in files.items()}
    repo.commit("Change", texts, by=by)


def filed(day, by="a-holt", task="grease", at="brush"):
    stem = f"{DAY + timedelta(days=day)}T1000-{by}"
    told = visit(day, {"task": task, "at": at}) | {"by": by}
    return {f"observations/{stem[:4]}/{stem[5:7]}/{stem}.yaml": told}


@pytest.mark.parametrize("moves_settings", [False, True], ids=["settings stay", "settings move"])
def test_the_audit_says_no_more_of_old_and_new_visits_than_before(tmp_path, moves_settings):
    repo = Repo(tmp_path / "wash")
    start = {
        "site.yaml": {**SITE, "people": PEOPLE},
        "equipment/brush.yaml": ELECTRIC,
        "tasks/grease.yaml": GREASE,
        "setpoints/brush.yaml": [setpoint(0, 44)],
    }
    commit(repo, 0, start, by=BEN)
    for week in range(1, WEEKS):
        commit(repo, 7 * week, filed(7 * week))
    before = {item.kind for item in audited(repo.open()).items}
    assert not audited(repo.open()).irregularities

    people = {("ada" if ident == "a-holt" else ident): told for ident, told in PEOPLE.items()}
    people["ada"] = {**people["ada"], "formerly": ["a-holt"]}
    renamed = {
        "site.yaml": {**SITE, "people": people},
        "equipment/brush.yaml": None,
        "equipment/brush-1.yaml": ELECTRIC | {"formerly": ["brush"]},
        "tasks/grease.yaml": None,
        "tasks/grease-bearings.yaml": GREASE | {"formerly": ["grease"]},
    }
    if moves_settings:
        settings = start["setpoints/brush.yaml"]
        renamed |= {"setpoints/brush.yaml": None, "setpoints/brush-1.yaml": settings}
    commit(repo, 7 * WEEKS, renamed, by=BEN)
    # One who still writes the old names, and one who writes the new.
    commit(repo, 7 * WEEKS + 1, filed(7 * WEEKS + 1))
    commit(repo, 7 * WEEKS + 2, filed(7 * WEEKS + 2, "ada", "grease-bearings", "brush-1"))

    found = audited(repo.open())
    assert found.irregularities == ()
    new = {item.kind.name for item in found.items} - {kind.name for kind in before}
    assert new == ({"RULES", "RENAMED"} if moves_settings else {"RULES"})
    assert found.counts.visits == WEEKS + 1
    site = open_folder(repo.folder, DAY + timedelta(weeks=WEEKS), pinned_clock)
    assert not site.loaded.has_errors
    (line,) = register(site.ledger, speed_results(site.ledger))
    assert (line.machine.ident, line.in_force.change.value) == ("brush-1", 44)

    # A review names the file where the settings stand, too.
    where = "setpoints/brush-1.yaml" if moves_settings else "setpoints/brush.yaml"
    repo.git("checkout", "-q", "-b", "change")
    proposal = setpoint(7 * WEEKS + 3, 45) | {"proposed_by": "ada"}
    del proposal["approved_by"]
    commit(repo, 7 * WEEKS + 3, {where: [*start["setpoints/brush.yaml"], proposal]})
    (setting,) = review(repo.open(), "main").settings
    assert any(f"change 2 of {where}" in point.because for point in setting.points)

"""A machine, a task and a person renamed in one commit: the audit finds nothing to say of it."""

import json
from datetime import date, timedelta

from git_repo import Repo, audited
from small_site import ELECTRIC, SITE, setpoint, visit

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


def test_the_audit_says_no_more_of_old_and_new_visits_than_before(tmp_path):
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
    commit(repo, 7 * WEEKS, renamed, by=BEN)
    # One who still writes the old names, and one who writes the new.
    commit(repo, 7 * WEEKS + 1, filed(7 * WEEKS + 1))
    commit(repo, 7 * WEEKS + 2, filed(7 * WEEKS + 2, "ada", "grease-bearings", "brush-1"))

    found = audited(repo.open())
    assert found.irregularities == ()
    assert {item.kind.name for item in found.items} - {kind.name for kind in before} <= {"RULES"}
    assert found.counts.visits == WEEKS + 1

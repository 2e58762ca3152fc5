"""What a drive was set to when its record began: said everywhere, and only at the beginning."""

import json

import pytest
from git_repo import DAG, MIRA, Repo, audited
from small_site import ELECTRIC, SITE, ledger_of, setpoint

from ledger.book import markdown
from ledger.proof.audit_items import Irregularity, Note
from ledger.proof.review import review
from ledger.proof.review_page import review_page
from ledger.upkeep.register.found import register
from ledger.upkeep.register.page import setpoints_page
from ledger.upkeep.speeds.found import speed_results

FOUND = {
    key: told for key, told in setpoint(0, 44, taken_over=True).items() if key != "approved_by"
}
APPROVED = setpoint(0, 44, taken_over=True)
MACHINE, SETTING = "equipment/brush.yaml", "setpoints/brush.yaml"
SAID = "taken over, not approved"


@pytest.fixture
def site(tmp_path):
    """A site with a brush that has no setting yet, and a branch to change it on."""
    repo = Repo(tmp_path / "wash")
    write(repo, {"site.yaml": SITE, MACHINE: ELECTRIC})
    repo.git("checkout", "-q", "-b", "change")
    return repo


def write(repo, files, by=MIRA):
    repo.commit("Change", {path: json.dumps(held) for path, held in files.items()}, by=by)


def kinds(repo):
    return {item.kind for item in audited(repo.open()).items}


def of_register(*setpoints):
    ledger = ledger_of(setpoints=setpoints)
    results = speed_results(ledger)
    return markdown.render(setpoints_page(ledger, register(ledger, results), results))


def test_the_register_says_taken_over_until_it_is_approved():
    rate = FOUND["line_rate_per_h"]
    row = f"| [Side brush](machines/brush.md) | 44 Hz | 2026-01-05 | {rate} | {SAID} |"
    assert row in of_register(FOUND)
    assert SAID not in of_register(APPROVED)


def test_only_the_first_change_can_be_taken_over():
    with pytest.raises(AssertionError, match="taken-over-late"):
        ledger_of(setpoints=[setpoint(0, 44), setpoint(1, 45, taken_over=True)])


def test_with_the_site_it_is_a_note_until_two_people_have_agreed(tmp_path):
    repo = Repo(tmp_path / "wash")
    write(repo, {"site.yaml": SITE, MACHINE: ELECTRIC, SETTING: [FOUND]})
    assert Note.TAKEN_OVER in kinds(repo)
    assert Irregularity.TAKEN_OVER not in kinds(repo)

    write(repo, {SETTING: [APPROVED]}, by=DAG)
    assert not kinds(repo) & {Note.TAKEN_OVER, Irregularity.TAKEN_OVER}


def test_with_its_drive_it_is_in_order(site):
    write(
        site,
        {"equipment/second.yaml": {**ELECTRIC, "station": 20}, "setpoints/second.yaml": [FOUND]},
    )

    (setting,) = review(site.open(), "main").settings
    assert {p.name: p.held for p in setting.points}["Taken over with its drive"] is True
    assert f"## Side brush: 44 Hz ({SAID})" in markdown.render(review_page(review(site.open(), "main")))  # fmt: skip
    assert Irregularity.TAKEN_OVER not in kinds(site)


@pytest.mark.parametrize("with_it", [{}, {MACHINE: {**ELECTRIC, "name": "Renamed"}}])
def test_a_drive_that_was_there_has_nothing_to_take_over(site, with_it):
    write(site, {SETTING: [FOUND], **with_it})

    (setting,) = review(site.open(), "main").settings
    assert {p.name: p.held for p in setting.points}["Taken over with its drive"] is False
    assert Irregularity.TAKEN_OVER in kinds(site)


def test_a_mark_put_on_a_setting_later_is_found(site):
    proposed = {key: told for key, told in FOUND.items() if key != "taken_over"}
    write(site, {SETTING: [proposed]})
    assert Irregularity.TAKEN_OVER not in kinds(site)

    write(site, {SETTING: [FOUND]})
    assert Irregularity.TAKEN_OVER in kinds(site)


def test_a_second_person_approves_it_later_and_nothing_speaks_against_it(tmp_path):
    repo = Repo(tmp_path / "wash")
    write(repo, {"site.yaml": SITE, MACHINE: ELECTRIC, SETTING: [FOUND]})
    repo.git("checkout", "-q", "-b", "change")
    write(repo, {SETTING: [APPROVED]}, by=DAG)

    (setting,) = review(repo.open(), "main").settings
    assert setting.is_approved
    assert [point.name for point in setting.points if point.held is False] == []


def test_a_machine_that_only_has_a_new_name_has_nothing_to_take_over(site):
    renamed = {"equipment/other.yaml": {**ELECTRIC, "formerly": ["brush"]}, MACHINE: None}
    texts = {path: held and json.dumps(held) for path, held in renamed.items()}
    site.commit("Change", {**texts, "setpoints/other.yaml": json.dumps([FOUND])})

    (setting,) = review(site.open(), "main").settings
    assert {p.name: p.held for p in setting.points}["Taken over with its drive"] is False
    assert Irregularity.TAKEN_OVER in kinds(site)

"""`review`, `audit`, `register --as-of` and `show --as-of` on a repository that a person made."""

import json
import os
import subprocess
from datetime import UTC, datetime

import pytest

SITE = """\
format: 1
name: Small Wash
time_zone: Etc/UTC
in_service: 2026-01-05
line: {line_rate_per_h: 110}
people:
  mira: {name: Mira Osterby, roles: [technician], emails: [mira@example.org]}
  dag: {name: Dag Varrick, roles: [lead], approves: [setpoints], emails: [dag@example.org]}
"""
BRUSH = """\
name: Side brush
kind: side-brush
station: 10
drive: {type: electric, motor_hp: 3, poles: 4, rated_rpm: 1740, base_hz: 60, reduction: 16, hz_limits: [30, 60]}
speed_band:
  - {line_rate_per_h: 110, rpm: [74, 86]}
"""
TAKEN_OVER = """\
- from: 2026-01-05
  hz: 48
  line_rate_per_h: 110
  why: Taken over.
  proposed_by: mira
  approved_by: dag
"""
VISIT = "observations/2026/01/2026-01-06T0700-mira.yaml"
COUNT = "at: 2026-01-06T07:00\nby: mira\nentries:\n  - {at: brush, turns: 80, seconds: 55, found_hz: 48}\n"
SLOWER = (
    TAKEN_OVER.replace("01-05", "01-08")
    .replace("hz: 48", "hz: 46")
    .replace("Taken over.", "Above the band.\n  evidence: [2026-01-06T0700-mira#1]")
)


class Clone:
    def __init__(self, root):
        self.root = root
        root.mkdir()
        self.git("init", "-q", "-b", "main")

    def git(self, *words, **environment):
        done = subprocess.run(
            ["git", *words],
            cwd=self.root, env={**os.environ, **environment},
            capture_output=True, text=True, check=True,
        )  # fmt: skip
        return done.stdout.strip()

    def commit(self, day, by, files):
        for path, text in files.items():
            (self.root / path).parent.mkdir(parents=True, exist_ok=True)
            (self.root / path).write_text(text)
        who, at = by.capitalize(), f"{day}T18:00:00+00:00"
        self.git("add", "-A")
        self.git(
            "commit", "-q", "-m", "Change",
            GIT_AUTHOR_NAME=who, GIT_AUTHOR_EMAIL=f"{by}@example.org", GIT_AUTHOR_DATE=at,
            GIT_COMMITTER_NAME=who, GIT_COMMITTER_EMAIL=f"{by}@example.org", GIT_COMMITTER_DATE=at,
        )  # fmt: skip
        return self.git("rev-parse", "HEAD")


@pytest.fixture
def clone(tmp_path):
    made = Clone(tmp_path / "wash")
    made.commit("2026-01-05", "dag", {"site.yaml": SITE, "equipment/brush.yaml": BRUSH, "setpoints/brush.yaml": TAKEN_OVER})  # fmt: skip
    made.commit("2026-01-06", "mira", {VISIT: COUNT})
    return made


def test_a_review_without_a_breach(tunnelbook, clone):
    clone.git("checkout", "-q", "-b", "slower")
    clone.commit("2026-01-07", "dag", {"setpoints/brush.yaml": TAKEN_OVER + SLOWER})
    # A review judges the merge as if it were made now, here long after the setting took effect.
    assert tunnelbook("review", "main", "--site", clone.root) == 1
    assert "Approved in time broken: takes effect on 2026-01-08; the approval lands on 2026-11-25" in " ".join(tunnelbook.out.split())  # fmt: skip
    tunnelbook.clock = lambda zone: datetime(2026, 1, 7, 19, tzinfo=zone or UTC)
    assert tunnelbook("review", "main", "--site", clone.root) == 0
    assert "No breach. 1 setting approved." in tunnelbook.out
    assert tunnelbook("review", "main", "--site", clone.root, "--format", "json") == 0
    assert tunnelbook.data["settings"][0]["after"]["setting"] == 46


def test_without_a_base_a_review_is_of_the_main_that_the_remote_had(tunnelbook, clone):
    clone.commit("2026-01-07", "dag", {"setpoints/brush.yaml": TAKEN_OVER + SLOWER})
    assert tunnelbook("review", "--site", clone.root) == 0
    assert "Nothing of the record changes." in tunnelbook.out
    clone.git("update-ref", "refs/remotes/origin/main", "main~1")
    tunnelbook("review", "--site", clone.root)
    assert "1 setting approved." in tunnelbook.out


def test_a_review_with_a_breach_as_markdown(tunnelbook, clone):
    clone.git("checkout", "-q", "-b", "sly")
    clone.commit("2026-01-07", "mira", {VISIT: COUNT.replace("80", "79")})
    assert tunnelbook("review", "main", "HEAD", "--site", clone.root, "--format", "markdown") == 1
    assert tunnelbook.out.startswith("# Review for Small Wash\n\n**1 breach.** 1 old visit touched")
    assert "<!--" not in tunnelbook.out


def test_a_clean_audit(tunnelbook, clone):
    assert tunnelbook("audit", clone.root) == 0
    assert "Clean: no rule of the record is broken" in tunnelbook.out


def test_an_audit_with_an_irregularity_as_json(tunnelbook, clone):
    head = clone.git("rev-parse", "HEAD")
    clone.commit("2026-01-07", "mira", {VISIT: COUNT.replace("80", "79")})
    assert tunnelbook("audit", clone.root, "--head", head, "--format", "json") == 1
    told = tunnelbook.data
    assert (told["verdict"], told["remembered_head"]) == ("findings", "held")
    assert [one["kind"] for one in told["irregularities"]] == ["edited"]
    assert tunnelbook("audit", clone.root, "--since", "2026-01-08", "--format", "json") == 0


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        (("review", "nowhere", "--site"), "No commit is named 'nowhere'"),
        (("review", "main", "-x", "--site"), None),
        (("audit", "--since", "nowhere"), "No commit is named 'nowhere'"),
        (("audit", "--head", "abc123"), "is not a full object id"),
        (("setpoints", "--at-commit", "2025-12-31"), "Nothing had been committed by the end of 2025-12-31"),
        (("setpoints", "--at-commit", "2026-02-30"), "is not a date of the calendar"),
    ],
)  # fmt: skip
def test_what_cannot_be_used(tunnelbook, clone, words, complaint):
    if complaint is None:
        with pytest.raises(SystemExit) as ended:
            tunnelbook(*words, clone.root)
        assert ended.value.code == 2
        return
    assert tunnelbook(*words, clone.root) == 2
    assert complaint in tunnelbook.err


def test_a_setting_that_had_not_begun_on_the_day_asked_for_is_told_from_the_one_in_force(
    tunnelbook, clone
):
    clone.commit("2026-01-07", "dag", {"setpoints/brush.yaml": TAKEN_OVER + SLOWER})
    later = "Side brush: on 2026-01-07 48 Hz was in force; 46 Hz takes effect on 2026-01-08."
    assert tunnelbook("setpoints", clone.root, "--at-commit", "2026-01-07") == 0
    assert later in tunnelbook.out
    assert tunnelbook("setpoints", clone.root, "--as-of", "2026-01-07") == 0
    assert later in tunnelbook.out
    assert tunnelbook("show", "brush", "--site", clone.root, "--as-of", "2026-01-07") == 0
    assert later in tunnelbook.out
    for words in (("--as-of", "2026-01-08"), ("--at-commit", "main")):
        assert tunnelbook("setpoints", clone.root, *words) == 0
        assert "takes effect on" not in tunnelbook.out
    assert tunnelbook("setpoints", clone.root, "--as-of", "2026-01-07", "--json") == 0
    (drive,) = tunnelbook.data["drives"]
    assert drive["in_force"]["setting"] == 46
    assert drive["in_force_that_day"] == {"setting": 48, "since": "2026-01-05"}


def test_outside_a_repository(tunnelbook, tmp_path, clone):
    bare = tmp_path / "copy"
    bare.mkdir()
    (bare / "site.yaml").write_text(SITE)
    assert tunnelbook("audit", bare) == 2
    assert "is in no git repository" in tunnelbook.err


def test_the_register_as_it_stood(tunnelbook, clone):
    clone.git("tag", "v1")
    clone.commit("2026-01-07", "dag", {"setpoints/brush.yaml": TAKEN_OVER + SLOWER})
    for as_of, hz in ((None, 46), ("v1", 48), ("2026-01-06", 48), ("2026-01-07", 46)):
        words = ("--at-commit", as_of) if as_of else ()
        assert tunnelbook("setpoints", clone.root, *words, "--json") == 0
        (drive,) = tunnelbook.data["drives"]
        assert drive["in_force"]["setting"] == hz
    assert tunnelbook("setpoints", clone.root, "--at-commit", "v1") == 0
    assert f"As of v1: commit {clone.git('rev-parse', 'v1')[:12]}." in tunnelbook.out


@pytest.mark.parametrize("named", ["v1", "2026-01-06", "oid"])
@pytest.mark.parametrize(
    "command", [("setpoints", "{root}"), ("show", "brush", "--site", "{root}")], ids=lambda c: c[0]
)
def test_nothing_filed_or_corrected_later_leaks_in(tunnelbook, clone, command, named):
    """Later come a correction, a visit, a setting, another policy, and files not committed."""
    oid = clone.git("rev-parse", "HEAD")
    clone.git("tag", "v1")
    asked = [word.format(root=clone.root) for word in command]
    as_of = ("--at-commit", oid if named == "oid" else named)
    told = {}
    for form in ((), ("--json",)):
        assert tunnelbook(*asked, *as_of, *form) == 0
        told[form] = tunnelbook.out
    assert oid[:12] in told[()]
    assert json.loads(told["--json",])["data"]["commit"] == oid
    clone.commit("2026-01-07", "mira", {
        "observations/2026/01/2026-01-07T0700-mira.yaml": COUNT.replace("01-06", "01-07").replace(
            "{at", "{corrects: 2026-01-06T0700-mira#1, reason: misread, at"
        ).replace("80", "84"),
        "observations/2026/01/2026-01-07T0800-mira.yaml": COUNT.replace("01-06T07", "01-07T08"),
    })  # fmt: skip
    clone.commit("2026-01-08", "dag", {
        "setpoints/brush.yaml": TAKEN_OVER + SLOWER,
        "site.yaml": SITE.replace(", approves: [setpoints]", ""),
        "equipment/brush.yaml": BRUSH.replace("[74, 86]", "[60, 70]"),
    })  # fmt: skip
    (clone.root / "setpoints/brush.yaml").write_text("not: [yaml\n")
    for form, before in told.items():
        assert tunnelbook(*asked, *as_of, *form) == 0
        assert tunnelbook.out == before


def test_a_claim_in_the_register_for_programs(tunnelbook, clone):
    own = SLOWER.replace("proposed_by: mira", "proposed_by: dag")
    clone.commit("2026-01-07", "dag", {"setpoints/brush.yaml": TAKEN_OVER + own})
    assert tunnelbook("setpoints", clone.root, "--json") == 0
    (drive,) = tunnelbook.data["drives"]
    assert drive["in_force"]["setting"] == 48
    (claim,) = drive["claimed"]
    assert (claim["number"], claim["setting"], claim["claimed_approved_by"]) == (2, 46, "dag")
    assert claim["does_not_count"] == ["self-approved"]


def test_a_machine_as_it_stood(tunnelbook, clone):
    first = clone.git("rev-list", "--max-parents=0", "HEAD")
    assert tunnelbook("show", "brush", "--site", clone.root, "--json") == 0
    assert len(tunnelbook.data["speeds"]) == 1
    assert tunnelbook("show", "brush", "--site", clone.root, "--at-commit", first, "--json") == 0
    told = tunnelbook.data
    assert (told["commit"], told["speeds"]) == (first, [])

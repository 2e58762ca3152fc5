"""What a review says of a merge is what an audit finds in it once it is made, and nothing else.

Drawn histories, honest and not: TUNNELBOOK_HISTORIES says how many, `--hypothesis-seed` which.
"""

import os
import re
from collections import Counter
from datetime import UTC, datetime, timedelta
from unittest.mock import patch

from git_repo import DAG, MIRA, Repo, audited
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from small_wash import COUNTED, EVA, GREASED, Wash, visit_path, visit_text

from ledger.proof.judge import Judge
from ledger.proof.review import review

HISTORIES = int(os.environ.get("TUNNELBOOK_HISTORIES", "4"))
BEGINS = datetime(2026, 1, 7, 8, tzinfo=UTC)
SETTING, SITE, MACHINE, TASK = "setpoints/brush.yaml", "site.yaml", "equipment/brush.yaml", "tasks/grease.yaml"  # fmt: skip
OLD = "observations/2026/01/2026-01-06T0700-mira.yaml"
HOST = ("Git Host", "noreply@host.example")


class Story:
    """A wash with a clock that goes on by what each step takes."""

    def __init__(self, wash):
        self.wash, self.now, self.count = wash, BEGINS, 0

    def commit(self, files, by, hours=1):
        self.now += timedelta(hours=hours)
        self.wash.at(self.now.replace(tzinfo=None).isoformat()).commit(files, by=by)

    def file(self, person, by, days_ago=0):
        self.count += 1
        served = (self.now - timedelta(days=days_ago)).replace(minute=self.count % 60)
        stem = f"{served:%Y-%m-%dT%H%M}-{person}"
        self.commit({visit_path(stem): visit_text(stem, GREASED)}, by)

    def file_for(self, person, filed_by, by):
        self.count += 1
        stem = f"{self.now.replace(minute=self.count % 60):%Y-%m-%dT%H%M}-{person}"
        text = visit_text(stem, GREASED).replace("entries:", f"filed_by: {filed_by}\nentries:")
        self.commit({visit_path(stem): text}, by)

    def edit(self, path, old, new, by):
        text = self.wash.text(path) if (self.wash.repo.folder / path).exists() else ""
        if old in text:
            self.commit({path: text.replace(old, new)}, by)

    def change(self, by, *, approver="", proposer="mira", days=3):
        self.count += 1
        first = (self.now + timedelta(days=days)).date()
        text = (
            f"- from: {first}\n  hz: {44 + self.count % 4}\n  line_rate_per_h: 104\n"
            f"  why: Change {self.count}.\n  evidence: [2026-01-06T0700-mira#1]\n"
            f"  proposed_by: {proposer}\n"
        )
        self.commit({SETTING: self.wash.text(SETTING) + text}, by)
        if approver:
            self.approve(approver, {"dag": DAG, "mira": MIRA, "eva": EVA}[approver])

    def approve(self, person, by):
        text = self.wash.text(SETTING)
        if not text.rstrip().rpartition("\n")[2].startswith("  approved_by"):
            self.commit({SETTING: f"{text}  approved_by: {person}\n"}, by)


STEPS = {
    "a visit": lambda a: a.file("mira", MIRA),
    "a visit of the second technician": lambda a: a.file("eva", EVA),
    "a late visit": lambda a: a.file("mira", MIRA, days_ago=9),
    "a visit in another's name": lambda a: a.file("eva", MIRA),
    "days go by": lambda a: a.commit({"notes.txt": f"{a.count}{a.now}"}, MIRA, hours=70),
    "a proposal": lambda a: a.change(MIRA),
    "a proposal and its approval": lambda a: a.change(MIRA, approver="dag"),
    "an approval of the last": lambda a: a.approve("dag", DAG),
    "an approval in another's name": lambda a: a.approve("dag", MIRA),
    "by one without the right": lambda a: a.change(MIRA, approver="eva"),
    "by the approver alone": lambda a: a.change(DAG, approver="dag"),
    "in force before": lambda a: a.change(MIRA, approver="dag", days=-4),
    "an old visit edited": lambda a: a.edit(OLD, "strokes: 4", "strokes: 5", EVA),
    "and put back": lambda a: a.edit(OLD, "strokes: 5", "strokes: 4", DAG),
    "an approved setting edited": lambda a: a.edit(SETTING, "hz: 48", "hz: 49", DAG),
    "the rule loosened": lambda a: a.edit(SITE, "proof: commit", "proof: file", MIRA),
    "the rule restored": lambda a: a.edit(SITE, "proof: file", "proof: commit", MIRA),
    "a last day learned of later": lambda a: a.edit(SITE, "Varrick, roles", "Varrick, until: 2026-01-04, roles", MIRA),
    "the technician's too": lambda a: a.edit(SITE, "Osterby, roles", "Osterby, until: 2026-01-05, roles", DAG),
    "the limit loosened": lambda a: a.edit(SITE, "within: 2 days", "within: 20 days", MIRA),
    "a right given": lambda a: a.edit(SITE, "roles: [technician], emails: [eva", "roles: [technician], approves: [setpoints], emails: [eva", MIRA),
    "an address added": lambda a: a.edit(SITE, "[dag@example.org]", "[dag@example.org, mira@example.org]", MIRA),
    "a band widened": lambda a: a.edit(MACHINE, "rpm: [84, 94]", "rpm: [60, 99]", MIRA),
    "a task loosened": lambda a: a.edit(TASK, "every: 1 week", "every: 2 weeks", EVA),
    "a question switched off": lambda a: a.edit(SITE, "policy: {a", "policy: {rules: {no-setting: off}, a", MIRA),
    "filing for others allowed": lambda a: a.edit(SITE, "days}", "days, filed_for_others: true}", DAG),
    "a visit filed for another": lambda a: a.file_for("mira", "eva", EVA),
    "as if another had filed it": lambda a: a.file_for("mira", "dag", EVA),
    "safety dropped": lambda a: a.edit(TASK, "safety: true\n", "", MIRA),
    "the plan guarded": lambda a: a.edit(SITE, "hz: 4, entry", "hz: 4, plan_needs_approval: true, entry", DAG),
}  # fmt: skip
SOME = st.lists(st.sampled_from(sorted(STEPS)), max_size=4)


def kinds(items):
    """What is found; a merge that was only tried has no name that an audit could give it."""
    tried = r"merge (?:[0-9a-f]{10}|on trial)"
    return Counter(
        (item.kind.name, item.about, re.sub(tried, "merge", item.words)) for item in items
    )


@settings(max_examples=HISTORIES, suppress_health_check=list(HealthCheck), deadline=None)
@given(
    before=SOME,
    branch=st.lists(st.sampled_from(sorted(STEPS)), min_size=1, max_size=5),
    meanwhile=SOME,
    merger=st.sampled_from([DAG, MIRA, HOST]),
    waits=st.sampled_from([1, 1, 30, 100]),
)
def test_they_agree(tmp_path_factory, before, branch, meanwhile, merger, waits):
    wash = Wash(Repo(tmp_path_factory.mktemp("wash") / "repo"))
    wash.begin()
    wash.file("2026-01-06T0700-mira", COUNTED, GREASED)
    wash.at("2026-01-07T07:00").commit({TASK: wash.text(TASK) + "safety: true\n"}, by=DAG)
    story = Story(wash)
    for name in before:
        STEPS[name](story)
    wash.branch("change")
    for name in branch:
        STEPS[name](story)
    wash.switch("main")
    for name in meanwhile:
        STEPS[name](story)
    until = kinds(audited(wash.open()).irregularities)
    landed = story.now + timedelta(hours=waits)
    found = review(wash.open(), "main", "change", merged_at=landed, merged_by=merger)
    if found.conflicts:
        assert "conflict" in {breach.rule for breach in found.breaches}
        return
    wash.at(landed.replace(tzinfo=None).isoformat()).repo.merge("change", by=merger)
    found_after = audited(wash.open())
    after = kinds(found_after.irregularities)
    with patch.object(Judge, "takes", return_value=False):
        assert audited(wash.open()) == found_after, "no landing is passed over in haste"
    assert kinds(found.irregularities) == after - until
    assert not until - after, "what was accused once stays accused"
    if found.irregularities:
        assert found.breaches, "nothing that an audit accuses is green before"

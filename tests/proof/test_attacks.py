"""Attacks on the rules themselves, each as git steps on a real repository, and what must be named.

Each ended in "Clean" as long as a commit was judged where it was written.
"""

import re
from datetime import UTC, datetime

import pytest
from git_repo import DAG, MIRA, audited
from small_wash import GREASED, visit_path, visit_text
from ssh_keys import make_key, needs_ssh_keygen, public_line, sign_with

from ledger.proof.dispositions import record_text
from ledger.proof.plan import NOT_FOR_SAFETY

SETTING = "setpoints/brush.yaml"
SITE = "site.yaml"
MACHINE = "equipment/brush.yaml"
TASK = "tasks/grease.yaml"
FOR_EVA = "observations/2026/01/2026-01-07T0700-eva.yaml"
FILED_BY = """\
at: 2026-01-07T07:00
by: eva
filed_by: {}
entries:
  - {{task: grease, at: brush, strokes: 2}}
"""
ENERGY = """\
energy:
  - {kind: electrical, magnitude: 460 V, isolate_at: panel 1, device: switch, prove: meter}
"""
EVA = ("Eva Renner", "eva@example.org")
GIT_HOST = ("Git Host", "noreply@host.example")
PULL = "Merge branch 'main' of https://host.example/wash"


def change(day="2026-01-14", hz=44, proposed_by="mira", approved_by="dag"):
    approved = f"  approved_by: {approved_by}\n" if approved_by else ""
    return (
        f"- from: {day}\n  hz: {hz}\n  line_rate_per_h: 104\n  why: Above the band.\n"
        f"  evidence: [2026-01-06T0700-mira#1]\n  proposed_by: {proposed_by}\n{approved}"
    )


class Attacker:
    """The steps that attacks are made of. Commits go by a clock that moves an hour a commit."""

    def __init__(self, wash, keys):
        self.wash, self.keys = wash, keys
        self.wash.at("2026-01-07T08:00")

    def edit(self, path, old, new, *, by=DAG, at=""):
        text = self.wash.text(path)
        assert old in text
        if at:
            self.wash.at(at)
        return self.wash.commit({path: text.replace(old, new)}, by=by)

    def approve(self, *, by, key=None, at="2026-01-13T09:00", **facts):
        sign_with(self.wash.repo, key and self.keys[key])
        text = self.wash.text(SETTING) + change(**facts)
        oid = self.wash.at(at).commit({SETTING: text}, by=by)
        sign_with(self.wash.repo, None)
        return oid

    def entry(self, mode, oid, path, *, by=MIRA):
        """Commit a file, link or submodule by its mode and object."""
        self.wash.repo.git("update-index", "--add", "--cacheinfo", f"{mode},{oid},{path}")
        self.wash.repo.git("commit", "-q", "-m", "Change", **self.wash.repo.people(by, None))
        self.wash.repo.git("reset", "-q", "--hard")

    def raw(self, path, text, who):
        """Commit a file with these lines for author and committer, however malformed."""
        self.wash.repo.write(path, text)
        self.wash.repo.git("add", "-A")
        self.wash.repo.git("commit", "-q", "-m", "Change", **self.wash.repo.people(MIRA, None))
        tree, parent = self.wash.repo.git("rev-parse", "HEAD^{tree}", "HEAD^").split()
        raw = f"tree {tree}\nparent {parent}\n{who}\n\nChange\n"
        oid = self.wash.repo.raw("commit", raw.encode())
        self.wash.repo.git("update-ref", "refs/heads/main", oid)

    def merge(self, branch, *, by=MIRA, at="2026-01-13T10:00", message="Merge"):
        self.wash.switch("main")
        self.wash.at(at).repo.merge(branch, by=by, message=message)

    def turned(self, *, message, by=MIRA):
        """What `git pull` makes in a clone with a commit of its own, pushed to main."""
        self.wash.switch("mine")
        self.wash.at("2026-01-13T12:00").repo.merge("main", by=by, message=message)
        self.wash.switch("main")
        self.wash.repo.git("merge", "-q", "--ff-only", "mine")

    def ask_for_signatures(self, signed="", **keys):
        """The rule is signed-commit from now on, and these are the keys, by person."""
        text = re.sub(r", signing_keys: \[[^]]*\]", "", self.wash.text(SITE))
        text = text.replace("proof: commit", "proof: signed-commit")
        for name, key in keys.items():
            known = f"emails: [{name}@example.org]"
            line = public_line(self.keys[key])
            text = text.replace(known, f"{known}, signing_keys: ['{line}']")
        sign_with(self.wash.repo, self.keys[signed] if signed else None)
        self.wash.commit({SITE: text}, by=DAG)
        sign_with(self.wash.repo, None)


def unsigned_on_a_branch_from_before_signatures(a):
    a.wash.branch("old")
    a.wash.switch("main")
    a.ask_for_signatures(dag="dag")
    a.wash.switch("old")
    a.approve(by=DAG)
    a.merge("old")


def withdrawn_key_on_an_old_branch(a):
    a.ask_for_signatures(dag="dag")
    a.wash.branch("old")
    a.wash.switch("main")
    a.ask_for_signatures(signed="dag", dag="new")
    a.wash.switch("old")
    a.approve(by=DAG, key="dag")
    a.merge("old")


def withdrawn_right_on_an_old_branch(a):
    a.wash.branch("old")
    a.wash.switch("main")
    a.edit(SITE, "approves: [setpoints], ", "")
    a.wash.switch("old")
    a.approve(by=DAG)
    a.merge("old")


def late_under_an_old_limit(a):
    a.edit(SITE, "entry_within: 2 days", "entry_within: 30 days", by=MIRA)
    a.wash.branch("old")
    a.wash.switch("main")
    a.edit(SITE, "entry_within: 30 days", "entry_within: 2 days")
    a.wash.switch("old")
    a.wash.file("2026-01-08T0700-mira", at="2026-01-20T09:00")
    a.merge("old", at="2026-01-20T10:00")


def loosened_and_restored(a):
    before = a.wash.text(SITE)
    a.edit(SITE, "proof: commit", "proof: file", by=MIRA)
    a.edit(SITE, "roles: [technician], emails: [mira", "roles: [technician], approves: [setpoints], emails: [mira", by=MIRA)  # fmt: skip
    a.approve(by=MIRA, proposed_by="eva", approved_by="mira")
    a.wash.commit({SITE: before}, by=MIRA)


def loosened_by_the_approver_alone(a):
    before = a.wash.text(SITE)
    a.edit(SITE, "approver_differs: true", "approver_differs: false")
    a.approve(by=DAG, proposed_by="dag")
    a.wash.commit({SITE: before}, by=DAG)


def key_swapped_on_main(a):
    a.ask_for_signatures(dag="dag")
    a.edit(SITE, public_line(a.keys["dag"]), public_line(a.keys["mira"]), by=MIRA)
    a.approve(by=DAG, key="mira")


def address_swapped_on_main(a):
    a.edit(SITE, "[dag@example.org]", "[dag@example.org, sly@example.org]", by=MIRA)
    a.approve(by=("Dag", "sly@example.org"))


def own_address_in_the_commit_that_uses_it(a):
    path = "observations/2026/01/2026-01-13T0700-eva.yaml"
    text = "at: 2026-01-13T07:00\nby: eva\nentries:\n  - {task: grease, at: brush, strokes: 4}\n"
    site = a.wash.text(SITE).replace("[eva@example.org]", "[eva@example.org, mira2@example.org]")
    a.wash.at("2026-01-13T09:00")
    a.wash.commit({path: text, SITE: site}, by=("Mira", "mira2@example.org"))


def edited_visit_behind_a_pull(a, message=PULL):
    a.wash.branch("mine")
    a.wash.file("2026-01-12T0700-mira")
    a.wash.switch("main")
    a.wash.file("2026-01-12T0800-mira")
    a.wash.file("2026-01-12T0900-eva", by=EVA)
    a.edit("observations/2026/01/2026-01-12T0800-mira.yaml", "strokes: 4", "strokes: 19", by=MIRA)
    a.turned(message=message)


def edited_setting_behind_a_pull(a):
    a.wash.branch("mine")
    a.wash.file("2026-01-12T0700-dag", by=DAG)
    a.wash.switch("main")
    a.approve(by=DAG, at="2026-01-12T09:00")
    a.edit(SETTING, "hz: 44", "hz: 52", by=DAG, at="2026-01-13T09:00")
    a.turned(message=PULL, by=DAG)


def unproven_approval_behind_a_pull(a):
    a.wash.branch("mine")
    a.wash.file("2026-01-12T0700-dag", by=DAG)
    a.wash.switch("main")
    a.approve(by=MIRA, at="2026-01-12T09:00")
    a.turned(message=PULL, by=DAG)


def backdated_visit_on_an_old_base(a):
    a.wash.branch("old")
    a.wash.file("2026-01-08T0700-mira")
    a.merge("old", at="2026-01-28T09:00")


def proposed_in_anothers_name_by_the_approver(a):
    a.approve(by=DAG)


def proposed_in_anothers_name_in_two_commits(a):
    a.approve(by=DAG, approved_by="", at="2026-01-12T09:00")
    a.wash.at("2026-01-13T09:00")
    a.wash.commit({SETTING: a.wash.text(SETTING) + "  approved_by: dag\n"}, by=DAG)


def lockout_dropped(a):
    a.edit(TASK, "lockout: true\n", "", by=MIRA)


def band_widened(a):
    a.edit(MACHINE, "rpm: [84, 94]", "rpm: [60, 100]", by=MIRA)


def limits_widened(a):
    a.edit(MACHINE, "hz_limits: [30, 60]", "hz_limits: [10, 90]", by=MIRA)


def task_deleted(a):
    a.wash.commit({"tasks/dampers.yaml": None}, by=MIRA)


def machine_deleted(a):
    a.wash.commit({MACHINE: None, SETTING: None, TASK: None, "tasks/dampers.yaml": None}, by=MIRA)


def zone_changed(a):
    a.edit(SITE, "Etc/UTC", "Pacific/Auckland", by=MIRA)


def safety_dropped(a):
    a.edit(TASK, "safety: true\n", "", by=MIRA)


def energy_taken_off_the_sheet(a):
    a.edit(MACHINE, ENERGY, "", by=MIRA)


def energy_isolated_elsewhere(a):
    a.edit(MACHINE, "panel 1", "the wall", by=MIRA)


def energy_taken_off_the_sheets_of_others(a):
    a.edit(MACHINE, "prove: meter", "prove: meter, only_here: true", by=MIRA)


def steps_taken_out(a):
    a.edit(TASK, "window: 2 days\n", "window: 2 days\nsteps: Lock it out first.\n")
    a.edit(TASK, "steps: Lock it out first.\n", "", by=MIRA)


def record_begun_anew(a):
    a.edit(SITE, "in_service: 2026-01-05", "in_service: 2026-01-05\nrecord_begins: 2026-02-01", by=MIRA)  # fmt: skip


def question_switched_off_and_on(a):
    before = a.wash.text(SITE)
    a.edit(SITE, "entry_within: 2 days", "entry_within: 2 days, rules: {no-setting: off}", by=MIRA)
    a.wash.commit({SITE: before}, by=MIRA)


def question_no_longer_an_error(a):
    a.edit(SITE, "entry_within: 2 days", "entry_within: 2 days, rules: {no-setting: error}")
    a.edit(SITE, "no-setting: error", "no-setting: warning", by=MIRA)


def filed_for_another_who_did_not(a):
    """The file says that Dag filed it for Eva; Mira did."""
    a.wash.settle({SITE: a.wash.text(SITE).replace("within: 2 days", "within: 2 days, filed_for_others: true")})  # fmt: skip
    a.wash.commit({FOR_EVA: FILED_BY.format("dag")}, by=MIRA)


def filed_for_another_against_the_policy(a):
    a.wash.commit({FOR_EVA: FILED_BY.format("mira")}, by=MIRA)


def filed_for_another_and_edited_on_the_way(a):
    a.wash.settle({SITE: a.wash.text(SITE).replace("within: 2 days", "within: 2 days, filed_for_others: true")})  # fmt: skip
    a.wash.branch("visit")
    a.wash.commit({FOR_EVA: FILED_BY.format("mira")}, by=MIRA)
    a.edit(FOR_EVA, "strokes: 2", "strokes: 9", by=DAG)
    a.merge("visit", at="2026-01-07T14:00")


def loosened_and_restored_in_a_squash(a):
    before = a.wash.text(SITE)
    a.wash.branch("sly")
    a.edit(SITE, "proof: commit", "proof: file", by=MIRA)
    a.approve(by=MIRA)
    a.wash.commit({SITE: before}, by=MIRA)
    a.wash.switch("main")
    a.wash.repo.git("merge", "-q", "--squash", "sly")
    a.wash.commit({}, by=MIRA, committer=GIT_HOST)


def key_swapped_by_a_merge_itself(a):
    a.ask_for_signatures(dag="dag")
    a.wash.branch("visit")
    a.wash.file("2026-01-12T0700-mira")
    a.wash.switch("main")
    people = a.wash.at("2026-01-12T19:00").repo.people(MIRA, None)
    a.wash.repo.git("merge", "-q", "--no-ff", "--no-commit", "visit", **people)
    a.edit(SITE, public_line(a.keys["dag"]), public_line(a.keys["mira"]), by=MIRA)
    a.approve(by=DAG, key="mira")


def all_of_the_policy_taken_out(a):
    text = a.wash.text(SITE)
    a.wash.commit({SITE: text[: text.index("policy:")]}, by=MIRA)
    a.approve(by=MIRA)


def people_taken_out_and_put_back_with_other_keys(a):
    before = a.wash.text(SITE)
    a.wash.commit({SITE: None}, by=MIRA)
    a.wash.commit({SITE: before.replace("dag@example.org", "mira@example.org")}, by=MIRA)
    a.approve(by=MIRA)


def address_of_another_taken(a):
    """Then it proves neither of the two, and Dag can approve no more."""
    a.edit(SITE, "[mira@example.org]", "[mira@example.org, dag@example.org]", by=MIRA)


def key_of_another_taken(a):
    a.ask_for_signatures(dag="dag")
    line = public_line(a.keys["dag"])
    a.edit(SITE, "[mira@example.org]", f"[mira@example.org], signing_keys: ['{line}']", by=MIRA)


def name_of_another_claimed_as_a_former_one(a):
    text = "".join(one for one in a.wash.text(SITE).splitlines(keepends=True) if "eva:" not in one)
    a.wash.commit({SITE: text.replace("name: Mira Osterby", "name: Mira Osterby, formerly: [eva]")}, by=MIRA)  # fmt: skip
    a.wash.commit({FOR_EVA: FILED_BY.replace("filed_by: {}\n", "").format()}, by=MIRA)


def qualified_by_oneself(a):
    a.edit(SITE, "roles: [technician], emails: [mira", "roles: [technician], qualified: [lockout], emails: [mira", by=MIRA)  # fmt: skip


def training_prolonged_by_oneself(a):
    bounded = "qualified: [lockout], training: [{for: lockout, from: 2025-01-01, until: 2026-01-31}], emails: [mira"  # fmt: skip
    a.edit(SITE, "emails: [mira", bounded)
    a.edit(SITE, "until: 2026-01-31", "until: 2027-01-31", by=MIRA)


def with_the_site_from_an_earlier_day_on(a):
    a.edit(SITE, "roles: [lead],", "roles: [lead], from: 2026-01-20,")
    a.edit(SITE, "from: 2026-01-20", "from: 2026-01-02", by=MIRA)


def late_by_the_zone_of_then(a):
    """Five to one in the night from Thursday to Friday is Thursday further west."""
    a.wash.file("2026-01-06T0800-mira", at="2026-01-09T00:55")
    a.edit(SITE, "Etc/UTC", "America/Chicago", by=MIRA)


def named_as_received_in_the_message_alone(a):
    a.wash.settle({SITE: a.wash.text(SITE).replace("within: 2 days", "within: 2 days, filed_for_others: true")})  # fmt: skip
    a.wash.repo.commit("File a visit\n\nVisit-by: eva\nReceived: as it was sent", {FOR_EVA: FILED_BY.replace("filed_by: {}\n", "").format()})  # fmt: skip


def filed_by_a_third_in_ones_own_commit(a):
    """Mira's own visit, in her own commit, says that Dag filed it."""
    text = FILED_BY.format("dag").replace("by: eva", "by: mira", 1)
    a.wash.commit({FOR_EVA.replace("eva", "mira"): text}, by=MIRA)


def filed_by_a_third_where_that_is_allowed(a):
    a.wash.settle({SITE: a.wash.text(SITE).replace("within: 2 days", "within: 2 days, filed_for_others: true")})  # fmt: skip
    a.wash.commit({FOR_EVA: FILED_BY.format("dag")}, by=MIRA)


def filed_by_a_third_who_says_they_were_there(a):
    text = FILED_BY.format("dag").replace("by: eva", "by: eva\nwith: [mira]", 1)
    a.wash.commit({FOR_EVA: text}, by=MIRA)


def changed_after_it_was_approved_on_the_branch(a):
    a.wash.branch("slower")
    a.wash.commit({SETTING: a.wash.text(SETTING) + change(approved_by="")}, by=MIRA)
    a.wash.commit({SETTING: a.wash.text(SETTING) + "  approved_by: dag\n"}, by=DAG)
    a.edit(SETTING, "hz: 44", "hz: 52", by=MIRA)
    a.merge("slower")


def value_slipped_in_with_a_new_name(a):
    a.wash.commit(
        {
            MACHINE: None,
            "equipment/left.yaml": a.wash.text(MACHINE) + "formerly: [brush]\n",
            SETTING: None,
            "setpoints/left.yaml": a.wash.text(SETTING).replace("hz: 48", "hz: 52"),
        },
        by=MIRA,
    )


VISIT = "2026-01-07T0900-mira"
EARLIER = visit_path("2026-01-06T0700-mira")


def visit_turned_into_a_link(a):
    """The same bytes under the same name, but no record any more: links are not read."""
    a.entry("120000", a.wash.repo.git("rev-parse", f"HEAD:{EARLIER}"), EARLIER, by=EVA)


def setting_turned_into_a_link(a):
    a.entry("120000", a.wash.repo.git("rev-parse", f"HEAD:{SETTING}"), SETTING, by=EVA)


def place_of_a_visit_taken_in_time_by_a_submodule(a):
    a.entry("160000", "1" * 40, visit_path(VISIT))
    a.wash.at("2026-01-25T08:00")
    a.entry("100644", a.wash.repo.blob(visit_text(VISIT, GREASED)), visit_path(VISIT))


def history_begun_anew_over_the_old_one(a):
    """All that comes with a beginning is taken as it is; the old history is then merged in."""
    repo, old = a.wash.repo, a.wash.repo.head()
    repo.git("checkout", "-q", "--orphan", "anew")
    a.edit(EARLIER, "strokes: 4", "strokes: 19")
    people = repo.people(MIRA, None)
    repo.git("merge", "-q", "-s", "ours", "--allow-unrelated-histories", old, **people)


def late_in_a_commit_without_a_date(a):
    who = "Mira <mira@example.org>"
    a.raw(visit_path(VISIT), visit_text(VISIT, GREASED), f"author {who} 1769000000 +0000\ncommitter {who} 99999999999999 +0000")  # fmt: skip


def edited_in_the_name_of_its_author(a):
    a.wash.file("2026-01-08T0700-mira")
    path = visit_path("2026-01-08T0700-mira")
    a.wash.commit({path: a.wash.text(path).replace("strokes: 4", "strokes: 9")}, committer=DAG)


def edited_after_an_empty_commit_of_another(a):
    a.wash.file("2026-01-08T0700-mira")
    a.wash.commit({}, by=EVA)
    a.edit(visit_path("2026-01-08T0700-mira"), "strokes: 4", "strokes: 9", by=MIRA)


def filed_for_somebody_who_was_never_here(a):
    a.wash.file("2026-01-08T0700-zoe", by=EVA)


def named_by_another_day_than_it_says(a):
    a.wash.at("2026-01-12T18:00")
    a.wash.commit({visit_path("2026-01-12T0700-mira"): visit_text(VISIT, GREASED)})


def late_by_its_name_and_at_no_time_of_the_calendar(a):
    text = visit_text(VISIT, GREASED).replace(VISIT[:10] + "T09:00", "0001-01-01T00:00+14:00")
    a.wash.at("2026-01-25T18:00").commit({visit_path(VISIT): text})


def named_by_another_person_than_it_says(a):
    a.wash.at("2026-01-12T18:00")
    path, text = visit_path("2026-01-12T0700-mira"), visit_text("2026-01-12T0700-eva", GREASED)
    a.wash.commit({path: text})


def picture_of_a_finding_replaced(a):
    picture = "photos/2026/01/2026-01-08-1f3a9c02.jpg"
    a.wash.repo.write(picture, b"worn")
    a.wash.file("2026-01-08T0700-mira", f"{{at: brush, finding: worn, photos: [{picture}]}}")
    a.wash.repo.write(picture, b"as new")
    a.wash.commit({}, by=EVA)


def withdrawn_key_behind_the_words_of_a_pull(a):
    """The old branch is merged into main; the message leads the line through the branch."""
    a.ask_for_signatures(dag="dag")
    a.wash.branch("old")
    a.wash.switch("main")
    a.ask_for_signatures(signed="dag", dag="new")
    a.wash.switch("old")
    a.approve(by=DAG, key="dag")
    a.merge("old", message=PULL)


def late_behind_the_words_of_a_pull(a):
    a.wash.branch("old")
    a.wash.file("2026-01-08T0700-mira")
    a.wash.switch("main")
    a.wash.file("2026-01-20T0700-eva", by=EVA)
    a.merge("old", message=PULL, at="2026-01-20T20:00")


def approved_by_words_alone(a):
    """Trailers, a note and a signed-looking tag: anybody can write them."""
    a.wash.commit({SETTING: a.wash.text(SETTING) + change(approved_by="")}, by=MIRA)
    a.wash.repo.commit("Approve\n\nReviewed-by: Dag Varrick <dag@example.org>", {SETTING: a.wash.text(SETTING) + "  approved_by: dag\n"})  # fmt: skip
    a.wash.repo.git("notes", "add", "-m", "Approved", **a.wash.repo.people(DAG, None))


def two_authors_of_one_commit(a):
    a.wash.commit({SETTING: a.wash.text(SETTING) + change(approved_by="")}, by=MIRA)
    who = [f"{role} <{name}@example.org> 1767900000 +0000" for role, name in (("author M", "mira"), ("author D", "dag"), ("committer M", "mira"))]  # fmt: skip
    a.raw(SETTING, a.wash.text(SETTING) + "  approved_by: dag\n", "\n".join(who))


def edited_in_an_octopus_merge(a):
    for name, stem in (("one", "2026-01-08T0800-eva"), ("two", "2026-01-08T0900-eva")):
        a.wash.branch(name, "main")
        a.wash.file(stem, by=EVA)
    a.wash.switch("main")
    repo = a.wash.repo
    repo.git("merge", "-q", "--no-commit", "one", "two", **repo.people(DAG, None))
    a.edit(EARLIER, "strokes: 4", "strokes: 9")


def edited_between_merges_that_cross(a):
    a.wash.branch("other")
    a.wash.file("2026-01-08T0800-eva", by=EVA)
    a.wash.switch("main")
    a.wash.file("2026-01-08T0900-mira")
    tip = a.wash.repo.head()
    a.wash.repo.merge("other")
    a.wash.switch("other")
    a.wash.repo.merge(tip)
    a.edit(EARLIER, "strokes: 4", "strokes: 9")
    a.merge("other")


def names_of_two_people_swapped(a):
    text = a.wash.text(SITE).replace("  mira: {name: Mira", "  both: {name: Dag").replace("  dag: {name: Dag", "  mira: {name: Mira")  # fmt: skip
    a.wash.commit({SITE: text.replace("  both:", "  dag:")}, by=MIRA)
    a.approve(by=MIRA)


def lockout_dropped_while_the_site_could_not_be_read(a):
    before = a.wash.text(SITE)
    task = a.wash.text(TASK).replace("lockout: true\n", "")
    a.wash.commit({SITE: "format: 1\n", TASK: task}, by=MIRA)
    a.wash.commit({SITE: before}, by=MIRA)


def site_turned_into_a_link_and_back(a):
    text = a.wash.text(SITE)
    a.entry("120000", a.wash.repo.blob("elsewhere"), SITE)
    a.entry("100644", a.wash.repo.blob(text), SITE)


def visit_filed_twice_in_one_tree(a):
    """Git shows the second of the two as a new file; a checkout takes it."""
    repo, *above, name = a.wash.repo, *EARLIER.split("/")
    texts = (a.wash.text(EARLIER), a.wash.text(EARLIER).replace("strokes: 4", "strokes: 9"))
    twice = [f"100644 {name}\0".encode() + bytes.fromhex(repo.blob(text)) for text in texts]
    tree = repo.raw("tree", b"".join(twice))
    for folder in reversed(above[1:]):
        tree = repo.git("mktree", stdin=f"040000 tree {tree}\t{folder}\n".encode())
    others = [one for one in repo.git("ls-tree", "HEAD").split("\n") if above[0] not in one]
    listed = "\n".join([*others, f"040000 tree {tree}\t{above[0]}\n"])
    top = repo.git("mktree", stdin=listed.encode())
    oid = repo.git("commit-tree", top, "-p", "HEAD", "-m", "Change", **repo.people(EVA, None))
    repo.git("update-ref", "refs/heads/main", oid)


def filed_by_a_third_in_an_escaped_key(a):
    text = FILED_BY.format("dag").replace("by: eva", "by: mira", 1)
    a.wash.commit({FOR_EVA.replace("eva", "mira"): text.replace("filed_by", '"filed\\u005fby"')})


def picture_of_an_escaped_name_replaced(a):
    picture = "photos/2026/01/2026-01-08-1f3a9c02.jpg"
    a.wash.repo.write(picture, b"worn")
    name = picture.replace("/", "\\x2f")
    a.wash.file("2026-01-08T0700-mira", f'{{at: brush, finding: worn, photos: ["{name}"]}}')
    a.wash.repo.write(picture, b"as new")
    a.wash.commit({}, by=EVA)


def taken_over_in_an_escaped_key(a):
    a.wash.commit({SETTING: a.wash.text(SETTING) + '  "taken\\u005fover": true\n'}, by=DAG)


def closed_for_weeks(a):
    a.edit(SITE, "units: si", "units: si\nclosures: [{from: 2026-01-08, to: 2026-03-01, why: x}]", by=MIRA)  # fmt: skip


def open_for_an_hour(a):
    a.edit(SITE, "units: si", "units: si\nhours: {monday: 08:00-18:00}", by=MIRA)
    a.edit(SITE, "08:00-18:00", "08:00-09:00", by=MIRA)


def machine_in_service_later(a):
    a.edit(MACHINE, "station: 10", "station: 10\nin_service: 2026-06-01", by=MIRA)


def band_of_a_point_widened(a):
    a.edit(MACHINE, "{kind: damper}", "{kind: damper, bands: {temperature_c: [10, 40]}}")
    a.edit(MACHINE, "[10, 40]", "[10, 90]", by=MIRA)


RULES, NOT_PROVEN = "RULES", "NOT_PROVEN"
ATTACKS = {
    unsigned_on_a_branch_from_before_signatures: {NOT_PROVEN},
    withdrawn_key_on_an_old_branch: {NOT_PROVEN},
    withdrawn_right_on_an_old_branch: {"MAY_NOT_APPROVE"},
    late_under_an_old_limit: {RULES, "LATE"},
    loosened_and_restored: {RULES, "MAY_NOT_APPROVE", "PROPOSED_BY_APPROVER"},
    loosened_by_the_approver_alone: {RULES, "SELF_APPROVED"},
    key_swapped_on_main: {RULES, NOT_PROVEN},
    address_swapped_on_main: {RULES, NOT_PROVEN},
    own_address_in_the_commit_that_uses_it: {RULES, "OTHER_AUTHOR"},
    edited_visit_behind_a_pull: {"EDITED"},
    edited_setting_behind_a_pull: {"APPROVED_EDITED"},
    unproven_approval_behind_a_pull: {NOT_PROVEN},
    backdated_visit_on_an_old_base: {"LATE"},
    proposed_in_anothers_name_by_the_approver: {"PROPOSED_BY_APPROVER"},
    proposed_in_anothers_name_in_two_commits: {"PROPOSED_BY_APPROVER"},
    loosened_and_restored_in_a_squash: {NOT_PROVEN},
    key_swapped_by_a_merge_itself: {RULES, NOT_PROVEN},
    all_of_the_policy_taken_out: {RULES, NOT_PROVEN},
    people_taken_out_and_put_back_with_other_keys: {RULES, NOT_PROVEN},
    address_of_another_taken: {RULES},
    key_of_another_taken: {RULES},
    name_of_another_claimed_as_a_former_one: {RULES},
    qualified_by_oneself: {RULES},
    training_prolonged_by_oneself: {RULES},
    with_the_site_from_an_earlier_day_on: {RULES},
    late_by_the_zone_of_then: {"LATE"},
    named_as_received_in_the_message_alone: {"OTHER_AUTHOR"},
    filed_by_a_third_in_ones_own_commit: {"OTHER_AUTHOR"},
    filed_by_a_third_where_that_is_allowed: {"OTHER_AUTHOR"},
    filed_by_a_third_who_says_they_were_there: {"OTHER_AUTHOR"},
    changed_after_it_was_approved_on_the_branch: {NOT_PROVEN},
    value_slipped_in_with_a_new_name: {"APPROVED_DELETED"},
    question_switched_off_and_on: {RULES},
    question_no_longer_an_error: {RULES},
    filed_for_another_who_did_not: {"OTHER_AUTHOR"},
    filed_for_another_against_the_policy: {"OTHER_AUTHOR"},
    filed_for_another_and_edited_on_the_way: {"OTHER_AUTHOR"},
    visit_turned_into_a_link: {"DELETED"},
    setting_turned_into_a_link: {"APPROVED_DELETED"},
    place_of_a_visit_taken_in_time_by_a_submodule: {"LATE"},
    history_begun_anew_over_the_old_one: {"REWRITTEN"},
    late_in_a_commit_without_a_date: {"CLOCK"},
    edited_in_the_name_of_its_author: {"EDITED"},
    edited_after_an_empty_commit_of_another: {"EDITED"},
    filed_for_somebody_who_was_never_here: {"OTHER_AUTHOR"},
    named_by_another_day_than_it_says: {"LATE"},
    late_by_its_name_and_at_no_time_of_the_calendar: {"LATE"},
    named_by_another_person_than_it_says: {"OTHER_AUTHOR"},
    picture_of_a_finding_replaced: {"EDITED"},
    withdrawn_key_behind_the_words_of_a_pull: {NOT_PROVEN},
    late_behind_the_words_of_a_pull: {"LATE"},
    approved_by_words_alone: {NOT_PROVEN},
    two_authors_of_one_commit: {NOT_PROVEN},
    edited_in_an_octopus_merge: {"MERGE_WROTE"},
    edited_between_merges_that_cross: {"EDITED"},
    names_of_two_people_swapped: {RULES},
    site_turned_into_a_link_and_back: {RULES},
    filed_by_a_third_in_an_escaped_key: {"OTHER_AUTHOR"},
    picture_of_an_escaped_name_replaced: {"EDITED"},
    taken_over_in_an_escaped_key: {"TAKEN_OVER"},
    visit_filed_twice_in_one_tree: {"EDITED"},
}
ON_THE_PLAN = {
    lockout_dropped: "no longer asks for lockout",
    band_widened: "band at 104/h 84–94 → 60–100 r/min",
    limits_widened: "drive limits 30 Hz to 60 Hz → 10 Hz to 90 Hz",
    task_deleted: "the task is gone",
    machine_deleted: "the machine's file was deleted",
    zone_changed: "time zone Etc/UTC → Pacific/Auckland",
    safety_dropped: NOT_FOR_SAFETY,
    energy_taken_off_the_sheet: "energy removed from its lockout sheet: electrical",
    energy_isolated_elsewhere: "lockout sheet, electrical: isolate_at: panel 1 → the wall",
    energy_taken_off_the_sheets_of_others: "lockout sheet, electrical: only_here: false → true",
    steps_taken_out: "its steps were removed",
    lockout_dropped_while_the_site_could_not_be_read: "no longer asks for lockout",
    closed_for_weeks: "closed from 2026-01-08 to 2026-03-01",
    open_for_an_hour: "open for 1 hours a week, was 10",
    machine_in_service_later: "in service from 2026-06-01 on",
    band_of_a_point_widened: "Damper: band of temperature 10–40 → 10–90",
    record_begun_anew: "work is asked for from 2026-02-01 on, was 2026-01-05",
}


@pytest.fixture
def attacker(wash, tmp_path):
    keys = {name: make_key(tmp_path / "keys", name) for name in ("dag", "mira", "new")}
    text = wash.text(TASK) + "lockout: true\nsafety: true\n"
    machine = wash.text(MACHINE) + ENERGY
    wash.at("2026-01-06T20:00").commit({TASK: text, MACHINE: machine}, by=DAG)
    return Attacker(wash, keys)


def named(wash, **how):
    return {item.kind.name for item in audited(wash.open(), **how).irregularities}


def recorded(head):
    return record_text(by="dag", at=datetime(2026, 1, 12, 10, tzinfo=UTC), accepts={}, head=head, verdict="clean", tool="")  # fmt: skip


@needs_ssh_keygen
@pytest.mark.parametrize("attack", ATTACKS, ids=lambda attack: attack.__name__)
def test_an_attack_is_named(attacker, attack):
    assert named(attacker.wash) == set()
    attack(attacker)
    assert named(attacker.wash) >= ATTACKS[attack]


@pytest.mark.parametrize("attack", ON_THE_PLAN, ids=lambda attack: attack.__name__)
def test_a_weaker_plan_is_told_with_who_and_when(attacker, attack):
    attack(attacker)
    told = [item for item in audited(attacker.wash.open()).items if item.kind.name == "PLAN"]
    assert ON_THE_PLAN[attack] in [item.words for item in told]
    assert {item.commit.author.email for item in told} == {MIRA[1]}


@pytest.mark.parametrize("attack", ON_THE_PLAN, ids=lambda attack: attack.__name__)
def test_a_weaker_plan_without_the_second_person_that_the_policy_asks_for(attacker, attack):
    attacker.edit(SITE, "policy: {", "policy: {plan_needs_approval: true, ")
    attack(attacker)
    assert "PLAN_ALONE" in named(attacker.wash)


@pytest.mark.parametrize("how", ["remembered", "recorded"])
def test_a_turned_merge_in_other_words_is_known_by_an_earlier_head(attacker, how):
    attacker.wash.branch("mine")
    attacker.wash.file("2026-01-12T0700-mira")
    attacker.wash.switch("main")
    attacker.approve(by=MIRA, at="2026-01-12T09:00")
    head = attacker.wash.repo.head()
    if how == "recorded":
        attacker.wash.commit({"audits/first.yaml": recorded(head)}, by=DAG)
    attacker.turned(message="Tidy up", by=DAG)
    remembered = head if how == "remembered" else None
    found = audited(attacker.wash.open(), remembered=remembered)
    assert {item.kind.name for item in found.irregularities} == {NOT_PROVEN}
    assert "TURNED" in {item.kind.name for item in found.items}


def test_a_head_recorded_on_a_branch_hides_no_edit_on_the_line(attacker):
    """Dag edits his own visit, and records a head of his branch, so that the line leads there."""
    attacker.wash.branch("mine")
    attacker.wash.commit({"notes.txt": "Ask.\n"}, by=DAG)
    text = recorded(attacker.wash.repo.head())
    attacker.wash.commit({"audits/first.yaml": text}, by=DAG)
    attacker.wash.switch("main")
    attacker.wash.file("2026-01-12T0700-dag", by=DAG)
    attacker.wash.file("2026-01-12T0800-eva", by=EVA)
    attacker.edit(visit_path("2026-01-12T0700-dag"), "strokes: 4", "strokes: 9")
    attacker.merge("mine", by=DAG)
    assert named(attacker.wash) == {"EDITED"}


def test_a_rewritten_history_is_known_by_a_head_that_it_recorded(attacker):
    attacker.wash.file("2026-01-12T0700-mira")
    text = recorded(attacker.wash.repo.head())
    attacker.wash.repo.git("reset", "-q", "--hard", "HEAD~1")
    attacker.wash.commit({"audits/first.yaml": text}, by=DAG)
    assert named(attacker.wash) == {"REWRITTEN"}

"""Honest ways of working, each as git steps on a real repository: none is accused.

Among them is what each merge method of the usual hosts leaves of a branch. Those that lose the
proof that a site asks for stand in a table of their own, with what is missing.
"""

import pytest
from git_repo import DAG, MIRA, Repo, audited
from kept_sites import unpacked
from small_wash import (
    BRUSH,
    COUNTED,
    EVA,
    FIRST_SETTING,
    GREASED,
    SITE,
    Wash,
    visit_path,
    visit_text,
)
from ssh_keys import make_key, needs_ssh_keygen, public_line, sign_with

from ledger.proof.audit import Verdict

SETTING, SITE_FILE = "setpoints/brush.yaml", "site.yaml"
HOST = ("Git Host", "noreply@host.example")
MIRA_AT_HOST = ("Mira", "1234+mira@users.noreply.host.example")
PROPOSAL = (
    "- from: 2026-01-15\n  hz: 46\n  line_rate_per_h: 104\n  why: Above the band.\n"
    "  evidence: [2026-01-06T0700-mira#1]\n  proposed_by: mira\n"
)
APPROVAL = "  approved_by: dag\n"
LATER = "observations/2026/01/2026-01-12T0700-mira.yaml"


class Honest:
    """The steps that honest work is made of."""

    def __init__(self, wash, keys):
        self.wash, self.keys, self.repo = wash, keys, wash.repo

    def proposed_and_approved(self, branch="slower", key=None):
        """Mira proposes on a branch, Dag approves there."""
        self.wash.branch(branch, "main")
        self.wash.at("2026-01-12T09:00")
        self.wash.commit({SETTING: self.wash.text(SETTING) + PROPOSAL}, by=MIRA)
        sign_with(self.repo, key and self.keys[key])
        self.wash.at("2026-01-12T15:00")
        self.wash.commit({SETTING: self.wash.text(SETTING) + APPROVAL}, by=DAG)
        sign_with(self.repo, None)

    def visit_on_a_branch(self, by=MIRA):
        self.wash.branch("visit", "main")
        self.wash.file("2026-01-12T0700-mira", by=by)

    def main_moves_on(self):
        self.wash.switch("main")
        self.wash.file("2026-01-12T0710-eva", by=EVA)

    def merge(self, branch, by=DAG, at="2026-01-12T19:00"):
        """A merge commit, by the button of a host or in a terminal."""
        self.wash.switch("main")
        self.wash.at(at).repo.merge(branch, by=by)

    def forward(self, branch):
        self.wash.switch("main")
        self.repo.git("merge", "-q", "--ff-only", branch)

    def squash(self, branch, author=MIRA, committer=HOST, at="2026-01-12T19:00"):
        self.wash.switch("main")
        self.repo.git("merge", "-q", "--squash", branch, **self.repo.people(author, committer))
        self.wash.at(at).commit({}, by=author, committer=committer)

    def rebase(self, branch):
        """As a host does it: each commit made anew, by the host, unsigned."""
        self.wash.switch("main")
        people = {"GIT_COMMITTER_NAME": HOST[0], "GIT_COMMITTER_EMAIL": HOST[1]}
        commits = self.repo.git("rev-list", "--reverse", f"main..{branch}").split()
        for oid in commits:
            self.repo.clock += 60
            when = {"GIT_COMMITTER_DATE": f"{self.repo.clock} +0100"}
            self.repo.git("cherry-pick", "--allow-empty", oid, **people, **when)

    def rule(self, proof, *, keys=True):
        """The rule is another from now on, and Dag's key is known."""
        text = self.wash.text(SITE_FILE).replace("proof: commit", f"proof: {proof}")
        if keys:
            line = public_line(self.keys["dag"])
            text = text.replace("[dag@example.org]", f"[dag@example.org], signing_keys: ['{line}']")
        self.wash.at("2026-01-11T09:00").commit({SITE_FILE: text}, by=DAG)

    def committing(self, who):
        """Somebody who takes over commits of others."""
        people = self.repo.people(who, None)
        return {key: value for key, value in people.items() if "COMMITTER" in key}

    def site(self, old, new):
        text = self.wash.text(SITE_FILE)
        assert old in text
        return {SITE_FILE: text.replace(old, new)}


def merge_commit(h):
    h.proposed_and_approved()
    h.main_moves_on()
    h.merge("slower")


def merge_button_of_another(h):
    h.proposed_and_approved()
    h.merge("slower", by=EVA)


def merge_by_the_approver_of_what_the_proposer_wrote(h):
    h.wash.branch("slower")
    h.wash.at("2026-01-12T09:00").commit({SETTING: FIRST_SETTING + PROPOSAL + APPROVAL}, by=MIRA)
    h.merge("slower", by=DAG)


def fast_forward(h):
    h.proposed_and_approved()
    h.forward("slower")


def rebase_by_the_host(h):
    h.proposed_and_approved()
    h.main_moves_on()
    h.rebase("slower")


def cherry_pick(h):
    h.visit_on_a_branch()
    h.main_moves_on()
    h.wash.at("2026-01-12T20:00")
    h.repo.git("cherry-pick", "visit", **{k: v for k, v in h.repo.people(DAG, None).items() if "COMMITTER" in k})  # fmt: skip


def squash_of_a_visit(h):
    h.visit_on_a_branch()
    h.main_moves_on()
    h.squash("visit")


def squash_by_the_no_reply_address(h):
    h.visit_on_a_branch()
    h.squash("visit", author=MIRA_AT_HOST)


def web_editor_of_the_host(h):
    h.wash.at("2026-01-12T18:00")
    h.wash.commit({LATER: visit_text("2026-01-12T0700-mira", GREASED)}, by=MIRA, committer=HOST)


def squash_where_the_file_is_enough(h):
    h.wash.at("2026-01-10T09:00").settle(h.site("proof: commit", "proof: file"))
    h.proposed_and_approved()
    h.squash("slower")


def signed_commit_and_a_merge(h):
    h.rule("signed-commit")
    h.proposed_and_approved(key="dag")
    h.main_moves_on()
    h.merge("slower", by=EVA)


def signed_commit_and_a_fast_forward(h):
    h.rule("signed-commit")
    h.proposed_and_approved(key="dag")
    h.forward("slower")


def signed_commit_where_a_statement_is_asked(h):
    h.rule("statement")
    h.proposed_and_approved(key="dag")
    h.merge("slower", by=EVA)


def own_typo_fast_forwarded(h):
    h.visit_on_a_branch()
    h.wash.at("2026-01-12T18:20")
    h.wash.commit({LATER: h.wash.text(LATER).replace("strokes: 4", "strokes: 5")}, by=MIRA)
    h.forward("visit")


def own_typo_merged(h):
    h.visit_on_a_branch()
    h.wash.at("2026-01-12T18:20")
    h.wash.commit({LATER: h.wash.text(LATER).replace("strokes: 4", "strokes: 5")}, by=MIRA)
    h.main_moves_on()
    h.merge("visit")


def friday_evening_filed_on_monday(h):
    h.wash.file("2026-01-09T1900-mira", at="2026-01-12T08:00")


def friday_evening_merged_on_tuesday(h):
    h.wash.branch("visit")
    h.wash.file("2026-01-09T1900-mira", at="2026-01-09T19:30")
    h.merge("visit", at="2026-01-13T08:00")


def agreed_on_friday_for_saturday_merged_on_monday(h):
    h.wash.branch("slower")
    proposal = PROPOSAL.replace("01-15", "01-17")
    h.wash.at("2026-01-16T09:00").commit({SETTING: FIRST_SETTING + proposal}, by=MIRA)
    h.wash.at("2026-01-16T17:00").commit({SETTING: FIRST_SETTING + proposal + APPROVAL}, by=DAG)
    h.merge("slower", at="2026-01-19T08:00")


def a_pull_into_own_commits(h):
    h.visit_on_a_branch()
    h.main_moves_on()
    h.wash.switch("visit")
    h.wash.at("2026-01-12T19:00")
    h.repo.merge("main", by=MIRA, message="Merge branch 'main' of https://host.example/wash")
    h.forward("visit")


def main_merged_into_the_branch_and_the_branch_merged(h):
    h.proposed_and_approved()
    h.main_moves_on()
    h.wash.switch("slower")
    h.wash.at("2026-01-12T18:30").repo.merge("main", by=MIRA, message="Merge branch 'main' into slower")  # fmt: skip
    h.merge("slower")


def filed_by_one_who_was_there(h):
    text = visit_text("2026-01-12T0700-mira", GREASED).replace("by: mira", "by: mira\nwith: [eva]")
    h.wash.at("2026-01-12T18:00").commit({LATER: text}, by=EVA)


def filed_for_another_where_the_policy_allows_it(h):
    h.wash.at("2026-01-11T09:00")
    h.wash.settle(h.site("within: 2 days", "within: 2 days, filed_for_others: true"))
    text = visit_text("2026-01-12T0700-mira", GREASED).replace(
        "by: mira", "by: mira\nfiled_by: eva"
    )
    h.wash.at("2026-01-12T18:00").commit({LATER: text}, by=EVA)


def filed_for_another_who_adds_a_word_before_it_lands(h):
    h.wash.at("2026-01-11T09:00")
    h.wash.settle(h.site("within: 2 days", "within: 2 days, filed_for_others: true"))
    text = visit_text("2026-01-12T0700-mira", GREASED).replace(
        "by: mira", "by: mira\nfiled_by: eva"
    )
    h.wash.branch("visit", "main")
    h.wash.at("2026-01-12T18:00").commit({LATER: text}, by=EVA)
    h.wash.commit({LATER: text + "note: The fitting was dry.\n"}, by=MIRA)
    h.merge("visit")


def a_question_made_an_error_and_kept(h):
    h.wash.at("2026-01-12T09:00").commit(h.site("within: 2 days", "within: 2 days, rules: {no-setting: error}"), by=MIRA)  # fmt: skip


def a_question_switched_off_by_two(h):
    h.wash.at("2026-01-12T09:00").settle(h.site("within: 2 days", "within: 2 days, rules: {no-setting: off}"))  # fmt: skip


def other_capitals_of_an_address(h):
    h.wash.file("2026-01-12T0700-mira", by=("Mira", "Mira@Example.ORG"))


def a_correction(h):
    h.wash.file("2026-01-12T0700-mira", "{corrects: 2026-01-06T0700-mira#2, reason: three, task: grease, at: brush, strokes: 5}")  # fmt: skip


def a_machine_renamed(h):
    h.proposed_and_approved()
    h.merge("slower")
    h.wash.at("2026-01-20T09:00").commit(
        {
            "equipment/brush.yaml": None,
            "equipment/brush-left.yaml": BRUSH.replace("Side brush", "Left brush"),
            SETTING: None,
            "setpoints/brush-left.yaml": h.wash.text(SETTING),
        },
        by=DAG,
    )


def a_machine_renamed_and_much_of_its_file_rewritten(h):
    text = "formerly: [brush]\n" + BRUSH.replace("station: 10", "station: 12\nside: driver")
    text = text.replace("bearing-top", "top").replace("rotating-bearing}", "rotating-bearing, formerly: [bearing-top]}")  # fmt: skip
    text = "".join(f"{line}   # as of 2026\n" for line in text.splitlines())
    h.wash.at("2026-01-20T09:00").commit({"equipment/brush.yaml": None, "equipment/left.yaml": text, SETTING: None, "setpoints/left.yaml": h.wash.text(SETTING)}, by=DAG)  # fmt: skip


def a_machine_renamed_and_its_settings_later(h):
    text = "formerly: [brush]\n" + BRUSH
    h.wash.at("2026-01-20T09:00")
    h.wash.commit({"equipment/brush.yaml": None, "equipment/left.yaml": text}, by=DAG)
    h.wash.commit({SETTING: None, "setpoints/left.yaml": h.wash.text(SETTING)}, by=MIRA)


def both_sides_added_a_setting_and_the_merge_keeps_both(h):
    h.proposed_and_approved()
    h.wash.branch("faster", "main")
    other = PROPOSAL.replace("01-15", "01-20").replace("46", "50").replace("Above", "Below")
    h.wash.at("2026-01-12T10:00").commit({SETTING: FIRST_SETTING + other}, by=MIRA)
    h.wash.at("2026-01-12T16:00").commit({SETTING: FIRST_SETTING + other + APPROVAL}, by=DAG)
    h.merge("slower")
    h.wash.at("2026-01-13T09:00")
    h.repo.git("merge", "-q", "-s", "ours", "--no-commit", "faster", **h.repo.people(DAG, None))
    h.wash.commit({SETTING: FIRST_SETTING + PROPOSAL + APPROVAL + other + APPROVAL}, by=DAG)


def picked_first_and_merged_afterwards(h):
    cherry_pick(h)
    h.merge("visit", at="2026-01-13T08:00")


def a_person_renamed(h):
    new = "eva-r: {name: Eva Renner, formerly: [eva]"
    h.wash.at("2026-01-11T09:00").commit(h.site("eva: {name: Eva Renner", new), by=EVA)
    h.wash.file("2026-01-12T0700-eva-r", by=EVA)
    h.wash.file("2026-01-12T0800-eva", by=EVA)


def the_second_person_named_after_the_first_commit(h):
    """As a site begins that was made without knowing who approves: until then nobody could."""
    text = h.wash.text(SITE_FILE)
    h.repo.git("checkout", "-q", "--orphan", "begun")
    h.wash.at("2026-01-05T08:00").commit({SITE_FILE: text.replace(", emails: [dag@example.org]", ""), SETTING: "[]\n"}, by=MIRA)  # fmt: skip
    h.wash.commit({SITE_FILE: text}, by=MIRA)
    h.repo.git("branch", "-q", "-f", "main")
    h.wash.switch("main")
    h.proposed_and_approved()
    h.merge("slower")


def a_night_shift_filed_after_midnight(h):
    h.wash.file("2026-01-08T2340-mira", at="2026-01-09T00:20")


def a_qualification_given_by_an_approver(h):
    h.wash.at("2026-01-12T09:00").commit(h.site("roles: [technician], emails: [eva", "roles: [technician], qualified: [lockout], emails: [eva"), by=DAG)  # fmt: skip


def a_new_machine_with_its_first_setting(h):
    h.wash.at("2026-01-12T09:00").commit(
        {
            "equipment/second.yaml": BRUSH.replace("station: 10", "station: 20"),
            "setpoints/second.yaml": FIRST_SETTING,
        },
        by=DAG,
    )


def a_new_technician_and_a_first_visit(h):
    new = "  ola: {name: Ola Berg, roles: [technician], emails: [ola@example.org]}\npolicy:"
    h.wash.at("2026-01-12T09:00").commit(h.site("policy:", new), by=DAG)
    h.wash.file("2026-01-12T1000-ola", by=("Ola", "ola@example.org"))


def a_technician_without_an_address(h):
    new = "  ola: {name: Ola Berg, roles: [technician]}\npolicy:"
    h.wash.at("2026-01-12T09:00").commit(h.site("policy:", new), by=DAG)
    h.wash.file("2026-01-12T1000-ola", by=("Ola", "ola@example.org"))


def a_key_changed_by_its_owner(h):
    h.rule("signed-commit")
    old, new = public_line(h.keys["dag"]), public_line(h.keys["new"])
    sign_with(h.repo, h.keys["dag"])
    h.wash.at("2026-01-12T08:00").commit(h.site(old, new), by=DAG)
    h.proposed_and_approved(key="new")
    h.merge("slower", by=EVA)


def a_key_withdrawn_after_it_approved(h):
    h.rule("signed-commit")
    h.proposed_and_approved(key="dag")
    h.merge("slower", by=EVA)
    line = public_line(h.keys["dag"])
    h.wash.at("2026-01-14T09:00").commit(h.site(f", signing_keys: ['{line}']", ""), by=MIRA)


def a_rule_made_stricter(h):
    h.wash.at("2026-01-12T09:00").commit(h.site("entry_within: 2 days", "entry_within: 1 day"), by=MIRA)  # fmt: skip


def a_rule_loosened_by_two(h):
    h.wash.at("2026-01-12T09:00").settle(h.site("entry_within: 2 days", "entry_within: 5 days"))
    h.wash.file("2026-01-13T0700-mira", at="2026-01-20T08:00")


def a_right_given_by_two(h):
    h.wash.at("2026-01-11T09:00").settle(h.site("roles: [technician], emails: [eva", "roles: [lead], approves: [setpoints], emails: [eva"))  # fmt: skip
    h.wash.branch("slower")
    h.wash.at("2026-01-12T09:00").commit({SETTING: FIRST_SETTING + PROPOSAL}, by=MIRA)
    text = FIRST_SETTING + PROPOSAL + "  approved_by: eva\n"
    h.wash.at("2026-01-12T10:00").commit({SETTING: text}, by=EVA)
    h.merge("slower", by=MIRA)


def a_proposal_withdrawn(h):
    h.wash.at("2026-01-12T09:00").commit({SETTING: FIRST_SETTING + PROPOSAL}, by=MIRA)
    text = FIRST_SETTING + PROPOSAL + "  withdrawn: in band after all\n"
    h.wash.at("2026-01-13T09:00").commit({SETTING: text}, by=MIRA)


def a_proposal_reworded_by_its_proposer(h):
    h.wash.at("2026-01-12T09:00").commit({SETTING: FIRST_SETTING + PROPOSAL}, by=MIRA)
    text = (FIRST_SETTING + PROPOSAL).replace("hz: 46", "hz: 45")
    h.wash.at("2026-01-12T10:00").commit({SETTING: text}, by=MIRA)
    h.wash.at("2026-01-12T11:00").commit({SETTING: text + APPROVAL}, by=DAG)


def a_branch_kept_for_weeks_that_brings_a_new_visit(h):
    h.wash.branch("mine")
    h.wash.at("2026-01-08T09:00").commit({"notes.txt": "Ask about the damper.\n"}, by=MIRA)
    h.main_moves_on()
    h.wash.switch("mine")
    h.wash.file("2026-01-26T0700-mira")
    h.merge("mine", at="2026-01-26T19:00")


def revert_of_a_merged_change_of_the_plan(h):
    h.wash.branch("dampers")
    text = h.wash.text("tasks/dampers.yaml").replace("2 weeks", "1 week")
    h.wash.at("2026-01-12T09:00").commit({"tasks/dampers.yaml": text}, by=MIRA)
    h.merge("dampers")
    h.repo.git("revert", "--no-edit", "-m", "1", "HEAD", **h.repo.people(DAG, None))


def picked_from_one_branch_to_another_and_both_merged(h):
    h.visit_on_a_branch()
    h.wash.branch("second", "main")
    h.repo.git("cherry-pick", "visit", **h.committing(DAG))
    h.wash.file("2026-01-12T0730-eva", by=EVA)
    h.merge("visit")
    h.merge("second")


def colleagues_branch_with_a_typo_put_right_rebased(h):
    h.visit_on_a_branch()
    text = h.wash.text(LATER).replace("strokes: 4", "strokes: 5")
    h.wash.at("2026-01-12T18:20").commit({LATER: text}, by=MIRA)
    h.main_moves_on()
    h.repo.git("rebase", "-q", "main", "visit", **h.committing(DAG))
    h.forward("visit")


def colleagues_proposal_rebased_and_approved(h):
    h.wash.branch("slower")
    h.wash.at("2026-01-12T09:00").commit({SETTING: FIRST_SETTING + PROPOSAL}, by=MIRA)
    h.main_moves_on()
    h.repo.git("rebase", "-q", "main", "slower", **h.committing(DAG))
    h.wash.commit({SETTING: FIRST_SETTING + PROPOSAL + APPROVAL}, by=DAG)
    h.forward("slower")


def approved_after_a_holiday_but_in_time(h):
    proposal = PROPOSAL.replace("01-15", "01-30")
    h.wash.at("2026-01-12T09:00").commit({SETTING: FIRST_SETTING + proposal}, by=MIRA)
    h.wash.at("2026-01-28T09:00").commit({SETTING: FIRST_SETTING + proposal + APPROVAL}, by=DAG)


def a_lost_key_replaced_on_the_word_of_another_approver(h):
    """Eva's key is known too; Dag has lost his, and she signs the merge of his new one."""
    key = f", approves: [setpoints], signing_keys: ['{public_line(h.keys['new'])}'], emails: [eva"
    h.wash.at("2026-01-10T09:00").settle(h.site(", emails: [eva", key))
    h.rule("signed-commit")
    h.wash.branch("key", "main")
    found, lost = public_line(h.keys["found"]), public_line(h.keys["dag"])
    h.wash.at("2026-01-12T08:00").commit(h.site(lost, found), by=DAG)
    sign_with(h.repo, h.keys["new"])
    h.merge("key", by=EVA, at="2026-01-12T08:30")
    sign_with(h.repo, None)
    h.proposed_and_approved(key="found")
    h.merge("slower", by=MIRA)


def amended_before_the_push(h):
    h.wash.file("2026-01-12T0700-mira")
    h.repo.write(LATER, h.wash.text(LATER).replace("strokes: 4", "strokes: 5"))
    h.repo.git("commit", "-q", "-a", "--amend", "--no-edit", **h.repo.people(MIRA, None))


def merges_that_cross(h):
    h.visit_on_a_branch()
    h.main_moves_on()
    tip = h.repo.head()
    h.merge("visit")
    h.wash.switch("visit")
    h.repo.merge(tip, by=MIRA)
    h.wash.file("2026-01-12T2000-mira", at="2026-01-12T21:00")
    h.merge("visit", at="2026-01-13T08:00")


def begun_by_the_host_and_joined_with_what_was_here(h):
    """The host's first commit is a README; the site was under git before."""
    tip = h.repo.head()
    h.repo.git("checkout", "-q", "--orphan", "host")
    h.repo.git("rm", "-rqf", ".")
    h.repo.commit("Initial commit", {"README.md": "A wash\n"}, by=MIRA, committer=HOST)
    joined = ("merge", "-q", "--allow-unrelated-histories", "-m", "Join", tip)
    h.repo.git(*joined, **h.repo.people(DAG, None))
    h.repo.git("branch", "-q", "-f", "main")
    h.proposed_and_approved("slower")
    h.merge("slower")


def a_visit_in_the_commit_that_adds_its_person(h):
    stem = "2026-01-12T1000-ola"
    new = "  ola: {name: Ola Berg, roles: [technician], emails: [ola@example.org]}\npolicy:"
    files = {**h.site("policy:", new), visit_path(stem): visit_text(stem, GREASED)}
    h.wash.at("2026-01-12T18:00").commit(files, by=("Ola", "ola@example.org"))


def a_picture_that_comes_after_its_visit(h):
    picture = "photos/2026/01/2026-01-12-1f3a9c02.jpg"
    h.wash.file("2026-01-12T0700-mira", f"{{at: brush, finding: worn, photos: [{picture}]}}")
    h.repo.write(picture, b"worn")
    h.wash.commit({}, by=MIRA)


def a_visit_with_the_offset_of_its_time(h):
    text = visit_text("2026-01-12T0700-mira", GREASED).replace("T07:00", "T08:00+01:00")
    h.wash.at("2026-01-12T18:00").commit({LATER: text}, by=MIRA)


def two_visits_merged_as_an_octopus(h):
    h.visit_on_a_branch()
    h.wash.branch("second", "main")
    h.wash.file("2026-01-12T0730-eva", by=EVA)
    h.main_moves_on()
    h.wash.at("2026-01-12T19:00").repo.merge("visit", "second", by=DAG)


def squash_of_a_branch_of_two(h):
    """The host names who opened the request as its author, and the other in the message."""
    h.visit_on_a_branch()
    h.wash.file("2026-01-12T0720-eva", by=EVA)
    h.wash.switch("main")
    h.repo.git("merge", "-q", "--squash", "visit", **h.repo.people(MIRA, HOST))
    h.wash.at("2026-01-12T19:00")
    h.repo.commit("Visits (#7)\n\nCo-authored-by: Eva Renner <Eva@example.org>", by=MIRA, committer=HOST)  # fmt: skip


def an_approver_who_left_is_taken_out(h):
    """What they approved when the site began stays approved."""
    lea = "  lea: {name: Lea Horn, roles: [lead], approves: [setpoints], emails: [lea@example.org]}\npolicy:"  # fmt: skip
    h.wash.settle(h.site("policy:", lea))
    lines = h.wash.text(SITE_FILE).splitlines(keepends=True)
    kept = "".join(line for line in lines if "  dag:" not in line)
    h.wash.commit({SITE_FILE: kept}, by=("Lea Horn", "lea@example.org"))


HONEST = [
    value
    for value in list(globals().values())
    if callable(value) and getattr(value, "__code__", None) is not None
    and value.__module__ == __name__ and value.__code__.co_varnames[:1] == ("h",)
]  # fmt: skip


@pytest.fixture
def honest(wash, tmp_path):
    keys = {name: make_key(tmp_path / "keys", name) for name in ("dag", "new", "found")}
    wash.at("2026-01-07T08:00")
    return Honest(wash, keys)


def test_there_are_thirty_of_them():
    assert len(HONEST) >= 30


@needs_ssh_keygen
@pytest.mark.parametrize("work", HONEST, ids=lambda work: work.__name__)
def test_nobody_is_accused(honest, work):
    work(honest)
    found = audited(honest.wash.open())
    assert [(item.kind.name, item.words) for item in found.irregularities] == []
    assert found.verdict is Verdict.CLEAN


LOST = {
    "squash": "not an address of Dag Varrick",
    "rebase": "carries no signature",
    "signed and squashed": "not an address of Dag Varrick",
}


@needs_ssh_keygen
@pytest.mark.parametrize(("how", "said"), LOST.items(), ids=LOST)
def test_a_method_that_loses_the_proof_is_named_for_it(honest, how, said):
    if how != "squash":
        honest.rule("signed-commit")
    honest.proposed_and_approved(key="dag")
    honest.main_moves_on()
    honest.rebase("slower") if how == "rebase" else honest.squash("slower")
    (item,) = audited(honest.wash.open()).irregularities
    assert item.kind.name == "NOT_PROVEN"
    assert said in item.words


def test_a_site_put_under_git_later(tmp_path):
    """Its record and its approvals were kept before, so git can tell nothing of who and when."""
    wash = Wash(Repo(tmp_path / "repo"))
    stems = ("2026-01-06T0700-mira", "2026-01-07T0700-eva", "2026-02-20T0700-mira")
    wash.at("2026-04-01T09:00").commit(
        {
            SITE_FILE: SITE,
            "equipment/brush.yaml": BRUSH,
            SETTING: FIRST_SETTING + PROPOSAL + APPROVAL,
            **{visit_path(stem): visit_text(stem, COUNTED) for stem in stems},
        },
        by=MIRA,
    )
    assert audited(wash.open()).verdict is Verdict.CLEAN


def test_a_site_moved_with_its_approvals(kept, tmp_path):
    """Clean is said of the folder where they were made; here that the rest was not read."""
    wash = kept()
    files = wash.repo.git("ls-files").split("\n")
    wash.at("2026-02-01T09:00")
    for path in files:
        (wash.repo.folder / "north" / path).parent.mkdir(parents=True, exist_ok=True)
        wash.repo.git("mv", path, f"north/{path}")
    wash.commit({}, by=DAG)
    found = audited(wash.repo.open("north"))
    assert (found.irregularities, found.verdict) == ((), Verdict.PARTIAL)


@pytest.mark.parametrize("name", ["new", "year"])
def test_a_site_of_an_earlier_version(name, tmp_path):
    assert audited(unpacked(name, tmp_path).open()).verdict is Verdict.CLEAN

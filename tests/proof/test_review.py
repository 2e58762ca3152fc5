"""A reviewer who reads only the review can decide: every figure, every rule, every breach is there."""

import pytest
from git_repo import DAG, MIRA
from ssh_keys import make_key, needs_ssh_keygen, public_line, sign_with

from ledger.book import terminal
from ledger.history.git import GitProblem
from ledger.proof.review import review
from ledger.proof.review_page import markdown_alone, review_page
from ledger.proof.review_table import review_rows

EVA = ("Eva Renner", "eva@example.org")
SETTING = "setpoints/brush.yaml"
VISIT = "observations/2026/01/2026-01-06T0700-mira.yaml"


def proposal(hz=46.0, *, proposed_by="mira", evidence="[2026-01-06T0700-mira#1]") -> str:
    return (
        f"- from: 2026-01-15\n  hz: {hz}\n  line_rate_per_h: 104\n  why: Above the band.\n"
        f"  evidence: {evidence}\n  proposed_by: {proposed_by}\n"
    )


def approval(hz=46.0, *, by="dag", **rest) -> str:
    return f"{proposal(hz, **rest)}  approved_by: {by}\n"


@pytest.fixture
def branch(wash):
    """A branch off main; what is committed on it is up for review."""
    wash.branch("change")
    return wash.at("2026-01-13T09:00")


def reviewed(wash):
    return review(wash.open(), "main")


def points(found):
    (setting,) = found.settings
    return {point.name: point for point in setting.points}


def rules(found):
    return [breach.rule for breach in found.breaches]


def page(found) -> str:
    return markdown_alone(review_page(found))


def add(wash, text: str, by=DAG, **files):
    """A change at the end of the file; one that is approved was proposed by Mira before."""
    do = wash.agree if "approved_by" in text and by != MIRA else wash.commit
    return do({SETTING: wash.text(SETTING) + text, **files}, by=by)


@pytest.mark.parametrize("inside", ["", "washes/north/"])
def test_a_change_that_holds_every_rule(make_wash, inside):
    wash = make_wash(inside)
    wash.branch("change")
    wash.at("2026-01-12T09:00")
    add(wash, proposal(), by=MIRA)
    wash.commit({SETTING: wash.text(SETTING) + "  approved_by: dag\n"}, by=DAG)
    found = reviewed(wash)
    assert found.breaches == ()
    assert {name: point.held for name, point in points(found).items()} == {
        "Second person": True,
        "Approver may approve": True,
        "Proof of approval": True,
        "Approved in time": True,
        "Step": True,
        "Drive limits": True,
        "Evidence": True,
        "Follow-up reading": None,
    }
    said = page(found)
    assert "**No breach.** 1 setting approved." in said
    assert "## Side brush: 48 Hz → 46 Hz (approved)" in said
    assert "owed by 2026-01-22, at this setting; it takes effect on 2026-01-15" in said


def test_speeds_before_and_after_come_from_the_readings(branch):
    """80 turns in 50 s at 48 Hz are 96.0 r/min; by proportion some 92.0 at 46 Hz, in 84 to 94."""
    add(branch, proposal(), by=MIRA)
    (setting,) = reviewed(branch).settings
    assert setting.before.speed.rpm == pytest.approx(80 / 50 * 60, abs=0.1)
    assert setting.after.speed.rpm == pytest.approx(80 / 50 * 60 * 46 / 48, abs=0.5)
    assert setting.before.p_in_band < 0.01
    assert setting.after.p_in_band > 0.95


def test_evidence_is_shown_in_full(branch):
    add(branch, proposal(), by=MIRA)
    said = page(reviewed(branch))
    assert "| 2026-01-06T0700-mira#1, Mira Osterby | 80 turns in 50 s | 48 Hz | 96.00 ± " in said
    assert "out of band 84–94 |" in said


def test_a_proposal_leaves_the_approval_open_and_says_who_may(branch):
    add(branch, proposal(), by=MIRA)
    found = reviewed(branch)
    assert found.breaches == ()
    assert points(found)["Approval"].held is None
    assert points(found)["Approval"].because == (
        "not approved yet; Dag Varrick may do it, with approved_by in change 2 of setpoints/brush.yaml"
    )
    assert points(found)["Follow-up reading"].because == (
        "owed once this is approved: by 2026-01-22, if it takes effect on 2026-01-15"
    )
    assert "rule: commit" in points(found)["Proof of approval"].because
    assert "(proposed, not in force)" in page(found)


BROKEN = {
    "own proposal approved": (approval(proposed_by="dag"), DAG, "policy-second-person"),
    "approver without the right": (approval(by="eva"), EVA, "policy-approver-may-approve"),
    "not by the approver's address": (approval(), MIRA, "policy-proof-of-approval"),
    "five hertz at once": (approval(43), DAG, "policy-step"),
    "beyond the drive's limits": (proposal(61), MIRA, "policy-drive-limits"),
    "no evidence": (approval(evidence="[]"), DAG, "policy-evidence"),
    "evidence without a speed": (
        approval(evidence="[2026-01-06T0700-mira#2]"),
        DAG,
        "policy-evidence",
    ),
}


@pytest.mark.parametrize(("text", "by", "rule"), BROKEN.values(), ids=BROKEN)
def test_a_rule_broken_is_a_breach(branch, text, by, rule):
    add(branch, text, by=by)
    found = reviewed(branch)
    assert rule in rules(found)
    assert "**BROKEN**" in page(found)
    assert all(breach.remedy for breach in found.breaches)
    assert all(f"**To do:** {breach.remedy}." in page(found) for breach in found.breaches)


CLAIMED = ("own proposal approved", "approver without the right", "not by the approver's address")


@pytest.mark.parametrize("case", CLAIMED)
def test_an_approval_that_breaks_a_rule_on_approvals_is_headed_a_claim(branch, case):
    text, by, _ = BROKEN[case]
    add(branch, text, by=by)
    said = page(reviewed(branch))
    assert "1 setting only claimed approved." in said
    assert "setting approved" not in said
    assert "(claimed approved, does not count)" in said
    (setting,) = review_rows(reviewed(branch))["settings"]
    assert setting["approval_counts"] is False


class TestTheFirstSetting:
    """Only a drive's first change may be a value taken over: it needs no reading and no step."""

    @pytest.fixture
    def started(self, wash):
        """A wash whose first change of the brush is what a test says."""

        def start(first: str):
            wash.at("2026-01-07T09:00").commit({SETTING: None})
            wash.branch("other")
            wash.at("2026-01-12T09:00").commit({SETTING: first}, by=DAG)
            wash.branch("change", "other")
            return wash.at("2026-01-13T09:00")

        return start

    def test_taken_over(self, wash):
        wash.at("2026-01-07T09:00").commit({SETTING: None})
        wash.branch("change")
        wash.at("2026-01-13T09:00").commit({SETTING: approval(55, evidence="[]")}, by=DAG)
        found = reviewed(wash)
        assert found.breaches == ()
        assert points(found)["Step"].because == "the drive's first setting"
        assert "## Side brush: 55 Hz (first setting, approved)" in page(found)

    @pytest.mark.parametrize(
        "first",
        [approval(48, proposed_by="dag"), proposal(48)],
        ids=["the first is only claimed approved", "the first is not approved"],
    )
    def test_a_second_change_is_no_first_setting(self, started, first):
        wash = started(first)
        add(wash, approval(55, evidence="[]").replace("01-15", "01-20"))
        found = review(wash.open(), "other")
        assert rules(found) == ["policy-step", "policy-evidence"]
        because = points(found)["Step"].because
        assert because.startswith("+7 Hz from 48 Hz, seen on the drive on 2026-01-06")

    def test_where_nothing_tells_what_the_drive_stands_at(self, started):
        wash = started(proposal(48))
        wash.file(
            "2026-01-13T0700-mira", "{corrects: 2026-01-06T0700-mira#1, void: true, reason: x}"
        )
        add(wash, approval(50))
        point = points(review(wash.open(), "other"))["Step"]
        assert point.held is False
        assert point.remedy == "file a visit with the setting found on the drive"


class TestFollowUp:
    """Readings at 46 Hz: 80 turns in 50 s at 48 Hz let expect 92.0 ± 0.5 r/min there."""

    def read(self, wash, seconds):
        wash.file(
            "2026-01-16T0700-mira", f"{{at: brush, turns: 80, seconds: {seconds}, found_hz: 46}}"
        )
        add(wash, approval())
        return points(reviewed(wash))["Follow-up reading"]

    def test_confirmed_by_a_reading(self, branch):
        point = self.read(branch, 52.1)
        assert point.held
        assert point.because.startswith("Confirmed by 2026-01-16T0700-mira#1: 92.13 ± 0.40 r/min")
        assert "E_n 0." in point.because

    def test_a_reading_that_speaks_against_it(self, branch):
        point = self.read(branch, 54.5)
        assert point.held is None
        assert point.because.startswith("NOT CONFIRMED: 2026-01-16T0700-mira#1: 88.07 ± ")
        assert point.because.endswith("owed by 2026-01-22")


def test_evidence_from_before_a_mechanical_change(branch):
    branch.file("2026-01-12T0700-mira", "{at: brush, changed: belt}")
    add(branch, approval())
    because = points(reviewed(branch))["Evidence"].because
    assert because.startswith(
        "2026-01-06T0700-mira#1 is from before the last mechanical change, belt on 2026-01-12"
    )


def test_evidence_struck_out_by_a_correction(branch):
    branch.file(
        "2026-01-12T0700-mira",
        "{corrects: 2026-01-06T0700-mira#1, void: true, reason: wrong brush}",
    )
    add(branch, approval())
    found = reviewed(branch)
    assert "was struck out by a correction" in points(found)["Evidence"].because
    assert rules(found) == ["policy-evidence"]


def test_evidence_that_cannot_tell_by_itself_is_said(branch):
    branch.file("2026-01-12T0700-mira", "{at: brush, counted: 24, seconds: 15, found_hz: 48}")
    add(branch, approval(evidence="[2026-01-12T0700-mira#1]"))
    because = points(reviewed(branch))["Evidence"].because
    assert "no reading is precise enough by itself" in because


class TestRulesOfBefore:
    """A branch is held to the rules as they were before it: it cannot loosen them for itself."""

    @pytest.mark.parametrize(
        ("path", "old", "new", "hz", "rule"),
        [
            ("site.yaml", "max_step_hz: 4", "max_step_hz: 20", 36.0, ["policy-step", "rules"]),
            ("equipment/brush.yaml", "[30, 60]", "[20, 60]", 45.0, []),
        ],
        ids=["step", "limits that the setting does not need"],
    )
    def test_step(self, branch, path, old, new, hz, rule):
        text = branch.text(path).replace(old, new)
        add(branch, approval(hz), **{path: text})
        found = reviewed(branch)
        assert rules(found) == rule
        assert any(one.path == path for one in found.plan)

    def test_limits(self, wash):
        wash.at("2026-01-12T09:00").commit(
            {"equipment/brush.yaml": wash.text("equipment/brush.yaml").replace("60]}", "47]}")}
        )
        wash.branch("change")
        limits = wash.text("equipment/brush.yaml").replace("47]}", "60]}")
        wash.at("2026-01-13T09:00")
        add(wash, approval(47.5), **{"equipment/brush.yaml": limits})
        found = reviewed(wash)
        assert rules(found) == ["policy-drive-limits"]
        assert "only by this branch; before it 30 Hz to 47 Hz" in found.breaches[0].words

    def test_people(self, branch):
        site = branch.text("site.yaml").replace("[technician], emails: [eva", "[lead], approves: [setpoints], emails: [eva")  # fmt: skip
        add(branch, approval(by="eva"), by=EVA, **{"site.yaml": site})
        found = reviewed(branch)
        assert rules(found) == ["policy-approver-may-approve", "rules"]
        assert "people.eva.approves" in page(found)


class TestProofByTheSitesRule:
    @pytest.fixture
    def ruled(self, wash):
        def rule(name):
            site = wash.text("site.yaml").replace(
                "approval_proof: commit", f"approval_proof: {name}"
            )
            wash.at("2026-01-12T09:00").settle({"site.yaml": site})
            wash.branch("change")
            return wash.at("2026-01-13T09:00")

        return rule

    def test_file(self, ruled):
        wash = ruled("file")
        add(wash, approval(), by=MIRA)
        point = points(reviewed(wash))["Proof of approval"]
        assert point.held
        assert point.because.startswith("rule: file, the file's word is enough")

    def test_signed_commit_without_a_signature(self, ruled):
        wash = ruled("signed-commit")
        add(wash, approval())
        point = points(reviewed(wash))["Proof of approval"]
        assert point.held is False
        assert point.because.endswith("carries no signature")

    @pytest.mark.parametrize(
        ("kind", "said"),
        [
            ("PGP", "its signature was not verified: an OpenPGP signature, and only SSH"),
            pytest.param("SSH", "does not fit the commit", marks=needs_ssh_keygen),
        ],
    )
    def test_a_signature_that_proves_nothing(self, ruled, kind, said):
        wash = ruled("signed-commit")
        add(wash, approval())
        raw = wash.repo.git("cat-file", "commit", "HEAD")
        headers, _, message = raw.partition("\n\n")
        frame = (
            f"gpgsig -----BEGIN {kind} SIGNATURE-----\n U1NIU0lH\n -----END {kind} SIGNATURE-----"
        )
        signed = wash.repo.raw("commit", f"{headers}\n{frame}\n\n{message}\n".encode())
        wash.repo.git("update-ref", "refs/heads/change", signed)
        point = points(reviewed(wash))["Proof of approval"]
        assert point.held is False
        assert said in point.because

    @needs_ssh_keygen
    @pytest.mark.parametrize("known", ["on main", "on the branch alone"])
    def test_a_signature_by_a_key_of_the_approver(self, wash, ruled, tmp_path, known):
        """A key that the branch itself brings proves nothing for that branch."""
        key = make_key(tmp_path / "keys", "dag")
        with_key = wash.text("site.yaml").replace(
            "[dag@example.org]", f"[dag@example.org], signing_keys: ['{public_line(key)}']"
        )
        if known == "on main":
            wash.at("2026-01-11T09:00").commit({"site.yaml": with_key}, by=DAG)
        ruled("signed-commit")
        if known == "on the branch alone":
            site = with_key.replace("approval_proof: commit", "approval_proof: signed-commit")
            wash.at("2026-01-13T08:00").commit({"site.yaml": site}, by=DAG)
        sign_with(wash.repo, key)
        add(wash, approval())
        point = points(reviewed(wash))["Proof of approval"]
        assert point.held is (known == "on main")
        if point.held:
            assert "signed with a key of dag, SHA256:" in point.because

    def test_a_merge_by_the_approver(self, branch):
        add(branch, approval(), by=MIRA)
        branch.branch("merged", "main")
        branch.repo.merge("change", by=DAG)
        point = points(reviewed(branch))["Proof of approval"]
        assert point.held
        assert "merge" in point.because

    def test_the_approver_pulling_main_into_a_branch_approves_nothing(self, branch):
        add(branch, approval(), by=MIRA)
        branch.branch("his", "main")
        branch.file("2026-01-13T0700-dag", by=DAG)
        branch.repo.merge("change", by=DAG)
        branch.branch("out", "change")
        branch.repo.merge("his", by=MIRA)
        assert points(reviewed(branch))["Proof of approval"].held is False


class TestOldRecords:
    def test_edited(self, branch):
        branch.commit({VISIT: branch.text(VISIT).replace("80", "84")})
        found = reviewed(branch)
        assert rules(found) == ["record-edited"]
        assert found.breaches[0].about == VISIT
        assert found.breaches[0].words.endswith("entries 1.turns: 80 → 84")
        assert "-  - {at: brush, turns: 80," in page(found)

    def test_layout_alone_is_a_breach_too_and_said_to_be_no_more(self, branch):
        branch.commit({VISIT: branch.text(VISIT) + "# seen\n"})
        assert reviewed(branch).breaches[0].words.endswith("layout or comments only")

    def test_entry_added_to_an_old_visit(self, branch):
        branch.commit({VISIT: branch.text(VISIT) + "  - {task: grease, at: brush}\n"})
        assert rules(reviewed(branch)) == ["record-edited"]

    def test_deleted(self, branch):
        branch.commit({VISIT: None})
        assert rules(reviewed(branch)) == ["record-deleted"]

    def test_renamed(self, branch):
        new = VISIT.replace("06T0700", "06T0730")
        text = branch.text(VISIT).replace("06T07:00", "06T07:30")
        branch.commit({VISIT: None, new: text})
        found = reviewed(branch)
        assert rules(found) == ["record-renamed"]
        assert found.visits == ()
        assert new in found.breaches[0].words

    def test_approved_change_edited(self, branch):
        branch.commit({SETTING: branch.text(SETTING).replace("hz: 48", "hz: 47")}, by=DAG)
        found = reviewed(branch)
        assert rules(found)[0] == "approved-edited"
        assert found.breaches[0].words == "approved change edited: hz: 48 → 47"

    def test_approved_change_deleted(self, branch):
        branch.commit({SETTING: None}, by=DAG)
        assert rules(reviewed(branch)) == ["approved-deleted"]

    def test_a_correction_is_no_breach(self, branch):
        branch.file(
            "2026-01-12T0700-mira",
            "{corrects: 2026-01-06T0700-mira#1, reason: misread, at: brush, turns: 84, seconds: 50, found_hz: 48}",
        )
        found = reviewed(branch)
        assert found.breaches == ()
        assert "**correction** corrects 2026-01-06T0700-mira#1 (misread)" in page(found)

    def test_a_proposal_may_be_edited_and_that_is_said(self, wash):
        wash.at("2026-01-12T09:00")
        add(wash, proposal(), by=MIRA)
        wash.branch("change")
        text = wash.text(SETTING).replace("hz: 46", "hz: 45")
        wash.commit({SETTING: text}, by=MIRA)
        wash.commit({SETTING: text + "  approved_by: dag\n"}, by=DAG)
        found = reviewed(wash)
        assert found.breaches == ()
        assert (
            "The proposal itself was changed: approved_by: nothing → dag; hz: 46.0 → 45.0"
            in page(found)
        )

    def test_a_withdrawn_proposal_is_to_be_looked_at(self, wash):
        wash.at("2026-01-12T09:00")
        add(wash, proposal(), by=MIRA)
        wash.branch("change")
        wash.commit({SETTING: wash.text(SETTING) + "  withdrawn: In band after all.\n"})
        found = reviewed(wash)
        assert (found.breaches, found.settings) == ((), ())
        assert "proposal withdrawn: hz: 46.0, from: 2026-01-15, In band after all." in page(found)


def test_each_visit_added_with_every_entry_in_a_line(branch):
    branch.file(
        "2026-01-12T0700-eva",
        "{task: grease, at: brush, strokes: 4}",
        "{at: brush, counted: 46, seconds: 30, found_hz: 48, left_hz: 46}",
        "{finding: leaks, at: brush/damper}",
        by=EVA,
    )
    found = reviewed(branch)
    said = page(found)
    assert "| 2026-01-12 07:00 | Eva Renner | Side brush: Bearing top | Grease the bearings; 4 strokes each |" in said  # fmt: skip
    assert "46 passes in 30 s at 48 Hz = 92.0 ± " in said
    assert "| Side brush: Damper | found (soon): leaks |" in said
    assert "left at 46 Hz on 2026-01-12 (2026-01-12T0700-eva#2), where 48 Hz is approved" in said


def test_errors_of_the_head_are_listed(branch):
    branch.file("2026-01-12T0700-mira", "{task: greese}")
    found = reviewed(branch)
    assert rules(found) == ["files-at-fault"]
    assert "2026-01-12T0700-mira.yaml:4:12" in page(found)


def test_other_files_are_named_hidden_ones_too(branch):
    branch.commit({".github/workflows/check.yml": "on: push\n", "notes.txt": "x\n", "parts/a.yaml": "name: A\nkind: spare\nunit: piece\n"})  # fmt: skip
    assert reviewed(branch).other_files == (".github/workflows/check.yml", "notes.txt")


@pytest.mark.parametrize("inside", ["", "washes/north/"])
@pytest.mark.parametrize(
    ("path", "text"),
    [
        (".github/workflows/check.yml", "on: push\n"),
        (".gitlab-ci.yml", "check: {script: [true]}\n"),
        ("CODEOWNERS", "* @anybody\n"),
        ("docs/CODEOWNERS", "* @anybody\n"),
        ("tool/requirements.txt", "tunnelbook\n"),
    ],
)
def test_a_branch_that_changes_what_checks_it_says_so_first(make_wash, inside, path, text):
    wash = make_wash(inside)
    wash.branch("change")
    wash.at("2026-01-13T09:00")
    wash.commit({path: text})
    found = reviewed(wash)
    (named,) = found.changed_checks
    assert named == f"{inside}{path}"
    first = page(found).splitlines()[0]
    assert first == (
        "# This branch changes what checks it, so its own green check proves nothing. "
        "Review for Small Wash"
    )
    assert f"- `{named}`" in page(found).splitlines()
    assert review_rows(found)["changes_its_own_checks"] == [named]
    assert terminal.render(review_page(found), 100).startswith("This branch changes what checks it")


@pytest.mark.parametrize(
    ("old", "new", "named"),
    [
        ("approver_differs: true", "approver_differs: false", "policy in site.yaml"),
        ("name: Eva Renner, roles: [technician]", "name: Eva Renner, roles: [lead], approves: [setpoints]", "people in site.yaml"),
    ],
)  # fmt: skip
def test_so_does_one_that_changes_the_rules_or_whom_they_name(branch, old, new, named):
    branch.commit({"site.yaml": branch.text("site.yaml").replace(old, new)})
    assert reviewed(branch).changed_checks == (named,)


def test_a_branch_that_leaves_its_checks_alone_is_only_reviewed(branch):
    branch.commit({"notes.txt": "x\n", "site.yaml": branch.text("site.yaml") + "driver_side: right\n"})  # fmt: skip
    found = reviewed(branch)
    assert found.changed_checks == ()
    assert page(found).splitlines()[0] == "# Review for Small Wash"


def test_judged_is_the_merge_with_the_tip_of_a_base_that_moved(branch):
    branch.file("2026-01-12T0700-mira")
    branch.switch("main")
    branch.file("2026-01-12T0700-eva", by=EVA)
    found = review(branch.open(), "main", "change")
    assert [visit.by for visit in found.visits] == ["mira"]
    tip = branch.repo.git("rev-parse", "main")
    assert found.base == tip
    assert f"as if merged into `{tip[:12]}` on 2026-01-12" in page(found)
    assert [visit.by for visit in found.ledger.visits] == ["mira", "eva", "mira"]


@pytest.mark.parametrize(
    ("said", "broken"), [("formerly: [brush]\n", []), ("", ["files-at-fault"])]
)
def test_a_machine_with_readings_under_another_name(branch, said, broken):
    machine = branch.text("equipment/brush.yaml") + said
    files = {"equipment/brush.yaml": None, SETTING: None, "equipment/left.yaml": machine}
    branch.commit({**files, "setpoints/left.yaml": branch.text(SETTING)}, by=DAG)
    assert rules(reviewed(branch)) == broken


def test_a_commit_without_a_date_is_dated_by_the_others(branch):
    who = b"Dag <dag@example.org> %d +0000"
    branch.repo.git("symbolic-ref", "HEAD", "refs/heads/main")
    odd = branch.repo.raw_commit(b"author " + who % 1 + b"\ncommitter " + who % 10**14 + b"\n")
    branch.repo.git("branch", "-q", "-f", "odd", odd)
    found = review(branch.open(), "main~1", "odd")
    assert f"{found.landed_on}" == "2026-01-06"


def test_a_conflict_is_a_breach_and_what_the_branch_does_is_still_said(branch):
    add(branch, proposal(), by=MIRA)
    branch.switch("main")
    add(branch, proposal(47), by=EVA)
    found = review(branch.open(), "main", "change")
    assert rules(found) == ["conflict"]
    assert SETTING in found.breaches[0].words
    assert [one.change.value for one in found.settings] == [46]


def test_a_trial_merge_leaves_the_repository_as_it_was(branch):
    """Not one object comes to it, and no merge driver of its own is run."""
    add(branch, proposal(), by=MIRA)
    branch.switch("main")
    branch.repo.git("config", "merge.sly.driver", "touch ran")
    branch.repo.write(".git/info/attributes", "* merge=sly\n")
    add(branch, proposal(47), by=EVA)
    before = branch.repo.git("count-objects", "-v")
    review(branch.open(), "main", "change")
    assert branch.repo.git("count-objects", "-v") == before
    assert not (branch.repo.folder / "ran").exists()


def test_the_working_copy_is_never_read(branch):
    branch.file("2026-01-12T0700-mira")
    before = review_rows(reviewed(branch))
    branch.repo.write(SETTING, "nonsense: [\n")
    branch.repo.write(VISIT, "gone\n")
    assert review_rows(reviewed(branch)) == before


def test_a_branch_that_starts_the_site(tmp_path, wash):
    """There is nothing to hold it against: its own rules and people count."""
    wash.at("2026-01-04T08:00").repo.git("checkout", "-q", "--orphan", "empty")
    wash.repo.git("rm", "-q", "-r", "--cached", ".")
    wash.repo.git("commit", "-q", "--allow-empty", "-m", "Start", **wash.repo.people(DAG, None))
    wash.repo.git("clean", "-q", "-f", "-d")
    wash.branch("start", "empty")
    wash.begin()
    found = review(wash.open(), "empty")
    assert found.breaches == ()
    assert "no evidence" not in page(found)


@pytest.mark.parametrize(
    ("base", "head", "rule"),
    [("nowhere", "HEAD", "unknown-revision"), ("--output=x", "HEAD", "revision-refused"), ("main", "apart", "no-merge-base")],
)  # fmt: skip
def test_revisions_that_cannot_be_compared(wash, base, head, rule):
    apart = wash.repo.git(
        "commit-tree", "HEAD^{tree}", "-m", "Apart", **wash.repo.people(DAG, None)
    )
    wash.repo.git("branch", "apart", apart)
    with pytest.raises(GitProblem) as problem:
        review(wash.open(), base, head)
    assert problem.value.rule == rule


def test_rows_carry_the_raw_numbers(branch):
    add(branch, approval())
    rows = review_rows(reviewed(branch))
    (setting,) = rows["settings"]
    assert (setting["machine"], setting["step"], setting["after"]["setting"]) == ("brush", "approved", 46)  # fmt: skip
    assert setting["evidence"][0]["raw"]["turns"] == 80
    assert setting["evidence"][0]["speeds"][0]["verdict"] == "out of band"
    assert {point["point"]: point["held"] for point in setting["policy"]}["Step"] is True

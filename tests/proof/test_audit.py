"""An audit finds every tampering that it claims to find, names it, and is quiet where there is none."""

from datetime import date

import pytest
from git_repo import DAG, MIRA, audited
from small_wash import GREASED, visit_path, visit_text

from ledger import __version__
from ledger.files.tree import DiskTree
from ledger.history.repository import Remembered, open_repository
from ledger.proof.audit import Verdict
from ledger.proof.audit_items import Irregularity, Note
from ledger.proof.audit_page import audit_page, audit_rows
from ledger.proof.review_page import markdown_alone
from ledger.site.pipeline import load
from ledger.site.rendering import book_files

EVA = ("Eva Renner", "eva@example.org")
NOBODY = ("Somebody", "somebody@elsewhere.example")
MONDAY = "observations/2026/01/2026-01-06T0700-mira.yaml"
SETTING = "setpoints/brush.yaml"


def irregularities(wash, **how):
    return [(item.kind, item.about) for item in audited(wash.open(), **how).irregularities]


def notes(found):
    return [item.kind for item in found.items if isinstance(item.kind, Note)]


@pytest.mark.parametrize("inside", ["", "washes/north/"])
def test_a_history_kept_by_the_rules_is_clean(kept, inside):
    found = audited(kept(inside).open())
    assert (found.irregularities, found.verdict) == ((), Verdict.CLEAN)
    assert (found.counts.visits, found.counts.approvals, found.counts.merges) == (4, 2, 3)


def test_two_technicians_branches_merge_without_conflict(kept):
    """The fixture merges them; both visits are there, and no merge wrote anything itself."""
    wash = kept()
    listed = wash.repo.git("ls-tree", "-r", "--name-only", "HEAD")
    assert "2026-01-07T0700-mira" in listed
    assert "2026-01-07T0710-eva" in listed


class TestTampering:
    """Each is done to a clean history, and found by its own name and no other."""

    def test_edit(self, kept):
        wash = kept()
        wash.at("2026-01-12T09:00").commit({MONDAY: wash.text(MONDAY).replace("80", "84")}, by=EVA)
        assert irregularities(wash) == [(Irregularity.EDITED, MONDAY)]
        (item,) = audited(wash.open()).irregularities
        assert item.words == "entries 1.turns: 80 → 84"
        assert "turns: 80" in item.old_text
        assert "turns: 84" in item.new_text

    def test_edit_by_its_own_author(self, kept):
        wash = kept()
        wash.at("2026-01-12T09:00").commit({MONDAY: wash.text(MONDAY).replace("80", "84")}, by=MIRA)
        assert irregularities(wash) == [(Irregularity.EDITED, MONDAY)]

    def test_delete(self, kept):
        wash = kept()
        wash.at("2026-01-12T09:00").commit(
            {
                "observations/2026/01/2026-01-09T0700-eva.yaml": None,
            }
        )
        assert irregularities(wash) == [
            (Irregularity.DELETED, "observations/2026/01/2026-01-09T0700-eva.yaml")
        ]

    def test_redate(self, kept):
        wash = kept()
        old = "observations/2026/01/2026-01-09T0700-eva.yaml"
        new = old.replace("09T0700", "08T0700")
        text = wash.text(old).replace("2026-01-09T07:00", "2026-01-08T07:00")
        wash.at("2026-01-12T09:00").commit({old: None, new: text}, by=EVA)
        assert irregularities(wash) == [(Irregularity.RENAMED, old)]
        assert new in audited(wash.open()).irregularities[0].words

    def test_redate_by_the_author_date_of_a_late_commit(self, kept):
        """The author's date can be set at will; the day counts on which it was committed."""
        wash = kept()
        wash.repo.write("observations/2026/01/2026-01-10T0700-eva.yaml", visit("2026-01-10T0700"))
        wash.repo.git("add", "-A")
        people = wash.at("2026-01-20T09:00").repo.people(EVA, None)
        people["GIT_AUTHOR_DATE"] = "2026-01-10T08:00:00 +0000"
        wash.repo.git("commit", "-q", "-m", "Grease", **people)
        (item,) = audited(wash.open()).irregularities
        assert item.kind is Irregularity.LATE
        assert "10 days after the service; limit 2" in item.words
        assert "its author's date says 2026-01-10" in item.words

    def test_forged_approver(self, kept):
        """The technician who proposes writes the lead's name herself, and merges."""
        wash = kept()
        text = wash.text(SETTING) + approved("2026-01-14", 44)
        wash.branch("faster")
        wash.at("2026-01-13T09:00").commit({SETTING: text}, by=MIRA)
        wash.switch("main")
        wash.at("2026-01-13T10:00").repo.merge("faster", by=MIRA)
        assert irregularities(wash) == [(Irregularity.NOT_PROVEN, f"{SETTING}, from 2026-01-14")]
        (item,) = audited(wash.open()).irregularities
        assert "not an address of Dag Varrick" in item.words

    def test_forged_approver_by_naming_him_as_author(self, kept):
        wash = kept()
        text = wash.text(SETTING) + approved("2026-01-14", 44)
        wash.at("2026-01-13T09:00").agree({SETTING: text}, by=DAG, committer=MIRA)
        assert irregularities(wash) == [(Irregularity.NOT_PROVEN, f"{SETTING}, from 2026-01-14")]

    def test_forged_approver_by_giving_him_another_address(self, kept):
        """The people file counts as it was before the commit that it is to bear out."""
        wash = kept()
        text = wash.text(SETTING) + approved("2026-01-14", 44)
        site = wash.text("site.yaml").replace("[dag@", "[mira@example.org, dag@")
        wash.at("2026-01-13T09:00").commit({SETTING: text, "site.yaml": site}, by=MIRA)
        found = audited(wash.open())
        assert [item.kind for item in found.irregularities] == [
            Irregularity.RULES,
            Irregularity.NOT_PROVEN,
        ]

    def test_self_approval(self, kept):
        wash = kept()
        text = wash.text(SETTING) + approved("2026-01-14", 44, proposed_by="dag")
        wash.at("2026-01-13T09:00").commit({SETTING: text}, by=DAG)
        assert irregularities(wash) == [(Irregularity.SELF_APPROVED, f"{SETTING}, from 2026-01-14")]

    def test_self_approval_with_the_policy_loosened_in_the_same_commit(self, kept):
        wash = kept()
        text = wash.text(SETTING) + approved("2026-01-14", 44, proposed_by="dag")
        site = wash.text("site.yaml").replace("approver_differs: true", "approver_differs: false")
        wash.at("2026-01-13T09:00").commit({SETTING: text, "site.yaml": site}, by=DAG)
        assert irregularities(wash) == [
            (Irregularity.RULES, "site.yaml"),
            (Irregularity.SELF_APPROVED, f"{SETTING}, from 2026-01-14"),
        ]

    def test_forced_push_over_a_remembered_head(self, kept):
        """The last visit never was, says the new history; clean in itself, but not that of last time."""
        wash = kept()
        remembered = wash.repo.head()
        wash.repo.git("reset", "-q", "--hard", "HEAD~1")
        wash.file("2026-01-10T0700-mira")
        assert irregularities(wash) == []
        found = audited(wash.open(), remembered=remembered)
        assert (found.remembered, found.verdict) == (Remembered.REWRITTEN, Verdict.FINDINGS)
        assert [(item.kind, item.about) for item in found.irregularities] == [
            (Irregularity.REWRITTEN, ""),
            (Irregularity.REWRITTEN, "observations/2026/01/2026-01-09T0700-eva.yaml"),
        ]

    def test_forced_push_where_the_old_commits_are_gone(self, kept, tmp_path):
        wash = kept()
        remembered = wash.repo.head()
        wash.repo.git("reset", "-q", "--hard", "HEAD~1")
        clone = tmp_path / "clone"
        wash.repo.git("clone", "-q", f"file://{wash.repo.folder}", str(clone))
        found = audited(open_repository(clone, wash.repo.environment()), remembered=remembered)
        assert [item.kind for item in found.irregularities] == [Irregularity.REWRITTEN] * 2
        assert "not in this clone" in found.irregularities[1].words


def visit(stem: str) -> str:
    return f"at: {stem[:13]}:{stem[13:]}\nby: eva\nentries:\n  - {{task: grease, at: brush}}\n"


def approved(first_day: str, hz: float, proposed_by: str = "mira", approved_by: str = "dag") -> str:
    return (
        f"- from: {first_day}\n  hz: {hz}\n  line_rate_per_h: 104\n  why: Above the band.\n"
        f"  evidence: [2026-01-06T0700-mira#1]\n  proposed_by: {proposed_by}\n"
        f"  approved_by: {approved_by}\n"
    )


def test_a_head_that_was_built_upon_is_held(kept):
    wash = kept()
    remembered = wash.repo.head()
    wash.file("2026-01-10T0700-mira")
    found = audited(wash.open(), remembered=remembered)
    assert (found.remembered, found.verdict) == (Remembered.HELD, Verdict.CLEAN)


class TestSettings:
    def test_approved_value_edited(self, kept):
        wash = kept()
        text = wash.text(SETTING).replace("hz: 46", "hz: 49")
        wash.at("2026-01-12T09:00").commit({SETTING: text}, by=DAG)
        found = audited(wash.open())
        assert [item.kind for item in found.irregularities] == [
            Irregularity.APPROVED_EDITED,
            Irregularity.PROPOSED_BY_APPROVER,
            Irregularity.UNAPPROVED,
        ]
        assert found.irregularities[0].words == "hz: 46 → 49"

    def test_approved_change_deleted(self, kept):
        wash = kept()
        text = wash.text(SETTING).partition("- from: 2026-01-09")[0]
        wash.at("2026-01-12T09:00").commit({SETTING: text}, by=DAG)
        assert irregularities(wash) == [(Irregularity.APPROVED_DELETED, SETTING)]

    def test_file_deleted(self, kept):
        wash = kept()
        wash.at("2026-01-12T09:00").commit({SETTING: None}, by=DAG)
        assert irregularities(wash) == [(Irregularity.APPROVED_DELETED, SETTING)] * 2

    def test_a_value_slipped_in_after_the_approval_on_its_own_branch(self, kept):
        wash = kept()
        wash.branch("sly")
        text = wash.text(SETTING) + approved("2026-01-14", 44)
        wash.at("2026-01-13T09:00").agree({SETTING: text}, by=DAG)
        wash.at("2026-01-13T09:10").commit({SETTING: text.replace("hz: 44", "hz: 50")}, by=MIRA)
        wash.switch("main")
        wash.at("2026-01-13T10:00").repo.merge("sly", by=MIRA)
        found = audited(wash.open())
        assert [item.kind for item in found.irregularities] == [Irregularity.NOT_PROVEN]

    def test_approved_after_it_took_effect(self, kept):
        wash = kept()
        text = wash.text(SETTING) + approved("2026-01-14", 44)
        wash.at("2026-01-17T09:00").agree({SETTING: text}, by=DAG)
        (item,) = audited(wash.open()).irregularities
        assert item.kind is Irregularity.UNAPPROVED
        assert "landed on 2026-01-17, 3 working days later" in item.words

    def test_approver_without_the_right(self, kept):
        wash = kept()
        text = wash.text(SETTING) + approved("2026-01-14", 44, approved_by="eva")
        wash.at("2026-01-13T09:00").agree({SETTING: text}, by=EVA)
        assert irregularities(wash) == [
            (Irregularity.MAY_NOT_APPROVE, f"{SETTING}, from 2026-01-14")
        ]

    def test_a_merge_by_the_approver_bears_the_approval_out(self, kept):
        wash = kept()
        text = wash.text(SETTING) + approved("2026-01-14", 44)
        wash.branch("slower-still")
        wash.at("2026-01-13T09:00").commit({SETTING: text}, by=MIRA)
        wash.switch("main")
        wash.at("2026-01-13T10:00").repo.merge("slower-still", by=DAG)
        assert irregularities(wash) == []

    def test_two_approvals_on_two_branches_resolved_by_hand(self, kept):
        """Both sides stay in the file: the merge wrote nothing that neither side had."""
        wash = kept()
        base = wash.text(SETTING)
        one, other = approved("2026-01-14", 44), approved("2026-01-15", 45)
        wash.branch("one")
        wash.at("2026-01-13T09:00").agree({SETTING: base + one}, by=DAG)
        first = wash.repo.head()
        wash.branch("other", "main")
        wash.at("2026-01-13T09:30").agree({SETTING: base + other}, by=DAG)
        second = wash.repo.head()
        files = {
            path: wash.text(path)
            for path in wash.repo.git("ls-tree", "-r", "--name-only", "HEAD").split("\n")
        }
        merge_nested(wash, [first, second], {**files, SETTING: base + one + other})
        assert irregularities(wash) == []

    def test_an_approval_that_only_the_merge_has(self, kept):
        wash = kept()
        side = branch_with_visit(wash)
        files = tree(wash, side)
        files[SETTING] += approved("2026-01-14", 44)
        merge_nested(wash, [wash.repo.git("rev-parse", "main"), side], files)
        assert irregularities(wash) == [
            (Irregularity.MERGE_WROTE, SETTING),
            (Irregularity.PROPOSED_BY_APPROVER, f"{SETTING}, from 2026-01-14"),
        ]


def tree(wash, commit):
    paths = wash.repo.git("ls-tree", "-r", "--name-only", commit).split("\n")
    return {path: wash.repo.git("show", f"{commit}:{path}") + "\n" for path in paths}


def branch_with_visit(wash) -> str:
    wash.branch("side", "main")
    wash.file("2026-01-12T0700-eva", by=EVA)
    return wash.repo.head()


def merge_nested(wash, parents, files):
    """A merge whose whole tree is `files`, folders and all, by Dag."""
    wash.repo.git("read-tree", "--empty")
    for path, text in files.items():
        blob = wash.repo.blob(text)
        wash.repo.git("update-index", "--add", "--cacheinfo", f"100644,{blob},{path}")
    written = wash.repo.git("write-tree")
    options = [part for parent in parents for part in ("-p", parent)]
    people = wash.at("2026-01-13T12:00").repo.people(DAG, None)
    oid = wash.repo.git("commit-tree", written, *options, "-m", "Merge", **people)
    wash.repo.git("checkout", "-q", "-f", "-B", "main", oid)


class TestMerges:
    def test_a_visit_that_only_the_merge_has(self, kept):
        wash = kept()
        side = branch_with_visit(wash)
        files = tree(wash, side)
        files["observations/2026/01/2026-01-12T0800-dag.yaml"] = visit("2026-01-12T0800").replace("eva", "dag")  # fmt: skip
        merge_nested(wash, [wash.repo.git("rev-parse", "main"), side], files)
        assert irregularities(wash) == [
            (Irregularity.MERGE_WROTE, "observations/2026/01/2026-01-12T0800-dag.yaml")
        ]

    def test_an_edit_that_only_the_merge_has(self, kept):
        wash = kept()
        side = branch_with_visit(wash)
        files = tree(wash, side)
        files[MONDAY] = files[MONDAY].replace("80", "84")
        merge_nested(wash, [wash.repo.git("rev-parse", "main"), side], files)
        assert irregularities(wash) == [(Irregularity.MERGE_WROTE, MONDAY)]

    def test_a_visit_that_the_merge_left_out(self, kept):
        wash = kept()
        side = branch_with_visit(wash)
        wash.switch("main")
        wash.file("2026-01-12T0720-mira")
        main = wash.repo.head()
        merge_nested(wash, [main, side], tree(wash, main))
        assert irregularities(wash) == [
            (Irregularity.MERGE_DROPPED, "observations/2026/01/2026-01-12T0700-eva.yaml")
        ]


class TestBeforeTheMerge:
    """What its own author puts right on a branch, before anyone else has it, is told and no more."""

    def test_amended_by_its_author(self, kept):
        wash = kept()
        path = "observations/2026/01/2026-01-12T0700-eva.yaml"
        branch_with_visit(wash)
        wash.at("2026-01-12T18:30").commit({path: wash.text(path).replace("4}", "5}")}, by=EVA)
        wash.switch("main")
        wash.at("2026-01-12T19:00").repo.merge("side", by=DAG)
        assert irregularities(wash) == []

    def test_amended_by_its_author_and_taken_over_commit_by_commit(self, kept):
        """Nobody else had it in between; where a head between was written down, somebody had."""
        wash = kept()
        path = "observations/2026/01/2026-01-12T0700-eva.yaml"
        between = branch_with_visit(wash)
        wash.at("2026-01-12T18:30").commit({path: wash.text(path).replace("4}", "5}")}, by=EVA)
        wash.switch("main")
        wash.repo.git("merge", "-q", "--ff-only", "side")
        found = audited(wash.open())
        assert found.verdict is Verdict.CLEAN
        (item,) = [item for item in found.items if item.kind is Note.AMENDED]
        assert (item.about, item.words) == (path, "entries 1.strokes: 4 → 5")
        assert irregularities(wash, remembered=between) == [(Irregularity.EDITED, path)]

    def test_amended_by_somebody_else(self, kept):
        wash = kept()
        path = "observations/2026/01/2026-01-12T0700-eva.yaml"
        branch_with_visit(wash)
        wash.at("2026-01-12T18:30").commit({path: wash.text(path).replace("4}", "5}")}, by=MIRA)
        wash.switch("main")
        wash.at("2026-01-12T19:00").repo.merge("side", by=DAG)
        assert irregularities(wash) == [(Irregularity.OTHER_AUTHOR, path)]

    def test_amended_on_the_branch_after_it_was_merged(self, kept):
        wash = kept()
        path = "observations/2026/01/2026-01-12T0700-eva.yaml"
        branch_with_visit(wash)
        wash.switch("main")
        wash.at("2026-01-12T19:00").repo.merge("side", by=DAG)
        wash.switch("side")
        wash.at("2026-01-12T20:00").commit({path: wash.text(path).replace("4}", "5}")}, by=EVA)
        wash.switch("main")
        wash.at("2026-01-12T21:00").repo.merge("side", by=DAG)
        assert irregularities(wash) == [(Irregularity.EDITED, path)]


class TestFiling:
    @pytest.mark.parametrize(
        ("stem", "at", "kind"),
        [
            ("2026-01-12T0700-mira", "2026-01-14T23:59", None),
            ("2026-01-12T0700-mira", "2026-01-15T00:01", Irregularity.LATE),
            ("2026-01-12T0700-mira", "2026-01-12T06:55", None),
            ("2026-01-12T0700-mira", "2026-01-12T06:40", Irregularity.AHEAD),
        ],
        ids=["two days, the limit", "three days", "a clock five minutes off", "dated ahead"],
    )
    def test_time_of_service_against_time_of_commit(self, kept, stem, at, kind):
        wash = kept()
        wash.file(stem, at=at)
        found = audited(wash.open()).irregularities
        assert [item.kind for item in found] == ([] if kind is None else [kind])

    def test_a_commit_does_not_loosen_the_limit_for_its_own_visit(self, kept):
        wash = kept()
        path = "observations/2026/01/2026-01-12T0700-eva.yaml"
        text = wash.text("site.yaml").replace("entry_within: 2 days", "entry_within: 30 days")
        files = {"site.yaml": text, path: visit("2026-01-12T0700")}
        wash.at("2026-01-20T09:00").commit(files, by=EVA)
        assert irregularities(wash) == [
            (Irregularity.RULES, "site.yaml"),
            (Irregularity.LATE, path),
        ]

    @pytest.mark.parametrize(
        ("by", "said"),
        [
            (EVA, "by Mira Osterby, committed by Eva Renner (eva@example.org)"),
            (NOBODY, "by Mira Osterby, committed by somebody@elsewhere.example"),
        ],
        ids=["another of the people", "a stranger"],
    )
    def test_filed_by_somebody_else(self, kept, by, said):
        wash = kept()
        wash.file("2026-01-12T0700-mira", by=by)
        (item,) = audited(wash.open()).irregularities
        assert (item.kind, item.words) == (Irregularity.OTHER_AUTHOR, said)

    def test_addresses_are_compared_whatever_their_capitals(self, kept):
        wash = kept()
        wash.file("2026-01-12T0700-mira", by=("Mira", "Mira@Example.org"))
        assert irregularities(wash) == []

    def test_filed_by_one_who_was_there_as_well(self, kept):
        wash = kept()
        stem = "2026-01-12T0700-mira"
        text = f"at: {stem[:13]}:00\nby: mira\nwith: [eva]\nentries:\n  - {{task: grease}}\n"
        wash.at("2026-01-12T18:00").commit({f"observations/2026/01/{stem}.yaml": text}, by=EVA)
        assert irregularities(wash) == []

    def test_people_without_an_address_are_named(self, kept):
        wash = kept()
        site = wash.text("site.yaml").replace(", emails: [eva@example.org]", "")
        wash.at("2026-01-12T09:00").commit({"site.yaml": site}, by=DAG)
        wash.file("2026-01-13T0700-eva", by=NOBODY)
        found = audited(wash.open())
        assert found.verdict is Verdict.CLEAN
        assert [item.about for item in found.items if item.kind is Note.NO_ADDRESS] == ["eva"]

    def test_a_record_that_comes_with_the_site_is_told_as_such(self, tmp_path, wash):
        """Three months on paper, typed in and committed at once: nobody can tell when they were made."""
        wash.repo.git("checkout", "-q", "--orphan", "anew")
        wash.at("2026-04-01T09:00").commit({}, by=DAG)
        found = audited(wash.open())
        assert found.verdict is Verdict.CLEAN
        assert notes(found) == [Note.BEGINNING]

    def test_a_commit_dated_before_its_parent(self, kept):
        wash = kept()
        wash.file("2026-01-06T0900-mira", at="2026-01-06T10:00")
        assert irregularities(wash) == [(Irregularity.CLOCK, "")]


class TestPeopleWhoWereNotWithTheSite:
    """By the people file before the commit, and by a last day that it learned of later."""

    @pytest.fixture
    def left(self, wash):
        """Writes the days of a person into site.yaml, at an instant."""

        def write(person, days, at):
            site = wash.text("site.yaml").replace(f"{person}: {{", f"{person}: {{{days}, ")
            wash.at(at).commit({"site.yaml": site}, by=DAG)
            return wash

        return write

    @pytest.mark.parametrize(
        ("stem", "committed", "said"),
        [
            ("2026-01-12T0700-mira", "2026-01-12T18:00", None),
            ("2026-01-12T0700-mira", "2026-01-13T08:00", "committed on 2026-01-13; the last day"),
            ("2026-01-13T0700-mira", "2026-01-13T18:00", "service on 2026-01-13; the last day"),
        ],
        ids=["on the last day", "committed the day after", "served the day after"],
    )
    @pytest.mark.parametrize(
        "told", ["2026-01-10T09:00", "2026-01-20T09:00"], ids=["known", "late"]
    )
    def test_a_visit_by_one_who_had_left(self, left, wash, stem, committed, said, told):
        if told < committed:
            left("mira", "until: 2026-01-12", told)
        wash.file(stem, at=committed)
        if told > committed:
            left("mira", "until: 2026-01-12", told)
        found = audited(wash.open()).irregularities
        assert [item.kind for item in found] == ([Irregularity.GONE] if said else [])
        assert all(said in item.words for item in found)

    def test_a_visit_by_one_who_had_not_come_yet(self, left, wash):
        left("mira", "from: 2026-02-01", "2026-01-10T09:00")
        wash.file("2026-01-12T0700-mira")
        (item,) = audited(wash.open()).irregularities
        assert item.words == "service on 2026-01-12; the first day of Mira Osterby was 2026-02-01"

    def test_one_who_left_and_came_back_is_not_accused_of_the_time_before(self, left, wash):
        """The file has room for the last stay alone."""
        wash.file("2026-01-12T0700-mira")
        left("mira", "from: 2026-02-01", "2026-02-01T09:00")
        assert irregularities(wash) == []

    def test_an_approval_by_one_who_had_left(self, left, wash):
        left("dag", "until: 2026-01-12", "2026-01-10T09:00")
        text = wash.text(SETTING) + approved("2026-01-14", 44)
        wash.at("2026-01-13T09:00").agree({SETTING: text}, by=DAG)
        (item,) = audited(wash.open()).irregularities
        assert (item.kind, item.about) == (Irregularity.GONE, f"{SETTING}, from 2026-01-14")
        assert item.words == "approved on 2026-01-13; the last day of Dag Varrick was 2026-01-12"

    def test_an_approval_dated_back_to_before_the_approver_left(self, left, wash):
        """The commit's day counts, whatever day the file says."""
        left("dag", "until: 2026-01-12", "2026-01-10T09:00")
        text = wash.text(SETTING) + approved("2026-01-14", 44) + "  approved_on: 2026-01-11\n"
        wash.at("2026-01-13T09:00").agree({SETTING: text}, by=DAG)
        assert irregularities(wash) == [(Irregularity.GONE, f"{SETTING}, from 2026-01-14")]


def test_only_what_was_committed_since_is_reported(kept):
    wash = kept()
    wash.at("2026-01-12T09:00").commit({MONDAY: wash.text(MONDAY).replace("80", "84")}, by=EVA)
    tampered = wash.repo.head()
    wash.file("2026-01-13T0700-mira")
    wash.file("2026-01-14T0700-mira")
    for since, visits, count in (("2026-01-13", 2, 0), ("2026-01-12", 2, 1), (tampered, 2, 0)):
        found = audited(wash.open(), since=since)
        assert (found.counts.visits, len(found.irregularities)) == (visits, count)
    assert audited(wash.open(), since="2025-12-31").since is None


@pytest.mark.parametrize("depth", [1, 2])
def test_a_shallow_history_is_partial_and_accuses_nobody(kept, tmp_path, depth):
    wash = kept()
    remembered = wash.repo.head()
    clone = tmp_path / "clone"
    wash.repo.git("clone", "-q", f"--depth={depth}", f"file://{wash.repo.folder}", str(clone))
    found = audited(open_repository(clone, wash.repo.environment()), remembered=remembered)
    assert found.verdict is Verdict.PARTIAL
    assert found.irregularities == ()
    assert Note.SHALLOW in notes(found)


def test_the_page_names_the_head_to_remember_and_shows_both_texts(kept):
    wash = kept()
    wash.at("2026-01-12T09:00").commit({MONDAY: wash.text(MONDAY).replace("80", "84")}, by=EVA)
    found = audited(wash.open())
    page = markdown_alone(audit_page(found))
    assert "**Not clean: 1 irregularity in 1 commit.**" in page
    assert f"tunnelbook audit --head {wash.repo.head()}" in page
    assert "\n-  - {at: brush, turns: 80," in page
    assert "\n+  - {at: brush, turns: 84," in page
    rows = audit_rows(found)
    assert rows["verdict"] == "findings"
    assert rows["irregularities"][0]["kind"] == "edited"
    assert rows["irregularities"][0]["commit"]["email"] == "eva@example.org"


class TestBook:
    """The book is rendered again from its sources, by the days that its own pages name."""

    @pytest.fixture
    def built(self, kept):
        wash = kept()
        wash.at("2026-01-10T09:00").commit(book_of(wash, "2026-01-10"), by=DAG)
        return wash

    def test_a_book_as_rendered_is_clean(self, built):
        found = audited(built.open())
        assert (found.verdict, found.counts.books) == (Verdict.CLEAN, 1)

    def test_a_page_edited_by_hand(self, built):
        text = built.text("book/setpoints.md").replace("**46 Hz**", "**47 Hz**")
        built.at("2026-01-12T09:00").commit({"book/setpoints.md": text}, by=MIRA)
        assert irregularities(built) == [(Irregularity.PAGE, "book/setpoints.md")]

    def test_a_page_of_the_day_edited_by_hand(self, built):
        text = built.text("book/due.md").replace("Grease the bearings", "Grease")
        built.at("2026-01-12T09:00").commit({"book/due.md": text}, by=MIRA)
        assert irregularities(built) == [(Irregularity.PAGE, "book/due.md")]

    def test_a_page_put_in_and_a_page_taken_out(self, built):
        built.at("2026-01-12T09:00").commit(
            {"book/all-is-well.md": "# Fine\n", "book/findings.md": None}, by=MIRA
        )
        assert irregularities(built) == [
            (Irregularity.PAGE, "book/all-is-well.md"),
            (Irregularity.PAGE, "book/findings.md"),
        ]

    def test_a_false_page_mended_later_shows_where_every_book_is_asked_for(self, built):
        text = built.text("book/setpoints.md")
        built.at("2026-01-12T09:00").commit(
            {"book/setpoints.md": text.replace("**46 Hz**", "**47 Hz**")}, by=MIRA
        )
        built.at("2026-01-12T10:00").commit({"book/setpoints.md": text}, by=MIRA)
        assert irregularities(built) == []
        assert irregularities(built, every_book=True) == [(Irregularity.PAGE, "book/setpoints.md")]

    def test_visits_filed_after_their_book_was_rendered_are_no_forgery(self, kept):
        wash = kept()
        pages = book_of(wash, "2026-01-10")
        filed = {
            visit_path(stem): visit_text(stem, GREASED)
            for stem in ("2026-01-10T0700-eva", "2026-01-10T0800-eva")
        }
        wash.at("2026-01-10T09:00").commit({**pages, **filed}, by=EVA)
        assert irregularities(wash) == []
        assert "rendered before 2 visits of this commit" in markdown_alone(
            audit_page(audited(wash.open()))
        )
        forged = pages["book/setpoints.md"].replace("**46 Hz**", "**47 Hz**")
        wash.at("2026-01-10T10:00").commit({"book/setpoints.md": forged}, by=EVA)
        assert (Irregularity.PAGE, "book/setpoints.md") in irregularities(wash)

    @pytest.fixture
    def older(self, built):
        """The book as a version before this one had worded it."""
        front = built.text("book/README.md")
        assert f" Version {__version__}. -->" in front
        files = {
            "book/README.md": front.replace(f"Version {__version__}.", "Version 0.0.9."),
            "book/due.md": built.text("book/due.md").replace("Due work", "Work that is due"),
        }
        built.at("2026-01-10T09:30").commit(files, by=DAG)
        return built

    def test_a_book_of_another_version_is_not_compared_and_the_verdict_says_so(self, older):
        found = audited(older.open())
        assert (found.irregularities, found.verdict) == ((), Verdict.CLEAN)
        said = "Clean, as far as compared; 1 book of another version was not."
        assert f"**{said}**" in markdown_alone(audit_page(found))
        (note,) = [item for item in found.items if item.kind is Note.OTHER_VERSION]
        assert note.about == "tunnelbook 0.0.9"
        assert note.words.startswith(f"1 book not compared by this version, {__version__}: with")
        rows = audit_rows(found)
        assert rows["verdict_words"] == said
        assert rows["counts"]["books"] == 0
        assert rows["counts"]["books_of_other_versions"] == {"0.0.9": 1}

    def test_the_books_of_this_version_are_compared_beside_them(self, older):
        found = audited(older.open(), every_book=True)
        assert (found.counts.books, found.counts.other_books) == (1, {"0.0.9": 1})
        assert found.verdict is Verdict.CLEAN

    def test_a_book_that_names_no_version_is_compared(self, built):
        front = built.text("book/README.md").replace(f" Version {__version__}.", "")
        built.at("2026-01-12T09:00").commit({"book/README.md": front}, by=MIRA)
        assert irregularities(built) == [(Irregularity.PAGE, "book/README.md")]

    def test_visits_filed_since_the_book_was_rendered_make_it_old_not_false(self, built):
        built.file("2026-01-12T0700-mira")
        found = audited(built.open())
        assert found.verdict is Verdict.CLEAN
        (item,) = [item for item in found.items if item.kind is Note.BOOK]
        assert "1 commit on the line since then" in item.words


def book_of(wash, day: str) -> dict[str, str]:
    """The wash's book as of a day, as files to commit."""
    ledger = load(DiskTree(wash.repo.folder)).ledger
    files = book_files(ledger, date.fromisoformat(day))
    return {f"book/{path}": text for path, text in files.items()}

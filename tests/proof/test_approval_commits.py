"""What the commits of a branch tell of an approval: who wrote the proposal, and in what time."""

from datetime import UTC, datetime

import pytest
from git_repo import DAG, MIRA

from ledger.proof.review import review
from ledger.proof.review_page import markdown_alone, review_page

SETTING = "setpoints/brush.yaml"
PROPOSAL = (
    "- from: 2026-01-15\n  hz: 46\n  line_rate_per_h: 104\n  why: Above the band.\n"
    "  evidence: [2026-01-06T0700-mira#1]\n  proposed_by: mira\n"
)
APPROVED = "  approved_by: dag\n"


def add(wash, text: str, by, *, at: str = "2026-01-13T09:00"):
    wash.at(at)
    return wash.commit({SETTING: wash.text(SETTING) + text}, by=by)


def point(wash, name: str):
    (setting,) = review(wash.open(), "main").settings
    return next(point for point in setting.points if point.name == name)


@pytest.fixture
def branch(wash):
    wash.branch("change")
    return wash


class TestTwoPeopleInTheFileButOneInGit:
    def test_the_proposal_and_its_approval_in_one_commit_of_the_approver(self, branch):
        add(branch, PROPOSAL + APPROVED, DAG)
        told = point(branch, "Second person")
        assert told.held is False
        assert told.because == (
            "proposed by Mira Osterby, approved by Dag Varrick; but Dag Varrick committed the "
            "proposal too"
        )
        assert told.remedy == "let Mira Osterby commit the proposal themselves"

    def test_a_proposal_that_the_approver_wrote_first_and_approved_later(self, branch):
        add(branch, PROPOSAL, DAG)
        add(branch, APPROVED, DAG, at="2026-01-14T09:00")
        assert point(branch, "Second person").held is False

    def test_a_proposal_whose_value_the_approver_changed(self, branch):
        add(branch, PROPOSAL, MIRA)
        text = branch.text(SETTING).replace("hz: 46", "hz: 47") + APPROVED
        branch.commit({SETTING: text}, by=DAG)
        assert point(branch, "Second person").held is False

    def test_each_wrote_their_own(self, branch):
        add(branch, PROPOSAL, MIRA)
        add(branch, APPROVED, DAG)
        assert point(branch, "Second person").held is True

    @pytest.mark.parametrize("by", [MIRA, DAG])
    def test_a_proposal_that_was_merged_before_the_branch(self, wash, by):
        add(wash, PROPOSAL, by)
        wash.branch("change")
        add(wash, APPROVED, DAG)
        assert point(wash, "Second person").held is (by == MIRA)

    def test_a_site_that_takes_the_files_word_is_not_asked(self, wash):
        file_rule = wash.text("site.yaml").replace("approval_proof: commit", "approval_proof: file")
        assert file_rule != wash.text("site.yaml")
        wash.settle({"site.yaml": file_rule})
        wash.branch("change")
        add(wash, PROPOSAL + APPROVED, DAG)
        assert point(wash, "Second person").held is True


class TestInTime:
    def test_an_approval_of_the_very_day_is_in_time(self, branch):
        add(branch, PROPOSAL, MIRA)
        add(branch, APPROVED, DAG, at="2026-01-15T12:00")
        told = point(branch, "Approved in time")
        assert told.held is True
        assert told.because == "takes effect on 2026-01-15; the approval lands on 2026-01-15"

    def test_an_approval_after_the_setting_took_effect_is_a_breach(self, branch):
        add(branch, PROPOSAL, MIRA)
        add(branch, APPROVED, DAG, at="2026-01-17T12:00")
        found = review(branch.open(), "main")
        assert [breach.rule for breach in found.breaches] == ["policy-approved-in-time"]
        assert found.breaches[0].words == (
            "Approved in time broken: takes effect on 2026-01-15; the approval lands on "
            "2026-01-17, 2 working days later"
        )

    def test_the_day_is_one_of_the_site(self, wash):
        """23:30 in Chicago on the 15th is already the 16th in UTC."""
        chicago = wash.text("site.yaml").replace("Etc/UTC", "America/Chicago")
        wash.commit({"site.yaml": chicago}, by=DAG)
        wash.branch("change")
        add(wash, PROPOSAL, MIRA)
        add(wash, APPROVED, DAG, at="2026-01-16T05:30")
        assert point(wash, "Approved in time").because.endswith("lands on 2026-01-15")

    def test_an_approval_counts_from_the_day_on_which_it_lands(self, branch):
        add(branch, PROPOSAL, MIRA)
        add(branch, APPROVED, DAG, at="2026-01-14T12:00")
        (setting,) = review(
            branch.open(), "main", merged_at=datetime(2026, 1, 20, 12, tzinfo=UTC)
        ).settings
        told = next(point for point in setting.points if point.name == "Approved in time")
        assert told.because.endswith("lands on 2026-01-20, 3 working days later")

    def test_the_end_of_a_week_between_is_not_counted(self, branch):
        """In force from Saturday the 17th, agreed on Friday, merged on Monday."""
        add(branch, PROPOSAL.replace("01-15", "01-17"), MIRA)
        add(branch, APPROVED, DAG, at="2026-01-16T18:00")
        (setting,) = review(
            branch.open(), "main", merged_at=datetime(2026, 1, 19, 8, tzinfo=UTC)
        ).settings
        assert next(point for point in setting.points if point.name == "Approved in time").held

    def test_a_proposal_is_not_judged(self, branch):
        add(branch, PROPOSAL, MIRA, at="2026-01-20T12:00")
        (setting,) = review(branch.open(), "main").settings
        assert "Approved in time" not in {point.name for point in setting.points}


class TestAnApprovalThatTheApproverDidNotCommit:
    def test_the_approver_may_still_prove_it_by_merging(self, branch):
        add(branch, PROPOSAL + APPROVED, MIRA)
        found = review(branch.open(), "main")
        (breach,) = found.breaches
        assert breach.remedy == (
            "let Dag Varrick commit the approval, or be the one who merges this"
        )
        said = markdown_alone(review_page(found))
        assert "- **Do not merge this as it is**, but by Dag Varrick in person: see the b" in said

    def test_another_breach_bars_the_approver_too(self, branch):
        add(branch, PROPOSAL.replace("hz: 46", "hz: 43") + APPROVED, MIRA)
        said = markdown_alone(review_page(review(branch.open(), "main")))
        assert "- **Do not merge this as it is**: see the breaches." in said

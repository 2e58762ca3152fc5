"""The audit's own remedy, putting a touched record back, is no irregularity of its own."""

import pytest
from git_repo import DAG, MIRA, audited

from ledger.proof.audit_items import Irregularity, Note

EVA = ("Eva Renner", "eva@example.org")
SETTING = "setpoints/brush.yaml"
VISIT = "observations/2026/01/2026-01-06T0700-mira.yaml"
MOVED = "observations/2026/01/2026-01-05T0700-mira.yaml"


def found(wash, kind) -> int:
    return sum(item.kind is kind for item in audited(wash.open()).items)


def irregularities(wash):
    return [item.kind for item in audited(wash.open()).irregularities]


def test_an_edit_taken_back(wash):
    text = wash.text(VISIT)
    wash.commit({VISIT: text.replace("strokes: 4", "strokes: 5")}, by=EVA)
    wash.at("2026-02-20T08:00").commit({VISIT: text}, by=DAG)
    assert irregularities(wash) == [Irregularity.EDITED]
    assert found(wash, Note.PUT_BACK) == 1


def test_an_edit_by_a_third_text_is_another_edit(wash):
    text = wash.text(VISIT)
    wash.commit({VISIT: text.replace("strokes: 4", "strokes: 5")}, by=EVA)
    wash.commit({VISIT: text.replace("strokes: 4", "strokes: 1")}, by=DAG)
    assert irregularities(wash) == [Irregularity.EDITED, Irregularity.EDITED]


def test_the_same_edit_made_twice_is_two(wash):
    text = wash.text(VISIT)
    for edited in (text.replace("strokes: 4", "strokes: 5"), text) * 2:
        wash.commit({VISIT: edited}, by=EVA)
    assert irregularities(wash) == [Irregularity.EDITED, Irregularity.EDITED]
    assert found(wash, Note.PUT_BACK) == 2


def test_a_deleted_file_that_is_there_again_is_neither_late_nor_a_visit_more(wash):
    text = wash.text(VISIT)
    wash.commit({VISIT: None}, by=EVA)
    wash.at("2026-02-20T08:00").commit({VISIT: text}, by=DAG)
    told = audited(wash.open())
    assert [item.kind for item in told.irregularities] == [Irregularity.DELETED]
    assert told.counts.visits == 1
    assert found(wash, Note.PUT_BACK) == 1


def test_a_deleted_file_that_comes_back_with_another_text_is_a_filing(wash):
    text = wash.text(VISIT)
    wash.commit({VISIT: None}, by=EVA)
    again = text.replace("strokes: 4", "strokes: 5")
    wash.at("2026-02-20T08:00").commit({VISIT: again}, by=MIRA)
    assert irregularities(wash) == [Irregularity.DELETED, Irregularity.LATE]


def test_a_name_given_back(wash):
    text = wash.text(VISIT)
    wash.commit({VISIT: None, MOVED: text.replace("01-06", "01-05")}, by=EVA)
    wash.commit({MOVED: None, VISIT: text}, by=DAG)
    assert irregularities(wash) == [Irregularity.RENAMED]
    assert found(wash, Note.PUT_BACK) == 1


class TestAnApprovedSetting:
    @pytest.fixture
    def agreed(self, wash):
        """Mira proposes, Dag approves in time, then the drive runs so for a month."""
        proposal = (
            "- from: 2026-01-15\n  hz: 46\n  line_rate_per_h: 104\n  why: Above the band.\n"
            "  evidence: [2026-01-06T0700-mira#1]\n  proposed_by: mira\n"
        )
        wash.at("2026-01-12T09:00").commit({SETTING: wash.text(SETTING) + proposal}, by=MIRA)
        approved = wash.text(SETTING) + "  approved_by: dag\n"
        wash.at("2026-01-13T09:00").commit({SETTING: approved}, by=DAG)
        return wash.at("2026-02-13T09:00")

    @pytest.mark.parametrize("by", [DAG, EVA], ids=["by the approver", "by somebody else"])
    def test_edited_and_put_back(self, agreed, by):
        text = agreed.text(SETTING)
        agreed.commit({SETTING: text.replace("hz: 46", "hz: 47")}, by=EVA)
        before = irregularities(agreed)
        agreed.commit({SETTING: text}, by=by)
        assert irregularities(agreed) == before
        assert Irregularity.APPROVED_EDITED in before
        assert found(agreed, Note.PUT_BACK) == 1

    def test_deleted_and_put_back(self, agreed):
        text = agreed.text(SETTING)
        agreed.commit({SETTING: text[: text.index("- from: 2026-01-15")]}, by=EVA)
        agreed.commit({SETTING: text}, by=EVA)
        assert irregularities(agreed) == [Irregularity.APPROVED_DELETED]
        assert found(agreed, Note.PUT_BACK) == 1

    def test_the_false_value_written_again_is_an_edit_again(self, agreed):
        text = agreed.text(SETTING)
        for edited in (text.replace("hz: 46", "hz: 47"), text) * 2:
            agreed.commit({SETTING: edited}, by=EVA)
        assert irregularities(agreed).count(Irregularity.APPROVED_EDITED) == 2
        assert found(agreed, Note.PUT_BACK) == 2


def test_nothing_committed_since_is_nothing_to_judge(wash):
    from ledger.proof.audit_page import audit_page  # noqa: PLC0415
    from ledger.proof.review_page import markdown_alone  # noqa: PLC0415

    head = wash.repo.head()
    said = markdown_alone(audit_page(audited(wash.open(), since=head)))
    assert f"**Nothing to judge: nothing was committed after {head[:12]}.**" in said
    assert "Clean" not in said

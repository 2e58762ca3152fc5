"""The review as a reviewer reads it, who has nothing else: what merging would do comes first."""

import difflib
import os
from pathlib import Path

import pytest
from git_repo import DAG, MIRA

from ledger.proof.review import review
from ledger.proof.review_page import CUT, _unlinked, markdown_alone, review_page

GOLDEN = Path(__file__).parents[1] / "golden" / "review" / "mixed_change.md"
SETTING = "setpoints/brush.yaml"
PROPOSAL = """\
- from: 2026-01-15
  hz: 46
  line_rate_per_h: 104
  why: Above the band.
  evidence: [2026-01-06T0700-mira#1]
  proposed_by: mira
"""
MISREAD = "{corrects: 2026-01-06T0700-mira#1, reason: misread, at: brush, turns: 84, seconds: 50, found_hz: 48}"  # fmt: skip


@pytest.fixture
def branch(wash):
    wash.branch("change")
    return wash.at("2026-01-13T09:00")


def lines(wash) -> list[str]:
    return markdown_alone(review_page(review(wash.open(), "main"))).splitlines()


def said_of(wash, start: str) -> list[str]:
    return [line for line in lines(wash) if line.startswith(start)]


def propose(wash, more: str = "", by=MIRA):
    do = wash.commit if by == MIRA else wash.agree
    do({SETTING: wash.text(SETTING) + PROPOSAL + more}, by=by)


def test_a_proposal_changes_nothing_yet(branch):
    propose(branch)
    assert said_of(branch, "- Merging") == [
        "- Merging files a proposal only: Side brush at 46 Hz, not in force before it is approved."
    ]


def test_an_approval_puts_a_setting_in_force(branch):
    propose(branch, "  approved_by: dag\n", by=DAG)
    (said,) = said_of(branch, "- Merging")
    assert said.startswith("- Merging puts in force: **Side brush at 46 Hz** from 2026-01-15, expected 92.00 ± ")  # fmt: skip
    assert said.endswith(" r/min, > 99 % in band 84–94.")


def test_a_breach_comes_first_and_nothing_is_said_of_merging(branch):
    branch.commit({SETTING: branch.text(SETTING) + PROPOSAL.replace("mira\n", "dag\n") + "  approved_by: dag\n"}, by=DAG)  # fmt: skip
    said = lines(branch)
    assert said[2:6] == [
        "**1 breach.** 1 setting only claimed approved.",
        "",
        "- **Do not merge this as it is**: see the breaches.",
        "",
    ]
    assert said[6] == "## Breaches"
    assert said[8].endswith(
        "**To do:** nobody else may approve: mark one in site.yaml with approves, and merge that "
        "first."
    )


@pytest.mark.parametrize(
    ("path", "old", "new", "said"),
    [
        ("tasks/grease.yaml", "1 week", "3 weeks", "task Grease the bearings (looser than before)"),
        ("equipment/brush.yaml", "  damper: {kind: damper}\n", "", "Side brush: Damper (no longer looked after)"),
    ],
    ids=["interval loosened", "point dropped"],
)  # fmt: skip
def test_a_weaker_plan_is_said_in_front(branch, path, old, new, said):
    branch.commit({path: branch.text(path).replace(old, new)})
    assert said_of(branch, "- Merging") == [
        f"- Merging weakens the plan: **{said}**. If no reason is given, ask for one."
    ]


def test_a_correction_is_shown_with_both_values_and_with_what_rests_on_it(wash):
    wash.at("2026-01-12T09:00")
    propose(wash, "  approved_by: dag\n", by=DAG)
    wash.branch("change")
    wash.file("2026-01-16T0700-mira", MISREAD)
    assert (
        "- **2026-01-06T0700-mira#1 corrected** (misread): turns: 80 → 84. It is evidence for "
        "46 Hz of Side brush"
    ) in lines(wash)


def test_a_record_struck_out_is_said(branch):
    branch.file("2026-01-12T0700-mira", "{corrects: 2026-01-06T0700-mira#2, void: true, reason: not done}")  # fmt: skip
    assert "- **2026-01-06T0700-mira#2 corrected** (not done): struck out" in lines(branch)


def test_a_visit_alone_is_a_short_page(branch):
    branch.file("2026-01-12T0700-mira", "{task: grease, at: brush, strokes: 4}")
    said = lines(branch)
    assert said[2] == "**No breach.** 1 visit added."
    assert len(said) < 15


def test_a_mixed_change_reads_as_it_was_accepted(branch):
    """An approval beyond the step, a correction, an old visit edited, a task loosened."""
    branch.file("2026-01-12T0700-mira", MISREAD, "{task: grease, at: brush, strokes: 4}")
    propose(branch)
    reworded = branch.text(SETTING).replace("hz: 46", "hz: 43")
    branch.commit({SETTING: reworded}, by=MIRA)
    branch.commit({SETTING: reworded + "  approved_by: dag\n"}, by=DAG)
    old = "observations/2026/01/2026-01-06T0700-mira.yaml"
    branch.commit({
        old: branch.text(old).replace("strokes: 4", "strokes: 5"),
        "tasks/grease.yaml": branch.text("tasks/grease.yaml").replace("1 week", "2 weeks"),
        "notes.txt": "Ask about the damper.\n",
    })  # fmt: skip
    said = markdown_alone(review_page(review(branch.open(), "main")))
    if os.environ.get("ACCEPT_GOLDEN"):
        GOLDEN.parent.mkdir(exist_ok=True)
        GOLDEN.write_text(said, encoding="utf-8")
    wanted = GOLDEN.read_text(encoding="utf-8")
    assert said == wanted, "".join(
        difflib.unified_diff(wanted.splitlines(keepends=True), said.splitlines(keepends=True))
    )


def test_nothing_in_a_comment_mentions_or_links(branch):
    """Names and numbers of a note stay text on a host; code is left as it is."""
    branch.file("2026-01-12T0700-mira", "{at: brush, temperature_c: 40, note: '@dag see #2 and !3, not a@b.org'}")  # fmt: skip
    said = "\n".join(lines(branch))
    assert "@\u2060dag see #\u20602 and !\u20603, not a@b.org" in said
    assert "`@dag`" in _unlinked("ask `@dag`, @eva\n```\n#1\n```\n#1")
    assert _unlinked(r"typed: \`@dag\`") == "typed: \\`@\u2060dag\\`"  # no span of code
    assert _unlinked("```\n#1\n```\n#1") == "```\n#1\n```\n#\u20601"


def test_a_comment_is_cut_between_blocks_and_says_so(branch):
    for number in range(30):
        branch.file(f"2026-01-12T07{number:02}-mira")
    old = "observations/2026/01/2026-01-06T0700-mira.yaml"
    branch.commit({old: branch.text(old).replace("strokes: 4", "strokes: 5")})
    page = review_page(review(branch.open(), "main"))
    whole = markdown_alone(page)
    for most in range(600, len(whole), 97):
        cut = markdown_alone(page, at_most=most)
        assert len(cut.encode()) <= most
        assert cut.count("```") % 2 == 0
        assert CUT in cut
    assert markdown_alone(page, at_most=len(whole.encode())) == whole

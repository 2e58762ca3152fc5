"""A reader of a large audit sees the verdict, what to look at first, and a line a commit."""

import re

import pytest
from git_repo import DAG, MIRA, audited

from ledger.proof.audit_items import REMEDY, Irregularity
from ledger.proof.audit_page import audit_page, audit_rows
from ledger.proof.review_page import markdown_alone

EVA = ("Eva Renner", "eva@example.org")
MONDAY = "observations/2026/01/2026-01-06T0700-mira.yaml"


def stems(count):
    return [f"2026-01-12T{7 + number // 60:02}{number % 60:02}-mira" for number in range(count)]


def text(stem):
    return f"at: {stem[:13]}:{stem[13:15]}\nby: mira\nentries:\n  - {{task: grease, at: brush}}\n"


def page(found, **how):
    return markdown_alone(audit_page(found, **how))


def headings(markdown):
    return re.findall(r"^## (.*)$", markdown, re.MULTILINE)


@pytest.fixture
def typed_in(wash):
    """Thirty visits of Mira's, committed together by Eva a week late, and one old visit edited."""
    files = {f"observations/2026/01/{stem}.yaml": text(stem) for stem in stems(30)}
    wash.at("2026-01-19T18:00").commit(files, by=EVA)
    wash.at("2026-01-20T18:00").commit({MONDAY: wash.text(MONDAY).replace("80", "84")}, by=DAG)
    return audited(wash.open())


def test_one_commit_is_one_line_with_the_first_few_names(typed_in):
    said = page(typed_in)
    assert "**Not clean: 61 irregularities in 2 commits.**" in said
    (late,) = re.findall(r".*30 of them.*landed 7 days after the service; limit 2.*", said)
    assert "on 2026-01-19 18:00+00:00 by Eva Renner" in late
    assert "2026-01-12T0700-mira; 2026-01-12T0701-mira; 2026-01-12T0702-mira and 27 more" in late
    assert "2026-01-12T0729-mira" not in said


def test_the_worst_comes_first_in_the_list_and_below_it(typed_in):
    said = page(typed_in)
    worst_first = ["Filed records edited", "Visits filed by somebody else", "Visits filed late"]
    assert [said.index(f"| {kind} |") for kind in worst_first] == sorted(
        said.index(f"| {kind} |") for kind in worst_first
    )
    assert headings(said) == [
        "Look at these first",
        "What was read",
        *worst_first,
        "To accept what was looked into",
        "What an audit proves",
    ]


def test_each_irregularity_is_listed_where_all_are_asked_for(typed_in):
    said = page(typed_in, every=True)
    for stem in stems(30):
        assert said.count(f"observations/2026/01/{stem}.yaml: ") == 2


def test_json_keeps_each_singly(typed_in):
    rows = audit_rows(typed_in)
    assert rows["counts"]["irregularities"] == len(rows["irregularities"]) == 61


def test_a_long_list_ends_early_and_says_how_to_see_the_rest(wash):
    for stem in stems(23):
        wash.at("2026-01-19T18:00").commit({f"observations/2026/01/{stem}.yaml": text(stem)})
    found = audited(wash.open())
    said = page(found)
    assert said.count("limit 2") == 20
    assert "And 3 more: `--all`." in said
    assert page(found, every=True).count("limit 2") == 23


def test_texts_of_the_first_few_alone(wash):
    for number in range(5):
        wash.file(f"2026-01-12T080{number}-mira")
    for number in range(5):
        path = f"observations/2026/01/2026-01-12T080{number}-mira.yaml"
        wash.at("2026-01-13T09:00").commit({path: wash.text(path).replace("4}", "5}")}, by=MIRA)
    found = audited(wash.open())
    assert page(found).count("\n#### ") == 3
    assert "The texts of 2 more: `--all`." in page(found)
    assert page(found, every=True).count("\n#### ") == 5


@pytest.mark.parametrize(
    ("site", "command"),
    [
        ("", "tunnelbook audit --head {head}"),
        ("north wash", "tunnelbook audit 'north wash' --head {head}"),
    ],
)
def test_the_command_of_next_time_stands_beside_what_no_head_leaves_open(wash, site, command):
    head = wash.repo.head()
    said = page(audited(wash.open()), site=site)
    assert f"had brought it. Write this head down outside the repository, {head}," in said
    assert f"\n`{command.format(head=head)}`\n" in said


def test_every_irregularity_has_a_remedy():
    assert set(REMEDY) == set(Irregularity)


def test_the_rules_told_are_those_that_count(wash):
    """The file of the head may say another thing, which nobody vouched for."""
    looser = wash.text("site.yaml").replace("proof: commit", "proof: file")
    wash.at("2026-01-13T09:00").commit({"site.yaml": looser}, by=MIRA)
    assert "proof of approval commit; a second person needed" in page(audited(wash.open()))

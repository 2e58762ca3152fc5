"""The list of a foreman's questions, and how a site grades them."""

import ast
import re
from pathlib import Path

import pytest
from sound_site import LAST_VISIT, edited, found_in

from ledger.cli.main import main
from ledger.files.diagnostics import Severity
from ledger.rules import rules as foreman
from ledger.rules.questions import QUESTIONS

RULES = Path(foreman.__file__).parent
# What a question's rule is made of where the code does not spell it out.
MADE = {
    "f'shared-{what}'": {"shared-address", "shared-key"},
    "f'{how}-differs'": {"found-differs", "left-differs"},
    "rule": {"counts-nowhere", "not-in-service"},
}
OF_APPROVALS = "flaw.value"
"""Whether an approval counts is no question to be graded."""


def asked():
    for path in RULES.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.keyword) and node.arg == "rule":
                word = ast.unparse(node.value)
                if word != OF_APPROVALS:
                    yield from MADE.get(word) or {ast.literal_eval(word)}


def test_every_question_says_why_it_is_asked_and_no_other_does():
    assert set(asked()) == QUESTIONS.keys()
    assert list(QUESTIONS) == sorted(QUESTIONS)
    assert all(re.fullmatch(r"[A-Z].*\.", why) for why in QUESTIONS.values())


SHORT = edited(LAST_VISIT, "counted: 84, seconds: 60", "counted: 18, seconds: 13")
SITE = "site.yaml"


def found_with(rules: str):
    policy = f"policy: {{rules: {{{rules}}}}}\n"
    return [(one.rule, one.severity) for one in found_in({**SHORT, SITE: SHORT[SITE] + policy})]


def test_a_question_is_a_warning_unless_the_site_grades_it():
    assert found_with("never-due: error") == [("count-too-short", Severity.WARNING)]
    assert found_with("count-too-short: error") == [("count-too-short", Severity.ERROR)]
    assert found_with("count-too-short: off") == []


def test_a_rule_that_there_is_not_is_refused():
    found, *_ = found_in({**SHORT, SITE: SHORT[SITE] + "policy: {rules: {count-to-short: off}}\n"})
    assert (found.rule, found.position.path) == ("unknown-key", SITE)
    assert (found.severity, found.nearest) == (Severity.ERROR, "count-too-short")


@pytest.mark.parametrize(
    ("word", "told"),
    [
        ("count-too-short", "A count over few turns"),
        ("count-too-short", "Wrong:\n  - {task: check-brush-speed, at: brush-p2, counted: 12, "),
        ("count-too-short", "Right:\n  - {task: check-brush-speed, at: brush-p2, counted: 45, "),
        ("found_hz", "Takes: a number"),
        ("count-to-short", "did you mean `count-too-short`?"),
    ],
)
def test_explain(word, told, capsys):
    main(["explain", word])
    printed = capsys.readouterr()
    assert told in printed.out + printed.err


def test_explain_alone_lists_every_question(capsys):
    assert main(["explain"]) == 0
    assert [line for line in capsys.readouterr().out.splitlines() if line[0] != " "] == list(QUESTIONS)  # fmt: skip

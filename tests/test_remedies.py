"""Every fault of a file says what to do: read off the program, and held where faults are met.

What git cannot answer is told by `history/problem.py`, which this leaves out.
"""

import ast
from pathlib import Path

import pytest
from sound_site import AS_OF, CASES, SOUND, found_in, texts_below

from ledger.files import schema_fault as remedies

PACKAGE = Path(__file__).parent.parent / "ledger"
SCHEMA_FAULTS = PACKAGE / "files/schema_keywords.py"
FOLDERS = sorted(path.name for path in CASES.iterdir() if path.is_dir() and path != SOUND)


def calls_that_tell_a_fault():
    """Every call with a rule and a message: file, line, arguments given by name."""
    for path in sorted(set(PACKAGE.rglob("*.py")) - set((PACKAGE / "history").rglob("*.py"))):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call):
                given = {argument.arg: argument.value for argument in node.keywords}
                if given.keys() >= {"rule", "message"}:
                    yield path, node.lineno, given


def test_no_call_names_a_rule_without_a_remedy():
    bare = []
    for path, line, given in calls_that_tell_a_fault():
        remedy = given.get("remedy")
        is_empty = remedy is None or (isinstance(remedy, ast.Constant) and not remedy.value)
        rule = given["rule"]
        has_one_of_its_rule = (
            path == SCHEMA_FAULTS
            and is_empty
            and (not isinstance(rule, ast.Constant) or remedies.of_rule(str(rule.value)))
        )
        if is_empty and not has_one_of_its_rule:
            bare.append(f"{path.relative_to(PACKAGE)}:{line}")
    assert bare == []


@pytest.mark.parametrize("nearest", ["", "seconds"])
@pytest.mark.parametrize("rule", sorted(remedies._OF_RULE))
def test_every_rule_of_the_schemas_has_a_remedy_of_its_own(rule, nearest):
    assert remedies.of_rule(rule, nearest)


@pytest.mark.parametrize("name", FOLDERS)
def test_everything_said_of_a_broken_site_has_a_remedy(name):
    found = found_in(texts_below(SOUND) | texts_below(CASES / name), AS_OF)
    assert found
    assert [one for one in found if not one.remedy] == []

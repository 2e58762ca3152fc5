"""The same diagnostics in every form, and nothing in a file that can forge one."""

import json
import re
from dataclasses import replace
from pathlib import Path
from urllib.parse import unquote

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger import __version__
from ledger.book.escape import terminal_text
from ledger.cli import diagnostics_forms as diagnostics_formats
from ledger.cli.diagnostics_forms import fingerprints
from ledger.files.diagnostics import Diagnostic, Position, Severity
from ledger.rules.questions import EXAMPLES, QUESTIONS

SARIF_SCHEMA = json.loads(
    Path(__file__).with_name("sarif-2.1.0-rtm.5.json").read_text(encoding="utf-8")
)
SARIF = jsonschema.Draft4Validator(SARIF_SCHEMA)

SLIP = Diagnostic(
    rule="unknown-key",
    position=Position(path="observations/2026/11/v.yaml", line=6, column=23, end_column=32),
    message="there is no key `counted_s` here",
    nearest="seconds",
    remedy="correct the spelling",
    source_line="  - {at: a, counted: 38, counted_s: 30}",
)
WHOLE_FILE = Diagnostic(
    rule="meter-runs-backwards",
    severity=Severity.WARNING,
    position=Position(path="site.yaml"),
    message="the meter reads less than before",
    expected="184233 or more",
    remedy="look at the meter again",
)
BOTH = [SLIP, WHOLE_FILE]

typed = st.lists(
    st.sampled_from(
        [*"%:,=\n\r\t\x1b\x00 aé\u202e水", "::error::", "##[error]", "%0A", "\n::warning file=x::"]
    ),
    max_size=12,
).map("".join)
found = st.lists(
    st.builds(
        Diagnostic,
        rule=st.sampled_from(["unknown-key", "bad-yaml"]),
        severity=st.sampled_from(Severity),
        position=st.builds(
            Position,
            path=st.builds("tasks/{}.yaml".format, typed) | typed.filter(bool),
            line=st.integers(0, 9),
            column=st.integers(1, 30),
            end_column=st.integers(0, 30),
        ),
        message=typed,
        expected=typed,
        remedy=typed,
        nearest=typed,
        source_line=typed,
    ),
    max_size=4,
)


def test_text_points_at_the_words():
    assert diagnostics_formats.render(BOTH, "text") == (
        "observations/2026/11/v.yaml:6:23: error: there is no key `counted_s` here [unknown-key]\n"
        "    6 |   - {at: a, counted: 38, counted_s: 30}\n"
        "      |                       ^^^^^^^^^\n"
        "        did you mean: seconds?\n"
        "        remedy: correct the spelling\n"
        "site.yaml: warning: the meter reads less than before [meter-runs-backwards]\n"
        "        expected: 184233 or more\n"
        "        remedy: look at the meter again\n"
    )


def test_the_caret_counts_columns_of_the_terminal():
    wide = Diagnostic(
        rule="x",
        position=Position(path="f", line=1, column=8, end_column=10),
        message="m",
        remedy="r",
        source_line="a: 水e\u0301 xy z",
    )
    _, source, caret, _ = diagnostics_formats.render([wide], "text").splitlines()
    assert source == "    1 | a: 水e\u0301 xy z"
    # a, colon, blank, two for the wide one, e, nothing for the accent, blank.
    assert caret == "      | " + " " * 7 + "^^"


def test_a_long_line_is_cut_around_the_caret():
    line = "x" * 300 + "HERE" + "y" * 300
    long = Diagnostic(
        rule="x",
        position=Position(path="f", line=1, column=301, end_column=305),
        message="m",
        remedy="r",
        source_line=line,
    )
    _, source, caret, _ = diagnostics_formats.render([long], "text").splitlines()
    assert len(source) < 120
    start = caret.index("^")
    assert source[start : start + 4] == "HERE"
    assert caret.count("^") == 4


def test_colour_only_where_it_is_asked_for():
    plain = diagnostics_formats.render(BOTH, "text")
    colored = diagnostics_formats.render(BOTH, "text", color=True)
    assert "\x1b" not in plain
    assert colored != plain
    assert re.sub("\x1b\\[[0-9]+m", "", colored) == plain


def test_workflow_commands():
    assert diagnostics_formats.render(BOTH, "github") == (
        "::error file=observations/2026/11/v.yaml,line=6,col=23,endColumn=31,title=unknown-key::"
        "there is no key `counted_s` here.%0ADid you mean seconds?%0ARemedy: correct the spelling.\n"
        "::warning file=site.yaml,title=meter-runs-backwards::"
        "the meter reads less than before.%0AExpected: 184233 or more.%0ARemedy: look at the meter again.\n"
    )


def test_json():
    first, second = diagnostics_formats.rows(BOTH)
    assert (first["path"], first["line"], first["column"], first["end_column"]) == (
        SLIP.position.path,
        6,
        23,
        32,
    )
    assert (first["nearest"], first["source_line"]) == ("seconds", SLIP.source_line)
    assert (second["severity"], second["line"]) == ("warning", 0)


def test_sarif():
    log = json.loads(diagnostics_formats.render(BOTH, "sarif"))
    SARIF.validate(log)
    (run,) = log["runs"]
    first, second = run["results"]
    place = first["locations"][0]["physicalLocation"]
    assert place["region"]["startColumn"] == 23
    assert place["region"]["endColumn"] == 32
    assert (
        run["tool"]["driver"]["rules"][first["ruleIndex"]]["id"] == first["ruleId"] == "unknown-key"
    )
    assert "region" not in second["locations"][0]["physicalLocation"]
    assert (first["level"], second["level"]) == ("error", "warning")


def test_gitlab():
    """GitLab Docs, Code Quality report format: the keys each violation needs."""
    first, second = json.loads(diagnostics_formats.render(BOTH, "gitlab"))
    assert set(first) == {"description", "check_name", "fingerprint", "severity", "location"}
    assert (first["severity"], second["severity"]) == ("major", "minor")
    assert first["location"] == {
        "path": SLIP.position.path,
        "positions": {"begin": {"line": 6, "column": 23}, "end": {"line": 6, "column": 32}},
    }
    assert second["location"]["positions"]["begin"] == {"line": 1, "column": 1}


@pytest.mark.parametrize("form", diagnostics_formats.FORMATS)
def test_nothing_found(form):
    text = diagnostics_formats.render([], form)
    assert text == "" if form in ("text", "github") else json.loads(text) is not None


def test_a_site_in_a_folder_of_a_repository_is_named_from_the_top(tmp_path):
    site = tmp_path / "sites/wash"
    site.mkdir(parents=True)
    assert diagnostics_formats.from_top(BOTH, site) == (tuple(BOTH), site)
    (tmp_path / ".git").mkdir()
    (slip, _), top = diagnostics_formats.from_top(BOTH, site)
    assert slip.position.path == f"sites/wash/{SLIP.position.path}"
    (run,) = json.loads(diagnostics_formats.render([slip], "sarif", top=top))["runs"]
    place = run["results"][0]["locations"][0]["physicalLocation"]["artifactLocation"]
    base = run["originalUriBaseIds"][place["uriBaseId"]]["uri"]
    assert base + place["uri"] == (site / SLIP.position.path).as_uri()


def test_a_rule_in_sarif_says_why_it_is_asked():
    told = [replace(SLIP, rule=rule) for rule in ("count-too-short", "unknown-key")]
    (run,) = json.loads(diagnostics_formats.render(told, "sarif"))["runs"]
    asked, unreadable = run["tool"]["driver"]["rules"]
    help_text = asked["help"]["text"]
    assert help_text.startswith(QUESTIONS["count-too-short"])
    assert all(f"  {text}\n" in help_text for text in EXAMPLES["count-too-short"].values())
    assert unreadable["help"]["text"].startswith("The file cannot be used")
    assert run["tool"]["driver"]["version"] == __version__


@given(found)
def test_no_text_of_a_file_forges_a_command_or_a_line(diagnostics):
    commands = diagnostics_formats.render(diagnostics, "github").splitlines()
    assert len(commands) == len(diagnostics)
    assert all(
        re.match(r"::(error|warning) file=[^,:]*(,[a-zA-Z]+=[^,:]*)*::", line) for line in commands
    )
    for form in ("text", "gitlab", "sarif"):
        for line in diagnostics_formats.render(diagnostics, form).splitlines():
            assert not line.lstrip().startswith("::")
            assert "##[" not in line
            assert not re.search("[\x00-\x1f\x7f-\x9f\u202a-\u202e]", line)


@given(found)
def test_sarif_is_valid_whatever_is_found(diagnostics):
    log = json.loads(diagnostics_formats.render(diagnostics, "sarif"))
    SARIF.validate(log)
    for diagnostic, result in zip(diagnostics, log["runs"][0]["results"], strict=True):
        uri = result["locations"][0]["physicalLocation"]["artifactLocation"]["uri"]
        assert re.fullmatch(r"[A-Za-z0-9._~/%-]+", uri)
        assert unquote(uri) == diagnostic.position.path
        assert result["message"]["text"].startswith(terminal_text(diagnostic.message))


@given(found, st.integers(1, 50))
def test_fingerprints_survive_a_shift_of_lines_and_tell_faults_apart(diagnostics, shift):
    moved = [
        Diagnostic(
            rule=d.rule,
            severity=d.severity,
            position=Position(
                path=d.position.path, line=d.position.line + shift, column=d.position.column
            ),
            message=d.message,
            remedy=d.remedy,
            source_line=f"  {d.source_line}",
        )
        for d in diagnostics
    ]
    assert fingerprints(moved) == fingerprints(diagnostics)
    assert len(set(fingerprints(diagnostics))) == len(diagnostics)


def test_fingerprints_leave_out_line_numbers_in_words():
    def given_before(line):
        return Diagnostic(
            rule="duplicate-key",
            position=Position(path="f", line=line + 1),
            message=f"the key a was given before on line {line}",
            remedy="remove one of the two",
            source_line="a: 2",
        )

    assert fingerprints([given_before(3)]) == fingerprints([given_before(9)])

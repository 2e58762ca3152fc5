"""Two ways of reading, one meaning.

What the fast path accepts, the slow path accepts with the same value; what it refuses, the slow
path decides. So a document means the same whichever path reads it.
"""

import json
import math
import random
from pathlib import Path

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from ledger.files.text import decode
from ledger.files.yaml_fast import RefusedError, accept
from ledger.files.yaml_slow import explain, located

SUITE = json.loads(Path(__file__).with_name("yaml_test_suite.json").read_text(encoding="utf-8"))[
    "cases"
]

# Rules that narrow YAML: a case of the suite that breaks one of them is not one of ours.
NARROWED = {
    "alias", "anchor", "bad-number", "control-character", "directive", "duplicate-key", "empty-document",
    "key-not-text", "merge-key", "several-documents", "tab-indentation", "tag", "too-deep",
}  # fmt: skip

# Valid documents that the readers refuse; a person is told, nothing is misread.
REFUSED_BY_READER = {
    # a colon on the line after its key in { }
    "4MUZ-0", "4MUZ-2", "5MUD", "9SA2", "K3WX", "NJ66", "UT92", "VJP3-1",
    # a block of text that starts with lines of mere spaces
    "4QFQ", "DWX9", "T26H",
    # text that starts with a question mark
    "652Z", "HM87-1",
    # tabs that separate
    "6BCT", "A2M4", "DC7X", "K54U", "Y79Y-10",
    # the sign for the end of a document, without one
    "HWV9", "QT73",
}  # fmt: skip
# No line end after blanks at the end of a block of text: ruamel.yaml adds the line.
READ_OTHERWISE = {"L24T-1"}


def same(one, other):
    """Equal values of equal types; 1, 1.0 and true are three things."""
    return json.dumps(one, sort_keys=True) == json.dumps(other, sort_keys=True)


def read_both(text):
    """The verdict of each path on text that has passed `decode`; None where it is refused."""
    explained = explain(text, "f.yaml")
    slow = None if explained.diagnostics else explained.value
    try:
        fast = accept(text)
    except RefusedError:
        fast = None
    return fast, slow


def assert_agreement(raw):
    decoded, _ = decode(raw, "f.yaml")
    if decoded is None:
        return
    fast, slow = read_both(decoded)
    assert fast is None or same(fast, slow), (decoded, fast, slow)
    if fast is not None:
        sooner, later = located(decoded), explain(decoded, "")
        assert (sooner.values, sooner.keys) == (later.values, later.keys), decoded


@pytest.mark.parametrize("case", SUITE, ids=[case["id"] for case in SUITE])
def test_paths_agree_on_the_yaml_test_suite(case):
    assert_agreement(case["yaml"].encode())


@pytest.mark.parametrize(
    "case", [c for c in SUITE if "json" in c], ids=[c["id"] for c in SUITE if "json" in c]
)
def test_values_are_those_of_the_yaml_test_suite(case):
    decoded, problems = decode(case["yaml"].encode(), "f.yaml")
    rules = {d.rule for d in problems}
    if decoded is not None:
        explained = explain(decoded, "f.yaml")
        rules |= {d.rule for d in explained.diagnostics}
    if rules & NARROWED:
        return
    # A refusal is told as the slip that would be behind it in a person's file.
    assert bool(rules) == (case["id"] in REFUSED_BY_READER)
    if rules:
        return
    assert same(explained.value, json.loads(case["json"])) != (case["id"] in READ_OTHERWISE)


def test_the_format_permits_a_good_part_of_the_suite():
    accepted = 0
    for case in SUITE:
        text = decode(case["yaml"].encode(), "f.yaml")[0]
        if text is not None and read_both(text)[0] is not None:
            accepted += 1
    assert accepted >= 90


words = st.text(
    st.characters(codec="utf-8", exclude_categories=["Cc", "Cs", "Cn", "Cf", "Zl", "Zp"]),
    max_size=12,
) | st.sampled_from(
    [
        "no",
        "12:30",
        "0123",
        "0x1F",
        "null",
        "~",
        "1e3",
        "a: b",
        "# x",
        "- y",
        "",
        " ",
        "<<",
        "?x",
        "...",
    ]
)
scalars = (
    st.none()
    | st.booleans()
    | st.integers(-(2**53), 2**53)
    | st.floats(allow_nan=False, allow_infinity=False)
    | words
)
values = st.recursive(
    scalars,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(words, inner, max_size=4),
    max_leaves=15,
)


class Dumper(yaml.SafeDumper):
    """Writes what YAML 1.2 reads back: quotes whatever any reader might take for a number."""

    def ignore_aliases(self, data):
        return True


def _float(dumper, number):
    digits, sign, exponent = repr(number).partition("e")
    # YAML 1.1 wants a point in every float, or PyYAML adds a tag.
    digits = digits if "." in digits else f"{digits}.0"
    return dumper.represent_scalar("tag:yaml.org,2002:float", digits + sign + exponent)


def _text(dumper, text):
    plain = text.isascii() and text.replace("-", "").isalpha()
    # PyYAML writes a backslash too many where it folds double-quoted text before a blank.
    styles = "'" if " " in text else "'\""
    return dumper.represent_scalar(
        "tag:yaml.org,2002:str", text, style=None if plain else random.choice(styles)
    )


Dumper.add_representer(float, _float)
Dumper.add_representer(str, _text)


@given(
    st.dictionaries(words, values, min_size=1, max_size=4)
    | st.lists(values, min_size=1, max_size=4),
    st.sampled_from([True, False, None]),
    st.integers(2, 6),
    st.sampled_from([20, 80, math.inf]),
    st.sampled_from(["\n", "\r\n"]),
    st.randoms(use_true_random=False),
)
def test_generated_documents_read_back_on_both_paths(value, flow, indent, width, line_end, chance):
    random.seed(chance.random())
    text = yaml.dump(
        value,
        Dumper=Dumper,
        allow_unicode=True,
        default_flow_style=flow,
        indent=indent,
        width=width,
        sort_keys=False,
    )
    decoded, _ = decode(text.replace("\n", line_end).encode(), "f.yaml")
    assert decoded == text
    fast, slow = read_both(text)
    assert same(slow, value)
    assert fast is None or same(fast, value)


REAL = (
    ("# yaml-language-server: $schema=../schemas/machine.schema.json\n"
    "name: Lower side brush, passenger\nstation: 12\n"
    "drive: {type: electric, motor_hp: 3, hz_limits: [25, 60]}\n"
    "speed_band:\n  - {line_rate_per_h: 90,  rpm: [70, 80]}   # slow\n"
    'points:\n  shaft-top:    {kind: rotating-bearing}\n  "nozzle 1":  {\'kind\': nozzle, flow_gpm: 0.5}\n'),
    ("title: Grease\non: {points: rotating-bearing}\nevery: 1 week\nsteps: |\n  Wipe the fitting, ...\n\n"
    "    Then: go # on\n  done.\nnote: >-\n  folded\n  here\n\n  more\nuses: {grease-ep2: 3 strokes}\n"),
    ('at: 2026-11-23T06:40\nby: m-osterby\nentries:\n- {task: a, at: [x/y, z], note: "q \\u00e9"}\n'
    "- task: b\n  counted: 38\n  seconds: 30.5\n  note: it's multi\n    line plain\n- finding: 'it''s dry'\n  ok: true\n"),
)  # fmt: skip
PIECES = [
    *" \n:-?,[]{}#&*!|>'\"%@`\t\\\r0a", "- ", ": ", "\n  ", "\n- ", "? ", '"\\0"', "\\u", "é", ".inf", "0123", "<<: ",
    "...\n", "---\n", "|-\n", ">+\n", "1e5", "~", "\ufeff", "\u2028",
]  # fmt: skip

edits = st.lists(
    st.tuples(st.integers(0, 400), st.integers(0, 3), st.sampled_from(["", *PIECES])),
    min_size=1,
    max_size=4,
)


@given(st.sampled_from([*REAL, *(case["yaml"] for case in SUITE)]), edits)
def test_paths_agree_on_mutated_documents(text, changes):
    for place, cut, piece in changes:
        start = place % (len(text) + 1)
        text = text[:start] + piece + text[start + cut :]
    assert_agreement(text.encode())


@given(st.lists(st.sampled_from(["a", "1", " ", "\n", *PIECES]), max_size=40).map("".join))
def test_paths_agree_on_the_signs_of_yaml_in_any_order(text):
    assert_agreement(text.encode())


@given(st.binary(max_size=60))
def test_no_bytes_raise(raw):
    assert_agreement(raw)

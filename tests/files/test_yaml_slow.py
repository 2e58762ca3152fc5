"""What the format forbids in YAML, each fault at its place; and places of keys and values."""

from operator import attrgetter

import pytest

from ledger.files.yaml_slow import explain


@pytest.mark.parametrize(
    ("text", "faults"),
    [
        pytest.param("a: 1\nb: 2\na: 3\n", [("duplicate-key", 3, 1, 2)], id="duplicate-key"),
        pytest.param("a: 1\n'a': 3\n", [("duplicate-key", 2, 1, 4)], id="duplicate-key-quoted"),
        pytest.param("- {x: {b: 1, b: 2}}\n", [("duplicate-key", 1, 14, 15)], id="duplicate-key-inside"),
        pytest.param("a: &x 1\n", [("anchor", 1, 4, 8)], id="anchor"),
        pytest.param("a: &x 1\nb: *x\n", [("anchor", 1, 4, 8), ("alias", 2, 4, 6)], id="alias"),
        pytest.param("a: !!str 1\nb: !x y\n", [("tag", 1, 4, 11), ("tag", 2, 4, 8)], id="tags"),
        pytest.param("a: ! 1\n", [("tag", 1, 4, 7)], id="non-specific-tag"),
        pytest.param("<<: {b: 1}\n", [("merge-key", 1, 1, 3)], id="merge-key"),
        pytest.param("1: a\ntrue: b\n~: c\n1.5: d\n", [("key-not-text", n, 1, e) for n, e in ((1, 2), (2, 5), (3, 2), (4, 4))], id="keys-not-text"),
        pytest.param("? [a]\n: b\n", [("key-not-text", 1, 3, 0)], id="list-for-a-key"),
        pytest.param("a: .inf\nb: -.nan\nc: 1e999\n", [("bad-number", 1, 4, 8), ("bad-number", 3, 4, 9)], id="numbers"),
        pytest.param("a: 9007199254740993\n", [("bad-number", 1, 4, 20)], id="integer-too-large"),
        pytest.param("a: 1\n---\nb: 2\n", [("several-documents", 2, 1, 0)], id="several-documents"),
        pytest.param("%YAML 1.2\n---\na: 1\n", [("directive", 1, 1, 0)], id="directive"),
        pytest.param("# x\n%YAML 1.3\n---\na: 1\n", [("directive", 2, 1, 0)], id="unknown-version"),
        pytest.param("%TAG ! tag:x,2000:\n---\na: 1\n", [("directive", 1, 1, 0)], id="tag-directive"),
        pytest.param('a: "x\\0y"\n', [("control-character", 1, 4, 10)], id="nul-by-escape"),
        pytest.param('a: "\\uD800"\n', [("control-character", 1, 4, 12)], id="lone-surrogate"),
        pytest.param('a: "\\uDE00\\uD83D"\n', [("control-character", 1, 4, 18)], id="surrogates-the-wrong-way-round"),
        pytest.param('a: 1\n"b\\ud83d": 2\n', [("control-character", 2, 1, 10)], id="lone-surrogate-in-a-key"),
        pytest.param('a: "\\U00110000"\n', [("bad-yaml", 1, 5, 15)], id="past-the-last-character"),
        pytest.param('a: 1\n"\\UFFFFFFFF": 2\n', [("bad-yaml", 2, 2, 12)], id="far-past-the-last-character"),
        pytest.param("", [("empty-document", 0, 0, 0)], id="empty"),
        pytest.param("# only a word\n---\n", [("empty-document", 0, 0, 0)], id="empty-but-for-a-comment"),
        pytest.param("a: b: c\n", [("unquoted-text", 1, 4, 8)], id="two-colons"),
        pytest.param("a: 1\n b: 2\n", [("wrong-indent", 2, 2, 0)], id="out-of-line"),
        pytest.param("a: [1, 2\nb: 3\n", [("open-bracket", 1, 4, 5)], id="bracket-left-open"),
        pytest.param("a: 1\nb: 'x\n", [("open-quote", 2, 4, 5)], id="quote-left-open"),
        pytest.param("a: @x\n", [("unquoted-text", 1, 4, 6)], id="reserved-sign"),
        pytest.param("[?x]\n", [("bad-yaml", 1, 2, 0)], id="question-mark"),
        pytest.param("[" * 33 + "]" * 33, [("too-deep", 1, 33, 0)], id="too-deep"),
        pytest.param("[" * 100_000, [("too-deep", 1, 33, 0)], id="far-too-deep"),
        pytest.param("- " * 50_000, [("too-deep", 1, 65, 0)], id="far-too-deep-in-blocks"),
    ],
)  # fmt: skip
def test_restrictions(text, faults):
    found = explain(text, "f.yaml").diagnostics
    assert [
        (d.rule, d.position.line, d.position.column, d.position.end_column) for d in found
    ] == faults
    for diagnostic in found:
        assert diagnostic.position.path == "f.yaml"
        assert diagnostic.remedy


def test_all_faults_of_a_file_are_found_in_one_run_and_the_rest_is_kept():
    explained = explain("a: &x 1\nb: 2\nb: 3\nc: !t [1, .inf]\nd: {<<: 1, 2: 3, e: ok}\n", "f")
    assert [d.rule for d in explained.diagnostics] == [
        "anchor", "duplicate-key", "tag", "bad-number", "merge-key", "key-not-text",
    ]  # fmt: skip
    assert explained.value == {"a": 1, "b": 2, "c": [1, None], "d": {"e": "ok"}}


def test_thirty_two_levels_are_allowed():
    assert explain("[" * 32 + "]" * 32, "f").diagnostics == ()


def test_a_broken_quote_names_its_line():
    (problem,) = explain('a: 1\nnote: "x\nb: 2\n', "f").diagnostics
    assert problem.source_line == 'note: "x'
    assert problem.remedy == "close the quote"


def test_places_of_keys_and_values():
    explained = explain("a: 1\nb:\n  - {c: 'é x', d: }\n  - |\n    text\nwide: plain\n  on\n", "f")
    assert explained.diagnostics == ()
    shown = attrgetter("line", "column", "end_column")
    assert {pointer: shown(at) for pointer, at in explained.values.items()} == {
        (): (1, 1, 0),
        ("a",): (1, 4, 5),
        ("b",): (3, 3, 0),
        ("b", 0): (3, 5, 0),
        ("b", 0, "c"): (3, 9, 14),
        ("b", 0, "d"): (3, 16, 17),
        ("b", 1): (4, 5, 0),
        ("wide",): (6, 7, 0),
    }
    assert {pointer: shown(at) for pointer, at in explained.keys.items()} == {
        ("a",): (1, 1, 2),
        ("b",): (2, 1, 2),
        ("b", 0, "c"): (3, 6, 7),
        ("b", 0, "d"): (3, 16, 17),
        ("wide",): (6, 1, 5),
    }


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ('a: "\\ud83d\\ude00"\n', {"a": "\U0001f600"}),
        ('"\\ud83d\\ude00": 1\n', {"\U0001f600": 1}),
        ('["x\\uD834\\uDD1Ey"]\n', ["x\U0001d11ey"]),
    ],
)
def test_two_escapes_of_a_pair_are_one_character_as_in_json(text, value):
    explained = explain(text, "f.yaml")
    assert (explained.value, explained.diagnostics) == (value, ())


def test_no_half_of_a_pair_is_left_in_what_was_read():
    explained = explain('a: "x\\ud83dy"\n"\\ude00": 1\nb: "\\ud83d\\ude00\\ude00"\n', "f.yaml")
    assert explained.value == {"a": "x\ufffdy", "b": "\U0001f600\ufffd"}
    assert [(d.position.line, d.remedy) for d in explained.diagnostics] == [
        (line, "write the character itself, or delete the escape") for line in (1, 2, 3)
    ]

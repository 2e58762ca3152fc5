"""Which bytes are the text of a ledger."""

import pytest

from ledger.files.text import decode, line_of
from ledger.files.tree import MAX_FILE_BYTES


def test_crlf_and_one_leading_byte_order_mark_are_accepted():
    decoded, problems = decode("\ufeffa: 1\r\nb: é\r\n".encode(), "f")
    assert decoded == "a: 1\nb: é\n"
    assert problems == ()


@pytest.mark.parametrize(
    ("raw", "rule", "place"),
    [
        pytest.param(b"a: 1\nb: \xff\n", "not-utf-8", (2, 4), id="invalid-byte"),
        pytest.param("é: ".encode() + b"\xc3", "not-utf-8", (1, 4), id="cut-short"),
        pytest.param(b"a: \xed\xa0\x80", "not-utf-8", (1, 4), id="surrogate-in-utf-8"),
        pytest.param("a: 1\n".encode("utf-16"), "not-utf-8", (1, 1), id="utf-16"),
        pytest.param(b"x" * (MAX_FILE_BYTES + 1), "file-too-large", (0, 0), id="too-large"),
        pytest.param(b"a:\n\tb: 1\n", "tab-indentation", (2, 1), id="tab"),
        pytest.param(b"a:\n  \tb: 1\n", "tab-indentation", (2, 3), id="tab-after-spaces"),
    ],
)
def test_nothing_to_go_on_with(raw, rule, place):
    decoded, problems = decode(raw, "tasks/x.yaml")
    assert decoded is None
    (problem,) = problems
    assert (problem.rule, (problem.position.line, problem.position.column)) == (rule, place)
    assert problem.position.path == "tasks/x.yaml"


@pytest.mark.parametrize(
    ("character", "says"),
    [
        ("\0", "U+0000"), ("\x1b", "U+001B"), ("\x7f", "U+007F"), ("\x85", "U+0085"), ("\ufeff", "byte order mark"),
        ("\u2028", "U+2028"), ("\u202e", "U+202E"), ("\uffff", "U+FFFF"), ("\r", "carriage return"),
    ],
)  # fmt: skip
def test_a_forbidden_character_is_named_and_the_rest_still_read(character, says):
    decoded, problems = decode(f"a: 1\nbc: x{character}y\n".encode(), "f")
    (problem,) = problems
    assert problem.rule == "control-character"
    assert (problem.position.line, problem.position.column, problem.position.end_column) == (
        2,
        6,
        7,
    )
    assert says in problem.message
    assert decoded == "a: 1\nbc: x\N{REPLACEMENT CHARACTER}y\n"


def test_a_file_of_the_largest_size_is_read():
    assert decode(b"x" * MAX_FILE_BYTES, "f")[1] == ()


def test_lines_are_counted_from_one():
    assert [line_of("a\nb\n", n) for n in range(5)] == ["", "a", "b", "", ""]

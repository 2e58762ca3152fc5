"""What an unquoted word means, by YAML 1.2.2 section 10.3.2 and the two narrowings of the format."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.files.yaml_fast import NumberRefusedError, plain_value


@pytest.mark.parametrize(
    ("word", "value"),
    [
        # YAML 1.2.2, 10.3.2, the table of tag resolution and example 10.9.
        ("null", None), ("Null", None), ("NULL", None), ("~", None), ("", None),
        ("true", True), ("True", True), ("TRUE", True), ("false", False), ("False", False), ("FALSE", False),
        ("0", 0), ("3", 3), ("-19", -19), ("+12", 12),
        ("0.", 0.0), ("-0.0", -0.0), (".5", 0.5), ("+12e03", 12000.0), ("-2E+05", -200000.0), ("12.3015", 12.3015),
        # YAML 1.1 would read these as truth, minutes in base sixty, dates and numbers.
        ("no", "no"), ("on", "on"), ("y", "y"), ("Off", "Off"), ("12:30", "12:30"), ("2026-11-25", "2026-11-25"),
        ("1_000", "1_000"), ("nUll", "nUll"), ("tRUE", "tRUE"),
        # Part numbers and serials: kept as they are written.
        ("0123", "0123"), ("-07", "-07"), ("00.5", "00.5"), ("0o14", "0o14"), ("0x3A", "0x3A"), ("0b1", "0b1"),
        ("1.2.3", "1.2.3"), ("1e", "1e"), ("+", "+"), ("-", "-"), (".", "."), ("..", ".."), ("e5", "e5"), ("٣", "٣"),
    ],
)  # fmt: skip
def test_core_schema(word, value):
    found = plain_value(word)
    assert found == value
    assert type(found) is type(value)


@pytest.mark.parametrize(
    "word",
    [
        ".inf",
        "-.INF",
        "+.Inf",
        ".nan",
        ".NaN",
        "1e999",
        "-1e999",
        "9007199254740993",
        "-9007199254740993",
        "9" * 5000,
    ],
)
def test_numbers_that_cannot_be_kept_are_refused(word):
    with pytest.raises(NumberRefusedError):
        plain_value(word)


@given(st.integers(-(2**53), 2**53))
def test_every_exact_integer_reads_back(number):
    assert plain_value(str(number)) == number


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_every_finite_float_reads_back(number):
    assert plain_value(repr(number)) == number

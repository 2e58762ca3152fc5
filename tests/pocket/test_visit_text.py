"""Any text survives the way from the page through YAML into the ledger."""

import io
import re

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from ruamel.yaml import YAML

from ledger.files.paths import discover
from ledger.files.reading import parse_document
from ledger.files.text import FORBIDDEN_IN_VALUE
from ledger.filing.posted import visits_in

WORDS = [
    "no",
    "on",
    "Null",
    "~",
    "12:30",
    "1e5",
    "0x1F",
    "2026-11-23",
    "- dash",
    "? key",
    "a: b",
    "a #b",
    "#a",
    "'q'",
    '"q"',
    "won't turn",
    "back\\slash",
    "[1, 2]",
    "{a: b}",
    "a, b",
    "|",
    "> x",
    "&a",
    "*a",
    "!tag",
    "%x",
    "@x",
    "`x`",
    "...",
    "---",
    "<<",
    "a\tb",
    "two\nlines",
    "end:",
    "emoji 🧽",
    "Grüße – ½",
    "e\u0301",
]


WRITE = """(texts) => {
  const [lines, notes] = [texts.map(cleanLine), texts.map(cleanText)];
  const entries = notes.map((note, index) => ({finding: lines[index], at: "brush-p2", note}));
  const visit = {at: "2026-11-23T06:40", by: "m-osterby", note: notes.join("\\n"), entries};
  return {visit, text: visitYaml(visit)};
}"""


def read_back(text):
    """The visit as the ledger reads it, which must find no fault in it."""
    path = "observations/2026/11/2026-11-23T0640-m-osterby.yaml"
    (source,) = discover([path]).sources
    document, faults = parse_document(source, text.encode("utf-8"))
    assert faults == ()
    return document.value


def without_space(text):
    return re.sub(r"\s", "", text)


def assert_survives(page, texts):
    written = page.evaluate(WRITE, texts)
    assert read_back(written["text"]) == written["visit"]
    sent = written["text"]
    quoted = "".join(f"> {line}\n" for line in sent.split("\n"))
    for mangled in (sent, sent.replace("\n", "\r\n"), quoted):
        (found,) = visits_in(mangled)
        assert found.is_whole
    assert YAML(typ="safe", pure=True).load(io.StringIO(written["text"])) == written["visit"]
    for text, entry in zip(texts, written["visit"]["entries"], strict=True):
        allowed = FORBIDDEN_IN_VALUE.sub("", text.replace("\r", "\n"))
        assert without_space(entry["note"]) == without_space(allowed)
        assert without_space(entry["finding"]) == without_space(allowed)
        assert "\n" not in entry["finding"]


@pytest.mark.parametrize("text", WORDS)
def test_words_that_yaml_reads_otherwise_stay_words(page, text):
    assert_survives(page, [text])


def test_hostile_text_survives(page, hostile_text):
    assert_survives(page, [hostile_text, f"{hostile_text}\r\n{hostile_text}\rend"])


@settings(deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(texts=st.lists(st.text(min_size=1), min_size=1, max_size=20))
def test_any_text_survives(page, texts):
    assert_survives(page, texts)


def test_half_of_a_surrogate_pair_is_replaced(page):
    assert page.evaluate("cleanText('a\\ud800b \\udc00 \\ud83e\\uddfd')") == "a\ufffdb \ufffd 🧽"


def test_plain_words_and_references_stand_unquoted_as_people_type_them(page):
    visit = {
        "at": "2026-11-23T06:40",
        "by": "m-osterby",
        "meters": {"vehicles": 184233, "conveyor_hours": 8123.4},
        "entries": [
            {"task": "check-brush-speed", "at": "brush-p2", "counted": 38, "seconds": 30},
            {"closes": "2026-11-20T0655-k-yelloway#2", "at": "brush-p2/damper"},
            {
                "task": "grease-shaft-bearings",
                "at": ["brush-p2/shaft-bearing-top", "brush-p2/shaft-bearing-bottom"],
                "note": "The cap: lost.",
            },
        ],
    }
    assert page.evaluate("visitYaml", visit) == (
        "at: 2026-11-23T06:40\n"
        "by: m-osterby\n"
        "meters: {vehicles: 184233, conveyor_hours: 8123.4}\n"
        "entries:\n"
        "- {task: check-brush-speed, at: brush-p2, counted: 38, seconds: 30}\n"
        "- {closes: 2026-11-20T0655-k-yelloway#2, at: brush-p2/damper}\n"
        "- {task: grease-shaft-bearings, at: [brush-p2/shaft-bearing-top, "
        'brush-p2/shaft-bearing-bottom], note: "The cap: lost."}\n'
        "# check ec90ced6\n"
    )


@pytest.mark.parametrize(
    ("zone", "instant", "minute"),
    [
        ("America/Chicago", "2026-11-23T12:40:59Z", "2026-11-23T06:40"),
        ("America/Chicago", "2026-07-01T05:00:00Z", "2026-07-01T00:00"),
        ("America/Chicago", "2026-07-01T04:59:00Z", "2026-06-30T23:59"),
        ("Asia/Kolkata", "2026-12-31T18:30:00Z", "2027-01-01T00:00"),
        ("Pacific/Auckland", "2026-01-01T00:00:00Z", "2026-01-01T13:00"),
    ],
)
def test_time_is_the_site_s_wherever_the_phone_is(page, zone, instant, minute):
    assert page.evaluate("([i, z]) => localMinute(new Date(i), z)", [instant, zone]) == minute


def test_a_visit_is_named_by_its_time_and_person(page):
    assert page.evaluate("visitFile('2026-11-23T06:40', 'm-osterby')") == {
        "folder": "observations/2026/11/",
        "name": "2026-11-23T0640-m-osterby.yaml",
    }


@pytest.mark.parametrize(
    ("field", "typed", "parsed"),
    [
        ("found_hz", "44,5", {"value": 44.5}),
        ("found_hz", " 44. ", {"value": 44}),
        ("found_hz", "", {}),
        ("found_hz", "fast", {"problem": "a number is wanted"}),
        ("found_hz", "1e2", {"problem": "a number is wanted"}),
        ("found_hz", "401", {"problem": "at most 400 is wanted"}),
        ("found_hz", "-1", {"problem": "at least 0 is wanted"}),
        ("counted", "12.5", {"problem": "a whole number is wanted"}),
        ("seconds", "0", {"problem": "more than 0 is wanted"}),
    ],
)
def test_what_is_typed_is_held_to_the_schema_s_limits(page, field, typed, parsed):
    answer = page.evaluate(
        "([f, t]) => parseTyped(t, payloadOf('entry-fields')[f])", [field, typed]
    )
    assert answer == parsed

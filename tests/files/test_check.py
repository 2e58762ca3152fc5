"""Faults of form are explained at the words, all in one run, once each."""

import pytest

from ledger.files.document import Document
from ledger.files.paths import Kind
from ledger.files.schemas import (
    _FEW_ENTRIES,
    Schemas,
    accepts_lines,
    check_document,
    shipped_schemas,
    uri_of,
)

SCHEMA = {
    "$schema": "https://json-schema.org/draft/2020-12/schema",
    "type": "object",
    "additionalProperties": False,
    "required": ["by"],
    "properties": {
        "by": {"$ref": "#/$defs/id", "x-expected": "the id of a person"},
        "on": {"type": "string", "format": "date"},
        "at": {"type": "string", "format": "site-instant"},
        "urgency": {"enum": ["now", "soon", "planned"]},
        "poles": {"enum": [2, 4]},
        "format": {"const": 1},
        "station": {"type": "number", "minimum": 0, "maximum": 100},
        "turns": {"type": "integer"},
        "note": {"type": "string", "minLength": 1, "maxLength": 5},
        "ok": {"type": "boolean"},
        "with": {"type": "array", "items": {"$ref": "#/$defs/id"}, "minItems": 1, "maxItems": 3, "uniqueItems": True},
        "band": {"type": "array", "prefixItems": [{"type": "number"}, {"type": "number"}], "items": False},
        "points": {"type": "object", "propertyNames": {"$ref": "#/$defs/id"}, "minProperties": 1},
        "sizes": {"type": "object", "propertyNames": {"enum": ["bore", "width"]}},
        "reading": {
            "type": "object",
            "properties": {"counted": {"type": "integer"}, "seconds": {"type": "number"}, "hz": {"type": "number"}},
            "additionalProperties": False,
        },
        "drive": {
            "type": "object",
            "properties": {"type": {"enum": ["electric", "hydraulic"]}, "hp": {}, "kw": {}, "hz": {}, "flow": {}},
            "additionalProperties": False,
            "allOf": [
                {
                    "if": {"properties": {"type": {"const": "hydraulic"}}, "required": ["type"]},
                    "then": {"required": ["flow"], "properties": {"hz": False}, "x-expected": "keys of a hydraulic drive"},
                },
                {"not": {"required": ["hp", "kw"]}, "x-expected": "one unit"},
                {"anyOf": [{"required": ["hp"]}, {"required": ["kw"]}, {"required": ["flow"]}], "x-expected": "hp, kw or flow"},
            ],
        },
    },
    "$defs": {"id": {"type": "string", "pattern": "^[a-z]+(-[a-z0-9]+)*(?![\\s\\S])", "x-expected": "an id"}},
}  # fmt: skip
SCHEMAS = Schemas(by_uri={uri_of(Kind.VISIT): SCHEMA})


def found_in(document):
    return [
        (d.rule, d.position.line, d.position.column, d.position.end_column, d.expected, d.nearest)
        for d in check_document(document, SCHEMAS)
    ]


@pytest.mark.parametrize(
    ("line", "fault"),
    [
        ("urgncy: now", ("unknown-key", 2, 1, 7, "", "urgency")),
        ("reading: {counted: 1, seconds: 2, rpm: 3}", ("unknown-key", 2, 35, 38, "one of counted, hz, seconds", "")),
        ("turns: many", ("wrong-type", 2, 8, 12, "a whole number", "")),
        ("turns: 1.5", ("wrong-type", 2, 8, 11, "a whole number", "")),
        ("station: 012", ("wrong-type", 2, 10, 13, "a number, at least 0 and at most 100", "12")),
        ("note: 12", ("wrong-type", 2, 7, 9, "text", '"12"')),
        ("ok: yes", ("wrong-type", 2, 5, 8, "true or false", "true")),
        ("with: a", ("wrong-type", 2, 7, 8, "a list", "[a]")),
        ("note:", ("wrong-type", 2, 1, 5, "text", "")),
        ("urgency: soone", ("not-allowed-value", 2, 10, 15, "one of now, soon, planned", "soon")),
        ("poles: 3", ("not-allowed-value", 2, 8, 9, "one of 2, 4", "")),
        ("format: 2", ("not-allowed-value", 2, 9, 10, "1", "")),
        ("format: true", ("not-allowed-value", 2, 9, 13, "1", "")),
        ("station: -1", ("out-of-range", 2, 10, 12, "a number, at least 0 and at most 100", "")),
        ("station: 101", ("out-of-range", 2, 10, 13, "a number, at least 0 and at most 100", "")),
        ("note: ''", ("wrong-length", 2, 7, 9, "text", "")),
        ("note: longer", ("wrong-length", 2, 7, 13, "at most 5 characters", "")),
        ("with: []", ("wrong-length", 2, 7, 0, "at least 1", "")),
        ("points: {}", ("wrong-length", 2, 9, 0, "at least 1", "")),
        ("with: [a, b, a]", ("repeated-item", 2, 14, 15, "each item once", "")),
        ("with: [a, B]", ("bad-format", 2, 11, 12, "an id", "b")),
        ("on: 2024-02-30", ("impossible-date", 2, 5, 15, "", "")),
        ("on: 9999-12-31", ("impossible-year", 2, 5, 15, "", "")),
        ("on: 2024-2-9", ("bad-format", 2, 5, 13, "", "2024-02-09")),
        ("at: 2026-11-23 06:40", ("bad-format", 2, 5, 21, "", "2026-11-23T06:40")),
        ("points: {Shaft Top: 1}", ("bad-key", 2, 10, 19, "an id", "shaft-top")),
        ("sizes: {boar: 1}", ("bad-key", 2, 9, 13, "one of bore, width", "bore")),
        ("drive: {type: hydraulic, flow: 1, hz: 2}", ("key-not-allowed-here", 2, 35, 37, "keys of a hydraulic drive", "")),
        ("drive: {type: hydraulic, hp: 1}", ("missing-key", 2, 8, 0, "keys of a hydraulic drive", "")),
        ("drive: {hp: 1, kw: 2}", ("conflicting-keys", 2, 16, 18, "one unit", "")),
        ("drive: {type: electric}", ("missing-key", 2, 8, 0, "hp, kw or flow", "")),
        ("band: [1, 2, 3]", ("wrong-length", 2, 7, 0, "at most 2", "")),
    ],
)  # fmt: skip
def test_each_fault_at_its_words(read, line, fault):
    assert found_in(read(f"by: m-osterby\n{line}\n")) == [fault]


def test_a_document_in_order_has_no_faults(read):
    assert (
        found_in(
            read("by: m-osterby\non: 2024-02-29\nstation: 3\nreading: {counted: 3, seconds: 2}\n")
        )
        == []
    )


def test_a_missing_key_is_shown_at_what_lacks_it(read):
    assert found_in(read("note: a\n")) == [("missing-key", 1, 1, 0, "by: the id of a person", "")]


def test_the_reference_speaks_before_what_it_refers_to(read):
    assert found_in(read("by: B\n")) == [("bad-format", 1, 5, 6, "the id of a person", "b")]


def test_one_slip_gives_one_diagnostic(read):
    document = read("by: a\nreading: {counted: 3, secnds: 30}\n")
    assert found_in(document) == [("unknown-key", 2, 23, 29, "", "seconds")]


def test_a_unit_on_the_wrong_key_leads_to_the_right_one(read):
    document = read("by: a\nreading: {counted: 3, counted_s: 30}\n")
    assert found_in(document) == [("unknown-key", 2, 23, 32, "", "seconds")]


def test_a_value_of_the_wrong_type_is_not_also_said_to_lack_keys(read):
    assert [rule for rule, *_ in found_in(read("by: a\ndrive: 12\n"))] == ["wrong-type"]


def test_all_faults_of_a_file_come_in_one_run_in_reading_order(read):
    document = read("urgency: never\nreading: {counted: x, seconds: -}\nnoet: a\nformat: 2\n")
    assert [(rule, line) for rule, line, *_ in found_in(document)] == [
        ("missing-key", 1),
        ("not-allowed-value", 1),
        ("wrong-type", 2),
        ("wrong-type", 2),
        ("unknown-key", 3),
        ("not-allowed-value", 4),
    ]


def test_a_fault_shows_its_line(read):
    (fault,) = check_document(read("by: a\nstation: -1\n"), SCHEMAS)
    assert fault.source_line == "station: -1"
    assert fault.is_error


def test_a_list_of_accepted_entries_is_accepted():
    """What lets an entry that was accepted in one visit pass in the next."""
    entries = shipped_schemas().by_uri[uri_of(Kind.VISIT)]["properties"]["entries"]
    assert entries.keys() <= {*"title description type items minItems maxItems examples".split()}
    assert entries["minItems"] <= 1
    assert entries["maxItems"] >= _FEW_ENTRIES


def test_an_entry_is_looked_at_once_and_its_visit_always():
    entry, wrong = {"task": "a", "at": "b"}, {"task": "a", "at": 1}
    known = set()
    sound = {"at": "2026-11-03T06:40", "by": "a", "entries": [entry]}
    assert accepts_lines(visit(sound), known)
    assert known == {id(entry)}
    for change in ({"by": 1}, {"entries": [entry, wrong]}, {"entries": []}, {"entries": 1}):
        assert not accepts_lines(visit(sound | change), known)
    assert not accepts_lines(visit({"by": "a", "entries": [entry]}), known)
    assert not accepts_lines(visit(sound | {"entries": [entry] * (_FEW_ENTRIES + 1)}), known)
    assert known == {id(entry)}


def visit(value):
    return Document(
        kind=Kind.VISIT, path="observations/v.yaml", ident="v", value=value, read=lambda _: ""
    )

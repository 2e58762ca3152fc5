"""The table of readings and the schemas say the same, and no reading is lost between them."""

import json
from copy import deepcopy

import pytest

from ledger.files.paths import Kind
from ledger.files.schemas import Schemas, schema_folder, shipped_schemas, uri_of
from ledger.model.reading_schemas import WRITTEN, pairs_of_units, with_readings
from ledger.model.readings import KEYS_OF_READING, READINGS, readings_of

PROPERTIES = shipped_schemas().by_uri[uri_of(Kind.VISIT)]["properties"]["entries"]["items"][
    "properties"
]
NO_READING = frozenset(
    "task at except in_order tasks of list commit drawn seen drawn_apart_s outcome reason strokes minutes note finding photos urgency failed stop stopped_minutes tied_back "
    "since closes changed part used ordered received on_hand corrects void line_rate_per_h keypad instrument".split()
)
BESIDE_A_SPEED = frozenset(
    "seconds start passes_per_turn frames fps accuracy_rpm accuracy_percent".split()
)
AMOUNTS = [amount for kind in READINGS for amount in (*kind.amounts, *kind.optional)]


@pytest.mark.parametrize("name", WRITTEN)
def test_what_a_schema_repeats_is_written_into_it(name):
    shipped = json.loads((schema_folder() / f"{name}.schema.json").read_text())
    assert with_readings(name, deepcopy(shipped)) == shipped


def test_two_keys_that_differ_in_the_unit_alone_are_a_pair():
    keys = (
        "pitch_mm",
        "pitch_in",
        "span_mm",
        "at_psi",
        "flow_lpm",
        "hardness_mg_l",
        "hardness_gpg",
    )
    assert pairs_of_units(keys) == [("pitch_mm", "pitch_in"), ("hardness_mg_l", "hardness_gpg")]


def test_every_key_of_an_entry_is_of_a_reading_or_known_to_be_of_none():
    of_table = {key for amount in AMOUNTS for key in amount.keys}
    of_table |= {key for keys in KEYS_OF_READING.values() for key in keys}
    assert of_table | NO_READING | BESIDE_A_SPEED == set(PROPERTIES)
    assert not of_table & NO_READING


@pytest.mark.parametrize("amount", [one for one in AMOUNTS if one.si], ids=lambda one: one.stem)
def test_what_has_a_unit_is_a_number(amount):
    assert {PROPERTIES[key]["type"] for key in amount.keys} == {"number"}


@pytest.mark.parametrize("kind", READINGS, ids=lambda kind: kind.word)
def test_a_row_says_how_its_reading_is_told_and_exported(kind):
    item = {
        key: PROPERTIES[key].get("examples", [None])[0] or PROPERTIES[key]["enum"][0]
        for key in (amount.key(us=False) for amount in kind.amounts)
    }
    reading = readings_of(item)[kind]
    assert reading is not None
    told = {amount.stem: str(value) for amount, value in kind.amounts_of(reading)}
    assert all(value in kind.sentence.format_map(told) for value in told.values())
    assert kind.word == "turning" or [value_of(reading) for _, _, value_of in kind.exported]


def test_an_entry_that_holds_a_key_of_no_row_alone_is_refused():
    """A key that was put into the schema and not into the table makes no entry, so none is lost."""
    by_uri = deepcopy(dict(shipped_schemas().by_uri))
    entry = by_uri[uri_of(Kind.VISIT)]["properties"]["entries"]["items"]
    entry["properties"]["haze_ntu"] = {"type": "number"}
    accepts = Schemas(by_uri=by_uri).part_accepts(Kind.VISIT, "/properties/entries/items")
    assert accepts({"at": "brush-p2", "haze_ntu": 2.8, "current_a": 3})
    assert not accepts({"at": "brush-p2", "haze_ntu": 2.8})

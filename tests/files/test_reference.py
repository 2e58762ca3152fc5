"""The field reference says all that the schemas say, and the one that ships is current."""

import os
import re
import subprocess
import sys
from itertools import pairwise

import pytest
from markdown_it import MarkdownIt

from ledger.files.reference import field_reference, flow_text
from ledger.files.schemas import schema_folder, shipped_schemas
from ledger.files.yaml_fast import accept

REFERENCE = field_reference(shipped_schemas())
ROWS = re.findall(r"^\| `([\w-]+)` \|(.*)\|$", REFERENCE, re.MULTILINE)


def mappings(schema):
    """Every mapping of a schema that has keys of its own and words about itself."""
    if isinstance(schema, dict):
        if "properties" in schema and "additionalProperties" in schema:
            yield schema
        for key, part in schema.items():
            if key != "examples":
                yield from mappings(part)
    elif isinstance(schema, list):
        for part in schema:
            yield from mappings(part)


def test_the_page_that_ships_is_current():
    shipped = (schema_folder() / "README.md").read_text(encoding="utf-8")
    assert shipped == REFERENCE, "run: python -m ledger.files.reference > schemas/README.md"


@pytest.mark.parametrize("name", sorted(path.name for path in schema_folder().glob("*.json")))
def test_every_key_of_every_mapping_has_its_row(name):
    schema = shipped_schemas().by_uri[f"https://tunnelbook.invalid/schemas/{name}"]
    for mapping in mappings(schema):
        for key, part in mapping["properties"].items():
            needed = "yes" if key in mapping.get("required", ()) else ""
            rows = [row.split(" | ") for own, row in ROWS if own == key]
            found = [row for row in rows if part["description"].replace("|", "\\|") in row[2]]
            assert any(row[0].strip() == needed for row in found), (key, rows)


def test_each_row_has_five_cells_and_none_is_empty_but_needed():
    tokens = MarkdownIt("commonmark").enable("table").parse(REFERENCE)
    cells = [following.content for token, following in pairwise(tokens) if token.type == "td_open"]
    assert len(cells) == 5 * len(ROWS)
    for number, cell in enumerate(cells):
        assert cell or number % 5 == 1, cells[number - 4 : number + 1]
    assert not any(token.type.startswith("html") for token in tokens)


@pytest.mark.parametrize(
    "words",
    [
        "| `hz` |  | a number, above 0 and at most 400, in Hz | Setting of a frequency drive in Hz. | `44.5` |",
        "| `line_rate_per_h` | yes | a number, above 0 and at most 400, in vehicles/h |",
        "| `poles` |  | `2`, `4`, `6`, `8`, `10`, `12` | Number of poles of the motor. | `4` |",
        "| `at` |  | machine or machine/point, such as brush-p2/damper; or a list of these |",
        "- With `hz_limits`: `rated_rpm`, `base_hz` and `poles` too.",
        "- Where `outcome` is `not-done`: `reason` and `task` too.",
        "- With `approved_on`: `approved_by` too.",
        "- Never both: `diameter_in` or `diameter_mm`.",
        "- At least one of `hz`, `flow_gpm` and `flow_lpm` is there.",
    ],
)
def test_it_says(words):
    assert words in REFERENCE


@pytest.mark.parametrize(
    "value",
    [1, 2.5, True, None, "yes", "true", "null", "~", "", " x", "x ", "12", "1.0", "1e3", "a: b", "a, b", "[a", "a #b", "#a", "-a", "- a", "07:00-20:00", "2026-11-23", "2026-11-23T06:40", "m-osterby", "visit#2", "*a", "&a", "!a", "%a", "@a", "`a`", "{", "'", '"', "a\nb", "é", ["a", 1], {"a b": "c", "d": [{"e": "f: g"}]}],
    ids=repr,
)  # fmt: skip
def test_an_example_is_typed_as_a_file_takes_it(value):
    assert accept(f"key: {flow_text(value)}\nlist: [{flow_text(value)}]\n") == {"key": value, "list": [value]}  # fmt: skip


def test_every_example_of_the_page_reads_back():
    read = 0
    for _, row in ROWS:
        example = row.rpartition(" | `")[2].rstrip(" ").removesuffix("`").replace("\\|", "|")
        accept(f"key: {example}\n")
        read += 1
    assert read == len(ROWS) > 150


def test_the_page_is_what_the_program_prints():
    ran = subprocess.run(
        [sys.executable, "-m", "ledger.files.reference"],
        env={**os.environ, "PYTHONIOENCODING": "utf-8"}, capture_output=True, check=True,
    )  # fmt: skip
    assert ran.stdout.decode().replace("\r\n", "\n") == REFERENCE

"""What a file may say is read, and what is read is used: a key that counts nowhere fails here.

Reading is recorded as it happens. Documents made of the schemas' own examples, one for each key
and each of its words, go through the builders as mappings that note every key they are asked for;
then a site that has something of everything goes through its pages, check, cards and export, and
its values note every field that is read by other code than the builders.
"""

import dataclasses
import importlib
import json
import sys
from copy import deepcopy
from datetime import UTC, date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from small_site import ELECTRIC, FIRST_DAY, SITE
from sound_site import SOUND, Files, texts_below

from ledger.cli.first_morning import Known, from_sheet
from ledger.files.document import Document
from ledger.files.paths import Kind
from ledger.files.schemas import BASE_URI, shipped_schemas, uri_of
from ledger.filing.import_map import _map
from ledger.model import machines
from ledger.model.build_machine import build_machine, build_setpoints
from ledger.model.build_site import build_instrument, build_site
from ledger.model.build_task import build_task
from ledger.model.build_visit import Surroundings, build_visit
from ledger.model.problems import Problems
from ledger.model.quantities import filled
from ledger.model.site import Part
from ledger.proof.dispositions import audit_record
from ledger.proof.statements import statement_text
from ledger.site.pipeline import check, load
from ledger.site.rendering import book_files
from ledger.site.tables import flat_tables
from ledger.upkeep.register.cards import drive_cards
from ledger.upkeep.register.found import register
from ledger.upkeep.speeds.found import speed_results

KNOWN = Known(now=datetime(2026, 11, 25, tzinfo=UTC), zone="Etc/UTC", git_name="", git_email="")
SCHEMAS = shipped_schemas().by_uri
COMMON = SCHEMAS[f"{BASE_URI}common.schema.json"]["$defs"]
ANY = "*"
"""Stands in a path for an item of a list, or for a name that the site chose."""


def resolved(schema):
    named = schema.get("$ref", "").rpartition("/")[2]
    return COMMON[named] | schema if named else schema


def shapes(schema):
    """A schema and, where a value may have one shape or another, those of its shapes."""
    schema = resolved(schema)
    yield schema
    for part in ("then", "else"):
        if isinstance(schema.get(part), dict):
            yield from shapes(schema[part])


def below(shape):
    """The schema of what a list or a mapping by names holds."""
    held = (shape.get(word) for word in ("items", "additionalProperties"))
    return next((part for part in held if isinstance(part, dict)), None)


def keys(schema, path=()):
    """The path of every key that a schema takes, and its own schema."""
    for shape in shapes(schema):
        for key, part in shape.get("properties", {}).items():
            if isinstance(part, dict):
                yield (*path, key), part
                yield from keys(part, (*path, key))
        if (part := below(shape)) is not None:
            yield from keys(part, (*path, ANY))


def plain(schema):
    """A value of a schema: of a mapping the keys it must have, else the first example."""
    schema = resolved(schema)
    if "properties" in schema:
        return {key: plain(schema["properties"][key]) for key in schema.get("required", ())}
    return deepcopy(schema["examples"][0]) if schema.get("examples") else [plain(schema["items"])]


def with_key(schema, path, *, with_one=False):
    """Values of a schema that have the key at a path, one for each of its examples and words.

    Beside it stands what must, and then everything else that can: in one unit, and in the other.
    `with_one` has each other key beside it by itself.
    """
    if not path:
        schema = resolved(schema)
        yield from deepcopy([*schema.get("examples", ()), *schema.get("enum", ())])
        return
    head, rest = path[0], path[1:]
    for shape in shapes(schema):
        part = below(shape) if head == ANY else shape.get("properties", {}).get(head)
        if not isinstance(part, dict):
            continue
        for value in with_key(part, rest, with_one=with_one):
            if head != ANY:
                beside = shape["properties"]
                by_stem = {key.rpartition("_")[0] or key: key for key in beside}
                needed = shape.get("required", ())
                ways = [needed] if rest else [[*needed, one] for one in beside]
                for those in ways if with_one else (needed, beside, by_stem.values()):
                    yield {key: plain(beside[key]) for key in those} | {head: value}
            else:
                yield [value] if "items" in shape else {"panel-a": value}


class LackingError(KeyError):
    """A builder asks for a key that the document has not."""


class Noted(dict):
    """A mapping of a document that notes in `read` which of its keys it is asked for."""

    def __init__(self, source, properties, path, read):
        held = {
            key: noted(value, properties[key], (*path, key), read) for key, value in source.items()
        }
        super().__init__(held)
        self.source, self.properties, self.path, self.read = source, properties, path, read

    def __getitem__(self, key):
        self.read.add((*self.path, key))
        if key not in self:
            self.source[key] = plain(self.properties[key])
            raise LackingError(key)
        return super().__getitem__(key)

    def get(self, key, default=None):
        self.read.add((*self.path, key))
        return super().get(key, default)


def noted(value, schema, path, read):
    for shape in shapes(schema):
        if isinstance(value, dict) and "properties" in shape:
            return Noted(value, shape["properties"], path, read)
        part = below(shape)
        if isinstance(value, dict) and part and "additionalProperties" in shape:
            return {key: noted(one, part, (*path, ANY), read) for key, one in value.items()}
        if isinstance(value, list) and part and "items" in shape:
            return [noted(one, part, (*path, ANY), read) for one in value]
    return value


def around():
    files = {"site.yaml": SITE, "equipment/brush-p2.yaml": ELECTRIC}
    loaded = load(Files({path: json.dumps(value) for path, value in files.items()}))
    assert loaded.ledger is not None
    return Surroundings(site=loaded.ledger.site, machines=loaded.ledger.machines, tasks={})


AROUND = around()
BUILDERS = {
    Kind.SITE: lambda document: build_site(document.value, ZoneInfo(document.value["time_zone"])),
    Kind.MACHINE: lambda document: build_machine("brush-p2", document.value, FIRST_DAY),
    Kind.TASK: lambda document: build_task(document, AROUND.site, AROUND.machines, Problems()),
    Kind.SETPOINTS: lambda document: build_setpoints(document, AROUND.site),
    Kind.PART: lambda document: filled(Part, document.value, ident="grease-ep2"),
    Kind.INSTRUMENT: lambda document: build_instrument("tach-1", document.value),
    Kind.VISIT: lambda document: build_visit(document, AROUND, Problems()),
    Kind.STATEMENT: lambda document: statement_text(document.value),
    Kind.AUDIT: lambda document: audit_record(document.value),
    Kind.IMPORT_MAP: lambda document: _map(document.value),
    Kind.ANSWERS: lambda document: from_sheet(document, KNOWN),
}


def build_noting(kind, value, schema, read):
    """Build a document; what its builder cannot do without is added, as often as it asks."""
    for _ in range(9):
        text = json.dumps(value)
        document = Document(
            kind=kind,
            path="f.yaml",
            ident="f",
            value=noted(value, schema, (), read),
            read=lambda _, text=text: text,
        )
        try:
            BUILDERS[kind](document)
        except LackingError:
            continue
        return
    raise AssertionError(value)


@pytest.mark.parametrize("kind", Kind)
def test_every_key_that_a_schema_takes_is_read_by_a_builder(kind):
    schema = SCHEMAS[uri_of(kind)]
    taken = {path for path, own in keys(schema) if "const" not in own}
    # The grades are read whole, and tests/rules/test_questions.py knows each rule.
    taken = {path for path in taken if path[:-1] != ("policy", "rules")}
    assert taken
    read = set()
    for path in sorted(taken):
        for value in with_key(schema, path):
            build_noting(kind, value, schema, read)
    for path in sorted(taken - read):
        for value in with_key(schema, path, with_one=True):
            build_noting(kind, value, schema, read)
    assert {".".join(path) for path in taken - read} == set()


def test_a_key_that_nobody_reads_is_found():
    schema = deepcopy(SCHEMAS[uri_of(Kind.PART)])
    schema["properties"]["colour"] = {"type": "string", "examples": ["red"]}
    read = set()
    for value in with_key(schema, ("colour",)):
        build_noting(Kind.PART, value, schema, read)
    assert ("name",) in read
    assert ("colour",) not in read


MODEL = Path(machines.__file__).parent
MODULES = ("machines", "readings", "setpoints", "site", "tasks", "visits")
BRUSH = {
    "name": "Top brush",
    "kind": "top-brush",
    "station": 40,
    "notes": "Noisy.",
    "panel": "panel-a",
    "zone": "here",
    "reaches": ["there"],
    "energy": [{"kind": "electrical", "magnitude": "460 V", "isolate_at": "Breaker 1", "device": "lock", "release": "-", "wait_minutes": 5, "prove": "Try start."}],
    "out_of_service": [{"from": "2026-05-01", "to": "2026-05-02"}],
    "drive": {"type": "electric", "motor_kw": 2.2, "rated_rpm": 1740, "base_hz": 60, "poles": 4, "reduction": 16, "hz_limits": [25, 60], "full_load_a": 4.8, "input_a": 6.2},
    "brush": {"diameter_in": 48, "strips_around": 18, "material": "cloth"},
    "speed_band": [{"line_rate_per_h": 110, "rpm": [74, 86]}],
    "turns": "against",
    "fed_by": "top-brush",
    "costs": {"planned": 200, "failure": 1000},
    "points": {
        "bearing": {"kind": "rotating-bearing", "bore_mm": 50, "outer_mm": 90, "width_mm": 20, "dynamic_load_kn": 35, "load_kn": 1, "note": "Hot."},
        "pivot": {"kind": "pivot-bearing", "bore_mm": 30, "sweep_deg": 40, "out_of_service": [{"from": "2026-05-03", "to": "2026-05-04"}]},
        "nozzle": {"kind": "nozzle", "flow_lpm": 2, "at_kpa": 300},
        "chain": {"kind": "chain", "pitch_mm": 100, "centres": "fixed"},
        "belt": {"kind": "belt", "span_mm": 400},
        "cloth": {"kind": "cloth", "new_length_mm": 500, "worn_length_mm": 400},
        "damper": {"kind": "damper"},
        "resin": {"kind": "resin", "capacity_g": 5000, "reserve_percent": 15, "stream": "raw"},
        "membrane": {"kind": "membrane", "flow_lpm": 20, "at_kpa": 1000, "stream": "product"},
        "tank": {"kind": "tank", "holds_l": 200},
        "drum": {"kind": "tank", "inside_mm": 500},
        "injector": {"kind": "injector", "parts_water": 64, "drum": "top-brush/drum", "bands": {"ph": [6, 9]}},
        "second": {"kind": "injector", "drum": "top-brush/tank"},
        "pump": {"kind": "pump", "flow_lpm": 3, "at_kpa": 300},
        "tap": {"kind": "tap", "stream": "reject"},
        "feed": {"kind": "tap", "stream": "feed"},
    },
}  # fmt: skip
TASK = {
    "title": "Grease the top brush",
    "on": {"ids": ["top-brush/bearing", "top-brush/pivot"]},
    "every": ["1 week", {"hours": 50}],
    "uses": {"grease-ep2": "3 strokes"},
    "lockout": True,
    "state_basis": "law",
    "cite": "Rule 7",
    "where": "Here",
    "cite_read": "2024-01-02",
    "minutes": 10,
    "last_done": [{"when": "2024"}, {"when": "never", "at": ["top-brush/pivot"]}],
}
READ = [
    {"at": "top-brush", "steps": [{"hz": 44, "tachometer_rpm": 80, "instrument": "tach-1"}], "left_hz": 45, "keypad": "locked"},
    {"at": "top-brush", "turns": 40, "frames": 900, "fps": 30, "found_hz": 44},
    {"at": "top-brush", "taps_s": [0, 0.75, 1.5, 2.25, 3], "found_hz": 44},
    {"at": "top-brush/nozzle", "caught_ml": 480, "seconds": 15, "pressure_kpa": 290},
    {"at": "top-brush/chain", "pitches": 10, "length_mm": 1004},
    {"at": "top-brush/belt", "deflection_mm": 8, "force_n": 30},
    {"at": "top-brush/cloth", "strip_length_mm": 480},
    {"at": "top-brush/damper", "bounces": 2},
    {"at": "top-brush/bearing", "temperature_c": 40, "current_a": 3, "level_percent": 50, "insulation_mohm": 100},
    {"stop": "vehicle", "stopped_minutes": 9},
    {"at": "top-brush/resin", "hardness_mg_l": 200, "run_l": 9000},
    {"at": "top-brush/membrane", "flow_lpm": 16, "conductivity_us_cm": 14},
    {"at": "top-brush/tap", "flow_lpm": 11, "pressure_kpa": 1100},
    {"at": "top-brush/feed", "temperature_c": 12, "pressure_kpa": 1150, "conductivity_us_cm": 480},
    {"at": "top-brush/drum", "depth_mm": 600},
    {"at": "top-brush/tank", "level_percent": 60},
    {"at": "top-brush/injector", "ph": 8, "drops": 18, "blank_drops": 2, "reference_drops": 20, "reference_parts": 64, "open_seconds": 14, "flow_lpm": 4},
    {"task": "grease-top", "at": "top-brush", "strokes": 3, "minutes": 12, "note": "Wiped."},
    {"in_order": "before-opening", "tasks": ["look-top"], "of": 1, "list": "0a1b2c3d", "commit": "0a1b2c3d4e5f", "drawn": ["top-brush/cloth"], "seen": ["Even"], "drawn_apart_s": 40},
]  # fmt: skip
LOOK = {
    "title": "Look",
    "short": "look",
    "asks": {"question": "How?", "fine": ["Even"], "wrong": ["Torn"]},
    "on": {"ids": ["top-brush/cloth"]},
    "every": "1 day",
}
FAILED = {"finding": "bearing seized", "at": "top-brush/bearing", "failed": True, "stopped_minutes": 50, "urgency": "now"}  # fmt: skip
TIED_BACK = {"tied_back": "arm bent", "at": "brush-p2", "since": "2026-11-03T16:00"}
FURTHER = {"zones": {"here": {"name": "Here"}, "there": {"name": "There"}}, "automatic_start": {"isolate_at": "TC1", "device": "breaker", "prove": "Try."}, "costs": {"currency": "USD", "labour_per_h": 36, "margin_per_vehicle": 8, "leave_percent": [20, 50]}, "hours": {"monday": "07:00-19:00"}}  # fmt: skip


INSTRUMENT = {"name": "Tachometer", "kind": "tachometer", "unit": "r/min", "max_error_percent": 0.5, "max_error": 0.1, "resolution": 0.1, "serial": "T-1", "notes": "In the panel room.", "checks": [{"on": "2026-01-05", "due": "2027-01-05", "certificate": "C-1", "correction_percent": 0.1, "correction_u_percent": 0.2}]}  # fmt: skip


def site_with_everything():
    files = texts_below(SOUND)
    files["site.yaml"] += "".join(f"{key}: {json.dumps(told)}\n" for key, told in FURTHER.items())
    trained = json.dumps([{"for": "lockout", "from": "2026-01-01", "until": "2026-12-31", "by": "T. V.", "evidence": "List", "supervised_by": "d-fenwold"}])  # fmt: skip
    files["site.yaml"] = files["site.yaml"].replace("    qualified: [lockout]\n", f"    qualified: [lockout]\n    company: Other\n    training: {trained}\n")  # fmt: skip
    files["parts/grease-ep2.yaml"] += "cost: 9.5\nnotes: One soap only.\nreorder_level: 9000\n"
    files["equipment/brush-p2.yaml"] += "zone: there\n"
    files["equipment/top-brush.yaml"] = json.dumps(BRUSH)
    files["instruments/tach-1.yaml"] = json.dumps(INSTRUMENT)
    files["tasks/grease-top.yaml"] = json.dumps(TASK)
    files["tasks/look-top.yaml"] = json.dumps(LOOK)
    for day in (4, 6, 9, 11):
        stem = f"2026-11-{day:02}T1000-m-tarrow"
        closed = f"2026-11-{day:02}T1000-m-tarrow#1"
        told = {"at": stem[:13] + ":00", "by": "m-tarrow", "permit": "P-1", "returned_by": "d-fenwold", "entries": [FAILED, *READ, {"closes": closed, "minutes": 20, "at": "top-brush"}, *[TIED_BACK] * (day == 11)]}  # fmt: skip
        files[f"observations/2026/11/{stem}.yaml"] = json.dumps(told)
    return files


def classes_of_model():
    for name in MODULES:
        module = importlib.import_module(f"ledger.model.{name}")
        for found in vars(module).values():
            is_own = getattr(found, "__module__", "") != "ledger.model.policy"
            is_own = is_own and not getattr(found, "__name__", "").startswith("_")
            if isinstance(found, type) and dataclasses.is_dataclass(found) and is_own:
                yield found


def noting_reads(kept, read):
    """The way a class gives its fields, noting those that code of the package asks for."""
    fields = {field.name for field in dataclasses.fields(kept)}

    def give(self, name):
        if name in fields:
            frame = sys._getframe(1)
            while frame.f_code.co_name == "give":  # an entry asks its content
                frame = frame.f_back
            asker = Path(frame.f_code.co_filename)
            if MODEL.parent in asker.parents and not asker.name.startswith("build"):
                read.add((kept.__name__, name))
        return object.__getattribute__(self, name)

    return give


READ_ELSEWHERE = {
    ("Policy", "book"): "proof/audit_books.py",
    ("Person", "hours_per_week"): "upkeep/ahead/found.py",
    ("Policy", "entry_within_days"): "proof/visit_trail.py",
    ("Policy", "filed_for_others"): "model/policy.py",
    ("Policy", "plan_needs_approval"): "proof/plan_trail.py",
    **{("Question", key): "pocket/assets/rounds.js" for key in ("question", "fine", "wrong")},
    ("ReadingKind", "runs_down"): "model/readings.py",
    ("Site", "filing"): "cli/into_git.py",
    ("Site", "group_people"): "site/roll_up.py",
    ("Site", "publish"): "site/for_browser.py",
    ("Site", "pull_request_address"): "cli/commands/propose.py",
    ("Visit", "digest"): "model/ledger.py",
}
"""What no page of the book shows, and where it is used."""


def test_every_field_of_the_model_is_used(monkeypatch):
    read = set()
    kept = tuple(classes_of_model())
    for one in kept:
        monkeypatch.setattr(one, "__getattribute__", noting_reads(one, read))
    day = date(2026, 11, 25)
    loaded = load(Files(files := site_with_everything()))
    assert loaded.ledger is not None
    assert not loaded.has_errors, loaded.diagnostics
    check(loaded, day)
    book_files(loaded.ledger, day, html=True)
    flat_tables(loaded.ledger, day)
    lines = register(loaded.ledger, speed_results(loaded.ledger))
    drive_cards(loaded.ledger, lines, {path: text.encode() for path, text in files.items()})
    fields = {(one.__name__, field.name) for one in kept for field in dataclasses.fields(one)}
    assert len(fields) > 150
    assert fields - read == READ_ELSEWHERE.keys()
    for (_, name), path in READ_ELSEWHERE.items():
        assert f".{name}" in (MODEL.parent / path).read_text()

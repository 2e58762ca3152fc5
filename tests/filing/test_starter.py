"""Whatever is copied from the starter programme is a site that the ledger reads without a word."""

import re
from datetime import UTC, date, datetime

import pytest
from campaign import examples
from example import example_ledger
from hypothesis import given, settings
from hypothesis import strategies as st
from pinned_clock import pinned_clock

from ledger.cli.command import open_folder
from ledger.files.paths import Kind, Source
from ledger.files.reading import parse_document
from ledger.files.yaml_fast import accept
from ledger.filing import starter
from ledger.filing.new_site import placed
from ledger.filing.starter import Founder, minimal_site, programme, starter_kinds
from ledger.site.pipeline import check
from ledger.upkeep.due.found import Schedule, is_for_safety

SITE = """\
format: 1
name: New wash
time_zone: Etc/UTC
in_service: 2026-11-23
line: {line_rate_per_h: 110}
people:
  a-tarrowby: {name: A. Tarrowby, roles: [lead]}
"""
WANTED = (
    "conveyor curtain wrap side-brush low-brush top-brush soak-arch wheel-arch high-pressure-arch "
    "rinse-arch wax-arch pump-stand blower hydraulic-unit compressor reclaim softener "
    "reverse-osmosis drive-panel"
).split()


def written(root, files):
    for path, text in files.items():
        target = root / path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_text(text, encoding="utf-8")
    return open_folder(root, date(2026, 11, 25), pinned_clock)


def words(site):
    return [f"{found.position.path}: {found.rule}" for found in check(site.loaded, site.as_of)]


def test_every_kind_of_a_tunnel_is_there():
    assert set(WANTED) <= set(starter_kinds())


@pytest.mark.parametrize("kind", starter_kinds())
def test_a_machine_of_each_kind_comes_with_tasks_for_all_its_points(tmp_path, kind):
    site = written(
        tmp_path, {"site.yaml": SITE, **programme(placed([kind], {}), schemas="schemas")}
    )
    assert words(site) == []
    # A box of the walk says a word, and nothing else tells two boxes of a machine apart.
    boxes = [
        (task.when, task.brief)
        for task in site.loaded.ledger.tasks.values()
        if any(place.machine == kind for place in task.places)
    ]
    assert len(boxes) == len(set(boxes))
    assert site.ledger.machines[kind].kind == kind
    assert site.ledger.tasks


def test_the_whole_programme_at_once(tmp_path):
    machines = placed([*starter_kinds(), "side-brush", "wrap"], {})
    site = written(tmp_path, {"site.yaml": SITE, **programme(machines, schemas="schemas")})
    assert words(site) == []
    assert len(site.ledger.machines) == len(starter_kinds()) + 2
    assert len(site.ledger.tasks) >= 50
    assert all(machine.like == machine.kind for machine in site.ledger.machines.values())
    assert "like: wrap\n" in (tmp_path / "equipment/wrap-2.yaml").read_text()
    assert "like: check-belts\n" in (tmp_path / "tasks/check-belts.yaml").read_text()


def test_every_task_is_wanted_by_some_machine_and_every_part_by_some_task():
    files = programme(placed(starter_kinds(), {}), schemas="schemas")
    for folder in ("tasks", "parts"):
        shipped = {path.name for path in (starter._FOLDER / folder).glob("*")}
        assert shipped == {path.split("/")[1] for path in files if path.startswith(folder)}


@pytest.mark.parametrize("kind", starter_kinds())
def test_every_copied_file_says_that_it_is_a_starting_point(kind):
    for path, text in programme(placed([kind], {}), schemas="schemas").items():
        lines = text.splitlines()
        assert lines[0].startswith("# yaml-language-server: $schema=../schemas/"), path
        assert lines[1].startswith("# A starting point. The maker's manual"), path


def test_every_task_has_steps_and_the_dangerous_ones_a_caution():
    for path, text in programme(placed(starter_kinds(), {}), schemas="schemas").items():
        if path.startswith("tasks/"):
            task = accept(text)
            assert task["steps"], path
            if task.get("lockout") or task.get("qualified"):
                assert task["cautions"], path


DANGERS = (
    "Air under pressure|Bare shafts|Belts|Can fall|Can start|Chain under tension|Confined space|"
    "Corrosive|Dirty water|Goes through the skin|Heavy bags|Hot housing|Hot oil|Ice|Live parts|"
    "Noise|Pressure|Raised arm|Reagents|Scalding water, flame and fumes|Sharp fins|Slippery floor|"
    "Spray|Stored energy|Turning|Vehicles|Water off|Wet floor|Work at height"
).split("|")


@pytest.mark.parametrize("files", ["starter", "example"])
def test_a_caution_names_its_danger_first_so_that_a_walk_says_each_danger_once(files):
    ledger = example_ledger()
    cautions = [
        (path, caution)
        for path, text in programme(placed(starter_kinds(), {}), schemas="schemas").items()
        for caution in accept(text).get("cautions", ())
    ]
    if files == "example":
        every = [*ledger.machines.values(), *ledger.tasks.values()]
        cautions = [(one.ident, caution) for one in every for caution in one.cautions]
    assert len(cautions) > 60
    assert [one for one in cautions if one[1].partition(". ")[0] not in DANGERS] == []


def test_a_kind_that_the_programme_does_not_know_comes_without_points():
    files = programme(placed(["other"], {}), schemas="schemas")
    assert accept(files["equipment/other.yaml"]).keys() == {"name", "kind", "station"}


@pytest.mark.parametrize(
    ("schemas", "modeline"),
    [
        ("schemas", "../schemas/machine.schema.json"),
        ("../schemas", "../../schemas/machine.schema.json"),
        ("https://wash.example/s", "https://wash.example/s/machine.schema.json"),
        ("/opt/schemas", "/opt/schemas/machine.schema.json"),
    ],
)
def test_the_modeline_leads_to_the_schemas(schemas, modeline):
    text = programme(placed(["blower"], {}), schemas=schemas)["equipment/blower.yaml"]
    assert text.splitlines()[0] == f"# yaml-language-server: $schema={modeline}"


def small(name="A. Tarrowby", site_name="Our wash"):
    when = datetime(2026, 11, 23, 6, 40, tzinfo=UTC)
    founder = Founder(ident="a-tarrowby", name=name, emails=(), when=when, time_zone="Etc/UTC")
    return minimal_site(founder, site_name, schemas="schemas")


def test_the_minimal_site_passes_the_check(tmp_path):
    site = written(tmp_path, small())
    assert words(site) == []
    assert site.ledger.visits == ()
    assert list(site.ledger.setpoints) == ["brush-1"]


@settings(max_examples=examples(50))
@given(
    st.text(
        st.characters(min_codepoint=32, max_codepoint=0x2FF, exclude_categories=["Cc", "Cs"]),
        min_size=1,
        max_size=40,
    )
)
def test_any_name_can_be_put_in(name):
    text = small(name, name)["site.yaml"]
    document, faults = parse_document(
        Source(kind=Kind.SITE, path="site.yaml", ident="site"), text.encode()
    )
    assert faults == ()
    assert document is not None
    site = document.value
    assert site["name"] == name
    assert site["people"]["a-tarrowby"]["name"] == name


@pytest.mark.parametrize(("units", "tire"), [("us", "Tire"), ("si", "Tyre")])
def test_the_programme_is_in_one_english(units, tire):
    files = programme(placed(starter_kinds(), {}), schemas="schemas", units=units)
    said = "\n".join(files.values())
    assert f"{tire} dresser" in said
    british = re.findall(r"(?i)\b(?:neighbour|colour|cancelled|metre|litre|grey|tyre(?!-))", said)
    american = re.findall(r"(?i)\b(?:neighbor|color|canceled|vapor|gray|tire)", said)
    assert (bool(british), bool(american)) == (units == "si", units == "us")


_SIZE = re.compile(r"\d\s(?:in|ft|psi|gpm|gal|°F|grain)\b")


def test_a_step_that_gives_a_size_gives_it_in_both_units():
    for path, text in programme(placed(starter_kinds(), {}), schemas="schemas").items():
        if path.startswith("tasks/"):
            for line in accept(text)["steps"].splitlines():
                for size in _SIZE.finditer(line):
                    assert re.search(r"\(\d[\d.]* (?:mm|m|kPa|L|mg/L)\b", line[size.end() :]), line


def test_safety_work_of_every_kind_is_due_on_day_one(tmp_path):
    """At a site that begins today nothing else is, as nobody remembers when it was last done."""
    machines = placed(starter_kinds(), {})
    site = written(tmp_path, {"site.yaml": SITE, **programme(machines, schemas="schemas")})
    ledger = site.ledger
    work = Schedule(ledger, ledger.site.in_service).all_due()
    safety = {one.task.ident for one in work if is_for_safety(ledger, one.task)}
    assert safety == {
        one.task.ident for one in work if one.is_on_the_walk and is_for_safety(ledger, one.task)
    }
    assert {
        "flush-eyewash",
        "test-start-horn",
        "prove-top-brush-rises",
        "test-door-edges",
        "test-emergency-stops",
        "look-at-extinguishers",
        "test-ground-fault-outlets",
        "check-guards",
    } <= safety
    assert is_for_safety(ledger, ledger.tasks["inspect-lockout-sheets"])


def test_nothing_is_shipped_as_by_law():
    """No official text was read for it: "check your own code" (trade facts, no source)."""
    for path, text in programme(placed(starter_kinds(), {}), schemas="schemas").items():
        if path.startswith("tasks/"):
            task = accept(text)
            assert task.get("basis", "own") in {"own", "maker"}, path
            assert "cite" not in task, path


def test_no_task_makes_live_work_or_the_receivers_relief_valve_a_routine():
    files = programme(placed(starter_kinds(), {}), schemas="schemas")
    valves = accept(files["tasks/check-valves.yaml"])
    assert "compressor" not in valves["on"]["machines"]
    for name in ("measure-motor-currents", "look-at-drives", "copy-drive-parameters"):
        assert "stays shut" in files[f"tasks/{name}.yaml"]
    chain = accept(files["equipment/conveyor.yaml"])["points"]["chain"]
    assert chain["links"] == "rivetless"


@pytest.mark.parametrize(
    "task",
    [
        "check-dampers",
        "catch-test-nozzles",
        "clean-photo-eyes",
        "lubricate-conveyor-chain",
        "wash-cloth",
    ],
)
def test_hands_in_work_is_locked_out(task):
    files = programme(placed(starter_kinds(), {}), schemas="schemas")
    assert accept(files[f"tasks/{task}.yaml"])["lockout"] is True

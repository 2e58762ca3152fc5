"""Renamed under a year of visits: nothing changes but the names; and points that retire."""

import re

import pytest
from example import EXAMPLE, EXAMPLE_DAY, example_loaded
from small_site import ELECTRIC, SITE, ledger_of, on, setpoint, visit
from sound_site import Files, texts_below

from ledger.model.references import Place
from ledger.site.pipeline import load
from ledger.site.rendering import book_files
from ledger.upkeep.due.found import Schedule

GREASE = {"title": "Grease", "on": {"points": "rotating-bearing"}, "every": "1 week", "steps": "."}
NEW = "-renamed"


def renamed_example() -> dict[str, str]:
    """The example with one of each kind of thing renamed, and no visit or other file touched."""
    files = {p: t for p, t in texts_below(EXAMPLE).items() if not p.startswith("book/")}
    for folder, ident in [
        ("equipment", "brush-p2"),
        ("tasks", "grease-shaft-bearings"),
        ("parts", "grease-ep2"),
    ]:
        text = files.pop(f"{folder}/{ident}.yaml")
        files[f"{folder}/{ident}{NEW}.yaml"] = f"{text}formerly: [{ident}]\n"
    machine = f"equipment/brush-p2{NEW}.yaml"
    point = "shaft-bearing-top: {"
    assert point in files[machine]
    files[machine] = files[machine].replace(point, f"shaft-bearing-top{NEW}: {{formerly: [shaft-bearing-top], name: Shaft bearing top, ")  # fmt: skip
    site = files["site.yaml"]
    person = "  m-osterby:\n"
    assert person in site
    files["site.yaml"] = site.replace(person, f"  m-osterby{NEW}:\n    formerly: [m-osterby]\n")
    return files


def without_the_news(text: str) -> str:
    """The text with the old names again, and without what it says of them."""
    text = re.sub(r"^- (Formerly|.*: formerly) .*\n", "", text, flags=re.MULTILINE)
    text = re.sub(r"; formerly [\w-]+\.", ".", text)
    text = re.sub(r" \(formerly [\w-]+\)", "", text)
    return text.replace(NEW, "")


def test_a_machine_a_point_a_task_a_part_and_a_person_are_renamed_under_a_year_of_visits():
    before = book_files(example_loaded().ledger, EXAMPLE_DAY)
    loaded = load(Files(renamed_example()))
    assert not loaded.has_errors, loaded.diagnostics
    after = book_files(loaded.ledger, EXAMPLE_DAY)

    assert sum(NEW in text for text in after.values()) > 30
    differing = [
        path
        for path, text in after.items()
        if without_the_news(text) != before.get(path.replace(NEW, ""))
    ]
    assert differing == []
    assert len(after) == len(before)


def ledger(visits=(), *, name="brush", formerly=("old",), **rest):
    machine = ELECTRIC | {"formerly": list(formerly)} if formerly else ELECTRIC
    return ledger_of(visits, machines={name: machine}, tasks={"grease": GREASE}, **rest)


def test_the_name_before_last_counts_too():
    found = ledger([visit(1, {"task": "grease", "at": "older"}), visit(2, {"task": "grease", "at": "old/bearing-top"})], formerly=["older", "old"])  # fmt: skip

    work = Schedule(found, on(3)).due(found.tasks["grease"], Place("brush", "bearing-top"))
    assert work.last_done.day == on(2)


def test_settings_under_the_old_name_are_those_of_the_machine():
    found = ledger(name="brush-new", formerly=["brush"], setpoints=[setpoint(0, 44)])

    assert found.setpoints["brush-new"].in_force.value == 44
    assert found.setpoints["brush-new"].path == "setpoints/brush.yaml"


@pytest.mark.parametrize(
    ("machines", "message"),
    [
        ({"one": ["two"], "two": []}, "`two` has it"),
        ({"one": ["old"], "two": ["old"]}, "`one` has it too"),
        ({"one": ["one"]}, "`one` has it"),
    ],
)
def test_a_former_name_means_one_thing(machines, message):
    files = {
        ident: ELECTRIC | {"station": number, **({"formerly": names} if names else {})}
        for number, (ident, names) in enumerate(machines.items(), 1)
    }
    with pytest.raises(AssertionError, match=message):
        ledger_of(machines=files)


def test_a_visit_of_somebody_renamed_keeps_its_file_name():
    people = {"ada": {"name": "Ada", "formerly": ["a-holt"]}, "b-marsh": SITE["people"]["b-marsh"]}
    found = ledger([visit(1, {"task": "grease"})], formerly=(), site={"people": people})

    assert found.visits[0].by == "ada"
    assert found.visits[0].ident.endswith("-a-holt")


def test_a_point_retires_like_a_machine():
    """Its old visits stay right, and nothing is asked of it any more."""
    points = ELECTRIC["points"] | {
        "bearing-top": {"kind": "rotating-bearing", "out_of_service": on(10).isoformat()}
    }
    found = ledger_of(
        [visit(1, {"task": "grease"}), visit(11, {"task": "grease"})],
        machines={"brush": ELECTRIC | {"points": points}},
        tasks={"grease": GREASE},
    )

    assert [len(one.entries[0].places) for one in found.visits] == [2, 1]
    for day, places in ((9, ["bearing-top", "bearing-bottom"]), (12, ["bearing-bottom"])):
        assert [one.place.point for one in Schedule(found, on(day)).all_due()] == places

"""What is locked before hands go in: the machine, the conveyor, what is in reach, the automatic
start. The zone rule is the project's own; the duty that a partial isolation is said per sheet is
that of 29 CFR 1910.147.
"""

import json
from datetime import date, timedelta
from itertools import pairwise

import pytest
from example import EXAMPLE_DAY, example_ledger
from small_site import ELECTRIC, FIRST_DAY, ledger_of, on, visit
from sound_site import SOUND, Files, texts_below

from ledger.book import markdown
from ledger.model.machines import Machine
from ledger.rules.lockout import lockout_warnings
from ledger.rules.site_check import SiteCheck
from ledger.site.pipeline import check, load
from ledger.upkeep.due.found import Schedule
from ledger.upkeep.lockout.found import sheets, sheets_of_walk, steps_of
from ledger.upkeep.lockout.page import sheet_page, walk_page

POWER = {"kind": "electrical", "magnitude": "460 V", "isolate_at": "Panel A", "device": "breaker", "wait_minutes": 10, "prove": "Try start."}  # fmt: skip
TENSION = {"kind": "mechanical", "magnitude": "tension", "isolate_at": "Screw", "device": "lock", "prove": "It hangs.", "only_here": True}  # fmt: skip
START = {"isolate_at": "Controller", "device": "breaker", "prove": "Break the beam: nothing moves."}
ZONES = {"zones": {"brushes": {"name": "Brushes"}, "exit": {"name": "Exit"}}}
GREASE = {"title": "Grease", "on": {"machines": ["side-brush", "blower", "pump-stand"]}, "every": "1 week", "lockout": True, "steps": "."}  # fmt: skip
INSPECT = {"title": "Inspect", "on": {"energy": True}, "every": "1 year", "inspects_lockout": True, "steps": "."}  # fmt: skip


def machine(name, station, kind="side-brush", **rest):
    return {"name": name, "kind": kind, "station": station, "energy": [POWER], **rest}


MACHINES = {
    "conveyor": machine("Conveyor", 10, "conveyor", zone="exit", energy=[POWER, TENSION]),
    "brush": machine("Brush", 20, zone="brushes"),
    "next": machine("Next brush", 30, zone="brushes"),
    "arch": machine("Arch", 40, "high-pressure-arch", zone="exit", reaches=["brushes"]),
    "blower": machine("Blower", 50, "blower", zone="exit"),
    "pump": machine("Pump", 60, "pump-stand", area="plant-room"),
}


def ledger(visits=(), machines=None, site=None, **tasks):
    return ledger_of(
        visits,
        machines=machines or MACHINES,
        tasks=tasks or {"grease": GREASE},
        site={**ZONES, "automatic_start": START, **(site or {})},
    )


def sheet_of(found, ident):
    (sheet,) = [one for one in sheets(found) if one.machine.ident == ident]
    return sheet


def locked(found, ident):
    return [step.name for step in steps_of(found, sheet_of(found, ident))]


def page_of(found, ident):
    return markdown.render(sheet_page(found, sheet_of(found, ident)))


def test_hands_in_at_a_brush_locks_the_conveyor_the_neighbours_in_reach_and_the_automatic_start():
    names = ["Brush", "Conveyor", "Next brush", "Arch", "Automatic start"]
    assert locked(ledger(), "brush") == names
    assert "Blower" not in page_of(ledger(), "brush")


def test_what_harms_only_at_the_machine_itself_is_not_locked_for_others():
    found = ledger()

    of_conveyor = [step.energy for step in steps_of(found, sheet_of(found, "conveyor"))]
    assert "mechanical, tension" in of_conveyor
    assert "mechanical, tension" not in page_of(found, "brush")


def test_a_zone_that_nobody_stated_may_be_any():
    without = {key: told for key, told in MACHINES["brush"].items() if key != "zone"}
    found = ledger(machines=MACHINES | {"brush": without})

    assert "Blower" in locked(found, "brush")
    assert "Zone where you stand: not stated, so all of the tunnel is locked." in page_of(found, "brush")  # fmt: skip
    assert "Brush" in locked(found, "blower")


def test_hands_in_at_the_conveyor_lock_all_along_it_whatever_zone_its_file_names():
    assert {"Brush", "Next brush", "Arch", "Blower"} <= set(locked(ledger(), "conveyor"))
    assert "Zone where you stand: all of the tunnel." in page_of(ledger(), "conveyor")


@pytest.mark.parametrize(("ident", "zone", "closes"), [("brush", "Brushes", 1), ("pump", "plant room", 0)])  # fmt: skip
def test_no_vehicle_is_driven_into_the_tunnel_while_hands_are_in_it(ident, zone, closes):
    page = page_of(ledger(), ident)

    assert f"Zone where you stand: {zone}." in page
    assert page.count("Close the entry, so that no vehicle is driven in.") == closes


def test_in_the_plant_room_only_what_reaches_there_is_locked_too():
    assert locked(ledger(), "pump") == ["Pump"]


def test_a_machine_that_is_gone_is_on_no_sheet_and_one_that_is_away_is():
    gone = MACHINES["next"] | {"out_of_service": on(1).isoformat()}
    away = MACHINES["next"] | {"out_of_service": [{"from": "2026-01-06", "to": "2026-01-07"}]}

    assert "Next brush" not in locked(ledger(machines=MACHINES | {"next": gone}), "brush")
    assert "Next brush" in locked(ledger(machines=MACHINES | {"next": away}), "brush")


def test_what_is_not_written_down_is_said_and_not_taken_for_nothing():
    bare = {key: told for key, told in ELECTRIC.items() if key != "energy"} | {"zone": "brushes"}
    found = ledger_of(machines={"brush": bare}, tasks={"grease": GREASE}, site=ZONES)

    said = page_of(found, "brush")
    assert "No energy is written down for Side brush" in said
    assert "How the automatic start is locked is not written down" in said


def test_a_sheet_without_energies_still_names_what_else_can_move():
    bare = {
        ident: {key: value for key, value in told.items() if key not in ("energy", "zone")}
        for ident, told in MACHINES.items()
    }
    eye = {"name": "Eye", "kind": "safety-circuit", "station": 70}
    found = ledger_of(machines=bare | {"eye": eye}, tasks={"grease": GREASE}, site=ZONES)

    steps = list(steps_of(found, sheet_of(found, "brush")))
    names = ["Brush", "Conveyor", "Next brush", "Arch", "Blower", "Automatic start"]
    assert [step.name for step in steps] == names
    assert {step.how.isolate_at for step in steps} == {"not written down: find it"}
    assert steps[1].energy.startswith("usual here: electrical or hydraulic drive, chain")
    assert "- [ ] Conveyor: Every source is found and locked." in page_of(found, "brush")


def test_no_sheet_calls_a_machine_safe():
    for found in (ledger(), example_ledger()):
        work = Schedule(found, EXAMPLE_DAY).all_due()
        pages = [sheet_page(found, one) for one in sheets(found)]
        pages.append(walk_page(found, sheets(found), work, EXAMPLE_DAY))
        for page in pages:
            said = markdown.render(page).lower()
            assert " safe" not in said, page.title
            assert "it proves nothing" in said or "no work with hands in" in said


def test_the_walk_locks_each_isolation_once_and_says_for_which_work():
    found = ledger()
    work = Schedule(found, on(7)).all_due()
    due = sheets_of_walk(sheets(found), work)

    assert [one.machine.ident for one in due] == ["brush", "next", "blower", "pump"]
    table = markdown.render(walk_page(found, sheets(found), work, on(7))).split("## Prove")[0]
    assert table.count("| Conveyor |") == 1
    # Two machines may have a breaker of one name: neither stands for the other.
    assert table.count("| Panel A |") == 6


def test_the_inspection_is_due_a_year_on_and_stands_on_the_sheet():
    filed = [visit(3, {"task": "inspect", "at": "brush"})]
    found = ledger(filed, inspect=INSPECT, grease=GREASE)

    assert "Last: 2026-01-08 by A. Holt." in page_of(found, "brush")
    work = {(w.task.ident, w.place.machine): w.due for w in Schedule(found, on(3)).all_due()}
    assert work["inspect", "brush"].due_on == date(2027, 1, 8)
    # On the first day there is no lockout that could be inspected.
    assert work["inspect", "next"].due_on >= FIRST_DAY + timedelta(days=360)


@pytest.mark.parametrize(("by", "rules"), [("a-holt", ["inspected-by-a-user"]), ("b-marsh", [])])
def test_who_works_by_a_sheet_does_not_inspect_it(by, rules):
    filed = [visit(1, {"task": "grease", "at": "brush"}), visit(3, {"task": "inspect", "at": "brush"}) | {"by": by}]  # fmt: skip
    found = ledger(filed, inspect=INSPECT, grease=GREASE)

    class Told(SiteCheck):
        def warn(self, path, pointer, **text):
            told.append(text["rule"])

    told: list[str] = []
    lockout_warnings(Told(ledger=found, documents={}, as_of=on(5)))
    assert told == rules


def test_gaps_are_told_once_a_site_has_begun_to_write_its_energies_down():
    def rules(**energy):
        files = texts_below(SOUND)
        for ident, told in energy.items():
            path = f"equipment/{ident.replace('_', '-')}.yaml"
            files[path] += f"energy: {json.dumps(told)}\n"
        return {d.rule for d in check(load(Files(files)), date(2026, 11, 25))}

    gaps = {"energy-not-stated", "automatic-start-not-stated"}
    assert not rules() & gaps
    assert rules(brush_p2=[POWER]) & gaps == gaps


def test_every_machine_of_the_example_that_hands_go_into_has_its_sheet():
    found = example_ledger()
    lockout = {p.machine for t in found.tasks.values() if t.lockout for p in t.places}
    with_sheet: dict[str, Machine] = {one.machine.ident: one.machine for one in sheets(found)}

    assert lockout <= with_sheet.keys()
    assert [name for name in lockout if not with_sheet[name].energy] == []
    for one in sheets(found):
        if one.is_in_tunnel:
            names = {step.name for step in steps_of(found, one)}
            assert {"Conveyor", "Automatic start"} <= names, one.machine.name


def test_each_machine_of_the_example_is_locked_for_work_at_the_one_beside_it():
    found = example_ledger()
    in_tunnel = [one for one in sheets(found) if one.is_in_tunnel]
    beside = [*pairwise(in_tunnel), *pairwise(reversed(in_tunnel))]

    assert len(in_tunnel) > 20
    for one, other in beside:
        if not all(energy.only_here for energy in other.machine.energy):
            assert other.machine.ident in {locked.machine.ident for locked in one.locked}


@pytest.mark.parametrize(
    ("ident", "energy"),
    [
        ("tyre-dresser", "90 psi at both arms"),
        ("top-brush", "counterweight"),
        ("brush-p2", "water, 120 psi"),
        ("pump-stand-2", "feed water"),
        ("pit-pump", "90 psi at the roller-up fork"),
    ],
)
def test_the_sheets_of_the_example_name_what_else_moves_falls_or_sprays(ident, energy):
    found = example_ledger()
    steps = steps_of(found, sheet_of(found, ident))
    assert any(energy in step.energy for step in steps)

"""The register says aloud where a setting rests on no second person; what was found, apart."""

import pytest
from small_site import ELECTRIC, ledger_of, setpoint, visit

from ledger.book import terminal
from ledger.book.blocks import Bullets, Caution, Table
from ledger.upkeep.register.found import register
from ledger.upkeep.register.page import found_facts, found_since, setpoints_page
from ledger.upkeep.speeds.found import speed_results


def words_of(**people) -> str:
    ledger = ledger_of([], machines={"brush": ELECTRIC}, setpoints=[{**setpoint(0, 45), **people}])
    results = speed_results(ledger)
    page = setpoints_page(ledger, register(ledger, results), results)
    return " ".join(terminal.render(page, width=400).split())


@pytest.mark.parametrize(
    ("people", "why"),
    [
        ({"proposed_by": "b-marsh", "approved_by": "b-marsh"}, "B. Marsh proposed it too"),
        (
            {"proposed_by": "b-marsh", "approved_by": "a-holt"},
            "the people file does not let A. Holt approve settings",
        ),
    ],
    ids=["own proposal", "not marked to approve"],
)
def test_an_approval_that_is_none_does_not_count_and_that_is_said_aloud(people, why):
    said = words_of(**people)
    name = why.removeprefix("the people file does not let ")[:8].strip()
    assert said.lower().count(f"claimed approved by {name}, does not count: {why}".lower()) == 2
    assert "no approved setting" in said
    assert "Claimed approved, not in force" in said


def test_a_second_person_who_may_approve_stands_without_a_word():
    text = words_of(proposed_by="a-holt", approved_by="b-marsh")
    assert "B. Marsh" in text
    assert "laimed" not in text


@pytest.mark.parametrize("rule", ["commit", "signed-commit", "file"])
def test_where_git_must_bear_an_approval_out_the_page_says_that_it_did_not_ask_git(rule):
    page = page_of(setpoints=[setpoint(0, 45)], site={"policy": {"approval_proof": rule}})
    said = terminal.render(page, width=400)
    asks = f"This site's rule ({rule}) asks for proof in git. This page does not look for it"
    assert (asks in said) is (rule != "file")


def test_a_drive_that_stands_at_what_was_only_claimed():
    claimed = setpoint(5, 44, proposed_by="b-marsh")
    (found,), _ = found_of([visit(8, {"at": "brush", "found_hz": 44})], [setpoint(0, 45), claimed])
    assert found[1] == "45 Hz"
    assert found[4] == (
        "44 Hz on 2026-01-13: DIFFERS, it is change 2, whose approval does not count"
    )


def page_of(visits=(), setpoints=(), **rest):
    ledger = ledger_of(visits, setpoints=setpoints, **{"machines": {"brush": ELECTRIC}, **rest})
    results = speed_results(ledger)
    return setpoints_page(ledger, register(ledger, results), results)


def found_of(visits=(), setpoints=()):
    """What was found and read since: the rows of the table, and the facts of the one drive."""
    ledger = ledger_of(visits, setpoints=setpoints, machines={"brush": ELECTRIC})
    results = speed_results(ledger)
    (line,) = lines = register(ledger, results)
    *_, table = found_since(ledger, lines)
    facts = found_facts(ledger, line, results)
    rows = [[terminal.plain(cell) for cell in row] for row in table.rows]
    return rows, list(map(terminal.plain, facts))


def table_rows(page):
    """The rows of each table of the page as plain words: the summary first, then drive by drive."""
    return [
        [[terminal.plain(cell) for cell in row] for row in block.rows]
        for block in page.blocks
        if isinstance(block, Table)
    ]


def read(day, rpm, hz):
    return visit(day, {"at": "brush", "turns": 40, "seconds": 2400 / rpm, "found_hz": hz})


def proposal(day, hz, **rest):
    return {key: value for key, value in setpoint(day, hz, **rest).items() if key != "approved_by"}


def test_a_drive_with_a_setting_seen_and_confirmed():
    """40 turns at 80 r/min take 30 s; u = 80 x 0.112 / 30 r/min, so U = 2 u = 0.60."""
    told = [read(0, 84, 46), read(10, 80, 44)], [setpoint(5, 44)]
    ((summary,), _) = table_rows(page_of(*told))
    assert summary == ["Side brush", "44 Hz", "2026-01-10", "110", "B. Marsh"]
    ((machine, setting, predicted, chance, found, last),), _ = found_of(*told)
    assert (machine, setting, chance) == ("Side brush", "44 Hz", "> 99 % (74–86)")
    assert found == "44 Hz on 2026-01-15: agrees"
    assert last == "80.00 ± 0.60 on 2026-01-15: agrees"
    assert "±" in predicted


def test_a_drive_found_elsewhere_and_a_reading_that_does_not_hold_are_said_aloud():
    visits = [read(0, 84, 46), read(10, 70, 44), visit(11, {"at": "brush", "found_hz": 40})]
    (found,), _ = found_of(visits, [setpoint(5, 44)])
    assert found[4] == "40 Hz on 2026-01-16: DIFFERS"
    assert found[5].endswith("on 2026-01-15: DIFFERS, 10.3 r/min below")


def test_a_drive_last_found_before_the_setting_in_force_began_is_not_said_to_agree_with_it():
    visits = [visit(2, {"at": "brush", "found_hz": 48})]
    (found,), _ = found_of(visits, [setpoint(0, 48), setpoint(5, 44)])
    assert found[1] == "44 Hz"
    assert found[4] == "48 Hz on 2026-01-07: agrees with the setting before this one"


def test_a_drive_last_found_elsewhere_than_at_the_setting_before_is_held_against_that_one():
    visits = [visit(2, {"at": "brush", "found_hz": 44})]
    (found,), _ = found_of(visits, [setpoint(0, 48), setpoint(5, 44)])
    assert found[4] == "44 Hz on 2026-01-07: DIFFERS from 48 Hz, in force that day"


def test_the_number_of_the_standard_stands_in_the_drive_s_own_section_only():
    rows, said = found_of([read(0, 84, 46), read(10, 80, 44), read(20, 70, 44)], [setpoint(5, 44)])
    proof = next(one for one in said if one.startswith("Confirmed by "))
    assert "Last read at it: 70.00 ± 0.46 on 2026-01-25: DIFFERS, " in proof
    assert proof.count("(E_n ") == 2
    assert not any("E_n" in cell for row in rows for cell in row)


def test_a_drive_without_an_approved_setting_keeps_its_row_and_its_proposal_stands_apart():
    told = [read(0, 84, 46)], [proposal(5, 44, why="Above the band.")]
    page = page_of(*told)
    assert table_rows(page)[0] == [["Side brush", "no approved setting", *["–"] * 3]]
    (bullets,) = [block for block in page.blocks if isinstance(block, Bullets)]
    assert terminal.plain(bullets.items[0]) == (
        "Side brush: 44 Hz from 2026-01-10 for 110 vehicles an hour. "
        "Proposed by A. Holt: Above the band."
    )
    _, (expected, *_) = found_of(*told)
    assert expected.startswith("Proposed: 44 Hz from 2026-01-10, predicted 80.")


def test_every_change_of_a_drive_stands_newest_first_with_its_evidence_and_its_people():
    changes = [
        setpoint(0, 48, proposed_on="2026-01-03", approved_on="2026-01-04"),
        proposal(5, 46, withdrawn="Counted again."),
        setpoint(9, 44, evidence=["2026-01-07T1000-a-holt#1"]),
        proposal(20, 43),
    ]
    (_, rows) = table_rows(page_of([read(2, 84, 48)], changes))
    assert [row[0] for row in rows] == ["4", "3", "2", "1"]
    assert [row[7] for row in rows] == [
        "not approved",
        "B. Marsh",
        "withdrawn: Counted again.",
        "B. Marsh, 2026-01-04",
    ]
    assert rows[3][6] == "A. Holt, 2026-01-03"
    assert rows[1][5] == "2026-01-07T1000-a-holt#1 (40 turns in 28.5714 s = 84.00 ± 0.66 r/min)"


def test_readings_do_not_alter_the_register():
    """But for those that a setting names as its evidence, and those stay as they were filed."""
    changes = [setpoint(0, 48), setpoint(9, 44, evidence=["2026-01-07T1000-a-holt#1"])]
    later = [visit(10, {"at": "brush", "found_hz": 50}), read(20, 70, 44), read(21, 71, 44)]
    before, after = (
        terminal.render(page_of([read(2, 84, 48), *more], changes), width=400)
        for more in ([], later)
    )
    assert before == after


def test_the_register_knows_no_day_and_says_that_it_promises_nothing():
    page = page_of([], [setpoint(0, 44)])
    assert page.as_of == ""
    (caution,) = [block for block in page.blocks if isinstance(block, Caution)]
    assert "not that a machine may be run" in terminal.plain(caution.lines[0])

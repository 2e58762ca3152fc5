"""The ledger of one machine holds all that its pages tell, and its digest stands for that."""

from itertools import chain

from small_site import LOOK, ledger_of, on, setpoint, visit


def ref(day, number=1):
    return f"{on(day)}T1000-a-holt#{number}"


def found(machine, **rest):
    return {"at": machine, "finding": "a loose guard", **rest}


LINKED = [
    visit(0, found("brush"), LOOK),
    visit(1, found("low", corrects=ref(0), reason="the other brush")),
    visit(2, {"note": "Bolted down.", "closes": ref(1)}),
    visit(3, {"at": "low", "temperature_c": 31}, meters={"vehicles": 900}),
    visit(400, {"task": "look", "at": "brush"}, {"task": "look"}, time="09:00"),
    visit(
        400,
        {"task": "look", "at": "low", "corrects": f"{on(400)}T0900-a-holt#1", "reason": "there"},
    ),
]

TASKS = {
    "look": {"title": "Look", "on": {"ids": ["brush", "low"]}, "every": "1 week", "steps": "."}
}


def linked(visits):
    return ledger_of(visits, tasks=TASKS)


def filed_at(ledger, machine):
    years = (ledger.filed_in(machine, year) for year in ledger.years_of(machine))
    return tuple(chain.from_iterable(years))


def told(ledger, machine):
    """What pages of a machine read."""
    return (
        [*ledger.standing_at(machine)],
        [*ledger.detailed_at(machine)],
        filed_at(ledger, machine),
        [(ledger.origin(e).ref, ledger.last_word(e).ref) for e in filed_at(ledger, machine)],
        [ledger.closed_by.get(ledger.origin(entry).ref) for entry in ledger.detailed_at(machine)],
        ledger.overall,
    )


def test_the_ledger_of_a_machine_tells_of_it_what_the_whole_does():
    ledger = linked(LINKED)
    for machine in ledger.machines:
        assert told(ledger.of_machine(machine), machine) == told(ledger, machine)
        here = ledger.of_machine(machine)
        assert filed_at(ledger, machine) == here.those_here(ledger.entries)
    assert [len(filed_at(ledger, machine)) for machine in ledger.machines] == [6, 5]
    assert [len([*ledger.standing_at(machine)]) for machine in ledger.machines] == [2, 4]


def test_a_machine_whose_entries_are_linked_with_none_of_another_has_its_own_alone():
    ledger = ledger_of([visit(0, LOOK, found("low"))])
    assert [len(ledger.of_machine(m).entries) for m in ("brush", "low", "unknown")] == [1, 1, 0]


def test_the_evidence_of_a_setting_belongs_to_its_machine():
    visits = [visit(0, {"at": "low", "temperature_c": 20})]
    ledger = ledger_of(visits, setpoints=[setpoint(1, 50, evidence=[ref(0)])])
    (change,) = ledger.setpoints["brush"].changes
    assert change.evidence[0] in ledger.of_machine("brush").entry


def test_a_digest_changes_with_the_visits_of_its_machine_alone():
    before = linked(LINKED)
    after = linked([*LINKED, visit(4, {"at": "low", "temperature_c": 32})])
    assert before.digest("low") != after.digest("low")
    assert before.digest("brush") == after.digest("brush")
    assert before.surroundings == after.surroundings


def test_a_digest_changes_where_a_linked_entry_of_another_machine_does():
    without_last = linked(LINKED[:2])
    assert without_last.digest("brush") != linked(LINKED).digest("brush")
    assert linked(LINKED[:4]).digest("brush") == linked(LINKED[:3]).digest("brush")


def test_other_files_show_in_the_surroundings():
    assert ledger_of().surroundings != ledger_of(setpoints=[setpoint(1, 50)]).surroundings


def test_a_digest_of_a_year_holds_what_closed_its_findings_later():
    late = visit(400, {"note": "Mended.", "closes": ref(0)})
    open_, closed = (ledger_of([visit(0, found("brush"), LOOK), *more]) for more in ([], [late]))
    other = ledger_of([visit(0, found("brush"), LOOK), visit(400, LOOK)])
    assert [one.years_of("brush") for one in (open_, closed)] == [(2026,), (2026, 2027)]
    assert open_.digest("brush", 2026) == other.digest("brush", 2026)
    assert open_.digest("brush", 2026) != closed.digest("brush", 2026)
    assert closed.digest("brush", 2026) == closed.digest("brush", 2027)


def test_the_work_of_some_tasks_is_the_standing_work_of_them_and_what_tells_more():
    ledger = linked(LINKED)
    for tasks in (set(), {"look"}, {"no-such-task"}):
        assert ledger.standing_of(tasks) == tuple(
            one for one in ledger.standing if one.task in tasks or not one.content.is_bare_work
        )

"""The first morning of a tunnel that runs already: asked at a terminal, or told by a sheet."""

from datetime import date, timedelta
from pathlib import Path

import pytest
from pinned_clock import TODAY, pinned_clock
from pseudo_terminal import Terminal

from ledger.cli import first_morning
from ledger.cli.command import open_folder
from ledger.compute.recurrence import Calendar, Unit
from ledger.compute.schedule import State
from ledger.filing import answers
from ledger.filing.first_site import machines_by_id, tasks_by_cycle
from ledger.upkeep.due.found import Schedule, is_for_safety

SITE = {
    "Name of the site": "Harrow Street Wash",
    "Time zone": "America/Chicago",
    "Units": "us, left",
    "First day of the record": "",
    "The site opened in": "2012-06",
    "Opening hours": "mon-sat 7-20, sun 8-18",
    "Vehicles an hour": "95, 70",
    "Proof of an approval": "",
    "Chain speed": "35 ft/min, 22 ft",
}
PEOPLE = (
    "Ada Tarrowby, ada@harrow.example, lead, lockout, approves",
    "Ben Stroud, ben@harrow.example, technician, lockout, electrical",
    "Cleo Marsh, cleo@harrow.example, manager, approves",
)
MACHINES = (
    "conveyor, Conveyor, under, fixed 15 hp",
    "soak-arch, Presoak arch",
    "wheel-arch, Wheel blasters, both",
    "side-brush, Side brush D1, driver, frequency 3 hp 30-60 Hz, 41.5 Hz",
    "side-brush, Side brush P1, passenger, frequency, 42 Hz",
    "side-brush, Side brush D2, driver, frequency, 43 Hz",
    "side-brush, Side brush P2, passenger, frequency, 44 Hz",
    "wrap, Wrap, left side, driver, frequency, 38 Hz",
    "low-brush, Rocker brush, passenger, hydraulic 9.8 in3 2-8 gpm, 4.4 gpm",
    "tyre-dresser, Tyre shiner, both, none",
    "rinse-arch, Rinse arch",
    "blower, Blower, over, fixed 15 hp",
    "safety-circuit, Emergency stops",
    "hydraulic-unit, Hydraulic unit, fixed 10 hp",
    "compressor, Compressor, fixed 5 hp",
)
NAMES = [answers.machine(line).name for line in MACHINES]
MOST_LINES = 60
LAST_DONE = {
    "1 day": "yesterday",
    "1 week": "this week; grease-shaft-bearings never; clean-photo-eyes@130 last month",
    "1 month": "this month",
    "3 months": "this year",
}


@pytest.fixture
def wash(tmp_path) -> Path:
    return tmp_path / "harrow"


def questions() -> list[tuple[str, str]]:
    """Every question that the newcomer is asked, and the line that is typed."""
    asked = list(SITE.items())
    asked += zip(["You: name", *["Next person"] * 3], [*PEOPLE, ""], strict=True)
    asked += [(f"Machine {number}", line) for number, line in enumerate([*MACHINES, ""], 1)]
    machines = machines_by_id([answers.machine(line) for line in MACHINES])
    asked += [
        (f"Every {cycle.removeprefix('1 ')} (Enter", LAST_DONE.get(cycle, ""))
        for cycle in tasks_by_cycle(machines)
    ]
    return [*asked, ("Write the site?", "y")]


def answer(terminal: Terminal, asked) -> None:
    for question, line in asked:
        terminal.answer(question, line)


@pytest.fixture
def from_sheet(tunnelbook, tmp_path) -> Path:
    """The same site, from a sheet."""
    (tmp_path / "sheet.yaml").write_text(sheet_text())
    assert tunnelbook("init", tmp_path / "sheet", "--answers", tmp_path / "sheet.yaml") == 0
    return tmp_path / "sheet"


def ledger(root: Path):
    return open_folder(root, None, pinned_clock).ledger


def sheet_text(**changes) -> str:
    keys = (
        "name",
        "time_zone",
        "units",
        "record_begins",
        "opened",
        "hours",
        "line_rate",
        "proof",
        "chain",
    )
    scalars = dict(zip(keys, SITE.values(), strict=True)) | {"record_begins": f"{TODAY}"}
    proof = {"approval_proof": scalars.pop("proof") or "commit"}
    lists = {"people": PEOPLE, "machines": MACHINES}
    told = {**scalars, **lists, "last_done": LAST_DONE, **changes, **proof}
    text = ""
    for key, value in told.items():
        if isinstance(value, str):
            text += f'{key}: "{value}"\n'
        elif isinstance(value, dict):
            text += f"{key}:\n" + "".join(f'  {name}: "{one}"\n' for name, one in value.items())
        else:
            text += f"{key}:\n" + "".join(f'  - "{one}"\n' for one in value)
    return text


def test_fifteen_machines_come_to_the_right_due_list_by_one_command_and_no_edit(wash, tunnelbook):
    asked = questions()
    terminal = Terminal("init", wash)
    answer(terminal, asked)
    assert terminal.end() == 0

    assert len(asked) <= MOST_LINES
    assert "Due work" in terminal.seen
    assert not list(wash.parent.glob("*.answers.yaml"))
    assert tunnelbook("check", wash, "--strict") == 0, tunnelbook.out
    found = ledger(wash)
    assert [machine.name for machine in found.machines.values()] == NAMES
    assert found.machines["side-brush-d2"].side == "driver"
    assert found.site.people["ada-tarrowby"].qualified == {"lockout"}


def test_the_due_list_is_that_of_the_answers(from_sheet):
    found = ledger(from_sheet)
    work = Schedule(found, TODAY).all_due()
    on_walk = [one for one in work if one.is_on_the_walk]

    # Of work that nobody can date, only that for safety is due on the first day.
    undated = {one.task.ident for one in on_walk if one.is_never_on_record}
    assert "test-relief-valve" in undated
    assert undated == {
        one.task.ident
        for one in work
        if one.is_never_on_record
        and is_for_safety(found, one.task)
        and not one.task.inspects_lockout
    }
    late = {f"{one.task.ident}@{one.place.machine}" for one in on_walk if one.due.overdue_days}
    assert late == {"clean-photo-eyes@emergency-stops"}
    # The daily round was done yesterday, and is due today at every machine.
    daily = [one for one in work if one.task.every == (Calendar(count=1, unit=Unit.DAY),)]
    assert {one.due.state for one in daily} == {State.IN_WINDOW}
    greasing = next(one for one in work if one.task.ident == "grease-shaft-bearings")
    assert greasing.is_never_on_record
    assert greasing.due.due_on == TODAY + timedelta(days=7)


def test_what_a_drive_is_set_to_is_taken_over_and_not_approved(from_sheet, tunnelbook):
    drives = ledger(from_sheet).setpoints

    assert {ident: drive.only_taken_over.value for ident, drive in drives.items()} == {
        "side-brush-d1": 41.5,
        "side-brush-p1": 42,
        "side-brush-d2": 43,
        "side-brush-p2": 44,
        "wrap-left-side": 38,
        "rocker-brush": pytest.approx(4.4 * 3.785411784),
    }
    assert tunnelbook("setpoints", from_sheet) == 0
    assert tunnelbook.out.count("taken over, not approved") >= len(drives)


def test_the_terminal_and_the_sheet_write_the_same_bytes(wash, from_sheet, files_of):
    terminal = Terminal("init", wash)
    answer(terminal, questions())
    assert terminal.end() == 0

    assert files_of(wash) == files_of(from_sheet)


@pytest.mark.parametrize(
    ("stop", "question_at"),
    [("ctrl-c", "Machine 7"), ("closed", "Machine 7"), ("closed", "You: name")],
)
def test_an_interrupted_start_goes_on_where_it_was(wash, from_sheet, files_of, stop, question_at):
    asked = questions()
    at = [question for question, _ in asked].index(question_at)
    terminal = Terminal("init", wash)
    answer(terminal, asked[:at])
    terminal.wait_for(question_at)
    if stop == "ctrl-c":
        terminal.interrupt()
    else:
        terminal.type("\x04")
    assert terminal.end() != 0
    assert not wash.exists()

    terminal = Terminal("init", wash)
    assert "Going on with the answers" in terminal.answer(*asked[at])
    answer(terminal, asked[at + 1 :])
    assert terminal.end() == 0
    assert files_of(wash) == files_of(from_sheet)


def test_a_wrong_answer_is_explained_and_one_can_be_taken_back(wash):
    terminal = Terminal("init", wash)
    answer(terminal, SITE.items())
    terminal.answer("You: name", "Ada, boss")
    assert "`boss` is neither an address nor one of technician" in terminal.answer("You: name", "?")
    assert "Name, address that git signs with" in terminal.answer("You: name", "back")
    terminal.answer("Chain speed", "18 m/min, 6.5 m")
    terminal.answer("You: name", PEOPLE[0])
    terminal.answer("Next person", "")
    assert "There is no" not in terminal.answer("Machine 1", "?")
    assert "Kinds: conveyor, correlator" in terminal.answer("Machine 1", "mitter, Mitter")
    assert "`mitter` is taken as curtain" in terminal.answer("Machine 2", "back")
    terminal.answer("Machine 1", "wrap, Wrap")
    terminal.wait_for("Machine 2")
    terminal.interrupt()
    assert terminal.end() != 0

    kept = (wash.parent / "harrow.answers.yaml").read_text()
    assert "chain: 18 m/min, 6.5 m\n" in kept
    assert "- wrap, Wrap\n" in kept


def test_a_sheet_may_hold_plain_numbers_metric_units_and_names_of_any_letters(wash, tunnelbook):
    """And kinds of machine of which the starting programme knows no points."""
    sheet = wash.parent / "sheet.yaml"
    sheet.write_text(
        "name: 'Waschstraße: Süd'\nunits: si\ntime_zone: Europe/Berlin\nopened: 2015\n"
        "hours: mo-fr 8-19:30, sa 9-24\nline_rate: 70\nchain: 18 m/min, 6.7 m\n"
        "people: ['Jörg Süß, joerg@sued.example, lead, approves', '李雷, manager']\n"
        "machines: ['wrap, Bürste, driver, hydraulic 160 cm3, 16.5 l/min', 'wrap, Bürste', "
        "'top-brush, Dach, over, frequency 2.2 kw 1450 rpm 18 :1 25-50 hz, 38 hz', 'other, 门']\n"
        "last_done: {1 month: '2026-10; 1@20 2026-W41'}\n"
    )

    assert tunnelbook("init", wash, "--answers", sheet) == 0
    assert tunnelbook("check", wash, "--strict") == 0, tunnelbook.out
    found = ledger(wash)
    assert list(found.machines) == ["burste", "burste-2", "dach", "other"]
    assert found.setpoints["burste"].only_taken_over.value == 16.5
    assert found.machines["dach"].drive.motor_kw == 2.2
    assert found.machines["dach"].drive.base_hz == 50
    assert found.site.line.line_rate_per_h == 70


@pytest.mark.parametrize(
    ("change", "line", "told"),
    [
        ({"line_rate": "fast"}, 7, "write the vehicles an hour now"),
        ({"hours": "mo 7-20"}, 6, None),
        ({"hours": "noday 7-20"}, 6, "`noday` is no day of the week"),
        ({"units": "metric"}, 3, "write us or si"),
        ({"time_zone": "America/Chigaco"}, 2, "did you mean America/Chicago?"),
        ({"opened": "100"}, 5, "write a day, month or year: 2014-05-12"),
        ({"machines": ["sidebrush, One"]}, 14, "did you mean side-brush?"),
        (
            {"machines": ["wrap, W, frequency, 4 gpm"]},
            14,
            "a frequency drive has no setting in gpm",
        ),
        ({"machines": ["wrap, W, hydraulic, 4 gpm"]}, 14, "needs its displacement"),
        ({"machines": ["wrap, W, hydraulic 9.8 in3 2-8 gpm"]}, 14, "write the setting after"),
        ({"machines": ["wrap, W, left, frequency, 40 Hz"]}, 14, "`left`: write the side as driver"),
        ({"machines": ["wrap, W, 15 hp"]}, 14, "`15 hp`: write a setting with its unit"),
        ({"machines": ["wrap, W, frequency 30-40 Hz, 44 Hz"]}, 14, "outside the limits 30 to 40"),
        (
            {"machines": ["wrap, W, driver, frequency, 44"]},
            14,
            "`44`: write a setting with its unit",
        ),
        ({"machines": ["wrap, W, frequency, driver, 4 Hz"]}, 14, "in this order"),
        ({"last_done": {"1 week": "tomorrow"}}, 30, "`tomorrow` is no time"),
        ({"last_done": {"1 week": "2027"}}, 30, "is after the first day of the record"),
        ({"last_done": {"1 week": "today; 99 never"}}, 30, "there is no task 99"),
        ({"last_done": {"9 weeks": "today"}}, 30, "no question asks for this"),
        ({"colour": "red"}, 34, "colour"),
    ],
)
def test_a_wrong_sheet_is_told_by_line_and_nothing_is_written(wash, tunnelbook, change, line, told):
    sheet = wash.parent / "sheet.yaml"
    sheet.write_text(sheet_text(**change))

    status = tunnelbook("init", wash, "--answers", sheet)

    if told is None:
        assert status == 0
        return
    assert status == 1
    assert f"sheet.yaml:{line}:" in tunnelbook.err + tunnelbook.out
    assert told in tunnelbook.err + tunnelbook.out
    assert not wash.exists()


TAKEN = [
    ("Dublin", "Europe/Dublin", first_morning._zone),
    ("new york", "America/New_York", first_morning._zone),
    ("10 m/min 6.5 m", {"chain_speed_m_per_min": 10, "vehicle_pitch_m": 6.5}, answers.chain),
    ("70/h, 50/h", [70, 50], answers.line_rates),
    ("today", TODAY, lambda text: answers.day(text, TODAY)),
    ("last month", date(2026, 10, 1), lambda text: answers.day(text, TODAY)),
    ("wrap, W, nearside", "passenger", lambda text: answers.machine(text).side),
    ("wrap, W, Off-side", "driver", lambda text: answers.machine(text).side),
    ("wrap, W, driver side", "driver", lambda text: answers.machine(text).side),
]


@pytest.mark.parametrize(("text", "meant", "parse"), TAKEN)
def test_what_has_one_meaning_is_taken_as_it_is_typed(text, meant, parse):
    assert parse(text) == meant


def test_a_machine_is_put_between_two_or_taken_out_and_what_looks_like_a_slip_is_shown(wash):
    terminal = Terminal("init", wash)
    answer(terminal, [*SITE.items(), ("You: name", PEOPLE[0]), ("Next person", "")])
    for number, line, shown in (
        (1, "wrap, Wrap, left one, driver", ""),
        (2, "blower, Blower", "its name is `Wrap, left one`; `back`"),
        (3, "2: side-brush, Brush, passenger", ""),
        (4, "9: wrap, W", ""),
        (4, "1: -", "there is no machine 9 yet"),
        (3, "rinse-arch, Blower", ""),
        (4, "", "there is a `Blower` already; `back`"),
    ):
        assert shown in terminal.answer(f"Machine {number}", line)
    terminal.wait_for("Every day")
    terminal.interrupt()
    assert terminal.end() != 0


def test_a_sheet_puts_machines_where_the_terminal_would(wash, tunnelbook):
    lines = ["wrap, Wrap", "blower, Blower", "2: side-brush, Brush, passenger", "1: -"]
    (wash.parent / "sheet.yaml").write_text(
        sheet_text(machines=lines, last_done={"1 day": "today"})
    )

    assert tunnelbook("init", wash, "--answers", wash.parent / "sheet.yaml") == 0
    names = [machine.name for machine in ledger(wash).machines.values()]
    assert names == ["Brush", "Blower"]


@pytest.mark.parametrize(("begins", "shown"), [("2019", True), ("today", False)])
def test_a_record_that_begins_long_ago_is_no_mistake_unseen(wash, begins, shown):
    terminal = Terminal("init", wash)
    answer(terminal, [*list(SITE.items())[:3], ("First day of the record", begins)])
    warned = "Work is asked for from 2019-01-01 on" in terminal.wait_for("The site opened in")
    terminal.interrupt()
    assert terminal.end() != 0
    assert warned is shown


def test_a_machine_that_oil_turns_has_no_electric_work_but_hoses_and_a_seal(from_sheet):
    found = ledger(from_sheet)
    at = {
        task.ident
        for task in found.tasks.values()
        for place in task.places
        if place.machine == "rocker-brush"
    }

    assert not at & {"measure-motor-currents", "test-insulation", "change-gearbox-oil"}
    assert {"check-hoses", "check-seals", "grease-shaft-bearings"} <= at
    assert "Goes through the skin" in " ".join(found.machines["rocker-brush"].cautions)


def test_what_is_remembered_of_this_year_was_not_done_after_today(from_sheet):
    task = ledger(from_sheet).tasks["check-switches"]

    assert {when.last for when in task.last_done.values()} == {TODAY}


@pytest.mark.parametrize(
    ("text", "when"),
    [
        ("today", "2026-11-25"),
        ("last week", "2026-W47"),
        ("this month", "2026-11"),
        ("last month", "2026-10"),
        ("last year", "2025"),
        ("2026-w46", "2026-W46"),
        ("not known", "not-known"),
        ("2 days ago", "2026-11-23"),
        ("3 weeks ago", "2026-W45"),
        ("12 months ago", "2025-11"),
        ("2 years ago", "2024"),
    ],
)
def test_times_are_typed_as_people_say_them(text, when):
    assert answers.last_done(text, (), (), TODAY).when == when


def test_the_number_in_weeks_ago_is_no_task():
    told = answers.last_done("today; 1 2 2 weeks ago", ("grease", "wash"), (), TODAY)

    assert told.others == (("grease", None, "2026-W46"), ("wash", None, "2026-W46"))


@pytest.mark.parametrize(
    "text",
    [
        "wrap, W, driver, frequency 3 hp 30-60 Hz, 40 Hz",
        "wrap, W, driver, frequency 3 hp 30-60 Hz 40 Hz",
        "wraparound, W, driver, VFD 3 hp 30-60 hz, 40 hz",
    ],
)
def test_a_drive_is_understood_as_people_write_it(text):
    machine = answers.machine(text)

    assert (machine.kind, machine.name, machine.drive.setting) == ("wrap", "W", ("hz", 40))
    assert machine.drive.limits == (30, 60)


def test_hours_need_no_commas():
    assert answers.hours("mo-fr 7-19 sa 8-18 sun closed") == answers.hours("mo-fr 7-19, sa 8-18")


def test_a_sheet_that_leaves_out_what_is_needed_says_what(tunnelbook, wash):
    sheet = wash.parent / "sheet.yaml"
    for text, told in (
        ("name: A\n", "the key `line_rate` is missing"),
        ("units: us\n", "the key `name` is missing"),
    ):
        sheet.write_text(text)
        assert tunnelbook("init", wash, "--answers", sheet) == 1
        assert told in tunnelbook.err + tunnelbook.out

"""`tunnelbook record` by questions: answers piped in, and keys on a real pseudo-terminal."""

import os
import re
import subprocess
import sys
from datetime import date, timedelta
from pathlib import Path

import pseudo_terminal
import pytest
from pinned_clock import TODAY, pinned_clock

from ledger.cli.command import open_folder

DAY_OF_SITE = "2026-01-05"
REPOSITORY = Path(__file__).parents[2]
PROGRAM = "tests.pinned_clock"
COMMAND = [sys.executable, "-m", PROGRAM]
# A limit that only a program that hangs will meet, on a machine that has much else to do.
PATIENCE_S = 60


@pytest.fixture
def wash(tunnelbook, tmp_path) -> Path:
    """A conveyor, a side brush and two wraps whose drives can be set, and two counters."""
    root = tmp_path / "wash"
    kinds = ("side-brush", "conveyor", "wrap", "wrap")
    tunnelbook("init", root, "--with", *kinds, "--time-zone", "Etc/UTC")
    site = root / "site.yaml"
    site.write_text(re.sub(r"in_service: .*", f"in_service: {DAY_OF_SITE}", site.read_text()))
    for machine in (root / "equipment").glob("[sw]*.yaml"):
        machine.write_text(
            machine.read_text().replace("drive: {", "drive: {hz_limits: [25, 60], ", 1)
        )
    return root


def filed(root: Path) -> list[Path]:
    return sorted((root / "observations").rglob("*.yaml"))


def entries(root: Path):
    """The entries of the one visit filed, as typed."""
    visits = open_folder(root, None, pinned_clock).ledger.visits
    assert len(visits) == 1
    return [dict(entry.raw) for entry in visits[0].entries]


def answered(root: Path, answers: str, *words: str) -> subprocess.CompletedProcess[str]:
    """The command with answers piped in, so that no terminal is there."""
    return subprocess.run(
        [*COMMAND, "record", "--site", str(root), *words],
        cwd=REPOSITORY, input=answers, capture_output=True, text=True, check=False,
    )  # fmt: skip


@pytest.fixture(scope="module")
def numbers_read() -> dict[str, int]:
    """Filled by the first test that asks for `numbers`: `wash` is the same in all."""
    return {}


@pytest.fixture
def numbers(wash: Path, numbers_read: dict[str, int]) -> dict[str, int]:
    """The number of each line of the list, by the title of its task."""
    if not numbers_read:
        shown = answered(wash, "", "--dry-run").stdout
        for number, title in re.findall(r"^ *(\d+)  ([^:\n]+):", shown, re.MULTILINE):
            numbers_read[title] = int(number)
    return numbers_read


ASKED = {"How is the steel there?": "Whole", "How do the strips hang?": "Torn"}


def test_the_daily_round_is_one_answer_beside_what_is_chosen(wash, numbers):
    """Both places that were drawn are asked about; what is wrong there is a finding."""
    number = numbers["Check that guards are in place"]
    answers = (f"in order before-opening also {number}", *ASKED.values(), "now", "14")
    shown = answered(wash, "\n".join(answers) + "\n\n\n\n\n", "--yes").stdout
    assert [shown.index(question) for question in ASKED] == sorted(map(shown.index, ASKED))
    claim, finding, *rest = entries(wash)
    assert claim["in_order"] == "before-opening"
    assert (claim["seen"], claim["minutes"]) == ([*ASKED.values()], 14)
    assert claim["except"] == [finding["at"]] == claim["drawn"][1:]
    assert (finding["finding"], finding["urgency"]) == ("Torn", "now")
    assert "check-guards" not in claim["tasks"], "guards are answered for one by one"
    assert rest == [{"task": "check-guards"}]


def test_a_round_outlives_what_is_said_after_it(wash, numbers):
    """What could not be done is asked for later, and taken back, and the round stays."""
    number = numbers["Check that guards are in place"]
    round_said = (
        "in order before-opening 14 min also in order running 9 min",
        "Whole",
        "Even",
        "Whole",
        "Whole",
    )
    rest = (f"{number} = locked away", "back", "", "", "", "", "")
    done = answered(wash, "\n".join((*round_said, *rest)) + "\n", "--yes")
    assert done.returncode == 0, done.stdout
    kinds = [(e["in_order"], e["minutes"]) for e in entries(wash) if "in_order" in e]
    assert kinds == [("before-opening", 14), ("running", 9)]


@pytest.mark.parametrize(
    ("words", "fault"),
    [
        ("in order", "say of which pass: in order before-opening or running"),
        ("in order closed", "say of which pass: in order before-opening or running"),
        ("in order running soon", "write PASS, PASS N min, or PASS but"),
        ("in order running but {speed}", "the round does not include"),
        ("in order running 0 min", "write the minutes it took"),
    ],
)
def test_words_that_say_no_round_are_asked_again(wash, numbers, words, fault):
    speed = numbers["Count the speed of every brush and wrap"]
    assert fault in answered(wash, words.format(speed=speed) + "\n", "--dry-run").stdout


def test_a_round_said_by_options_asks_at_a_terminal_for_the_rest(wash):
    terminal = Terminal(wash, "--in-order", "before-opening 0.5 min", "--dry-run")
    terminal.answer("How is the steel there?", "whole")
    terminal.answer("How do the strips hang?", "torn")
    terminal.answer("How soon", "back")
    terminal.answer("How do the strips hang?", "even")
    terminal.answer("is filed so. It is in order? (y, or `back`) ", "y")
    terminal.end()
    assert "minutes: 0.5" in terminal.seen
    assert "seen: [Whole, Even]" in terminal.seen


def Terminal(root: Path, *words: str, **how) -> pseudo_terminal.Terminal:  # noqa: N802
    return pseudo_terminal.Terminal("record", "--site", root, *words, **how)


DONE, COUNT, SETTING = "Done (Enter: none of it): ", "Passes and seconds", "Drive found at, Hz"
NOT_DONE, WRONG, COUNTERS = "ould not be done, and why", "thing", "Counters read"
NOTE, FILE = "Note (Enter: none): ", "File it? (y/n) "
REST = (NOT_DONE, WRONG, COUNTERS, NOTE)


def test_the_walk_is_one_line_a_task_with_its_stations(wash):
    shown = answered(wash, "", "--dry-run").stdout
    assert re.search(
        r"^ *\d+  Count the speed of every brush and wrap: at 10, 30-40, ", shown, re.MULTILINE
    )
    assert shown.index("Late") < shown.index("\n 1  ")
    assert "!" not in shown.partition("Answer:")[0]
    assert len(shown.splitlines()) < 40


def test_cautions_are_those_of_the_work_chosen_and_come_before_the_file(wash, numbers):
    speed = numbers["Count the speed of every brush and wrap"]
    guards = numbers["Check that guards are in place"]
    shown = answered(wash, f"{guards}\n\n\n\n\n", "--dry-run").stdout
    assert "! Lock out, tag out and verify every source of energy" in shown
    assert "! Check that guards are in place: Bare shafts. A slow smooth" in shown
    assert "Count from outside the guards" not in shown
    counting = answered(wash, f"{speed}@30\n40 30 @44\n\n\n\n\n", "--dry-run").stdout
    cautions = counting.index("! Count the speed of every brush and wrap: Turning. Count")
    assert cautions < counting.index("# obs")
    assert counting.count("Count from outside the guards") == 1


def test_work_under_lockout_says_where_to_lock_out(wash, numbers):
    strainers = numbers["Grease the turning shaft bearings"]
    shown = answered(wash, f"{strainers}\n\n\n\n\n", "--dry-run").stdout
    assert "! Grease the turning shaft bearings: Lock out first at 10, 30-40." in shown


def test_an_input_that_ends_files_nothing_and_prints_what_was_answered(wash, numbers):
    nozzles = numbers["Look at every nozzle"]
    done = answered(wash, f"{nozzles}\n")
    assert done.returncode == 2
    assert "{task: look-at-nozzles}" in done.stderr
    assert "the input ended; nothing was filed" in done.stderr
    assert filed(wash) == []


def test_a_visit_by_questions(wash, numbers):
    """A count typed; slips answered again; work not done; a finding; the counter; a note."""
    speed = numbers["Count the speed of every brush and wrap"]
    guards = numbers["Check that guards are in place"]
    answers = [
        "99", f"{speed}@10", "forty-three", "43 30", "44Hz",
        f"{guards}", "grating is frozen", "",
        "side-brush/nozle-1 sprays", "10/nozzle-1", "sprays aside", "", "",
        "2=184233", "Frost.",
    ]  # fmt: skip
    done = answered(wash, "\n".join(answers) + "\n", "--yes")
    assert done.returncode == 0, done.stdout + done.stderr
    assert "`99` is no number of the list" in done.stdout
    assert "write the passes and the seconds" in done.stdout
    assert "86.0 ± 1.8 r/min  cannot tell 85–97" in done.stdout
    assert "did you mean side-brush/nozzle-1" in done.stdout
    assert entries(wash) == [
        {
            "task": "check-brush-speed", "at": "side-brush", "counted": 43, "seconds": 30,
            "found_hz": 44,
        },
        {"task": "check-guards", "outcome": "not-done", "reason": "grating is frozen"},
        {"finding": "sprays aside", "at": "side-brush/nozzle-1", "urgency": "soon"},
    ]  # fmt: skip
    visit = open_folder(wash, None, pinned_clock).ledger.visits[0]
    assert visit.meters == {"vehicles": 184233}
    assert visit.note == "Frost."


def test_a_reading_is_asked_for_again_and_skipped_only_in_so_many_words(wash, numbers):
    """Nothing of the first machine is known; of the second the count, but not the setting."""
    speed = numbers["Count the speed of every brush and wrap"]
    answers = ["", "skip", "skip", "40 30", "", "skip", "", "", "", ""]
    done = answered(wash, "\n".join([f"{speed}@10-30", *answers]) + "\n", "--yes")
    assert done.stdout.count("without it the work stays due: type it, or `skip`") == 2
    assert "Left due: Count the speed of every brush and wrap, Side brush." in done.stdout
    assert (
        "Left due: Count the speed of every brush and wrap, Wrap; what was read is kept"
        in done.stdout
    )
    assert entries(wash) == [{"at": "wrap-1", "counted": 40, "seconds": 30}]


def test_a_whole_visit_in_ten_answers(wash, numbers):
    """Three kinds of work at stations 30 and 40 but one, two speeds and a finding."""
    gearboxes = numbers["Look at the gearboxes for leaks"]
    speed = numbers["Count the speed of every brush and wrap"]
    nozzles = numbers["Look at every nozzle"]
    terminal = Terminal(wash)
    terminal.answer(
        DONE, f"{speed}@30-40, {nozzles}@30-40, {gearboxes} but {gearboxes}@40 {gearboxes}@10-20"
    )
    terminal.answer(COUNT, "40 30 @44")
    terminal.answer(COUNT, "39/30 @ 44.5 Hz")
    terminal.answer(NOT_DONE, "")
    terminal.answer(WRONG, "30/nozzle-1 sprays aside")
    terminal.answer("How soon", "")
    for question in (WRONG, COUNTERS, NOTE):
        terminal.answer(question, "")
    shown = terminal.answer(FILE, "y")
    assert terminal.end() == 0, terminal.seen
    assert filed(wash)[0].read_text() in shown
    found = entries(wash)
    assert {"task": "look-at-gearboxes", "at": "wrap-1"} in found
    assert {
        "task": "check-brush-speed", "at": "wrap-2", "counted": 39, "seconds": 30, "found_hz": 44.5,
    } in found  # fmt: skip
    assert found[-1] == {"finding": "sprays aside", "at": "wrap-1/nozzle-1", "urgency": "soon"}


def test_an_answer_is_taken_back_and_the_others_stand(wash, numbers):
    nozzles = numbers["Look at every nozzle"]
    terminal = Terminal(wash)
    terminal.answer(DONE, f"{nozzles}")
    terminal.answer(NOT_DONE, "back")
    terminal.answer(f"{DONE}[{nozzles}; Enter keeps it, - empties it] ", f"{nozzles}@30")
    terminal.answer(NOT_DONE, "")
    terminal.answer(WRONG, "30 rattles")
    terminal.answer("How soon", "")
    terminal.answer(WRONG, "")
    terminal.answer(COUNTERS, "")
    terminal.answer(NOTE, "first")
    terminal.answer(FILE, "6")
    terminal.answer("[first; Enter keeps it, - empties it] ", "second")
    terminal.answer(FILE, "4")
    terminal.answer("[30 rattles; Enter keeps it, - empties it] ", "-")
    shown = terminal.answer(FILE, "y")
    assert NOTE not in shown
    assert terminal.end() == 0, terminal.seen
    assert entries(wash) == [{"task": "look-at-nozzles", "at": "wrap-1"}]
    assert open_folder(wash, None, pinned_clock).ledger.visits[0].note == "second"


def test_a_caution_of_work_chosen_on_second_thoughts_is_shown(wash, numbers):
    terminal = Terminal(wash)
    terminal.answer(DONE, str(numbers["Look at every nozzle"]))
    for question in REST:
        terminal.answer(question, "")
    terminal.answer(FILE, "1")
    terminal.answer(DONE, str(numbers["Grease the turning shaft bearings"]))
    shown = terminal.answer(FILE, "n")
    assert "! Grease the turning shaft bearings: Lock out first at" in shown
    assert terminal.end() == 1
    assert filed(wash) == []


def test_a_visit_that_cannot_be_filed_is_changed_instead(wash):
    terminal = Terminal(wash)
    terminal.answer(DONE, "")
    terminal.answer(NOT_DONE, "")
    terminal.answer(WRONG, "")
    terminal.answer(COUNTERS, "1=10")
    terminal.answer(NOTE, "")
    shown = terminal.answer("Change what? (n: stop) ", "y")
    assert "Nothing was answered that could be filed." in shown
    terminal.answer("Change what? (n: stop) ", "4")
    terminal.answer(WRONG, "30 rattles")
    terminal.answer("How soon", "tied back")
    terminal.answer(WRONG, "")
    terminal.answer(FILE, "y")
    assert terminal.end() == 0, terminal.seen
    assert entries(wash) == [
        {"finding": "rattles", "at": "wrap-1", "urgency": "now"},
        {"tied_back": "rattles", "at": "wrap-1"},
    ]


def test_a_small_screen_shows_the_rest_behind_more(wash):
    terminal = Terminal(wash, rows=20, columns=80)
    shown = terminal.answer(DONE, "more")
    assert len(shown.splitlines()) <= 20
    assert " not shown yet: answer `more`." in shown
    terminal.answer(DONE, "?1")
    assert "1.1 " in terminal.wait_for(DONE)
    terminal.interrupt()
    assert terminal.end() == 130


def test_someone_git_does_not_know_is_asked_who_they_are(wash, monkeypatch):
    monkeypatch.setenv("GIT_CONFIG_GLOBAL", os.devnull)
    terminal = Terminal(wash)
    shown = terminal.answer("Who are you? ", "3")
    assert shown.endswith(" 1  Ada Tarrowby\n 2  Second person\n")
    terminal.answer("Who are you? ", "2")
    assert "Second person. `back` takes" in terminal.wait_for(DONE)
    terminal.interrupt()
    assert terminal.end() == 130


def test_the_space_bar_counts_the_passes(wash, numbers):
    """Twelve taps half a second apart: the file holds them, and the live line was shown."""
    speed = numbers["Count the speed of every brush and wrap"]
    terminal = Terminal(wash, "--yes", program="tests.even_taps")
    terminal.answer(DONE, f"{speed}@10")
    terminal.answer(COUNT, "t")
    terminal.wait_for("Enter ends.")
    terminal.type(" r" + 12 * " ")
    terminal.wait_for("12 taps")
    terminal.wait_for("120.00 ±")
    terminal.type("\n")
    terminal.answer(SETTING, "44")
    terminal.answer("Set to 42 Hz? (y, another value, or Enter to leave it at 44 Hz): ", "")
    for question in REST:
        terminal.answer(question, "")
    assert terminal.end() == 0, terminal.seen
    (entry,) = entries(wash)
    assert (entry["task"], entry["at"]) == ("check-brush-speed", "side-brush")
    assert entry["taps_s"] == [tap / 2 for tap in range(12)]


def test_taps_that_tell_nothing_are_asked_for_again(wash, numbers):
    """Three taps are too few; a count typed after them is filed."""
    speed = numbers["Count the speed of every brush and wrap"]
    terminal = Terminal(wash, "--yes")
    terminal.answer(DONE, f"{speed}@10")
    terminal.answer(COUNT, "t")
    terminal.wait_for("Enter ends.")
    terminal.type("   \n")
    terminal.wait_for("only 3 taps")
    terminal.answer(COUNT, "43 30 @44")
    for question in REST:
        terminal.answer(question, "")
    assert terminal.end() == 0, terminal.seen
    assert entries(wash) == [
        {
            "task": "check-brush-speed", "at": "side-brush", "counted": 43, "seconds": 30,
            "found_hz": 44,
        }
    ]  # fmt: skip


def test_ctrl_c_in_the_midst_of_taps_keeps_what_was_answered_as_a_file_to_save(wash, numbers):
    """The first machine was read whole; the draft passes the check once it is saved."""
    speed, nozzles = (
        numbers["Count the speed of every brush and wrap"],
        numbers["Look at every nozzle"],
    )
    terminal = Terminal(wash)
    terminal.answer(DONE, f"{speed}@10-30 {nozzles}")
    terminal.answer(COUNT, "43 30 @44")
    terminal.answer(COUNT, "t")
    terminal.wait_for("Enter ends.")
    terminal.type("  ")
    terminal.wait_for("2 taps")
    terminal.interrupt()
    assert terminal.end() == 130
    assert filed(wash) == []
    said, _, draft = terminal.seen.partition("save it as\n")
    assert "Nothing was filed. What was answered so far would be this file" in said
    path, _, text = draft.partition("\n\n")
    Path(path).parent.mkdir(parents=True)
    Path(path).write_text(text)
    assert entries(wash) == [
        {"task": "look-at-nozzles"},
        {
            "task": "check-brush-speed", "at": "side-brush", "counted": 43, "seconds": 30,
            "found_hz": 44,
        },
    ]  # fmt: skip


def test_ctrl_c_while_an_answer_is_given_again_loses_nothing_that_was_answered(wash):
    terminal = Terminal(wash)
    terminal.answer(DONE, "")
    terminal.answer(NOT_DONE, "")
    terminal.answer(WRONG, "30 rattles")
    terminal.answer("How soon", "now")
    for question in (WRONG, COUNTERS, NOTE):
        terminal.answer(question, "")
    terminal.answer(FILE, "4")
    terminal.wait_for("[30 rattles; Enter keeps it, - empties it] ")
    terminal.interrupt()
    assert terminal.end() == 130
    assert "{finding: rattles, at: wrap-1, urgency: now}" in terminal.seen


def test_ctrl_c_before_any_answer_says_that_nothing_was_filed(wash):
    terminal = Terminal(wash)
    terminal.wait_for(DONE)
    terminal.interrupt()
    assert terminal.end() == 130
    assert "Nothing was filed: no work, reading or finding was answered yet." in terminal.seen


def in_service_since(root: Path, days: int) -> None:
    """Let the site have begun some days ago."""
    site = root / "site.yaml"
    day = TODAY - timedelta(days=days)
    site.write_text(site.read_text().replace(DAY_OF_SITE, day.isoformat()))


def test_on_the_first_day_nothing_is_due_and_work_done_early_can_be_filed(wash):
    in_service_since(wash, days=0)
    for task in ("check-guards", "review-entry-permits"):  # for safety, so due on the first day
        (wash / f"tasks/{task}.yaml").unlink()
    terminal = Terminal(wash)
    shown = terminal.wait_for(DONE)
    assert "Nothing is due on this walk for you.\nNot due yet\n" in shown
    terminal.type("all\n")
    terminal.wait_for("`all` is all that is due, and nothing is: write the numbers")
    terminal.answer(DONE, re.search(r"(\d+)  Look at every nozzle", shown)[1])
    terminal.answer("Anything wrong", "")  # what was not due was not left undone either
    for question in (COUNTERS, NOTE):
        terminal.answer(question, "")
    terminal.answer(FILE, "y")
    assert terminal.end() == 0
    assert entries(wash) == [{"task": "look-at-nozzles"}]


def test_work_that_is_not_due_yet_is_listed_behind_the_rest_when_asked_for(wash):
    in_service_since(wash, days=1)
    terminal = Terminal(wash)
    shown = terminal.wait_for(DONE)
    assert "`other` lists what is not due yet" in shown
    assert "Grease the turning shaft bearings" not in shown
    last_due = max(int(number) for number in re.findall(r"^ *(\d+)  ", shown, re.MULTILINE))
    terminal.type("other\n")
    early = terminal.wait_for(DONE)
    numbers = [int(number) for number in re.findall(r"^ *(\d+)  ", early, re.MULTILINE)]
    assert numbers == list(range(last_due + 1, last_due + 1 + len(numbers)))
    number, due = re.search(r"(\d+)  Grease the turning shaft bearings.*?due\s+(\S+)", early, re.DOTALL).groups()  # fmt: skip
    assert date.fromisoformat(due) > TODAY
    terminal.type(f"{number}@10-20\n")
    terminal.wait_for(NOT_DONE)
    terminal.interrupt()
    assert terminal.end() == 130
    assert "{task: grease-shaft-bearings" in terminal.seen

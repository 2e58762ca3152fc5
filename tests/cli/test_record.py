"""`tunnelbook record`: by options, by questions, and with the space bar of a real terminal."""

import os
import pty
import re
import select
import subprocess
import sys
import time
from pathlib import Path

import pytest

from ledger.cli.command import open_site
from ledger.edit.walk import chosen

DAY_OF_SITE = "2026-01-05"
REPOSITORY = Path(__file__).parents[2]


@pytest.fixture
def wash(tunnelbook, tmp_path) -> Path:
    """A side brush with nozzles and a conveyor, in service for long, and a vehicle counter."""
    root = tmp_path / "wash"
    tunnelbook("init", root, "--with", "side-brush", "conveyor", "--time-zone", "Etc/UTC")
    site = root / "site.yaml"
    site.write_text(re.sub(r"in_service: .*", f"in_service: {DAY_OF_SITE}", site.read_text()))
    return root


def filed(root: Path) -> list[Path]:
    return (
        sorted((root / "observations").rglob("*.yaml")) if (root / "observations").exists() else []
    )


def entries(root: Path):
    """The entries of the one visit filed, as typed."""
    visits = open_site(str(root), None).ledger.visits
    assert len(visits) == 1
    return [dict(entry.raw) for entry in visits[0].entries]


def test_work_told_by_options_is_filed_under_its_right_name(tunnelbook, wash):
    status = tunnelbook(
        "record", "--site", wash, "--at", "2026-11-23T06:40", "--done", "look-at-nozzles",
        "--done", "grease-shaft-bearings@side-brush", "--meter", "vehicles=184233",
        "--note", "Frost in the morning.",
    )  # fmt: skip
    assert (status, tunnelbook.err) == (0, "")
    path = wash / "observations/2026/11/2026-11-23T0640-ada-tarrowby.yaml"
    assert f"filed {path}" in tunnelbook.out
    assert path.read_text() in tunnelbook.out
    assert entries(wash) == [
        {"task": "look-at-nozzles"},
        {"task": "grease-shaft-bearings", "at": "side-brush"},
    ]
    visit = open_site(str(wash), None).ledger.visits[0]
    assert visit.meters == {"vehicles": 184233}
    assert visit.note == "Frost in the morning."
    assert visit.entered_at is not None


def test_a_visit_of_now_was_not_entered_later(tunnelbook, wash):
    assert tunnelbook("record", "--site", wash, "--done", "look-at-nozzles") == 0
    assert "entered_at" not in filed(wash)[0].read_text()


def test_a_count_goes_with_the_task_that_asks_for_it(tunnelbook, wash):
    tunnelbook(
        "record", "--site", wash, "--yes", "--done", "check-brush-speed",
        "--speed", "side-brush=38/30@44",
    )  # fmt: skip
    assert entries(wash) == [
        {
            "task": "check-brush-speed",
            "at": "side-brush",
            "counted": 38,
            "seconds": 30,
            "found_hz": 44,
        }
    ]


def test_a_count_by_itself_does_no_task(tunnelbook, wash):
    assert tunnelbook("record", "--site", wash, "--speed", "side-brush=38/30") == 0
    assert entries(wash) == [{"at": "side-brush", "counted": 38, "seconds": 30}]


def test_places_without_a_count_are_told_apart_from_those_with_one(tunnelbook, wash):
    tunnelbook("init", wash, "--with", "wrap")
    tunnelbook(
        "record", "--site", wash, "--yes", "--done", "check-brush-speed",
        "--speed", "side-brush=38/30",
    )  # fmt: skip
    assert entries(wash) == [
        {"task": "check-brush-speed", "except": ["side-brush"]},
        {"task": "check-brush-speed", "at": "side-brush", "counted": 38, "seconds": 30},
    ]


def test_findings_what_was_not_done_and_any_other_entry(tunnelbook, wash):
    status = tunnelbook(
        "record", "--site", wash,
        "--finding", "side-brush/nozzle-1=sprays aside = wet floor", "--urgency", "now",
        "--not-done", "look-over-conveyor=line could not be stopped",
        "--entry", "{at: side-brush, temperature_f: 126}",
    )  # fmt: skip
    assert (status, tunnelbook.err) == (0, "")
    assert entries(wash) == [
        {
            "task": "look-over-conveyor",
            "outcome": "not-done",
            "reason": "line could not be stopped",
        },
        {"finding": "sprays aside = wet floor", "at": "side-brush/nozzle-1", "urgency": "now"},
        {"at": "side-brush", "temperature_f": 126},
    ]


def test_a_finding_is_closed_by_its_name(tunnelbook, wash):
    tunnelbook("record", "--site", wash, "--at", "2026-11-23T06:40", "--finding", "side-brush=loud")
    assert tunnelbook("record", "--site", wash, "--close", "2026-11-23T0640-ada-tarrowby#1") == 0
    closing = open_site(str(wash), None).ledger.visits[1].entries[0]
    assert str(closing.closes) == "2026-11-23T0640-ada-tarrowby#1"
    assert closing.places[0].machine == "side-brush"


def test_a_dry_run_writes_nothing(tunnelbook, wash):
    assert tunnelbook("record", "--site", wash, "--dry-run", "--done", "look-at-nozzles") == 0
    assert "{task: look-at-nozzles}" in tunnelbook.out
    assert filed(wash) == []


def test_the_second_visit_of_a_minute_does_not_overwrite_the_first(tunnelbook, wash):
    for _ in range(2):
        tunnelbook(
            "record", "--site", wash, "--at", "2026-11-23T06:40", "--done", "look-at-nozzles"
        )
    assert [path.name for path in filed(wash)] == [
        "2026-11-23T0640-ada-tarrowby.yaml",
        "2026-11-23T0640-ada-tarrowby~2.yaml",
    ]


def test_an_error_is_told_by_line_and_nothing_is_filed(tunnelbook, wash):
    assert tunnelbook("record", "--site", wash, "--entry", "{task: look-at-nozzle, minuts: 3}") == 1
    assert "minuts" in tunnelbook.err
    assert "did you mean" in tunnelbook.err
    assert tunnelbook.err.endswith("nothing was filed\n")
    assert filed(wash) == []


def test_an_unknown_task_is_told_with_the_nearest(tunnelbook, wash):
    assert tunnelbook("record", "--site", wash, "--done", "look-at-nozzle") == 1
    assert "did you mean: look-at-nozzles?" in tunnelbook.err
    assert filed(wash) == []


def test_what_a_foreman_would_ask_about_needs_a_yes(tunnelbook, wash):
    words = (
        "record",
        "--site",
        wash,
        "--at",
        "2025-06-01T06:40",
        "--done",
        "look-at-nozzles@side-brush",
    )
    assert tunnelbook(*words) == 1
    assert "not-in-service" in tunnelbook.err
    assert "--yes" in tunnelbook.err
    assert filed(wash) == []
    assert tunnelbook(*words, "--yes") == 0
    assert len(filed(wash)) == 1


def test_a_fault_in_another_file_keeps_no_work_from_being_filed(tunnelbook, wash):
    (wash / "tasks/broken.yaml").write_text("titel: x\n")
    assert tunnelbook("record", "--site", wash, "--done", "look-at-nozzles") == 0
    assert "other files of the site have errors" in tunnelbook.err


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        (("--by", "ada-tarowby"), "did you mean `ada-tarrowby`"),
        (("--at", "quarter to six"), "write 06:40"),
        (("--at", "2026-11-23"), "write 06:40"),
        (("--done", "look-at-nozzles@side-brsh"), "did you mean `side-brush`"),
        (("--speed", "side-brush=38"), "PASSES/SECONDS"),
        (("--speed", "side-brush=38.5/30"), "no whole number"),
        (("--speed", "side-brush=38/thirty"), "no number"),
        (("--finding", "side-brush"), "PLACE=TEXT"),
        (("--not-done", "look-at-nozzles"), "REASON"),
        (("--close", "2026-11-23T0640-ada-tarrowby#1"), "there is no entry"),
        (("--close", "that one"), "VISIT#NUMBER"),
        (("--entry", "[1, 2]"), "is no entry"),
        (("--meter", "vehicles=many", "--done", "look-at-nozzles"), "no number"),
        (("--with", "bob", "--done", "look-at-nozzles"), "there is no person `bob`"),
    ],
)
def test_words_that_cannot_be_used(tunnelbook, wash, words, complaint):
    assert tunnelbook("record", "--site", wash, *words) == 2
    assert complaint in tunnelbook.err
    assert filed(wash) == []


def test_someone_git_does_not_know_is_told_who_there_is(tunnelbook, wash, monkeypatch):
    monkeypatch.setenv("GIT_CONFIG_GLOBAL", os.devnull)
    assert tunnelbook("record", "--site", wash, "--done", "look-at-nozzles") == 2
    assert "--by PERSON: ada-tarrowby, second-person" in tunnelbook.err


def test_a_person_is_known_by_address_whatever_the_name(tunnelbook, wash, monkeypatch, tmp_path):
    site = wash / "site.yaml"
    site.write_text(
        site.read_text().replace(
            "    name: Second person\n",
            "    name: Second person\n    emails: [second@wash.example]\n",
        )
    )
    settings = tmp_path / "gitconfig"
    settings.write_text("[user]\n\tname = Ada Tarrowby\n\temail = SECOND@wash.example\n")
    monkeypatch.setenv("GIT_CONFIG_GLOBAL", str(settings))
    tunnelbook("record", "--site", wash, "--done", "look-at-nozzles")
    assert filed(wash)[0].stem.endswith("-second-person")


def answered(root: Path, answers: str, *words: str) -> subprocess.CompletedProcess[str]:
    """The command with answers piped in, so that no terminal is there."""
    return subprocess.run(
        [sys.executable, "-m", "ledger", "record", "--site", str(root), *words],
        cwd=REPOSITORY, input=answers, capture_output=True, text=True, check=False,
    )  # fmt: skip


def test_the_walk_is_asked_for_with_cautions_first(wash):
    shown = answered(wash, "", "--dry-run").stdout
    lockout = shown.index("! Lock out first: Side brush")
    caution = shown.index("! Count from outside the guards.")
    first = shown.index("  1  10 · Side brush: Count the speed")
    assert lockout < caution < first
    assert "Safe" not in shown


def test_an_input_that_ends_files_nothing(wash):
    done = answered(wash, "all\n")
    assert done.returncode == 2
    assert "nothing was filed" in done.stderr
    assert filed(wash) == []


def test_a_visit_by_questions(wash):
    """Done but for two lines; a count typed; a slip answered again; a finding; the counter."""
    shown = answered(wash, "", "--dry-run").stdout
    lines = re.findall(r"^ +(\d+)  \d+ · (.+)$", shown, re.MULTILINE)
    speed = next(number for number, text in lines if "Count the speed" in text)
    guards = next(number for number, text in lines if "guards are in place" in text)
    answers = [
        f"{speed} 99", speed, "thirty-eight", "38 30", "44", "",
        guards, "grating is frozen",
        "side-brush/nozle-1", "side-brush/nozzle-1", "sprays aside", "",
        "", "", "184233", "Frost.",
    ]  # fmt: skip
    done = answered(wash, "\n".join(answers) + "\n", "--yes")
    assert done.returncode == 0, done.stdout + done.stderr
    assert "`99` is no number of the list" in done.stdout
    assert "write the passes and the seconds" in done.stdout
    assert "76.0 ± 1.7 r/min  cannot tell 75–85" in done.stdout
    assert "did you mean side-brush/nozzle-1" in done.stdout
    assert entries(wash) == [
        {
            "task": "check-brush-speed", "at": "side-brush", "counted": 38, "seconds": 30,
            "found_hz": 44,
        },
        {"task": "check-guards", "outcome": "not-done", "reason": "grating is frozen"},
        {"finding": "sprays aside", "at": "side-brush/nozzle-1", "urgency": "soon"},
    ]  # fmt: skip
    visit = open_site(str(wash), None).ledger.visits[0]
    assert visit.meters == {"vehicles": 184233}
    assert visit.note == "Frost."


class Terminal:
    """A program on a real pseudo-terminal."""

    def __init__(self, command: list[str]) -> None:
        self._pid, self._fd = pty.fork()
        if self._pid == 0:
            os.chdir(REPOSITORY)
            os.execv(command[0], command)
        self.seen = ""

    def wait_for(self, words: str) -> None:
        """Read until the words are seen past what was waited for before."""
        until = time.monotonic() + 60
        while words not in self.seen:
            assert time.monotonic() < until, self.seen
            if select.select([self._fd], [], [], 1)[0]:
                self.seen += self._read()
        self.seen = self.seen.partition(words)[2]

    def type(self, keys: str) -> None:
        os.write(self._fd, keys.encode())

    def end(self) -> int:
        """What the program has yet to say goes into `seen`; its exit status."""
        while chunk := self._read():
            self.seen += chunk
        _, status = os.waitpid(self._pid, 0)
        os.close(self._fd)
        return os.waitstatus_to_exitcode(status)

    def _read(self) -> str:
        try:
            return os.read(self._fd, 4096).decode(errors="replace")
        except OSError:  # Linux says so where the other side is closed
            return ""


def test_the_space_bar_counts_the_passes(wash):
    """Twelve taps some 0.12 s apart: the file holds them, and the live line was shown."""
    terminal = Terminal([sys.executable, "-m", "ledger", "record", "--site", str(wash), "--yes"])
    terminal.wait_for("Enter for none): ")
    terminal.type("1\n")
    terminal.wait_for("passes and seconds such as 38 30: ")
    terminal.type("t\n")
    terminal.wait_for("Enter ends.")
    terminal.type(" r")
    for _ in range(12):
        time.sleep(0.12)
        terminal.type(" ")
    terminal.wait_for("12 taps")
    terminal.wait_for("r/min")
    terminal.type("\n")
    terminal.wait_for("As-found frequency")
    terminal.type("\n")
    for question in ("Enter for none): ", "Anything wrong", "Conveyor hours", "Vehicles", "Note"):
        terminal.wait_for(question)
        terminal.type("\n")
    status = terminal.end()
    assert status == 0, terminal.seen
    (entry,) = entries(wash)
    assert (entry["task"], entry["at"]) == ("check-brush-speed", "side-brush")
    taps = entry["taps_s"]
    assert len(taps) == 12
    assert taps[0] == 0
    assert sorted(taps) == taps


def test_taps_that_tell_nothing_are_asked_for_again(wash):
    """Three taps are too few; a count typed after them is filed."""
    terminal = Terminal([sys.executable, "-m", "ledger", "record", "--site", str(wash), "--yes"])
    terminal.wait_for("Enter for none): ")
    terminal.type("1\n")
    terminal.wait_for("passes and seconds such as 38 30: ")
    terminal.type("t\n")
    terminal.wait_for("Enter ends.")
    terminal.type("   \n")
    terminal.wait_for("only 3 taps")
    terminal.wait_for("passes and seconds such as 38 30: ")
    terminal.type("38 30\n")
    terminal.wait_for("As-found frequency")
    terminal.type("\n")
    for question in ("Enter for none): ", "Anything wrong", "Conveyor hours", "Vehicles", "Note"):
        terminal.wait_for(question)
        terminal.type("\n")
    assert terminal.end() == 0, terminal.seen
    assert entries(wash) == [
        {"task": "check-brush-speed", "at": "side-brush", "counted": 38, "seconds": 30}
    ]


def test_ctrl_c_in_the_midst_of_taps_files_nothing_and_gives_the_terminal_back(wash):
    terminal = Terminal([sys.executable, "-m", "ledger", "record", "--site", str(wash)])
    terminal.wait_for("Enter for none): ")
    terminal.type("1\n")
    terminal.wait_for("passes and seconds such as 38 30: ")
    terminal.type("t\n")
    terminal.wait_for("Enter ends.")
    terminal.type("  \x03")
    assert terminal.end() == 130
    assert filed(wash) == []


@pytest.mark.parametrize(
    ("text", "numbers"),
    [
        ("1-3 5", (1, 2, 3, 5)),
        ("5,1", (1, 5)),
        ("all", (1, 2, 3, 4, 5, 6)),
        ("2-2", (2,)),
        ("", ()),
    ],
)
def test_numbers_of_a_list(text, numbers):
    assert chosen(text, 6) == numbers


@pytest.mark.parametrize("text", ["0", "7", "3-1", "1-9", "one", "-1", "1-"])
def test_numbers_that_are_not_of_the_list(text):
    with pytest.raises(ValueError, match="no number of the list"):
        chosen(text, 6)

"""What can befall a site, its book, its clock and the store between two commands.

Each trap is a function of the `Wash`; one that finds nothing to act on leaves it as it is.
"""

import os
import shutil
import signal
import sqlite3
import subprocess
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta, tzinfo
from pathlib import Path
from time import sleep

import pytest
from sound_site import FIRST_VISIT, LAST_VISIT, SOUND

from ledger.cli.start import answer_call
from ledger.files import survey

#: The store trusts times that are older than this; the tests cannot wait for the real span.
SETTLED_SECONDS = 0.03

_LATE_VISIT = "observations/2026/10/2026-10-06T0900-d-fenwold.yaml"
_LAST_YEARS_VISIT = "observations/2025/12/2025-12-30T0900-d-fenwold.yaml"
_CORRECTION = "observations/2026/11/2026-11-20T1000-d-fenwold.yaml"
_SECOND_CORRECTION = "observations/2026/11/2026-11-21T1000-d-fenwold.yaml"
_METERS = "observations/2026/11/2026-11-22T0800-m-tarrow.yaml"
_ENTERED_LATER = "observations/2026/11/2026-11-18T0800-m-tarrow.yaml"

NEW_VISITS = {
    _LATE_VISIT: "at: 2026-10-06T09:00\nby: d-fenwold\nentries:\n  - {task: grease-bearings}\n",
    _LAST_YEARS_VISIT: "at: 2025-12-30T09:00\nby: d-fenwold\nentries:\n  - {task: look-over}\n",
    # Without `at`: it reaches the other machine by reference alone.
    _CORRECTION: "at: 2026-11-20T10:00\nby: d-fenwold\nentries:\n"
    "  - {corrects: 2026-11-17T0640-m-tarrow#2, task: check-speed, at: brush-p2, counted: 86, "
    "seconds: 60, found_hz: 44, note: misread}\n",
    _SECOND_CORRECTION: "at: 2026-11-21T10:00\nby: d-fenwold\nentries:\n"
    "  - {corrects: 2026-11-20T1000-d-fenwold#1, void: true, note: not taken}\n",
    _METERS: "at: 2026-11-22T08:00\nby: m-tarrow\nmeters: {vehicles: 199999}\nentries:\n"
    "  - {finding: hose chafed, at: conveyor, urgency: now}\n",
    _ENTERED_LATER: "at: 2026-11-18T08:00\nby: m-tarrow\nentered_at: 2026-12-02T08:00\nentries:\n"
    "  - {task: check-speed, at: low-brush, turns: 70, seconds: 50}\n",
}

#: Times and people of visits that are filed: late, at the minute of another, early, ahead of us.
_FILED_AT = (
    ("2025-12-30T09:00", "d-fenwold"),
    ("2026-10-06T09:00", "m-tarrow"),
    ("2026-11-17T06:40", "d-fenwold"),
    ("2026-11-23T07:00", "m-tarrow"),
    ("2026-11-24T07:00", "m-tarrow"),
    ("2026-11-30T07:00", "d-fenwold"),
    ("2026-12-01T08:00", "m-tarrow"),
    ("2026-12-09T07:00", "m-tarrow"),
)
_METERS_READ = (
    "",
    "meters: {vehicles: 195000}\n",
    "meters: {vehicles: 1950000}\n",
    "meters: {conveyor_hours: 4500}\n",
    "entered_at: 2026-12-03T08:00\n",
)
_LINES = (
    "{task: grease-bearings, at: brush-p2/shaft-bearing-top}",
    "{task: grease-bearings, at: brush-p2}",
    "{task: grease-bearings, outcome: not-done, reason: no time}",
    "{task: grease-bearings, outcome: not-done, reason: no grease, at: low-brush}",
    "{task: look-over}",
    "{task: look-over, except: [conveyor]}",
    "{task: check-speed, at: brush-p2, counted: 84, seconds: 60, found_hz: 44}",
    "{task: check-speed, at: brush-p2, counted: 60, seconds: 60, found_hz: 44, left_hz: 46}",
    "{task: check-speed, at: low-brush}",
    "{task: check-speed, at: low-brush, tachometer_rpm: 70, accuracy_percent: 1}",
    "{task: check-speed, at: low-brush, tachometer_rpm: 84, found_flow_gpm: 3.5}",
    (
        "{task: check-speed, at: low-brush, tachometer_rpm: 60, instrument: tachometer-1, "
        "found_flow_gpm: 3.5}"
    ),
    "{changed: reduction, at: brush-p2}",
    "{finding: chain is loud, at: conveyor/chain, urgency: now}",
    "{closes: 2026-11-03T0640-m-tarrow#3, at: conveyor}",
    "{tied_back: arm bent, at: brush-p2, since: 2026-11-10T06:00}",
    "{corrects: 2026-11-17T0640-m-tarrow#1, void: true, note: not done}",
    "{corrects: 2026-11-17T0640-m-tarrow#2, task: check-speed, at: brush-p2, turns: 60, seconds: 60}",
    "{task: grease-all, at: brush-p2}",
    "{task: check-speed, at: brush-p2, counted: many, seconds: 60}",
)

TIED_BACK = next(at for at, line in enumerate(_LINES) if "tied_back" in line)

ANOTHER_TIME = len(_LINES)
"""By these numbers `visit_is_filed` ties a machine back, and files bearings greased later."""

#: Edits of one place of a file; those of equal length can hide from a look at the size.
EDITS = (
    (FIRST_VISIT, "turns: 80", "turns: 81"),
    (FIRST_VISIT, "brush-p2, turns", "low-brush, turns"),
    (LAST_VISIT, "counted: 84", "counted: 85"),
    (LAST_VISIT, "vehicles: 190110", "vehicles: 991110"),
    (LAST_VISIT, "by: m-tarrow", "by: m-tarrov"),
    ("tasks/grease-bearings.yaml", "every: 1 week", "every: 2 week"),
    ("tasks/look-over.yaml", "brush-p2/cloth", "low-brush/clot"),
    ("tasks/check-speed.yaml", "reads: [speed, setting]", "reads: [speed]"),
    ("equipment/brush-p2.yaml", "rpm: [74, 86]", "rpm: [74, 81]"),
    ("equipment/brush-p2.yaml", "reduction: 16", "reduction: 15"),
    ("equipment/low-brush.yaml", "name: ", "name: The "),
    ("setpoints/brush-p2.yaml", "  approved_by: d-fenwold\n", ""),
    ("site.yaml", "America/Chicago", "Australia/Perth"),
    ("equipment/low-brush.yaml", "in_service: 2026-03-02\n", "in_service: 2026-12-05\n"),
    ("equipment/conveyor.yaml", "  chain: {", "  drive-chain: {"),
    ("equipment/conveyor.yaml", "station: 10\n", "station: 10\nout_of_service: 2026-11-20\n"),
    ("setpoints/brush-p2.yaml", "  hz: 44\n", "  hz: 46\n"),
    ("setpoints/brush-p2.yaml", "from: 2026-11-10", "from: 2026-12-01"),
    ("tasks/grease-bearings.yaml", "lockout: true\n", "lockout: true\ncovers: [look-over]\n"),
    ("instruments/tachometer-1.yaml", "percent: 0.5", "percent: 4.5"),
    ("tasks/check-speed.yaml", "vehicles: 8000", "vehicles: 9000"),
    (
        "site.yaml",
        "in_service: 2026-01-05\n",
        "in_service: 2026-01-05\nrecord_begins: 2026-11-10\n",
    ),
    ("site.yaml", "2026-11-26, why", "2026-11-24, why"),
    ("site.yaml", "line_rate_per_h: 110", "line_rate_per_h: 100"),
    ("site.yaml", "name: M. Tarrow", "name: N. Tarrow"),
    ("site.yaml", "units: us", "units: si"),
    ("parts/grease-ep2.yaml", "name: ", "name: New "),
)


TACHOMETER = """\
name: Tachometer
kind: tachometer
unit: r/min
max_error_percent: 0.5
resolution: 0.1
checks:
  - {on: 2025-09-08, due: 2027-09-08, certificate: C-1}
"""


class Wash:
    """A site of three machines in git, at a pinned time, with a store of its own."""

    def __init__(self, folder: Path) -> None:
        self.root = folder / "wash"
        self.cache = folder / "cache"
        self.now = datetime(2026, 12, 1, 18, tzinfo=UTC)
        self._kept: dict[Path, bytes] = {}
        shutil.copytree(SOUND, self.root)
        (self.root / "instruments").mkdir()
        (self.root / "instruments/tachometer-1.yaml").write_text(TACHOMETER)
        self.git("init", "--quiet", "--template=", "--initial-branch=main")
        self.commit()
        self.git("branch", "other")

    @property
    def store(self) -> Path:
        return self.cache / "tunnelbook" / "store.sqlite"

    def clock(self, zone: tzinfo | None) -> datetime:
        return self.now.astimezone(zone or UTC)

    def git(self, *words: str) -> None:
        subprocess.run(["git", "-C", str(self.root), *words], check=False, capture_output=True)

    def commit(self) -> None:
        self.git("add", "--all", ".")
        self.git("-c", "user.name=a", "-c", "user.email=a@wash.example", "commit", "-qm", "x")

    def edit(self, path: str, old: str, new: str) -> Path | None:
        """Turn one text into the other, or back where that has been done."""
        file = self.root / path
        if not file.is_file():
            return None
        text = file.read_text(encoding="utf-8", errors="replace")
        there = old if old in text else new
        file.write_text(text.replace(there, new if there == old else old, 1), encoding="utf-8")
        return file


def edit(wash: Wash, number: int) -> None:
    wash.edit(*EDITS[number % len(EDITS)])


def edit_and_put_the_time_back(wash: Wash, number: int) -> None:
    path, old, new = EDITS[number % len(EDITS)]
    file = wash.root / path
    if file.is_file():
        before = file.stat()
        wash.edit(path, old, new)
        os.utime(file, ns=(before.st_atime_ns, before.st_mtime_ns))


def edit_where_git_does_not_look(wash: Wash, number: int) -> None:
    path, old, new = EDITS[number % len(EDITS)]
    wash.git("update-index", "--assume-unchanged", path)
    wash.edit(path, old, new)


def visit_comes_or_goes(wash: Wash, number: int) -> None:
    path, text = list(NEW_VISITS.items())[number % len(NEW_VISITS)]
    file = wash.root / path
    if file.exists():
        file.unlink()
        return
    file.parent.mkdir(parents=True, exist_ok=True)
    file.write_text(text)


def drawn_visit(number: int) -> tuple[str, str]:
    """Path and text; what it says is drawn from all that may be."""
    number, at_line = divmod(number, len(_LINES))
    number, at_time = divmod(number, len(_FILED_AT))
    number, at_meters = divmod(number, len(_METERS_READ))
    when, person = _FILED_AT[at_time]
    stem = f"{when.replace(':', '')}-{person}"
    lines = (_LINES[at_line], _LINES[(at_line + number) % len(_LINES)])[: 1 + number // 3 % 2]
    entries = "".join(f"  - {line}\n" for line in lines)
    head = f"at: {when}\nby: {person}\n{_METERS_READ[at_meters]}"
    return f"observations/{when[:4]}/{when[5:7]}/{stem}.yaml", f"{head}entries:\n{entries}"


def visit_is_filed(wash: Wash, number: int) -> None:
    """One that has not been there, or goes again."""
    path, text = drawn_visit(number)
    file = wash.root / path
    if file.exists() and number // (len(_LINES) * len(_FILED_AT) * len(_METERS_READ)) % 2:
        file.unlink()
        return
    file.parent.mkdir(parents=True, exist_ok=True)
    file.write_text(text)


def visit_that_git_ignores(wash: Wash, number: int) -> None:
    (wash.root / ".git/info").mkdir(exist_ok=True)
    (wash.root / ".git/info/exclude").write_text("observations/2026/10/*\n")
    visit_comes_or_goes(wash, 0)


def file_is_renamed(wash: Wash, number: int) -> None:
    pairs = (
        ("equipment/low-brush.yaml", "equipment/Low-Brush.yaml"),
        ("tasks/look-over.yaml", "tasks/look-again.yaml"),
        (FIRST_VISIT, FIRST_VISIT + "~"),
        ("parts/grease-ep2.yaml", "parts/grease-ep3.yaml"),
        ("tasks", "tasks.old"),
    )
    old, new = (wash.root / name for name in pairs[number % len(pairs)])
    here, there = (old, new) if old.exists() else (new, old)
    if here.exists():
        here.rename(there)


def strange_file(wash: Wash, number: int) -> None:
    """Comes or goes: a copy of an editor, a folder of nearly the right name, a stray visit."""
    names = ("tasks/x.yaml.orig", "equipmnt/x.yaml", f"notes/{Path(FIRST_VISIT).name}", ".hidden")
    file = wash.root / names[number % len(names)]
    if file.exists():
        file.unlink()
    else:
        file.parent.mkdir(exist_ok=True)
        file.write_text("title: x\n")


def link(wash: Wash, number: int) -> None:
    file = wash.root / ("tasks/link.yaml", "book/due.md")[number % 2]
    if file.is_symlink():
        file.unlink()
    elif file.parent.is_dir():
        file.unlink(missing_ok=True)
        file.symlink_to(wash.root / "site.yaml")


def line_ends(wash: Wash, number: int) -> None:
    file = wash.root / EDITS[number % len(EDITS)][0]
    if file.is_file():
        raw = file.read_bytes()
        crlf = b"\r\n" in raw
        file.write_bytes(raw.replace(b"\r\n", b"\n") if crlf else raw.replace(b"\n", b"\r\n"))


def touch(wash: Wash, number: int) -> None:
    file = wash.root / EDITS[number % len(EDITS)][0]
    if file.is_file():
        day = timedelta(days=(number % 3) - 1)
        when = file.stat().st_mtime + day.total_seconds()
        os.utime(file, (when, when))


def commit_and_switch_branch(wash: Wash, number: int) -> None:
    wash.commit()
    wash.git("checkout", "--quiet", "--force", ("main", "other")[number % 2])


def stash(wash: Wash, number: int) -> None:
    wash.git("-c", "user.name=a", "-c", "user.email=a@wash.example", "stash", "--quiet")
    if number % 2:
        wash.git("stash", "pop", "--quiet")


def copy_of_the_folder(wash: Wash, _: int) -> None:
    """The same bytes and times under other inodes."""
    copy = wash.root.with_name("copy")
    shutil.copytree(wash.root, copy, symlinks=True)
    shutil.rmtree(wash.root)
    copy.rename(wash.root)


def page_by_hand(wash: Wash, number: int) -> None:
    """Edited at the same size, removed, or laid there by somebody."""
    pages = sorted((wash.root / "book").rglob("*.md")) or [wash.root / "book/none.md"]
    page = pages[number % len(pages)]
    match number % 4:
        case 0 if page.is_file() and not page.is_symlink():
            before = page.stat()
            page.write_bytes(page.read_bytes()[:-2] + b"?\n")
            os.utime(page, ns=(before.st_atime_ns, before.st_mtime_ns))
        case 1:
            page.unlink(missing_ok=True)
        case 2 if page.is_file():
            shutil.copy(page, page.with_name("left-over.md"))
        case _:
            page.parent.mkdir(parents=True, exist_ok=True)
            page.with_name("mine.md").write_text("my own notes\n")


def clock_moves(wash: Wash, number: int) -> None:
    """To just before midnight at the site, just after, days ahead, back again."""
    steps = (
        timedelta(hours=11, minutes=59),
        timedelta(minutes=2),
        timedelta(days=9),
        timedelta(-3),
    )
    wash.now += steps[number % len(steps)]


def zone_of_the_machine(wash: Wash, number: int) -> None:
    os.environ["TZ"] = ("Asia/Tokyo", "America/Chicago", "UTC")[number % 3]


def width_of_the_terminal(wash: Wash, number: int) -> None:
    os.environ["COLUMNS"] = ("60", "100")[number % 2]


def time_passes(wash: Wash, _: int) -> None:
    sleep(2 * SETTLED_SECONDS)


def store_is_deleted(wash: Wash, _: int) -> None:
    shutil.rmtree(wash.cache, ignore_errors=True)


def store_is_cut_short(wash: Wash, number: int) -> None:
    if wash.store.is_file():
        os.truncate(wash.store, number * 97 % (wash.store.stat().st_size + 1))


def byte_is_flipped(wash: Wash, number: int) -> None:
    if wash.store.is_file() and (raw := bytearray(wash.store.read_bytes())):
        raw[number * 7919 % len(raw)] ^= 1 << (number % 8)
        wash.store.write_bytes(raw)


def store_is_something_else(wash: Wash, number: int) -> None:
    store_is_deleted(wash, 0)
    wash.store.parent.mkdir(parents=True)
    match number % 4:
        case 0:
            wash.store.write_text("no database\n")
        case 1:
            wash.store.mkdir()
        case 2:
            wash.store.symlink_to(wash.root / "site.yaml")
        case _:
            with sqlite3.connect(wash.store) as other:
                other.execute("PRAGMA user_version = 99")
                other.execute("CREATE TABLE answer (something TEXT)")


def others_may_write_the_store(wash: Wash, number: int) -> None:
    if wash.store.is_file():
        wash.store.chmod((0o666, 0o600, 0o400)[number % 3])


def killed_while_it_writes(wash: Wash, number: int) -> None:
    """A run in a process of its own that is killed at one of its statements to the store."""
    child = os.fork()
    if child == 0:
        with _silence():
            _kill_at(1 + number % 9)
            answer_call(["due", str(wash.root)], wash.clock)
            os._exit(0)
    os.waitpid(child, 0)


def two_builds_at_once(wash: Wash, number: int) -> None:
    children = []
    for day in ("2026-12-01", ("2026-11-20", "2026-12-01")[number % 2]):
        child = os.fork()
        if child == 0:
            with _silence():
                answer_call(["build", str(wash.root), "--as-of", day], wash.clock)
                os._exit(0)
        children.append(child)
    for child in children:
        os.waitpid(child, 0)


TRAPS: tuple[Callable[[Wash, int], None], ...] = (
    edit, edit_and_put_the_time_back, edit_where_git_does_not_look, visit_comes_or_goes,
    visit_is_filed, visit_is_filed, visit_is_filed,
    visit_that_git_ignores, file_is_renamed, strange_file, link, line_ends, touch,
    commit_and_switch_branch, stash, copy_of_the_folder, page_by_hand, clock_moves,
    zone_of_the_machine, width_of_the_terminal, time_passes, store_is_deleted, store_is_cut_short,
    byte_is_flipped, store_is_something_else, others_may_write_the_store, killed_while_it_writes,
    two_builds_at_once,
)  # fmt: skip


@contextmanager
def surroundings(wash: Wash) -> Iterator[None]:
    """The store of the wash, times that settle soon, and what traps change put back after it."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CACHE_HOME", str(wash.cache))
        patch.setenv("TZ", "UTC")
        patch.setenv("COLUMNS", "100")
        patch.delenv("TUNNELBOOK_NO_STORE", raising=False)
        patch.setattr(survey, "SETTLED_NS", int(SETTLED_SECONDS * 1e9))
        yield


def _kill_at(statement: int) -> None:
    """From now on, this process ends at the given statement to any database, as by kill -9."""
    left = [statement]

    class Killed(sqlite3.Connection):
        def execute(self, *words: object) -> sqlite3.Cursor:
            left[0] -= 1
            if left[0] == 0:
                os.kill(os.getpid(), signal.SIGKILL)
            return super().execute(*words)

    connect = sqlite3.connect
    sqlite3.connect = lambda *words, **options: connect(*words, factory=Killed, **options)


@contextmanager
def _silence() -> Iterator[None]:
    """For a forked child: whatever happens, it ends here and says nothing."""
    sink = os.open(os.devnull, os.O_WRONLY)
    os.dup2(sink, 1)
    os.dup2(sink, 2)
    try:
        yield
    finally:
        os._exit(1)

"""Whatever fails while a command writes: every file is old or new, what is said is true, and the
next run comes to the same end as one without a fault.

Each test draws some of the faults by a seed that it prints; FAULT_WALK=all takes them all, and
FAULT_WALK=SEED those of one seed again.
"""

import errno
import importlib
import os
import pkgutil
import random
import re
import shutil
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import fault_walk
import pytest
from example import EXAMPLE
from fault_walk import Fault, Ran, faults_of, files_in, put_back, without_leftovers
from sound_site import SOUND

import ledger
from ledger.files.book_files import MARKER
from ledger.files.save import remove_leftovers
from ledger.filing.new_site import schema_copies

_DRAWN = 3
_REAL_LINK = os.link
_ASKED = os.environ.get("FAULT_WALK", "")
_SEED = int(_ASKED) if _ASKED.isdecimal() else random.SystemRandom().randrange(10**6)

_RECORD = (
    "record", "--site", "wash", "--by", "m-tarrow", "--at", "2026-11-24T06:40", "--yes",
    "--done", "look-over", "--speed", "brush-p2=42/30@44",
)  # fmt: skip
_CORRECT = (
    "correct", "2026-11-17T0640-m-tarrow#2", "--site", "wash", "--by", "m-tarrow", "--yes",
    "--set", "counted=85", "--reason", "misread",
)  # fmt: skip
_PROPOSE = (
    "propose", "--site", "wash", "--by", "m-tarrow", "--from", "2026-12-01",
    "--why", "In the middle of its band.", "brush-p2", "--hz", "45",
)  # fmt: skip
_MAP = """\
when: {columns: [When], written: "%Y-%m-%d %H:%M"}
by: {always: m-tarrow}
entries:
  - fields: {finding: Found, at: {always: conveyor}, urgency: {always: planned}}
"""
_LOG = """\
When,Found
2026-11-18 06:40,chain is loud
2026-11-18 06:40,guard rattles
2026-10-19 06:40,lamp is dark
"""
_SENT = """\
at: 2026-11-18T06:40
by: m-tarrow
entries:
- {finding: chain is loud, at: conveyor, urgency: planned}
# check 4d016a57
"""


_SHEET = """\
name: Ours
time_zone: Etc/UTC
record_begins: 2026-11-20
line_rate: 90
people: ["Ada Tarrow, ada@wash.example, lead, approves"]
machines: ["wrap, Wrap, driver, frequency, 40 Hz", "safety-circuit, Stops"]
last_done: {1 week: last week}
"""


def _sound(box: Path) -> None:
    shutil.copytree(SOUND, box / "wash")


def _clone(box: Path) -> None:
    (box / "wash").mkdir()
    (box / "wash/README.md").write_text("# Ours\n")


def _with_a_log(box: Path) -> None:
    _sound(box)
    (box / "map.yaml").write_text(_MAP)
    (box / "log.csv").write_text(_LOG)


def _with_sent_visits(box: Path) -> None:
    _sound(box)
    (box / "sent.txt").write_text(_SENT)


def _with_old_schemas(box: Path) -> None:
    _sound(box)
    (box / "wash/.schemas").mkdir()
    for path, text in schema_copies().items():
        (box / "wash" / path).write_text(text)
    (box / "wash/.schemas/task.schema.json").write_text("{}")
    (box / "wash/.schemas/visit.schema.json").unlink()


def _with_an_old_book(box: Path) -> None:
    _sound(box)
    (box / "wash/book/machines").mkdir(parents=True)
    for name in ("due.md", "machines/gone.md"):
        (box / "wash/book" / name).write_text(f"<!-- {MARKER} -->\n\n# As it was\n")


def _with_old_exports(box: Path) -> None:
    _sound(box)
    (box / "out").mkdir()
    (box / "out/visits.csv").write_text("old\n")
    (box / "due.ics").write_text("BEGIN:VCALENDAR\n")


def _with_a_sheet(box: Path) -> None:
    (box / "sheet.yaml").write_text(_SHEET)


def _with_a_picture(box: Path) -> None:
    _sound(box)
    shutil.copy(next((EXAMPLE / "photos").rglob("*.jpg")), box / "plate.jpg")


def _without_a_setting(box: Path) -> None:
    _sound(box)
    (box / "wash/setpoints/brush-p2.yaml").unlink()


@dataclass(frozen=True, slots=True, kw_only=True)
class Walk:
    """A command, the files it starts from, and what it says where its work is done already."""

    words: tuple[str, ...]
    start: Callable[[Path], None] = _sound
    when_done: str = ""


WALKS = {
    "init a new folder": Walk(
        words=("init", "sites/wash", "--time-zone", "Etc/UTC"),
        start=lambda box: None,
        when_done="already holds a site",
    ),
    "init into a folder": Walk(
        words=("init", "wash", "--time-zone", "Etc/UTC"),
        start=_clone,
        when_done="already holds a site",
    ),
    "init --answers": Walk(
        words=("init", "sites/wash", "--answers", "sheet.yaml"),
        start=_with_a_sheet,
        when_done="already holds a site",
    ),
    "init --with": Walk(words=("init", "wash", "--with", "blower", "softener", "softener")),
    "init --renew-schemas": Walk(
        words=("init", "wash", "--renew-schemas"), start=_with_old_schemas
    ),
    "record": Walk(words=_RECORD),
    "record --photo": Walk(
        words=(*_RECORD, "--finding", "brush-p2=Plate is loose", "--photo", "brush-p2=plate.jpg"),
        start=_with_a_picture,
    ),
    "photo": Walk(words=("photo", "plate.jpg", "--site", "wash"), start=_with_a_picture),
    "correct": Walk(words=_CORRECT, when_done="already says that"),
    "import": Walk(
        words=("import", "log.csv", "--map", "map.yaml", "--site", "wash"), start=_with_a_log
    ),
    "receive": Walk(words=("receive", "sent.txt", "--site", "wash"), start=_with_sent_visits),
    "propose": Walk(
        words=(*_PROPOSE, "--evidence", "2026-11-17T0640-m-tarrow#2"),
        when_done="is proposed already",
    ),
    "propose the first": Walk(
        words=_PROPOSE, start=_without_a_setting, when_done="is proposed already"
    ),
    "build": Walk(words=("build", "wash"), start=_with_an_old_book),
    "build --html": Walk(words=("build", "wash", "--html"), start=_with_an_old_book),
    "export csv": Walk(
        words=("export", "wash", "--to", "csv", "--out", "out"), start=_with_old_exports
    ),
    "export sqlite": Walk(words=("export", "wash", "--to", "sqlite", "--out", "wash.db")),
    "export ics": Walk(
        words=("export", "wash", "--to", "ics", "--out", "due.ics"), start=_with_old_exports
    ),
    "export parquet": Walk(words=("export", "wash", "--to", "parquet", "--out", "out")),
    "export roll-up": Walk(
        words=("export", "wash", "--to", "parquet", "--roll-up", "--out", "out")
    ),
    "cards": Walk(words=("cards", "wash", "--svg", "cards")),
}


@pytest.fixture(scope="module", autouse=True)
def everything_is_loaded() -> None:
    """Once here, and not in each of the forked processes."""
    for module in pkgutil.walk_packages(ledger.__path__, "ledger."):
        if module.name != "ledger.__main__":
            importlib.import_module(module.name)
    for name in ("pyarrow.parquet", "_strptime", "encodings.utf_8_sig"):
        importlib.import_module(name)


@pytest.fixture(autouse=True)
def git_knows_nobody(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("GIT_CONFIG_GLOBAL", os.devnull)
    monkeypatch.setenv("GIT_CONFIG_NOSYSTEM", "1")


@pytest.mark.parametrize("name", WALKS)
def test_old_bytes_or_new_bytes(name, tmp_path, record_property):
    walk_through(name, tmp_path, record_property)


@pytest.mark.parametrize("name", ["record", "propose the first"])
def test_where_the_file_system_has_no_links(name, tmp_path, record_property, monkeypatch):
    """But for a kill right after the empty file that claims a name: there it stays."""

    def link(*_: object) -> None:
        raise PermissionError(errno.EPERM, "no links here")

    def is_survivable(fault: Fault, calls: tuple[str, ...]) -> bool:
        return (fault.what, calls[fault.number - 2 : fault.number]) != ("kill", ("link", "open"))

    monkeypatch.setattr(os, "link", link)
    walk_through(name, tmp_path, record_property, is_survivable)


def walk_through(name, tmp_path, record_property, is_walked=lambda fault, calls: True) -> None:
    walk = WALKS[name]
    start, box, notes = (tmp_path / word for word in ("start", "box", "notes"))
    start.mkdir()
    walk.start(start)
    put_back(box, start)
    before = files_in(box)
    clean = fault_walk.run(walk.words, box, notes)
    after = files_in(box)
    assert (clean.status, clean.err) == (0, ""), clean
    assert after != before
    assert without_leftovers(after) == after
    assert_every_call_is_counted(clean)

    faults = [fault for fault in faults_of(clean.calls) if is_walked(fault, clean.calls)]
    drawn = faults
    if _ASKED != "all":
        drawn = random.Random(f"{_SEED} {name}").sample(faults, min(_DRAWN, len(faults)))
    record_property("faults", (len(drawn), len(faults), _SEED))
    for fault in drawn:
        put_back(box, start)
        ran = fault_walk.run(walk.words, box, notes, fault)
        told = f"{name}, {clean.calls[fault.number - 1]} as {fault}: {ran}"
        found = files_in(box)
        assert_old_or_new(before, found, after, told)
        assert_true(walk, fault, ran, before, found, after, told)
        if ran.status == 0 or (ran.was_killed and ran.out == clean.out):
            # Whoever is told that it is done runs something else next.
            remove_leftovers(box)
            assert files_in(box) == after, told
            continue
        again = fault_walk.run(walk.words, box, notes)
        assert files_in(box) == after, f"{told}\n{again}"
        is_done = walk.when_done and walk.when_done in again.err
        assert again.status == 0 or (is_done and without_leftovers(found) == after), (told, again)


@pytest.mark.parametrize("name", ["build", "build --html"])
def test_a_book_that_is_right_is_not_touched(name, tmp_path):
    box, notes = tmp_path / "box", tmp_path / "notes"
    box.mkdir()
    _with_an_old_book(box)
    assert "fsync" not in fault_walk.run(WALKS[name].words, box, notes).calls
    assert fault_walk.run(WALKS[name].words, box, notes).calls == ()


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A real file system that is soon full; mounting one takes the rights of an administrator."""
    place = tmp_path / "disk"
    place.mkdir()
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=2m", "none", str(place)],
        capture_output=True,
        text=True,
        check=False,
    )
    if mounted.returncode:
        pytest.skip(f"no small disk can be mounted here: {mounted.stderr.strip()}")
    yield place
    subprocess.run(["umount", str(place)], check=True)


@pytest.mark.parametrize("name", WALKS)
def test_a_disk_that_is_full(name, small_disk, tmp_path):
    walk = WALKS[name]
    box = small_disk / "box"
    box.mkdir()
    walk.start(box)
    before = files_in(box)
    filler = small_disk / "filler"
    with filler.open("wb", buffering=0) as opened, suppress(OSError):
        while opened.write(bytes(4096)):
            pass
    full = fault_walk.run(walk.words, box, tmp_path / "notes")
    assert (full.status, without_leftovers(files_in(box))) == (2, before), full
    assert "No space left on device" in full.err
    assert "Traceback" not in full.err
    filler.unlink()
    well = fault_walk.run(walk.words, box, tmp_path / "notes")
    assert (well.status, well.err) == (0, "")
    after = files_in(box)
    assert after == without_leftovers(after) != before
    assert not any("~" in path for path in after if "T0640" in path and name == "record")


@pytest.fixture
def open_to_all() -> Iterator[Path]:
    """A folder that any user may reach; the one of pytest is its own user's alone."""
    with tempfile.TemporaryDirectory() as folder:
        Path(folder).chmod(0o755)
        yield Path(folder)


@pytest.mark.parametrize("name", WALKS)
def test_folders_that_may_not_be_written(name, open_to_all, tmp_path):
    walk = WALKS[name]
    box = open_to_all / "box"
    box.mkdir()
    walk.start(box)
    before = files_in(box)
    folders = [box, *(path for path in box.rglob("*") if path.is_dir())]
    for folder in folders:
        folder.chmod(0o555)
    ran = fault_walk.run(walk.words, box, tmp_path / "notes", as_nobody=True)
    for folder in folders:
        folder.chmod(0o755)
    assert (ran.status, files_in(box)) == (2, before), ran
    assert "Permission denied" in ran.err
    assert "Traceback" not in ran.err


def assert_every_call_is_counted(clean: Ran) -> None:
    """The interpreter reports the calls that take a name; none of them passes the walk by."""
    # A `link` that a test put in place of the real one is not reported.
    unnamed = {"write", "fsync"} | (set() if os.link is _REAL_LINK else {"link"})
    named = [call for call in clean.calls if call not in unnamed]
    assert clean.audited == len(named), clean.calls
    assert "stream" not in clean.calls


def assert_old_or_new(before, found, after, told: str) -> None:
    for path, content in without_leftovers(found).items():
        assert content in (before.get(path), after.get(path)), f"{path}\n{told}"
    lost = [path for path in before if path in after and path not in found]
    assert not lost, f"{lost}\n{told}"


def assert_true(walk: Walk, fault: Fault, ran: Ran, before, found, after, told: str) -> None:
    """What was said, and the exit status, fit the files that are there."""
    found_whole = without_leftovers(found)
    claimed = re.findall(r"^(?:wrote|filed) +(\S+?)$", ran.out, re.MULTILINE)
    for path in claimed:
        assert found[os.path.normpath(path)] == after[os.path.normpath(path)], told
    assert "Traceback" not in ran.err, told
    if ran.was_killed:
        assert fault.what == fault_walk.KILL, told
        return
    if ran.status == 0:
        assert found_whole == after, told
        return
    assert ran.status == 2, told
    last = ran.err.splitlines()[-1]
    assert last.startswith(f"tunnelbook {walk.words[0]}: "), told
    assert os.strerror(getattr(errno, fault.what)) in last, told
    new = [path for path in found_whole if before.get(path) != found_whole[path]]
    if "nothing was" in last:
        assert not new, told
    counted = re.search(r"(\d+) of \d+ (?:files are written|visits were filed)", last)
    if counted:
        assert int(counted[1]) == len(new), told
    if "has not confirmed" in last:
        assert new, told
    if walk.words[0] in {"record", "correct", "propose"}:
        assert ("nothing was" in last) != bool(new), told

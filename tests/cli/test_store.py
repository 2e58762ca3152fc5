"""The kept answers as a user meets them: real processes, one store, and every way out of it."""

import io
import os
import shutil
import sqlite3
import subprocess
import sys
from multiprocessing import get_context
from pathlib import Path
from time import sleep

import pytest
from sound_site import FIRST_VISIT, SOUND
from store_traps import Wash, surroundings, time_passes

from ledger.cli import kept
from ledger.cli.keeper import KeptRecord
from ledger.cli.start import answer_call
from ledger.files import store
from ledger.files.survey import SETTLED_NS, UnfitError, survey
from ledger.site import kept_ledger, pipeline

ROOT = Path(__file__).parents[2]
CHECK = ["check", "--as-of", "2026-12-01"]


@pytest.fixture
def wash(tmp_path):
    made = Wash(tmp_path)
    with surroundings(made):
        yield made


def kept_answer(asked, clock):
    return kept.kept_answer(asked, clock)[0]


def words(wash, *more):
    return [*more, str(wash.root), "--as-of", "2026-12-01"]


def test_an_answer_is_kept_and_holds_until_a_file_changes(wash, capsys):
    asked = words(wash, "due")
    assert kept_answer(asked, wash.clock) is None
    assert answer_call(asked, wash.clock) == 0
    printed = capsys.readouterr().out
    answer = kept_answer(asked, wash.clock)
    assert (answer.status, answer.output) == (0, printed)
    wash.edit(FIRST_VISIT, "turns: 80", "turns: 81")
    assert kept_answer(asked, wash.clock) is None


@pytest.mark.parametrize("command", ["due", "build --html"])
def test_an_answer_that_tells_what_git_lacks_is_not_kept(wash, capsys, command):
    asked = [*command.split(), str(wash.root)]
    page = wash.root / "book/html/index.html"

    def told():
        return capsys.readouterr().out + (page.read_text() if page.exists() else "")

    wash.git("rm", "-q", "--cached", FIRST_VISIT)
    wash.git("-c", "user.name=a", "-c", "user.email=a@wash.example", "commit", "-qm", "x")
    assert answer_call(asked, wash.clock) == 0
    assert "1 visit lies here since" in told()
    assert kept_answer(asked, wash.clock) is None
    wash.commit()
    assert answer_call(asked, wash.clock) == 0
    assert "lies here since" not in told()
    # What is checked out, which the phone's page names, may change while no file does.
    assert (kept_answer(asked, wash.clock) is not None) == (command == "due")


def test_a_build_keeps_what_the_next_one_would_say(wash, capsys):
    asked = words(wash, "build")
    answer_call(asked, wash.clock)
    assert ": 0 written" not in capsys.readouterr().out
    assert ": 0 written, 0 removed, " in kept_answer(asked, wash.clock).output
    (wash.root / "book/due.md").write_text("edited by hand\n")
    assert kept_answer(asked, wash.clock) is None


def test_a_build_of_another_day_in_between_is_noticed(wash):
    asked = words(wash, "build")
    answer_call(asked, wash.clock)
    answer_call(["build", str(wash.root), "--as-of", "2026-11-20"], wash.clock)
    assert kept_answer(asked, wash.clock) is None


def test_what_was_touched_a_moment_ago_is_known_by_content(wash, monkeypatch):
    """An edit within one tick of the clock leaves size and times as they were."""
    asked = words(wash, "check")
    ahead = 4_000_000_000  # in the year 2096, as by a clock that was put back
    os.utime(wash.root / FIRST_VISIT, (ahead, ahead))
    answer_call(asked, wash.clock)
    answer = kept_answer(asked, wash.clock)
    assert FIRST_VISIT in answer.young
    seen = kept.survey_of_files(str(wash.root))
    monkeypatch.setattr(kept, "survey_of_files", lambda _: seen)
    assert kept_answer(asked, wash.clock) is not None
    wash.edit(FIRST_VISIT, "turns: 80", "turns: 81")
    assert kept_answer(asked, wash.clock) is None


def test_a_visit_that_is_taken_away_just_after_it_was_filed_is_no_fault(wash, capsys):
    asked = words(wash, "due")
    visit = wash.root / "observations/2026/11/2026-11-24T0900-d-fenwold.yaml"
    visit.write_text("at: 2026-11-24T09:00\nby: d-fenwold\nentries:\n  - {task: look-over}\n")
    ahead = 4_000_000_000  # known by content as long as the test may last
    os.utime(visit, (ahead, ahead))
    assert answer_call(asked, wash.clock) == 0
    visit.unlink()
    capsys.readouterr()
    assert answer_call(asked, wash.clock) == 0
    assert capsys.readouterr().err == ""


def test_young_files_are_trusted_by_their_times_once_they_are_old(wash):
    asked = words(wash, "build")
    answer_call(asked, wash.clock)
    time_passes(wash, 0)
    assert kept_answer(asked, wash.clock) is not None
    assert kept_answer(asked, wash.clock).young == {}


def test_the_answer_of_today_ends_at_midnight_at_the_site(wash):
    asked = ["due", str(wash.root)]
    answer_call(asked, wash.clock)
    wash.now = wash.now.replace(day=2, hour=5, minute=59)  # 23:59 in Chicago
    assert kept_answer(asked, wash.clock) is not None
    wash.now = wash.now.replace(hour=6, minute=0)
    assert kept_answer(asked, wash.clock) is None


def test_a_day_when_the_clocks_change_is_not_kept(wash):
    asked = ["due", str(wash.root)]
    wash.now = wash.now.replace(month=3, day=8)  # 2026-03-08, clocks forward in Chicago
    answer_call(asked, wash.clock)
    assert kept_answer(asked, wash.clock) is None


@pytest.mark.parametrize("mode", [0o620, 0o602])
def test_a_store_that_others_may_write_is_not_read(wash, mode):
    asked = words(wash, "check")
    answer_call(asked, wash.clock)
    wash.store.chmod(mode)
    assert kept_answer(asked, wash.clock) is None


def test_a_store_of_another_user_is_not_read(wash, monkeypatch):
    asked = words(wash, "check")
    answer_call(asked, wash.clock)
    someone = os.geteuid() + 1
    monkeypatch.setattr(os, "geteuid", lambda: someone)
    assert kept_answer(asked, wash.clock) is None


def test_the_store_is_for_its_user_alone(wash):
    answer_call(words(wash, "check"), wash.clock)
    assert wash.store.stat().st_mode & 0o777 == 0o600
    assert wash.store.parent.stat().st_mode & 0o777 == 0o700


def test_a_locked_store_is_as_if_there_were_none(wash, capsys):
    asked = words(wash, "check")
    answer_call(asked, wash.clock)
    printed = capsys.readouterr().out
    with sqlite3.connect(wash.store, isolation_level=None) as other:
        other.execute("BEGIN EXCLUSIVE")
        assert kept_answer(asked, wash.clock) is None
        assert answer_call(asked, wash.clock) == 0
        assert capsys.readouterr() == (printed, "")
    other.close()


@pytest.mark.parametrize("output", ["'all is well'", "CAST(output AS BLOB)"])
def test_an_answer_that_was_tampered_with_is_not_given(wash, output):
    asked = words(wash, "check")
    answer_call(asked, wash.clock)
    with sqlite3.connect(wash.store, isolation_level=None) as other:
        other.execute(f"UPDATE answer SET output = {output}")
    other.close()
    assert kept_answer(asked, wash.clock) is None


def test_a_damaged_store_is_replaced_by_a_new_one(wash):
    asked = words(wash, "check")
    answer_call(asked, wash.clock)
    wash.store.write_bytes(b"no database at all, but long enough to look like one" * 100)
    answer_call(asked, wash.clock)
    answer_call(asked, wash.clock)
    assert kept_answer(asked, wash.clock) is not None


def test_a_store_whose_tables_are_damaged_is_replaced_by_a_new_one(wash):
    """SQLite quotes the bytes in its complaint, which then are no text."""
    asked = words(wash, "check")
    answer_call(asked, wash.clock)
    held = wash.store.read_bytes()
    assert held.count(b"CREATE TABLE made") == 1
    wash.store.write_bytes(held.replace(b"CREATE TABLE made", b"CREATE TABL\xf3 made"))
    assert answer_call(asked, wash.clock) == 0
    answer_call(asked, wash.clock)
    assert kept_answer(asked, wash.clock) is not None


def test_old_answers_make_room(wash):
    answer_call(words(wash, "check"), wash.clock)
    answer = kept_answer(words(wash, "check"), wash.clock)
    from ledger.files.store import write_answer  # noqa: PLC0415

    for number in range(300):
        write_answer(str(wash.store), f"question {number}", answer)
    with sqlite3.connect(wash.store) as other:
        assert other.execute("SELECT count(*) FROM answer").fetchone() == (200,)
    other.close()


def test_a_link_cannot_be_vouched_for(wash):
    (wash.root / "tasks/link.yaml").symlink_to("look-over.yaml")
    with pytest.raises(UnfitError):
        survey(str(wash.root), ("",), lambda _: False)


def run(site, *said, cwd=ROOT, **surroundings):
    return subprocess.run(
        [sys.executable, "-m", "ledger", *said],
        cwd=cwd,
        env={**os.environ, "PYTHONPATH": str(ROOT), **surroundings},
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.fixture
def site(tmp_path):
    return shutil.copytree(SOUND, tmp_path / "wash")


def test_the_option_and_the_variable_keep_the_store_out(site, tmp_path):
    for cache, more, variable in (("a", ["--no-store"], ""), ("b", [], "1")):
        place = tmp_path / cache
        ran = run(site, *CHECK, str(site), *more, XDG_CACHE_HOME=str(place), TUNNELBOOK_NO_STORE=variable)  # fmt: skip
        assert (ran.returncode, ran.stderr) == (0, "")
        assert not place.exists()


def test_a_changed_program_does_not_use_the_answers_of_another(site, tmp_path):
    """The package copied, an answer kept, one sentence of the program changed."""
    for folder in ("ledger", "schemas"):
        shutil.copytree(ROOT / folder, tmp_path / "program" / folder)
    sleep(SETTLED_NS / 1e9)  # nothing is kept by a program that may still be changing
    module = tmp_path / "program/ledger/cli/commands/build.py"
    surroundings = {"PYTHONPATH": str(tmp_path / "program"), "XDG_CACHE_HOME": str(tmp_path)}
    assert run(site, *CHECK, cwd=site, **surroundings).stdout.startswith("12 files, 0 errors")
    with sqlite3.connect(tmp_path / "tunnelbook/store.sqlite") as store:
        assert store.execute("SELECT count(*) FROM answer").fetchone() == (1,)
    store.close()
    module.write_text(module.read_text().replace('(errors, "error")', '(errors, "mistake")'))
    assert run(site, *CHECK, cwd=site, **surroundings).stdout.startswith("12 files, 0 mistakes")


def test_a_site_nearer_by_is_found_though_the_answer_of_another_is_kept(site, tmp_path):
    below = site / "observations"
    cache = {"XDG_CACHE_HOME": str(tmp_path / "cache")}
    assert run(site, *CHECK, cwd=below, **cache).stdout == "12 files, 0 errors, 0 warnings\n"
    (below / "site.yaml").write_text("format: 1\n")
    assert "missing-key" in run(site, *CHECK, cwd=below, **cache).stdout


def test_a_site_with_pictures_of_machines_is_read_from_its_excerpt(wash, capsys, monkeypatch):
    picture = wash.root / "photos/2026/11/2026-11-20-94358c15.jpg"
    picture.parent.mkdir(parents=True)
    picture.write_bytes(b"\xff\xd8")
    with (wash.root / "equipment/brush-p2.yaml").open("a") as machine:
        machine.write("photos: [photos/2026/11/2026-11-20-94358c15.jpg]\n")
    answer_call(words(wash, "due"), wash.clock)
    seen = []
    excerpt = KeptRecord.excerpt

    def watched(record, day):
        seen.append(excerpt(record, day))
        return seen[-1]

    monkeypatch.setattr(KeptRecord, "excerpt", watched)
    second = picture.with_name("2026-11-30-0123abcd.jpg")
    second.write_bytes(b"\xff\xd8\xff")
    (wash.root / "observations/2026/11/2026-11-30T0700-d-fenwold.yaml").write_text(
        "at: 2026-11-30T07:00\nby: d-fenwold\nentries:\n"
        f"  - {{at: brush-p2, finding: cloth torn, photos: [photos/2026/11/{second.name}]}}\n"
    )
    told = []
    for no_store in ("", "1"):
        monkeypatch.setenv("TUNNELBOOK_NO_STORE", no_store)
        capsys.readouterr()
        assert answer_call(words(wash, "due"), wash.clock) == 0
        told.append(capsys.readouterr())
    assert told[0] == told[1]
    assert [one is not None for one in seen] == [True]


@pytest.mark.skipif(sys.platform != "linux", reason="a process is forked")
def test_a_process_that_is_forked_reads_by_a_connection_of_its_own(wash, monkeypatch):
    """SQLite may damage a file whose connection two processes use."""
    answer_call(words(wash, "due"), wash.clock)
    path = kept.allowed_store()
    rows = store.Rows(path, "part", kept.site_named(str(wash.root)))
    base = rows["base"]
    opened = []
    open_ = store._opened
    monkeypatch.setattr(store, "_opened", lambda path: opened.append(path) or open_(path))
    fork = get_context("fork")
    receiver, sender = fork.Pipe(duplex=False)
    other = fork.Process(target=lambda: sender.send((rows["base"], len(rows), opened)))
    other.start()
    found, count, opened_there = receiver.recv()
    other.join()
    assert (found, count) == (base, len(rows))
    assert (opened_there, opened) == ([path], [])


def test_a_busy_day_of_one_person_is_not_read_from_the_files_again(wash, monkeypatch):
    def filed(hour):
        for minute in range(40):
            path = wash.root / f"observations/2026/11/2026-11-30T{hour}{minute:02}-d-fenwold.yaml"
            path.write_text(
                f"at: 2026-11-30T{hour}:{minute:02}\nby: d-fenwold\nentries:\n"
                "  - {task: grease-bearings, at: brush-p2}\n"
            )

    read = []
    load = pipeline.load
    monkeypatch.setattr(pipeline, "load", lambda *tree: read.append(tree) or load(*tree))
    monkeypatch.setattr(kept_ledger, "load", pipeline.load)
    for hour in ("07", "08"):
        filed(hour)
        answer_call(words(wash, "build"), wash.clock)
    assert len(read) == 1


@pytest.mark.parametrize(
    ("named", "is_by_excerpt"), [([], True), (["--at", "2026-11-20T08:00"], False)]
)
def test_record_lists_the_work_due_today_from_the_excerpt(
    wash, capsys, monkeypatch, named, is_by_excerpt
):
    given = []
    excerpt = KeptRecord.excerpt

    def watched(record, day):
        ledger = excerpt(record, day)
        given.append(ledger is not None)
        return ledger

    answer_call(words(wash, "due"), wash.clock)
    (wash.root / "observations/2026/11/2026-11-30T0700-d-fenwold.yaml").write_text(
        "at: 2026-11-30T07:00\nby: d-fenwold\nentries:\n  - {task: grease-bearings, at: brush-p2}\n"
    )
    monkeypatch.setattr(KeptRecord, "excerpt", watched)
    told = []
    for no_store in ("", "1"):
        monkeypatch.setenv("TUNNELBOOK_NO_STORE", no_store)
        monkeypatch.setattr("sys.stdin", io.StringIO(""))
        capsys.readouterr()
        answer_call(["record", "--site", str(wash.root), "--by", "m-tarrow", *named], wash.clock)
        told.append(capsys.readouterr())
    assert told[0] == told[1]
    assert "Done (Enter: none of it)" in told[0].out
    assert given == [True] * is_by_excerpt

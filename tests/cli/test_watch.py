"""`tunnelbook watch`: a real process beside real files."""

import json
import os
import re
import shutil
import signal
import subprocess
import sys
import threading
from argparse import Namespace
from datetime import UTC, date, datetime
from functools import partial
from pathlib import Path
from queue import Empty, Queue

import pytest
from git_repo import git
from pinned_clock import pinned_clock
from sent_visit import sent

from ledger.cli.command import Answer
from ledger.cli.commands import build
from ledger.cli.receiving import Inbox
from ledger.files import save

REPOSITORY = Path(__file__).parents[2]
PATIENCE_S = 60
NOON = datetime(2026, 11, 25, 12, tzinfo=UTC)


def called(as_of, clock=NOON.astimezone, **said):
    """What `tunnelbook watch` was called with."""
    options = {"as_of": as_of, "clock": clock, "html": False, "dry_run": False, "format": "text", "quiet": False, "next_time": None}  # fmt: skip
    return Namespace(answer=Answer(), **{**options, **said})


class Watching:
    """The command running, its lines as they come."""

    def __init__(self, root: Path) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-m", "ledger", "watch", str(root), "--as-of", "2026-11-25"],
            cwd=REPOSITORY, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
        )  # fmt: skip
        self._lines: Queue[str] = Queue()
        self._reader = threading.Thread(target=self._read)
        self._reader.start()

    def wait_for(self, words: str) -> None:
        seen = []
        while True:
            try:
                seen.append(self._lines.get(timeout=PATIENCE_S))
            except Empty:
                pytest.fail(f"no `{words}` in {seen}")
            if words in seen[-1]:
                return

    def interrupt(self) -> int:
        self.process.send_signal(signal.SIGINT)
        return self.process.wait()

    def close(self) -> None:
        self.process.kill()
        self.process.wait()
        self._reader.join()
        assert self.process.stdout is not None
        self.process.stdout.close()

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self._lines.put(line)


@pytest.fixture
def root(tunnelbook, tmp_path):
    tunnelbook("init", tmp_path / "wash", "--time-zone", "Etc/UTC")
    return tmp_path / "wash"


@pytest.fixture
def watching(root):
    running = Watching(root)
    yield running
    running.close()


def test_a_change_is_rendered_a_fault_is_told_and_ctrl_c_ends_well(watching, root):
    watching.wait_for("watching")
    machine = root / "equipment/brush-1.yaml"
    text = machine.read_text()
    machine.write_text(text.replace("name: Side brush, passenger", "name: Brush by the door"))
    watching.wait_for("files in")
    assert "Brush by the door" in (root / "book/machines/brush-1.md").read_text()
    machine.write_text(text.replace("kind:", "kynd:"))
    watching.wait_for("did you mean: kind?")
    watching.wait_for("not rendered")
    assert "Brush by the door" in (root / "book/machines/brush-1.md").read_text()
    machine.write_text(text)
    watching.wait_for("files in")
    assert "Side brush, passenger" in (root / "book/machines/brush-1.md").read_text()
    assert watching.interrupt() == 0
    watching.wait_for("ended")


@pytest.mark.unmoved  # under faketime no process that a test starts can sleep
def test_a_site_that_goes_and_comes_back_is_rendered_again(watching, root):
    watching.wait_for("watching")
    away = root.with_name("away")
    shutil.rmtree(root / "book")
    root.rename(away)
    watching.wait_for("not rendered: there is no folder")
    away.rename(root)
    watching.wait_for("files in")
    assert (root / "book/due.md").exists()
    assert watching.interrupt() == 0


def test_a_site_that_went_before_anybody_looked_is_noticed(tmp_path, monkeypatch):
    monkeypatch.setattr("watchfiles.watch", lambda *_, **__: iter([set()]))
    changes = build._changes(tmp_path / "gone")
    assert [next(changes), next(changes)] == [set(), (tmp_path / "gone",)]


def test_without_its_library_it_says_what_to_install(tunnelbook, root, monkeypatch):
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    assert tunnelbook("watch", root) == 2
    assert "watch needs watchfiles; install it with: " in tunnelbook.err
    assert tunnelbook.err.endswith(" 'watchfiles>=1.0'\n")


class TestMidnight:
    """The day on the site's clock, in the order in which it is asked."""

    def rendered(self, root, capsys, instants, changes, as_of=None):
        left = iter(instants)
        last = [None]

        def clock(zone):
            last[0] = next(left, last[0])
            return datetime.fromisoformat(last[0]).astimezone(zone)

        build.follow(called(as_of, clock), root, changes)
        return re.findall(r"files in .* as of (\S+):", capsys.readouterr().out)

    def test_a_new_day_renders_the_book_though_no_file_has_changed(self, root, capsys):
        before, after = "2026-11-25T23:59:58+00:00", "2026-11-26T00:00:01+00:00"
        found = self.rendered(root, capsys, [before, before, before, after], [(), (), ()])
        assert found == ["2026-11-25", "2026-11-26"]
        assert "As of 2026-11-26" in (root / "book/due.md").read_text(encoding="utf-8")

    def test_the_midnight_is_that_of_the_site(self, root, capsys):
        site = root / "site.yaml"
        site.write_text(site.read_text().replace("Etc/UTC", "America/Chicago"))
        evening, night = "2026-11-26T05:59:58+00:00", "2026-11-26T06:00:01+00:00"
        found = self.rendered(root, capsys, [evening, evening, evening, night], [(), (), ()])
        assert found == ["2026-11-25", "2026-11-26"]

    def test_a_day_that_was_asked_for_stays(self, root, capsys):
        instants = ["2026-11-25T23:59:58+00:00", "2026-11-26T00:00:01+00:00"]
        found = self.rendered(root, capsys, instants, [(), (), ()], as_of=date(2026, 11, 20))
        assert found == ["2026-11-20"]

    def test_a_site_that_cannot_be_rendered_is_told_once_a_day(self, root, capsys):
        (root / "site.yaml").write_text("name: [\n")
        build.follow(called(None), root, [(), (), ()])
        assert capsys.readouterr().err.count("not rendered") == 1


def test_each_rendering_is_an_answer_of_its_own_in_json_and_none_where_it_is_quiet(root, capsys):
    build.follow(called(date(2026, 11, 25), format="json"), root, [("site.yaml",)])
    first, second = re.split(r"(?<=^\})\n(?=\{)", capsys.readouterr().out, flags=re.MULTILINE)
    assert json.loads(first)["data"]["written"] == len(json.loads(first)["written"]) > 0
    assert json.loads(second)["data"] | {"untouched": 0} == {"written": 0, "removed": 0, "untouched": 0}  # fmt: skip
    build.follow(called(date(2026, 11, 25), quiet=True), root, [("site.yaml",)])
    assert capsys.readouterr().out == ""


class TestWhatTheSystemRefuses:
    def follow(self, root, changes):
        build.follow(called(date(2026, 11, 25)), root, changes)

    def test_it_is_said_once_and_tried_again_until_it_is_well(self, root, capsys, monkeypatch):
        """The disk is full, then the folder cannot be read, then all is well."""
        real = save.replace_file
        refusals = [OSError(28, "No space left on device", "due.md")] * 2
        refusals.append(OSError(13, "Permission denied", "book"))

        def replace_file(*words, **options):
            if refusals:
                raise refusals.pop(0)
            real(*words, **options)

        monkeypatch.setattr("ledger.files.book_files.replace_file", replace_file)
        self.follow(root, [()] * (4 * build._WAKES_BETWEEN_TRIES))
        out, err = capsys.readouterr()
        assert err.splitlines() == [
            "not rendered, and tried again in a while: due.md: No space left on device",
            "not rendered, and tried again in a while: book: Permission denied",
        ]
        assert out.count("files in") == 1
        assert (root / "book/due.md").exists()

    def test_it_goes_on_where_its_own_words_cannot_be_written(self, root, monkeypatch):
        with Path("/dev/full").open("w") as full:
            monkeypatch.setattr(sys, "stderr", full)
            (root / "site.yaml").write_text("name: [\n")
            self.follow(root, [(), ("site.yaml",)])
            # What is left over would fail again as the file is closed.
            os.dup2(os.open(os.devnull, os.O_WRONLY), full.fileno())

    def test_a_watch_that_the_system_ends_is_started_again(self, root, capsys, monkeypatch):
        calls = []

        def ending(*_: object, **__: object):
            calls.append(1)
            yield ()
            raise OSError(28, "inotify watch limit reached")

        monkeypatch.setattr("watchfiles.watch", ending)
        monkeypatch.setattr(build, "_WAKES_AFTER_MS", 0)
        changes = build._changes(root)
        once = [next(changes) for _ in range(build._WAKES_BETWEEN_TRIES + 2)]
        assert once[-1] == (root,)
        assert next(changes) == ()
        assert len(calls) == 2
        assert "looked for again: inotify watch limit reached" in capsys.readouterr().err


class TestInbox:
    """What lands in a folder goes onto a branch of its own, and nothing ends the watch."""

    TURN = [()] * (Inbox.LOOKS_BETWEEN_TRIES + 1)

    @pytest.fixture
    def inbox(self, tmp_path):
        (tmp_path / "inbox").mkdir()
        return tmp_path / "inbox"

    def follow(self, wash, inbox, steps, **said):
        """Each step is followed by as many looks as it takes to try again."""

        def changes():
            for step in steps:
                step()
                yield from self.TURN

        options = {"site": str(wash), "push": False, "accept_changed": False, "dry_run": False}
        parsed = called(None, pinned_clock, quiet=True, **{**options, **said})
        build.follow(parsed, wash, changes(), Inbox(inbox, "received"))

    def on_branch(self, wash, branch="received"):
        return git(wash, "log", "--format=%s", f"main..{branch}").splitlines()

    def test_it_is_committed_to_a_branch_and_the_checkout_stays(self, wash, shared, inbox):
        before = git(wash, "rev-parse", "main"), git(wash, "status", "--porcelain", "observations")
        mail = f"Subject: x\n\n{sent()}\n{sent(at='2026-11-24T14:05')}"
        first = partial((inbox / "a.txt").write_text, sent())
        second = partial((inbox / "b.eml").write_text, mail)
        self.follow(wash, inbox, [first, second], push=True)
        assert self.on_branch(wash) == [
            "File a visit of M. Tarrow, 2026-11-24 14:05",
            "File a visit of M. Tarrow, 2026-11-24 06:40",
        ]
        assert (git(wash, "rev-parse", "main"), git(wash, "status", "--porcelain", "observations")) == before  # fmt: skip
        assert git(shared, "rev-parse", "received") == git(wash, "rev-parse", "received")
        git(wash, "merge", "-q", "--no-ff", "-m", "Merge", "received")
        third = partial((inbox / "c.txt").write_text, sent(at="2026-11-24T16:05"))
        self.follow(wash, inbox, [third])
        assert self.on_branch(wash) == ["File a visit of M. Tarrow, 2026-11-24 16:05"]

    def test_it_goes_on_from_what_was_squashed(self, tunnelbook, wash, shared, inbox):
        self.follow(wash, inbox, [partial((inbox / "a.txt").write_text, sent())], push=True)
        git(wash, "merge", "-q", "--squash", "received")
        git(wash, "commit", "-qm", "Squash")
        second = partial((inbox / "b.txt").write_text, sent(at="2026-11-24T14:05"))
        self.follow(wash, inbox, [second], push=True)
        assert git(wash, "diff", "--name-only", "main...received").split() == [
            "observations/2026/11/2026-11-24T1405-m-tarrow.yaml"
        ]
        assert git(shared, "rev-parse", "received") == git(wash, "rev-parse", "received")
        git(wash, "merge", "-q", "--no-ff", "-m", "Merge", "received")
        tunnelbook("audit", wash, "--json")
        kinds = {item["kind"] for item in tunnelbook.data["irregularities"]}
        assert not {kind for kind in kinds if "merge" in kind.lower()}, kinds

    def test_what_is_refused_is_said_and_tried_again(
        self, wash, shared, inbox, capsys, monkeypatch
    ):
        """No folder, no name in git, a host that is away; then all is well."""
        away, host = inbox.with_name("away"), shared.with_name("host")
        inbox.rename(away)
        (away / "0.txt").write_bytes(b"x" * (2**20 + 1))
        (away / "a.txt").write_text(sent())
        config = os.environ["GIT_CONFIG_GLOBAL"]
        monkeypatch.setenv("GIT_CONFIG_GLOBAL", os.devnull)
        steps = [
            partial(shared.rename, host),
            partial(away.rename, inbox),
            partial(monkeypatch.setenv, "GIT_CONFIG_GLOBAL", config),
            partial(host.rename, shared),
            (inbox / "0.txt").unlink,
        ]
        self.follow(wash, inbox, steps, push=True)
        told = [line for line in capsys.readouterr().err.splitlines() if "tried again" in line]
        expected = [
            ("inbox: No such file or directory",),
            ("0.txt is larger than 1 MiB", "set user.name and user.email"),
            ("0.txt is larger than 1 MiB", "committed here, not pushed"),
            ("0.txt is larger than 1 MiB",),
        ]
        assert len(told) == len(expected)
        for line, parts in zip(told, expected, strict=True):
            assert all(part in line for part in parts), line
        assert git(shared, "log", "--format=%s", "main..received").count("File a visit") == 1

    def test_the_branch_that_is_checked_out_is_never_it(self, wash, shared, inbox, capsys):
        git(wash, "switch", "-qc", "received")
        self.follow(wash, inbox, [partial((inbox / "a.txt").write_text, sent())])
        assert "The branch received is checked out in" in capsys.readouterr().err
        assert self.on_branch(wash) == []


@pytest.mark.parametrize(
    ("path", "matters"),
    [
        ("", True),
        ("site.yaml", True),
        ("tasks/x.yaml", True),
        ("observations/2026/11/x.yaml", True),
        ("book/due.md", False),
        ("tasks/.x.yaml.part", False),
        (".git/index", False),
        ("README.md", False),
    ],
)
def test_only_the_record_matters(tmp_path, path, matters):
    assert build._is_of_the_site(tmp_path, str(tmp_path / path)) is matters

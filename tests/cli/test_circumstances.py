"""Every command under every bad circumstance: a sentence, the right status, no trace, no hanging.

Each command has a call that works on the sound site: a row of CALLS, else the site alone. Processes
of their own run where the circumstance is one of the process (its streams, its user); the others run
in this one.
"""

import os
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from example import EXAMPLE
from git_repo import Repo
from pinned_clock import pinned_clock
from sound_site import SOUND

from ledger.cli.main import SUMMARIES, command_parser, find_command
from ledger.cli.start import entry_point

pytestmark = pytest.mark.skipif(os.name != "posix", reason="streams, pipes and users as POSIX has them")  # fmt: skip

ENTRY = "2026-11-17T0640-m-tarrow#1"
# `SITE` stands for the folder of the site, `NEW` for one that is not there yet.
PLATE = next((EXAMPLE / "photos").rglob("*.jpg"))
CALLS = {name: f"{name} --site SITE" for name in SUMMARIES} | {
    "init": "init NEW",
    "build": "build SITE --html",
    "record": "record --site SITE --by m-tarrow --done grease-bearings --dry-run",
    "correct": f"correct {ENTRY} --set strokes=3 --reason r --by m-tarrow --site SITE --dry-run",
    "speed": "speed 38 30",
    "tune": "tune brush-p2 --site SITE",
    "propose": "propose brush-p2 --hz 44 --why because --by m-tarrow --site SITE --dry-run",
    "approve": "approve brush-p2 --site SITE --by d-fenwold --base HEAD --dry-run",
    "cards": "cards SITE --out SITE/cards",
    "show": "show brush-p2 --site SITE",
    "receive": "receive SITE/sent.txt --site SITE --dry-run",
    "import": "import SITE/log.csv --map SITE/map.yaml --site SITE --dry-run",
    "export": "export SITE --to csv --out SITE/export",
    "group": "group SITE/sites.txt --out NEW --dry-run",
    "review": "review HEAD --site SITE",
    "photo": f"photo {PLATE} --site SITE --dry-run",
    "explain": "explain count-too-short",
    "guide": "guide",
    "completion": "completion bash",
}
NO_SITE = {"init", "speed", "group", "explain", "guide", "completion"}
"""Commands that ask nothing of a site."""
NOBODY = 65534
NO_END = {"watch"}
"""Commands that run until they are stopped."""

MAP = """\
when: {columns: [Date], written: "%Y-%m-%d %H:%M"}
by: {always: m-tarrow}
entries:
  - fields: {task: {always: grease-bearings}, at: {always: brush-p2}, strokes: {always: 2}}
"""
SENT = """\
at: 2026-11-18T06:40
by: m-tarrow
entries:
- {finding: chain is loud, at: conveyor, urgency: planned}
# check 4d016a57
"""

every_command = pytest.mark.parametrize("name", SUMMARIES)
of_a_site = pytest.mark.parametrize("name", [name for name in SUMMARIES if name not in NO_SITE])


def words(name, site, elsewhere):
    there = CALLS[name].replace("SITE", str(site)).replace("NEW", str(elsewhere / "new"))
    return there.split()


@pytest.fixture(scope="module")
def shared(tmp_path_factory):
    """The sound site in a git repository, with a log to import; nobody alters its files."""
    root = tmp_path_factory.mktemp("shared") / "wash"
    repository = Repo(root)
    shutil.copytree(SOUND, root, dirs_exist_ok=True)
    (root / "log.csv").write_text("Date\n2026-11-20 06:40\n", encoding="utf-8")
    (root / "sent.txt").write_text(SENT, encoding="utf-8")
    (root / "map.yaml").write_text(MAP, encoding="utf-8")
    (root / "sites.txt").write_text(".\n", encoding="utf-8")
    repository.git("add", "--all")
    repository.commit("Begin")
    return root


@pytest.fixture
def site(shared, tmp_path):
    return shutil.copytree(shared, tmp_path / "wash", symlinks=True)


def run(line, *, timeout=60, **options):
    """A shell's line as a person types it, `tunnelbook` being this tree's program."""
    program = f'tunnelbook() {{ "{sys.executable}" -m ledger "$@"; }}; '
    return subprocess.run(
        ["bash", "-c", program + line],
        capture_output=True,
        check=False,
        timeout=timeout,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2]), "PYTHONUNBUFFERED": ""},
        **options,
    )


def assert_said(ran, status):
    assert b"Traceback" not in ran.stderr, ran.stderr.decode()
    assert b"the program failed" not in ran.stderr, ran.stderr.decode()
    assert ran.returncode in status, ran


@every_command
def test_its_call_can_be_used(name):
    assert CALLS.keys() == SUMMARIES.keys()
    command_parser(name, find_command(name)).parse_args(shlex.split(CALLS[name])[1:])


def forked(call, tmp_path, *, stdin=None, stdout=None, stderr=None, user=None):
    """The program in a process of its own that is spared the start: status, output, complaints.

    A stream is None for an ordinary one, "closed", or the path of a device.
    """
    shutil.rmtree(tmp_path / "new", ignore_errors=True)
    places = [stdin or os.devnull, stdout or tmp_path / "out", stderr or tmp_path / "err"]
    child = os.fork()
    if child == 0:
        status = 99
        try:
            for number, place in enumerate(places):
                mode = os.O_RDONLY if number == 0 else os.O_WRONLY | os.O_CREAT | os.O_TRUNC
                os.dup2(os.open(os.devnull if place == "closed" else place, mode), number)
            for number in (number for number, place in enumerate(places) if place == "closed"):
                os.close(number)
            # As Python sets them when it starts.
            sys.stdin, sys.stdout, sys.stderr = (
                None
                if place == "closed"
                else os.fdopen(number, "r" if number == 0 else "w", encoding="utf-8")
                for number, place in enumerate(places)
            )
            sys.argv = ["tunnelbook", *call]
            if user is not None:
                os.setgroups([])
                os.setgid(user)
                os.setuid(user)
            try:
                entry_point(pinned_clock)
            except SystemExit as ended:
                status = ended.code
        finally:
            os._exit(status)
    _, ended = os.waitpid(child, 0)
    said = [Path(place).read_bytes() if place in {tmp_path / "out", tmp_path / "err"} else b"" for place in places]  # fmt: skip
    ran = subprocess.CompletedProcess(call, os.waitstatus_to_exitcode(ended), said[1], said[2])
    assert_said(ran, {0, 1, 2})
    return ran


@pytest.mark.parametrize("name", [name for name in SUMMARIES if name not in NO_END])
def test_streams_that_are_closed_or_full(name, tunnelbook, shared, tmp_path):
    """An output that cannot be written ends with 2 and is told; the other streams alter nothing."""
    call = words(name, shared, tmp_path)
    tunnelbook(*call)  # here, so that none of the others has to import anything
    plain = forked(call, tmp_path)
    # Nothing is to be approved here.
    assert plain.returncode in ({2} if name == "approve" else {0, 1})
    deaf = forked(call, tmp_path, stdin="closed", stderr="closed")
    assert (deaf.returncode, deaf.stdout) == (plain.returncode, plain.stdout)
    for output, said in (("closed", b"it is closed"), ("/dev/full", b"No space left on device")):
        ran = forked(call, tmp_path, stdout=output)
        if plain.stdout:
            assert (ran.returncode, said in ran.stderr) == (2, True), ran
        else:
            assert (ran.returncode, ran.stderr) == (plain.returncode, plain.stderr)
        mute = forked(call, tmp_path, stdin="closed", stdout=output, stderr=output)
        assert mute.returncode == 2 or not plain.stdout


@pytest.mark.unmoved  # faketime opens a file of its own in a closed stream's place
@pytest.mark.parametrize(
    ("line", "status"),
    [
        ("speed 38 30 >&-", 2), ("speed 38 30 <&- 2>&-", 0), ("speed 38 30 >&- <&- 2>&-", 2),
        ("speed x 30 2>&-", 2), ("speed x 30 2>/dev/full", 2), ("speed x 30 >/dev/full 2>/dev/full", 2),
        ("check SITE >&- <&-", 2), ("--help >&-", 2),
    ],
)  # fmt: skip
def test_the_status_that_a_shell_sees(line, status, shared):
    """From its start to its very end: Python's own flush must not alter the status."""
    assert_said(run(f"tunnelbook {line.replace('SITE', str(shared))}"), {status})


@every_command
def test_a_word_that_is_not_utf_8_is_refused(name, tunnelbook, shared, tmp_path):
    odd = os.fsdecode(b"caf\xe9")
    call = words(name, shared, tmp_path)
    for said in ([*call, odd], [*call, f"--site={odd}"], [call[0], odd]):
        assert tunnelbook(*said) == 2
        assert r"caf\xe9` is not UTF-8 text" in tunnelbook.err


def test_a_folder_whose_name_is_not_utf_8_is_a_folder(site, tmp_path, monkeypatch):
    odd = tmp_path / os.fsdecode(b"caf\xe9")
    site.rename(odd)
    monkeypatch.chdir(tmp_path)
    for call in ("check", "build --html", "due", "export --to csv", "audit"):
        name, *rest = call.split()
        assert forked([name, odd.name, *rest], tmp_path).returncode in {0, 1}


@pytest.mark.parametrize(
    "name", [name for name in SUMMARIES if name == "init" or name not in NO_SITE]
)
def test_a_file_where_the_site_s_folder_is_wanted(name, tunnelbook, tmp_path):
    (tmp_path / "a-file").write_text("x", encoding="utf-8")
    try:
        status = tunnelbook(*words(name, tmp_path / "a-file", tmp_path / "a-file"))
    except SystemExit as ended:
        status = ended.code
    assert status == 2
    assert tunnelbook.err.startswith(f"tunnelbook {name}: ")


@of_a_site
@pytest.mark.parametrize("odd", ["folder", "pipe", "dangling link", "surrogates"])
def test_something_else_where_a_file_is_wanted(name, odd, tunnelbook, site, tmp_path):
    """One file is told of; a command that needs them all ends with 2, and the others go on."""
    if name in NO_END:
        pytest.skip("runs until it is stopped")
    place = site / "tasks/check-speed.yaml"
    place.unlink()
    if odd == "folder":
        place.mkdir()
    elif odd == "pipe":
        os.mkfifo(place)
    elif odd == "surrogates":
        place.write_text('"\\ud83d\\ude00": 1\n"\\ud83d": "\\ude00"\n', encoding="utf-8")
        # What is read from commits is read by the same guard.
        subprocess.run(["git", "-C", site, "commit", "-qam", "Odd"], check=True)
    else:
        place.symlink_to("nowhere")
    status = tunnelbook(*words(name, site, tmp_path))
    assert status in {0, 1, 2}
    assert (
        odd == "folder"
        or status
        or name
        in {
            "review",
            "audit",
            "record",
            "correct",
            "receive",
            "import",
            "migrate",
        }
    )
    if name == "check" and odd == "surrogates":
        assert "tasks/check-speed.yaml:2:1: error: the text holds half of" in tunnelbook.out
    elif name == "check" and odd != "folder":
        assert "tasks/check-speed.yaml: error: the file cannot be read" in tunnelbook.out


@of_a_site
@pytest.mark.parametrize("odd", ["folder", "pipe"])
def test_something_else_where_site_yaml_is_wanted(name, odd, tunnelbook, site, tmp_path):
    (site / "site.yaml").unlink()
    (site / "site.yaml").mkdir() if odd == "folder" else os.mkfifo(site / "site.yaml")
    assert tunnelbook(*words(name, site, tmp_path)) == 2
    assert "holds no site.yaml" in tunnelbook.err


@pytest.mark.parametrize(
    ("call", "pipe"),
    [("build SITE", "book/due.md"), ("build SITE --check", "book/due.md"), ("export SITE --to ics --out SITE/due.ics", "due.ics"), ("export SITE --to csv --out SITE/x", "x/dictionary.csv"), ("cards SITE --out SITE/cards.html", "cards.html")],
)  # fmt: skip
def test_a_pipe_where_a_page_is_written_is_refused_and_not_waited_for(call, pipe, tunnelbook, site):
    (site / pipe).parent.mkdir(exist_ok=True)
    (site / pipe).unlink(missing_ok=True)
    os.mkfifo(site / pipe)
    assert tunnelbook(*call.replace("SITE", str(site)).split()) in {1, 2}
    assert (site / pipe).is_fifo()


def test_a_log_without_end_is_not_read_without_end(tunnelbook, site):
    assert tunnelbook("import", "/dev/zero", "--map", site / "map.yaml", "--site", site) == 2
    assert tunnelbook.err == "tunnelbook import: `/dev/zero` is larger than 32 MiB; split it\n"


@of_a_site
@pytest.mark.parametrize("locked", ["tasks", "site.yaml", "equipment/brush-p2.yaml"])
def test_what_may_not_be_read_is_named(name, locked, site, tunnelbook, tmp_path):
    if name in NO_END:
        pytest.skip("runs until it is stopped")
    call = words(name, site, tmp_path)
    tunnelbook(*call)  # what it imports, another user may not be able to read
    for folder in (site, tmp_path, *tmp_path.parents[:2]):
        folder.chmod(0o777)
    (site / locked).chmod(0)
    try:
        ran = forked(call, tmp_path, user=NOBODY if os.getuid() == 0 else None)
    finally:
        (site / locked).chmod(0o755)
    if name == "check":
        assert ran.returncode in {1, 2}
        assert b"Permission denied" in ran.stdout + ran.stderr


def test_a_working_folder_that_is_gone(tmp_path):
    ran = run(f"mkdir {tmp_path}/x; cd {tmp_path}/x; rmdir {tmp_path}/x; tunnelbook check")
    assert_said(ran, {2})
    assert (
        ran.stderr
        == b"tunnelbook check: the folder you are in no longer exists; change to one that does\n"
    )


class TestAFaultOfTheProgram:
    PROGRAM = (
        "import sys\nfrom ledger.cli import main, start\n"
        "def fail(*_): raise KeyError('x')\n"
        "main.main = fail\nsys.argv = ['tunnelbook', 'due']\nstart.entry_point()"
    )

    def ran(self, **changes):
        return subprocess.run(
            [sys.executable, "-c", self.PROGRAM], capture_output=True, text=True, check=False,
            env={**os.environ, **changes},
        )  # fmt: skip

    def test_is_a_sentence_and_what_to_do(self):
        ran = self.ran()
        assert (ran.returncode, ran.stdout) == (2, "")
        assert ran.stderr == (
            "tunnelbook due: the program failed, and this is its fault: KeyError: 'x'\n"
            "`tunnelbook check` may name the file it failed on; please report this with what "
            "TUNNELBOOK_TRACEBACK=1 prints\n"
        )

    def test_shows_its_trace_to_whoever_asks(self):
        ran = self.ran(TUNNELBOOK_TRACEBACK="1")
        assert ran.returncode == 2
        assert "Traceback" in ran.stderr
        assert "raise KeyError" in ran.stderr or "in fail" in ran.stderr

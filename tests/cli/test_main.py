"""The program as a shell sees it: endings, exit codes, closed pipes, help that loads nothing."""

import argparse
import io
import os
import re
import shlex
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from sound_site import SOUND

from ledger import __version__
from ledger.cli.command import progress_bar
from ledger.cli.main import SUMMARIES, command_parser, find_command, main

PYTHON = [sys.executable, "-m", "ledger"]
HEAVY = ("ruamel", "jsonschema", "jsonschema_rs", "scipy", "numpy", "yaml", "markdown_it", "dateutil", "icalendar", "segno")  # fmt: skip
posix_only = pytest.mark.skipif(os.name != "posix", reason="pipes and signals as POSIX has them")


def environment(**changes):
    """As a shell has it: output is held back until it is a block, as it is for a pipe."""
    kept = {name: value for name, value in os.environ.items() if name != "PYTHONUNBUFFERED"}
    return kept | changes


def run(*words, **rest):
    options = {"capture_output": True, "text": True, "env": environment()} | rest
    return subprocess.run([*PYTHON, *map(str, words)], check=False, **options)


@pytest.mark.parametrize(
    ("words", "status", "out", "err"),
    [
        ([], 0, "usage: tunnelbook COMMAND", ""),
        (["--help"], 0, "Start here:", ""),
        (["--version"], 0, f"tunnelbook {__version__}\n", ""),
        (["--verison"], 2, "", "there is no option `--verison`; did you mean `--version`?"),
        (["chek"], 2, "", "there is no command `chek`; did you mean `check`?"),
        (["xyzzy"], 2, "", "Commands: due, record"),
        (["-C", SOUND], 2, "", "missing: COMMAND"),
        (["record", "--done", "look-ovr", "--by", "m-tarrow", "-C", SOUND, "--dry-run"], 2, "", "there is no task"),
        (["record", "--finding", "x=y", "--by", "m-tarrow", "-C", SOUND, "--dry-run"], 2, "", "there is no machine"),
        (["check", "--formt", "json"], 2, "", "there is no option `--formt`; did you mean `--format`?"),
        (["check", "nowhere"], 2, "", "there is no folder `nowhere`"),
        (["check", SOUND / "site.yaml"], 2, "", "is a file; name the folder that holds site.yaml"),
        (["show", "brush-q2", "--site", SOUND], 2, "", "there is no machine `brush-q2`; did you mean `brush-p2`?"),
        (["show", "zzz", "--site", SOUND], 2, "", "known: conveyor, brush-p2, low-brush"),
        (["due", SOUND, "--for", "m-tarow"], 2, "", "there is no person `m-tarow`; did you mean `m-tarrow`?"),
        (["completion", "tcsh"], 2, "", "shell cannot be `tcsh`; it is one of bash, zsh, fish"),
    ],
    ids=lambda case: " ".join(str(word) for word in case[:2]) or "nothing" if isinstance(case, list) else "",
)  # fmt: skip
def test_the_first_things_a_new_user_types(words, status, out, err):
    ran = run(*words)
    assert (ran.returncode, out in ran.stdout, err in ran.stderr) == (status, True, True), ran
    assert "Traceback" not in ran.stderr


def test_the_module_and_the_installed_command_are_one_program():
    installed = Path(sys.executable).with_name("tunnelbook")
    if not installed.exists():
        pytest.skip("the command is not installed beside this Python; the wheel's test runs it")
    ran = subprocess.run([installed, "--version"], capture_output=True, text=True, check=True)
    assert ran.stdout == run("--version").stdout


@pytest.mark.parametrize(
    ("call", "wrong", "example"),
    [
        ("speed 43 30 --band 75", "--band wants LOW HIGH (limits in r/min)", "speed 43 30 --band 85 97"),
        ("due --as-of", "--as-of wants DAY (the day to look from, such as 2026-11-25)", "due --as-of 2026-12-01"),
        ("due --as-of yesterday", "--as-of: `yesterday` is not a day; write it like 2026-11-25, or name a tag, branch or commit with --at-commit", "due --as-of 2026-12-01"),
        ("tune", "missing: MACHINE (its file's name in equipment/, without .yaml)", "tune brush-p2"),
        ("correct", "missing: VISIT#N, --why TEXT", "correct 2026-11-23T0640-m-osterby#2 --why 'misread 43 as 48' --set counted=43"),
        ("correct a#1 --resaon x", "there is no option `--resaon`; did you mean `--reason`?", "correct 2026-11-23T0640-m-osterby#2 --why 'misread 43 as 48' --set counted=43"),
        ("propose brush-1 --why x", "say one of --hz X, --flow-gpm X, --flow-lpm X", None),
        ("propose brush-1 --hz 44 --flow-gpm 4 --why x", "--flow-gpm: not allowed with argument --hz", None),
        ("propose brush-1 --hz fast --why x", "--hz: `fast` is not a number; write it like 44.5", None),
        ("load --volts high", "--volts: `high` is not a whole number; write it like 460", None),
        ("propose brush-1 --hz 44 --why x --from soon", "--from: `soon` is not a day; write it like 2026-11-25", None),
        ("export --to xls", "--to cannot be `xls`; it is one of csv, ics, sqlite, parquet", "export --to csv"),
        ("build --htlm", "there is no option `--htlm`; did you mean `--html`?", "build --html"),
        ("grease -x", "there is no option `-x`", "grease"),
        ("due here there", "`there` is more than it takes", "due"),
        ("record --urgency high", "--urgency cannot be `high`; it is one of now, soon, planned", "record --finding brush-1/nozzle-1='sprays aside' --urgency now"),
    ],
)  # fmt: skip
def test_a_wrong_call_is_told_in_three_lines(call, wrong, example, capsys):
    with pytest.raises(SystemExit) as ended:
        main(call.split())
    name = call.split()[0]
    said, such_as, more = capsys.readouterr().err.splitlines()
    assert (ended.value.code, said) == (2, f"tunnelbook {name}: {wrong}")
    if example is not None:
        assert such_as == f"such as: tunnelbook {example}"
    assert more == f"more: tunnelbook {name} --help"


@pytest.mark.parametrize(
    ("words", "wrong"),
    [
        (["speed", "38", "30", "--band", "75"], "--band wants LOW HIGH (limits in r/min)"),
        (["export", "--to", "xls"], "--to cannot be `xls`; it is one of csv, ics, sqlite, parquet"),
        (["propose", "a", "--why", "x"], "say one of --hz X, --flow-gpm X, --flow-lpm X"),
        (["due", "here", ""], "`` is more than it takes"),
    ],
)
def test_a_wrong_call_is_told_alike_whatever_language_argparse_speaks(
    words, wrong, capsys, monkeypatch
):
    monkeypatch.setattr(argparse, "_", lambda text: f"¿{text}")
    with pytest.raises(SystemExit):
        main(words)
    assert capsys.readouterr().err.splitlines()[0] == f"tunnelbook {words[0]}: {wrong}"


class TestHelp:
    @pytest.mark.parametrize("name", SUMMARIES)
    def test_has_a_sentence_examples_and_a_word_for_every_option(self, name):
        command = find_command(name)
        text = command_parser(name, command).format_help()
        assert command.description.endswith(".")
        assert all(len(line) <= 100 for line in text.splitlines()), text
        assert re.search(rf"^  tunnelbook {name}\b", text, re.MULTILINE), text
        assert "examples:" in text

    @pytest.mark.parametrize("name", SUMMARIES)
    def test_its_examples_are_calls_that_the_command_takes(self, name):
        command = find_command(name)
        parser = command_parser(name, command)
        text = re.sub(r"\s*\\\n\s*", " ", command.examples)
        examples = re.findall(rf"^  tunnelbook {name}\b(.*)$", text, re.MULTILINE)
        for example in examples:
            if "..." in example:  # an example that leaves out what the one before it gives
                continue
            # What follows two spaces is a remark; a pipe, a redirection and `&&` are the shell's.
            call = re.split(r"\s{2,}|\s[|>]|\s&&", example, maxsplit=1)[0]
            parser.parse_args(shlex.split(call))

    @pytest.mark.parametrize("name", ["", *SUMMARIES])
    def test_loads_nothing_heavy(self, name):
        program = (
            "import sys\nfrom ledger.cli.main import main\n"
            "try:\n    main(sys.argv[1:])\nexcept SystemExit:\n    pass\n"
            f"print('LOADED', *[name for name in {HEAVY!r} if name in sys.modules])"
        )
        words = [name, "--help"] if name else ["--help"]
        ran = subprocess.run(
            [sys.executable, "-c", program, *words], capture_output=True, text=True, check=True
        )
        assert ran.stdout.splitlines()[-1] == "LOADED", ran.stdout

    def test_names_every_command(self, capsys):
        assert main([]) == 0
        text = capsys.readouterr().out
        listed = [
            line.split()[0] for line in text.splitlines() if re.match(r"  [a-z]+ {2,}\S", line)
        ]
        assert sorted(listed) == sorted(SUMMARIES)


@posix_only
class TestEndings:
    @pytest.mark.parametrize("unbuffered", ["", "1"], ids=["as a pipe has it", "unbuffered"])
    @pytest.mark.parametrize(
        "words",
        [["--help"], ["--version"], ["due", "--help"], ["due", SOUND], ["check", SOUND], ["speed", "38", "30"], ["completion", "bash"]],
        ids=lambda words: " ".join(str(word) for word in words[:2]),
    )  # fmt: skip
    def test_a_reader_that_has_had_enough_is_no_fault(self, words, unbuffered):
        reading, writing = os.pipe()
        os.close(reading)
        ran = run(
            *words,
            capture_output=False,
            stdout=writing,
            stderr=subprocess.PIPE,
            env=environment(**({"PYTHONUNBUFFERED": "1"} if unbuffered else {})),
        )
        os.close(writing)
        assert (ran.returncode, ran.stderr) == (0, "")

    def test_the_first_line_alone(self):
        line = subprocess.run(
            f"{shlex.join([*PYTHON, 'show', 'brush-p2', '--site', str(SOUND)])} | head -1",
            shell=True, capture_output=True, text=True, check=True, env=environment(),
        )  # fmt: skip
        assert (line.stdout, line.stderr) == ("Lower side brush, passenger\n", "")

    @pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
    def test_a_full_disk_is_a_sentence(self):
        with Path("/dev/full").open("w") as full:
            ran = run("speed", "38", "30", capture_output=False, stdout=full, stderr=subprocess.PIPE)  # fmt: skip
        assert ran.returncode == 2
        assert ran.stderr == "tunnelbook: the output cannot be written: No space left on device\n"

    def test_an_interrupt_ends_without_a_word(self):
        # The command is replaced by one that says when it waits: the interrupt meets it there.
        program = (
            "import threading\nfrom ledger.cli import main, start\n"
            "main.main = lambda *_: (print('ready', flush=True), threading.Event().wait(60))\n"
            "start.entry_point()"
        )
        with subprocess.Popen(
            [sys.executable, "-c", program], stdout=subprocess.PIPE, stderr=subprocess.PIPE
        ) as running:
            assert running.stdout.readline() == b"ready\n"
            running.send_signal(signal.SIGINT)
            out, err = running.communicate()
        assert (running.returncode, out, err) == (130, b"", b"\n")


def test_a_site_is_found_from_a_folder_below_it(tmp_path):
    shutil.copytree(SOUND, tmp_path / "wash")
    here = tmp_path / "wash/observations/2026"
    ran = run(
        "check", "--as-of", "2026-12-01", cwd=here, env=environment(PYTHONPATH=str(Path.cwd()))
    )
    assert (ran.returncode, ran.stdout) == (0, "12 files, 0 errors, 0 warnings\n")
    ran = run("check", cwd=tmp_path, env=environment(PYTHONPATH=str(Path.cwd())))
    assert (ran.returncode, ran.stdout) == (2, "")
    assert "tunnelbook init DIR" in ran.stderr


def test_long_work_says_how_far_it_is_where_a_terminal_watches(monkeypatch):
    class Terminal(io.StringIO):
        def isatty(self) -> bool:
            return True

    terminal = Terminal()
    monkeypatch.setattr(sys, "__stderr__", terminal)
    with progress_bar() as show:
        for done in range(3):
            show(done, 20)
        assert terminal.getvalue() == ""
        for done in range(1001):
            show(done, 1000)
    *told, cleared, rest = terminal.getvalue().split("\r")[1:]
    assert told[0] == "  0 % of 1,000 files"
    assert told[-1] == "100 % of 1,000 files"
    assert (len(told), cleared.strip(), rest) == (101, "", "")


class TestFrame:
    def test_help_is_a_command_too(self, tunnelbook, capsys):
        with pytest.raises(SystemExit) as ended:
            tunnelbook("help", "due")
        assert ended.value.code == 0
        assert capsys.readouterr().out.startswith("usage: tunnelbook due")

    def test_a_former_name_still_works(self, tunnelbook):
        assert tunnelbook("register", SOUND) == 0
        of_old = tunnelbook.out
        assert tunnelbook("setpoints", SOUND) == 0
        assert tunnelbook.out == of_old

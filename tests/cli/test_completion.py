"""What a shell completes: commands, options, and what the site calls its things."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from example import EXAMPLE
from tools import find_tool

from ledger.cli.commands.completion import print_candidates
from ledger.cli.main import SUMMARIES
from ledger.model.ledger import Ledger

SHELLS = ("bash", "zsh", "fish")


def offered(capsys, *words):
    print_candidates(words)
    return [line.partition("\t")[0] for line in capsys.readouterr().out.splitlines()]


@pytest.fixture
def example() -> Ledger:
    from example import example_loaded  # noqa: PLC0415

    return example_loaded().ledger


AT = ("-C", str(EXAMPLE))


class TestCandidates:
    def test_commands_with_what_they_do(self, capsys):
        assert offered(capsys, "re") == [name for name in SUMMARIES if name.startswith("re")]
        assert offered(capsys, *AT, "") == [*SUMMARIES, "help"]
        assert offered(capsys, "help", "sho") == ["show"]
        print_candidates(["due"])
        assert capsys.readouterr().out == f"due\t{SUMMARIES['due']}\n"

    def test_ids_are_those_of_the_site(self, capsys, example):
        machines, people = sorted(example.machines), sorted(example.site.people)
        for words in (("tune", *AT), (*AT, "show"), ("cards", *AT, "--only", machines[0])):
            assert offered(capsys, *words, "") == machines
        assert offered(capsys, "due", *AT, "--for", "") == people
        assert offered(capsys, "due", *AT, f"--for={people[0][:-1]}") == [f"--for={people[0]}"]
        assert offered(capsys, "record", *AT, "--done", "") == sorted(example.tasks)
        newest = max(visit.ident for visit in example.visits)
        assert offered(capsys, "correct", *AT, "")[0] == f"{newest}#"

    def test_the_site_is_the_one_the_command_would_take(self, capsys, monkeypatch, example):
        monkeypatch.chdir(EXAMPLE / "tasks")
        assert offered(capsys, "show", "") == sorted(example.machines)
        monkeypatch.chdir("/")
        assert offered(capsys, "show", "") == []
        monkeypatch.setenv("TUNNELBOOK_SITE", str(EXAMPLE))
        assert offered(capsys, "show", "") == sorted(example.machines)

    def test_what_the_program_itself_knows(self, capsys):
        passes = ["before-opening", "running", "closed"]
        assert offered(capsys, "record", "--in-order", "") == passes
        assert offered(capsys, "init", "wash", "--with", "conveyor", "blow") == ["blower"]
        assert offered(capsys, "record", "--stop", "ve") == ["vehicle"]
        assert offered(capsys, "explain", "count-too-s") == ["count-too-short"]
        assert offered(capsys, "check", "--format", "s") == ["sarif"]
        assert offered(capsys, "build", "--h") == ["--help", "--html"]

    def test_files_are_left_to_the_shell_and_numbers_to_the_person(self, capsys):
        for words in (("receive", ""), ("show", "-C", ""), ("build", ""), ("cards", "--out", "")):
            assert offered(capsys, *words) == [":files"]
        for words in (("speed", ""), ("tune", "x", "--setting", ""), ("nonsense", "")):
            assert offered(capsys, *words) == []

    def test_no_file_is_read_but_site_yaml(self, capsys, monkeypatch):
        read = []
        monkeypatch.setattr(Path, "open", lambda self, *_, **__: read.append(self))
        for words in (("show", ""), ("record", "--done", ""), ("correct", ""), ("explain", "")):
            offered(capsys, words[0], *AT, *words[1:])
        assert read == []


_ASK = {
    "bash": """
        source {script}
        words() {{ COMP_WORDS=(tunnelbook "$@"); COMP_CWORD=$#; COMPREPLY=(); _tunnelbook; echo "${{COMPREPLY[@]}}"; }}
        words tu
        words check --str
        words -C {site} tune low-brush-d
        words due -C {site} --for = m-o
    """,
    "fish": """
        source {script}
        for line in 'tunnelbook tu' 'tunnelbook check --str' 'tunnelbook -C {site} tune low-brush-d' 'tunnelbook due -C {site} --for=m-o'
            complete -C $line | cut -f1
        end
    """,
    "zsh": """
        compdef() {{ }}
        _describe() {{ local -a shown; shown=("${{(@P)2}}"); print -r -- ${{shown%%:*}} }}
        words() {{ words=(tunnelbook "$@"); CURRENT=$#words; _tunnelbook }}
        source {script}
        words tu
        words check --str
        words -C {site} tune low-brush-d
        words due -C {site} --for m-o
    """,
}  # fmt: skip


@pytest.mark.parametrize("shell", SHELLS)
def test_the_script_completes_in_its_shell(tunnelbook, tmp_path, shell):
    program = find_tool(shell)
    assert tunnelbook("completion", shell) == 0
    script = tmp_path / "script"
    script.write_text(tunnelbook.out)
    command = tmp_path / "bin/tunnelbook"
    command.parent.mkdir()
    command.write_text(f'#!/bin/sh\nPYTHONPATH={Path.cwd()} exec {sys.executable} -m ledger "$@"\n')
    command.chmod(0o755)
    ran = subprocess.run(
        [program, "-c", _ASK[shell].format(script=script, site=EXAMPLE)],
        capture_output=True, text=True, check=True, cwd=tmp_path,
        env={**os.environ, "PATH": f"{command.parent}:{os.environ['PATH']}", "HOME": str(tmp_path)},
    )  # fmt: skip
    assert ran.stderr == ""
    assert ran.stdout.replace("--for=", "").split() == [
        "tune",
        "--strict",
        "low-brush-d",
        "m-osterby",
    ]

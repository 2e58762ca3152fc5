"""The command blocks of the README run as they stand, in their order, and print what it shows."""

import json
import os
import re
import shlex
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest
from example import copy_example

from ledger.cli.main import GROUPS

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
BLOCK = re.compile(r"^```(\w+)\n(.*?)^```$", re.MULTILINE | re.DOTALL)

# `main` of `tunnelbook review main` is a branch: the folder is put under git as the README says,
# by a person that the site knows.
_GIT = """\
git init -q -b main
git -c user.name=first -c user.email=first@wash.example add -A
git -c user.name=first -c user.email=first@wash.example commit -q -m "Start the record"
"""


@dataclass(frozen=True)
class Call:
    line: str
    shown: str | None


def calls():
    """The lines of every `sh` block, the last of a block with the `text` block that follows it."""
    blocks = [(match[1], match[2]) for match in BLOCK.finditer(README)]
    for number, (language, text) in enumerate(blocks):
        if language != "sh":
            continue
        lines = [line.strip() for line in text.splitlines() if line.strip()]
        follows = blocks[number + 1] if number + 1 < len(blocks) else ("", "")
        shown = follows[1] if follows[0] == "text" else None
        yield from (Call(line, None) for line in lines[:-1])
        yield Call(lines[-1], shown)


@pytest.fixture
def desk(tmp_path):
    """A folder with a copy of the example site, of its last month, where a new user stands."""
    copy_example(tmp_path / "example_site", since="2026-11")
    settings = tmp_path / ".gitconfig"
    settings.write_text("[user]\n\tname = Ada Tarrowby\n\temail = tarrowby@wash.example\n")
    return tmp_path


def environment(desk):
    return {
        **os.environ,
        "PYTHONPATH": str(ROOT),
        "GIT_CONFIG_GLOBAL": str(desk / ".gitconfig"),
        "GIT_CONFIG_NOSYSTEM": "1",
        "TZ": "Etc/UTC",
        "PYTHONIOENCODING": "utf-8",
    }


def run(desk, *words):
    return subprocess.run(
        [sys.executable, "-m", "tests.pinned_clock", *words],
        cwd=desk, env=environment(desk), capture_output=True, encoding="utf-8", check=False,
    )  # fmt: skip


ALL = list(calls())


def test_the_readme_shows_calls_and_what_they_print():
    assert sum(call.line.startswith("tunnelbook ") for call in ALL) >= 8
    assert any(call.shown for call in ALL)
    assert {call.line.split()[0] for call in ALL} == {"make", "tunnelbook"}


@pytest.mark.parametrize("line", [call.line for call in ALL if call.line.startswith("make ")])
def test_a_target_of_make_is_there(line):
    makefile = (ROOT / "Makefile").read_text(encoding="utf-8")
    assert re.search(rf"^{line.split()[1]}:", makefile, re.MULTILINE)
    pytest.skip("make builds an environment of its own and would run these tests again")


def test_the_command_blocks_run_in_their_order_and_print_what_is_shown(desk):
    """One test for all of them: each stands on what those before it made."""
    for call in ALL:
        program, *words = shlex.split(call.line)
        if program == "make":
            continue
        site = desk / "mywash"
        if words[0] in {"review", "audit"} and not (site / ".git").exists():
            for line in _GIT.splitlines():
                subprocess.run(shlex.split(line), cwd=site, env=environment(desk), check=True)
        ran = run(desk, *words)
        assert ran.returncode == 0, (call.line, ran.stdout, ran.stderr)
        assert "Traceback" not in ran.stderr
        if call.shown is not None:
            assert ran.stdout == call.shown, call.line


def test_its_table_names_every_command_once_in_the_groups_of_the_help():
    table = README.partition("## Every command")[2].partition("\n##")[0]
    rows = re.findall(r"^\| ([a-z ]+) \| (.+) \|$", table, re.MULTILINE)
    found = {group: re.findall(r"`(\w+)`", text) for group, text in rows}
    assert found == {group: list(names) for group, names in GROUPS.items()}


def test_it_shows_the_book_as_it_is():
    """The strip is that of the committed front page, whose cells have links; the plot is there."""
    front = re.sub(r"\[(.*?)\]\(.*?\)", r"\1", (ROOT / "example_site/book/README.md").read_text())
    strip = README.partition("| Driver side | Station |")[2].partition("\n\n")[0]
    rows = strip.splitlines()[2:]
    assert len(rows) == 4
    assert "\n".join([*rows, ""]) in front
    (picture,) = re.findall(r"!\[.+\]\((.+)\)", README)
    assert (ROOT / picture).is_file()


def test_the_visit_that_the_readme_shows_is_in_order_on_the_example_site(desk):
    (text,) = [text for language, text in BLOCK.findall(README) if language == "yaml"]
    first, _, visit = text.partition("\n")
    path = desk / "example_site" / first.removeprefix("# ")
    path.write_text(visit, encoding="utf-8")
    ran = run(desk, "check", "example_site", "--as-of", "2026-11-25", "--format", "json")
    found = json.loads(ran.stdout)["data"]["diagnostics"]
    assert [one for one in found if one["path"].endswith(path.name)] == []
    path.unlink()

"""The guide does what it says: its commands run in their order, and its script too."""

import os
import re
import shlex
import subprocess

import pytest
from example import copy_example
from pinned_clock import pinned_clock
from ssh_keys import make_key, needs_ssh_keygen, public_line

import ledger
from ledger.cli.command import SCHEMA
from ledger.cli.main import SUMMARIES, main
from ledger.site.guide import guide_page, parts

BLOCK = re.compile(r"^```(\w+)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
FINDING = ("review", "audit")
"""Commands whose status 1 is what they found."""

OLD_LOG = "Date,Tech,Machine,Shaft greased\n24 Nov 2026,Tarrowby,brush-1,x\n"


BRANCH = "setting-brush-1-2026-11-26"
MERGE = f'git -C mywash merge -q --no-ff -m "Merge the setting of brush-1" {BRANCH}'
HOST = {"GIT_COMMITTER_NAME": "Git Host", "GIT_COMMITTER_EMAIL": "noreply@host.example"}
MERGED_BY = {
    "merge commit": ((MERGE, {}),),
    "squash": (
        (f"git -C mywash merge -q --squash {BRANCH}", {}),
        ("git -C mywash commit -q -m Squash", HOST),
    ),
    "rebase": ((f"git -C mywash cherry-pick main..{BRANCH}", HOST),),
    "fast-forward": ((f"git -C mywash merge -q --ff-only {BRANCH}", {}),),
}
"""The line of the guide that merges, and what stands in its place for other methods of a host."""


@pytest.fixture
def desk(tmp_path, monkeypatch):
    copy_example(tmp_path / "example_site", since="2026-11")
    key = make_key(tmp_path / "keys", "second")
    for name, who, more in (
        ("ada", "Ada Tarrowby", ""),
        ("second", "Second Person", f"[gpg]\n\tformat = ssh\n[user]\n\tsigningKey = {key}\n"),
    ):
        person = f"[user]\n\tname = {who}\n\temail = {name}@wash.example\n"
        (tmp_path / f"{name}.gitconfig").write_text(person + more)
    monkeypatch.setenv("GIT_CONFIG_NOSYSTEM", "1")
    now = pinned_clock(None).isoformat()
    monkeypatch.setenv("GIT_AUTHOR_DATE", now)
    monkeypatch.setenv("GIT_COMMITTER_DATE", now)
    monkeypatch.setenv("GIT_CONFIG_GLOBAL", str(tmp_path / "ada.gitconfig"))
    monkeypatch.chdir(tmp_path)
    (tmp_path / "old-log.csv").write_text(OLD_LOG)
    return tmp_path


class Reader:
    """Does what the guide says, block by block, as the person whom its words name."""

    def __init__(self, desk, capsys, monkeypatch, how="merge commit"):
        self.desk, self.capsys, self.monkeypatch, self.how = desk, capsys, monkeypatch, how
        self.commands = 0

    def follow(self, titles):
        for title in titles:
            self._become("ada")
            words = 0
            for block in BLOCK.finditer(text := parts()[title]):
                if "second person" in text[words : block.start()]:
                    self._become("second")
                words = block.end()
                self._do(title, *block.groups())

    def _become(self, name):
        self.monkeypatch.setenv("GIT_CONFIG_GLOBAL", str(self.desk / f"{name}.gitconfig"))

    def _do(self, title, language, block):
        if language == "python":
            self.monkeypatch.setattr("ledger.cli.clock.system_clock", pinned_clock)
            exec(compile(block, title, "exec"), {})
            assert "brush-1 " in self.capsys.readouterr().out
        elif language == "yaml":
            (self.desk / "inbox").mkdir()
            for place in ("visit.txt", "inbox/visit.txt"):
                (self.desk / place).write_text(block)
        else:
            for line in block.splitlines():
                for said, surroundings in MERGED_BY[self.how] if line == MERGE else ((line, {}),):
                    self._run(said, surroundings)

    def _run(self, line, surroundings):
        program, *words = shlex.split(line)
        if program == "git":
            told = {**os.environ, **surroundings}
            ran = subprocess.run([program, *words], env=told, capture_output=True, check=False)
            assert ran.returncode == 0, (line, ran.stderr)
            return
        assert program == "tunnelbook", line
        status = main(words, pinned_clock)
        self.said = self.capsys.readouterr()
        assert status in ((0, 1) if words[0] == "review" else (0,)), (line, self.said)
        self.commands += 1
        if words[0] == "init":
            self._put_in_the_second_person()

    def _put_in_the_second_person(self):
        """As the guide says, people are put into site.yaml before the first commit."""
        site = self.desk / "mywash/site.yaml"
        key = public_line(self.desk / "keys/second")
        known = f"    emails: [second@wash.example]\n    signing_keys: ['{key}']\n"
        text = re.sub(r"proof: [\w-]+", "proof: statement", site.read_text())
        site.write_text(
            text.replace("    name: Second person\n", f"    name: Second person\n{known}")
        )


@needs_ssh_keygen
def test_its_commands_run_and_so_does_its_script(desk, capsys, monkeypatch):
    reader = Reader(desk, capsys, monkeypatch)
    reader.follow(parts())
    assert reader.commands > 20


@needs_ssh_keygen
@pytest.mark.parametrize("how", MERGED_BY)
def test_its_setting_is_in_force_however_it_is_merged(desk, capsys, monkeypatch, how):
    reader = Reader(desk, capsys, monkeypatch, how)
    titles = list(parts())
    reader.follow(titles[1 : titles.index("An audit") + 1])
    assert "Side brush" in reader.said.out
    assert "45 Hz" in reader.said.out
    assert main(["audit", "-C", "mywash"], pinned_clock) == 0
    assert "Clean" in capsys.readouterr().out


def test_its_table_names_every_key_of_an_answer(desk, capsys):
    rows = re.findall(r"^\| `(\w+)` \| (.+) \|$", parts()["Other programs"], re.MULTILINE)
    assert main(["speed", "43", "30", "--json"], pinned_clock) == 0
    answer = re.findall(r'^  "(\w+)":', capsys.readouterr().out, re.MULTILINE)
    assert [key for key, _ in rows] == answer
    assert SCHEMA in dict(rows)["schema"]


def test_one_part_is_printed_alone(capsys):
    assert main(["guide", "A VISIT"], pinned_clock) == 0
    told = capsys.readouterr().out
    assert told.startswith("A visit\n=======\n")
    assert "An audit" not in told
    assert main(["guide", "a visitt"], pinned_clock) == 2
    assert "did you mean `a visit`?" in capsys.readouterr().err


def test_every_command_that_it_or_the_readme_names_is_one_and_every_one_is_named():
    readme = ledger.__file__.replace("ledger/__init__.py", "README.md")
    with open(readme, encoding="utf-8") as opened:  # noqa: PTH123
        text = opened.read()
    unnamed = [name for name in SUMMARIES if not re.search(rf"tunnelbook {name}\b|`{name}`", text)]
    assert unnamed == []
    named = re.findall(r"tunnelbook ([a-z]+)\b(?=[ `\n])", "".join(parts().values()))
    assert set(named) <= set(SUMMARIES)


def test_the_html_book_links_the_guide(desk):
    files = ledger.open_site(desk / "example_site", pinned_clock(None).date()).book(html=True)
    assert 'href="guide.html"' in files["html/index.html"]
    assert "The first morning" in files["html/guide.html"]
    assert "guide.md" not in files
    assert guide_page().in_navigation


class TestOpenSite:
    def test_it_is_the_site_as_the_commands_see_it(self, desk):
        site = ledger.open_site(desk / "example_site", pinned_clock(None).date())
        assert site.ledger.site.name == "Quillmere Tunnel Wash"
        assert {one.is_error for one in site.check()} <= {False}

    def test_a_folder_without_a_site_and_files_with_errors_say_so(self, desk):
        with pytest.raises(FileNotFoundError, match="holds no site"):
            ledger.open_site(desk)
        (desk / "example_site/site.yaml").write_text("name: [\n")
        site = ledger.open_site(desk / "example_site")
        assert site.check()
        with pytest.raises(ValueError, match="have errors"):
            _ = site.ledger

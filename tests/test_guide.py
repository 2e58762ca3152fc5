"""The guide does what it says: its commands run in their order, and its script too."""

import re
import shlex
import subprocess

import pytest
from example import copy_example
from pinned_clock import pinned_clock

import ledger
from ledger.cli.frame import SCHEMA
from ledger.cli.main import SUMMARIES, main
from ledger.site.guide import guide_page, parts

BLOCK = re.compile(r"^```(\w+)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
FINDING = ("review", "audit")
"""Commands whose status 1 is what they found."""

OLD_LOG = "Date,Tech,Machine,Shaft greased\n24 Nov 2026,Tarrowby,brush-1,x\n"


@pytest.fixture
def desk(tmp_path, monkeypatch):
    copy_example(tmp_path / "example_site", since="2026-11")
    settings = tmp_path / ".gitconfig"
    settings.write_text("[user]\n\tname = Ada Tarrowby\n\temail = tarrowby@wash.example\n")
    monkeypatch.setenv("GIT_CONFIG_GLOBAL", str(settings))
    monkeypatch.setenv("GIT_CONFIG_NOSYSTEM", "1")
    monkeypatch.chdir(tmp_path)
    (tmp_path / "old-log.csv").write_text(OLD_LOG)
    return tmp_path


def test_its_commands_run_and_so_does_its_script(desk, capsys, monkeypatch):
    ran = 0
    for title, text in parts().items():
        for language, block in BLOCK.findall(text):
            if language == "python":
                monkeypatch.setattr("ledger.cli.clock.system_clock", pinned_clock)
                exec(compile(block, title, "exec"), {})
                assert "brush-1 " in capsys.readouterr().out
                continue
            for line in block.splitlines():
                program, *words = shlex.split(line)
                if program == "git":
                    subprocess.run([program, *words], check=True, capture_output=True)
                    continue
                assert program == "tunnelbook", line
                status = main(words, pinned_clock)
                told = capsys.readouterr()
                assert status in ((0, 1) if words[0] in FINDING else (0,)), (line, told)
                ran += 1
    assert ran > 12


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

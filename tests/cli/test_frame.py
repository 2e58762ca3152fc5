"""The frame of all commands: the matrix of their options, and what each means in every command."""

import json
import shutil
from pathlib import Path

import pytest
from example import EXAMPLE
from git_repo import DAG, Repo
from sound_site import SOUND

from ledger.cli.arguments import FRAME
from ledger.cli.calls import FAILED, FOUND, SITE_VARIABLE, command_first
from ledger.cli.command import SCHEMA, fit_frame
from ledger.cli.main import SUMMARIES, command_parser, find_command, main

VISIT = "2026-11-17T0640-m-tarrow"
PROPOSED = """\
- from: 2026-12-02
  hz: 45
  line_rate_per_h: 110
  why: A little faster.
  evidence: [2026-11-17T0640-m-tarrow#2]
  proposed_by: m-tarrow
"""

PLATE = next((EXAMPLE / "photos").rglob("*.jpg"))

# One call of each command that looks and writes nothing; `{site}` is where the site lies.
# A command that is not named here needs no words of its own.
CALLS = dict.fromkeys(SUMMARIES, "") | {
    "init": "--with blower --dry-run",
    "build": "--dry-run",
    "watch": None,  # it goes on until it is ended; tests/cli/test_watch.py drives it
    "record": "--done look-over --by m-tarrow --dry-run",
    "receive": "{site}/sent.txt --dry-run",
    "correct": f"{VISIT}#1 --why misread --void --by m-tarrow --dry-run",
    "speed": "43 30",
    "tune": "brush-p2",
    "propose": f"brush-p2 --hz 44.5 --why faster --evidence {VISIT}#2 --by m-tarrow --dry-run",
    "approve": "brush-p2 --base main --by d-fenwold --dry-run",
    "cards": "--dry-run",
    "show": "brush-p2",
    "import": "{site}/log.csv --map {site}/map.yaml --dry-run",
    "export": "--to csv --dry-run",
    "group": "{site}/sites.txt --out {site}/new --dry-run",
    "review": "main",
    "photo": f"{PLATE} --dry-run",
    "migrate": "--dry-run",
    "explain": "count-too-short",
    "completion": "bash",
}
WITHOUT_SITE = {"speed", "group", "guide", "explain", "completion"}
ANSWERING = [name for name, words in CALLS.items() if words is not None]
READING = [name for name in ANSWERING if name not in WITHOUT_SITE]


@pytest.fixture(scope="module")
def site(tmp_path_factory) -> Path:
    """The sound site in git, with a setting proposed on a branch, a log and a sent text."""
    repo = Repo(tmp_path_factory.mktemp("frame") / "wash")
    shutil.copytree(SOUND, repo.folder, dirs_exist_ok=True)
    repo.commit("The site", {}, by=DAG)
    repo.git("switch", "-q", "-c", "work")
    drive = repo.folder / "setpoints/brush-p2.yaml"
    repo.commit("Propose", {"setpoints/brush-p2.yaml": drive.read_text() + PROPOSED}, by=DAG)
    repo.write("log.csv", "When,Task\n2026-11-20 07:00,look-over\n")
    repo.write(
        "map.yaml",
        'when: {columns: [When], written: "%Y-%m-%d %H:%M"}\nby: {always: m-tarrow}\n'
        "entries: [{fields: {task: Task}}]\n",
    )
    repo.write("sites.txt", ".\n")
    repo.write("sent.txt", "at: 2026-11-20T07:00\nby: m-tarrow\nentries:\n  - {task: look-over}\n")
    return repo.folder


def words_of(name, site):
    return [name, *CALLS[name].format(site=site).split()]


def test_every_command_has_a_call_here_and_writes_nothing_by_it():
    assert CALLS.keys() == SUMMARIES.keys()
    writing = {name for name in ANSWERING if "dry-run" in find_command(name).takes}
    assert writing - {"audit"} == {name for name in ANSWERING if "--dry-run" in CALLS[name]}


@pytest.mark.parametrize("name", SUMMARIES)
def test_each_option_is_taken_or_told_whose_it_is(name, capsys):
    found = find_command(name)
    actions = {
        one for action in command_parser(name, found)._actions for one in action.option_strings
    }
    for option in FRAME:
        for spelt in option.names:
            if not spelt.startswith("-"):
                continue
            if option.is_of(name, found):
                assert spelt in actions
                continue
            with pytest.raises(SystemExit) as ended:
                main([name, spelt])
            assert ended.value.code == FAILED
            told = capsys.readouterr().err
            assert f"`{spelt}` is an option of " in told or spelt in actions


def test_no_command_has_an_option_of_the_frame_with_a_meaning_of_its_own():
    of_frame = {spelt for option in FRAME for spelt in option.names}
    meanings = {}
    for name in SUMMARIES:
        for action in command_parser(name, find_command(name))._actions:
            for spelt in set(action.option_strings) & of_frame:
                meanings.setdefault(spelt, set()).add((action.dest, action.help))
    assert {spelt: len(found) for spelt, found in meanings.items() if len(found) > 1} == {}


def test_one_word_means_one_thing_in_all_commands():
    """The same option reads the same kind of value wherever it is."""
    kinds = {}
    for name in SUMMARIES:
        for action in command_parser(name, find_command(name))._actions:
            for spelt in action.option_strings:
                kinds.setdefault(spelt, {}).setdefault((action.dest, action.nargs), []).append(name)
    several = {spelt: found for spelt, found in kinds.items() if len(found) > 1}
    assert several == {"--with": {("kinds", "+"): ["init"], ("helpers", None): ["record", "correct"]},
                       "--at": {("at", None): ["record", "correct"], ("setting", None): ["tune"]}}  # fmt: skip
    for former, (name, now) in {
        "--with": ("record", "--helper"),
        "--at": ("tune", "--setting"),
    }.items():
        (action,) = [
            one
            for one in command_parser(name, find_command(name))._actions
            if former in one.option_strings
        ]
        assert action.option_strings == [now, former]


@pytest.mark.parametrize("name", SUMMARIES)
def test_a_site_is_named_before_or_after_the_command_or_by_the_surroundings(
    name, site, monkeypatch
):
    words = [name, *(CALLS[name] or "").format(site=site).split()]
    ways = {
        "after": [*words, "--site", "wash"],
        "after, short": [*words, "-Cwash"],
        "before": ["-C", "wash", *words],
        "before, one word": ["--site=wash", *words],
        "by the surroundings": words,
    }
    if "site-here" in find_command(name).takes and "--with" not in words:
        ways["by its place"] = [*words, "wash"]
    for way, call in ways.items():
        monkeypatch.setenv(SITE_VARIABLE, "wash" if call is words else "other")
        first, *rest = command_first([str(word) for word in call])
        parsed = command_parser(first, find_command(first)).parse_call(rest)
        fit_frame(parsed)
        assert (first, parsed.site) == (name, "wash"), way


@pytest.mark.parametrize("name", ANSWERING)
def test_an_answer_aloud_quiet_dry_and_as_json(
    name, site, tunnelbook, monkeypatch, tmp_path, files_of
):
    monkeypatch.chdir(tmp_path)
    before = files_of(site.parent)
    status = tunnelbook("-C", site, *words_of(name, site))
    aloud = tunnelbook.out
    assert status in (0, FOUND), tunnelbook.err
    assert aloud
    assert tunnelbook("-C", site, *words_of(name, site), "--quiet") == status
    assert tunnelbook.out == (aloud if status else "")

    assert tunnelbook("-C", site, *words_of(name, site), "--format", "json") == status
    answer = json.loads(tunnelbook.out)
    assert list(answer) == ["schema", "command", "site", "day", "commit", "units", "status", "written", "data"]  # fmt: skip
    assert (answer["schema"], answer["command"], answer["status"]) == (SCHEMA, name, status)
    if name in WITHOUT_SITE:
        assert (answer["site"], answer["day"], answer["units"]) == (None, None, None)
    elif name not in ("init", "migrate"):
        assert (answer["site"], answer["day"], answer["units"]) == (str(site), "2026-11-25", "us")
    # Nothing has been written, whether a command writes nothing or was told to.
    assert files_of(site.parent) == before
    assert list(tmp_path.iterdir()) == []


@pytest.fixture(scope="module")
def faulty(site, tmp_path_factory) -> Path:
    """The site with a site.yaml that cannot be read, in its last commit too."""
    folder = tmp_path_factory.mktemp("faulty") / "wash"
    shutil.copytree(site, folder)
    (folder / "site.yaml").write_text("name: [\n")
    for words in (
        ["add", "."],
        ["-c", "user.name=A", "-c", "user.email=a@b", "commit", "-qm", "x"],
    ):
        Repo.git(Folder(folder), *words)
    return folder


class Folder(Repo):
    """A repository that is there already."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder


@pytest.mark.parametrize("name", READING)
def test_the_same_fault_ends_every_command_alike(
    name, site, faulty, tunnelbook, monkeypatch, tmp_path
):
    monkeypatch.chdir(tmp_path)
    if name != "init":
        assert tunnelbook(*words_of(name, site), "--site", "nowhere") == FAILED
        assert "there is no folder `nowhere`" in tunnelbook.err
    assert tunnelbook(*words_of(name, faulty), "--site", faulty) == FOUND, tunnelbook.err


class TestExitCode:
    def test_due_work_is_told_to_a_cron_job(self, site, tunnelbook):
        assert tunnelbook("due", site) == 0
        assert tunnelbook("due", site, "--exit-code", "--quiet") == FOUND
        assert "Due work" in tunnelbook.out

    @pytest.mark.usefixtures("example_read_once")
    @pytest.mark.parametrize("name", ["wear", "drift"])
    def test_wear_and_drift_are_told_where_there_are_any(self, name, tunnelbook):
        words = ("--site", EXAMPLE, "--as-of", "2026-11-25")
        assert tunnelbook(name, *words, "--exit-code") == FOUND
        assert tunnelbook(name, *words) == 0
        assert tunnelbook(name, "conveyor", *words, "--exit-code") == 0


class TestDays:
    def test_a_commit_is_what_git_held_whatever_the_files_say_now(self, site, tunnelbook):
        assert tunnelbook("setpoints", site, "--json") == 0
        (now, _) = tunnelbook.data["drives"]
        assert now["proposed"]
        assert tunnelbook("setpoints", site, "--at-commit", "main", "--json") == 0
        (then, _) = tunnelbook.data["drives"]
        assert not then["proposed"]
        for name in (n for n in READING if "commit" in find_command(n).takes):
            words = ["--site", site, "--at-commit", "main", "--as-of", "2026-11-18", "--json"]
            if "--dry-run" not in words_of(name, site):
                assert tunnelbook(*words_of(name, site), *words) == 0, tunnelbook.err
                answer = json.loads(tunnelbook.out)
                assert (answer["commit"] is None, answer["day"]) == (False, "2026-11-18"), name

    def test_a_tag_is_no_day(self, capsys):
        with pytest.raises(SystemExit):
            main(["show", "brush-p2", "--as-of", "v3"])
        assert "name a tag, branch or commit with --at-commit" in capsys.readouterr().err


def test_a_site_named_twice_is_refused(site, tunnelbook):
    assert tunnelbook("due", site, "--site", site.parent) == FAILED
    assert f"name it once, with --site {site.parent}" in tunnelbook.err


def test_a_site_in_the_place_of_a_machine_is_told_how_it_is_named(site, tunnelbook, monkeypatch):
    monkeypatch.chdir(site)
    monkeypatch.setenv(SITE_VARIABLE, "")
    assert tunnelbook("lockout", site) == FAILED
    assert f"name a site with --site {site}" in tunnelbook.err


@pytest.mark.parametrize(
    ("words", "put"),
    [
        ("due", "due"),
        ("-C wash due --json", "due -C wash --json"),
        ("--site wash -Cother due", "due --site wash -Cother"),
        ("--version", "--version"),
        ("-C wash", "-C wash"),
        ("-C", "-C"),
        ("", ""),
    ],
)
def test_the_command_comes_first(words, put):
    assert command_first(words.split()) == put.split()

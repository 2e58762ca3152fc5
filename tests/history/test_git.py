"""Finding git, and asking it the same question whatever a repository or an environment says."""

import struct
from dataclasses import dataclass, field

import pytest
from git_repo import commits_of

from ledger.history.git import GitProblem, git_in
from ledger.history.repository import open_repository


@dataclass(frozen=True, kw_only=True)
class Lie:
    """What makes plain git (`ask`) answer otherwise than the commits themselves do."""

    ask: str
    config: dict[str, str] = field(default_factory=dict)
    environment: dict[str, str] = field(default_factory=dict)
    files: dict[str, str] = field(default_factory=dict)
    commands: tuple[str, ...] = ()


RAW = "log --raw --no-abbrev -z"

LIES = {
    "replace ref": Lie(commands=("replace HEAD~1 HEAD~2",), ask=RAW),
    "replace refs by another name": Lie(
        commands=("update-ref refs/notice/{HEAD~1} HEAD~2",),
        environment={"GIT_REPLACE_REF_BASE": "refs/notice/"},
        ask=RAW,
    ),
    "grafts": Lie(files={".git/info/grafts": "{HEAD}\n"}, ask=RAW),
    "GIT_GRAFT_FILE": Lie(
        files={".git/other": "{HEAD}\n"},
        environment={"GIT_GRAFT_FILE": "{folder}/.git/other"},
        ask=RAW,
    ),
    "GIT_SHALLOW_FILE": Lie(
        files={".git/other": "{HEAD~1}\n"},
        environment={"GIT_SHALLOW_FILE": "{folder}/.git/other"},
        ask=RAW,
    ),
    "mailmap.file": Lie(
        config={"mailmap.file": "{folder}/.git/map"},
        files={".git/map": "Dag Varrick <dag@example.org> <mira@example.org>\n"},
        ask="log",
    ),
    "log.showRoot": Lie(config={"log.showRoot": "false"}, ask=RAW),
    "diff.ignoreSubmodules": Lie(config={"diff.ignoreSubmodules": "all"}, ask=RAW),
    "diff.renames": Lie(config={"diff.renames": "false"}, ask=RAW),
    "diff.orderFile": Lie(
        config={"diff.orderFile": "{folder}/.git/order"},
        files={".git/order": "z*\n"},
        ask=RAW,
    ),
    "GIT_DIR": Lie(environment={"GIT_DIR": "{folder}/../other/.git"}, ask=RAW),
    "GIT_OBJECT_DIRECTORY": Lie(
        environment={"GIT_OBJECT_DIRECTORY": "{folder}/nowhere"}, ask="rev-parse HEAD^{tree}"
    ),
    "GIT_CEILING_DIRECTORIES": Lie(
        environment={"GIT_CEILING_DIRECTORIES": "{folder}"}, ask="-C washes rev-parse HEAD"
    ),
}


@pytest.fixture
def told(make_repo):
    make_repo("other").commit("Elsewhere", {"a.txt": "a\n"})
    repo = make_repo()
    repo.commit("Start", {"a.txt": "a\n", "z.txt": "z\n", "washes/site.yaml": "format: 1\n"})
    repo.git("update-index", "--add", "--cacheinfo", f"160000,{repo.head()},inner")
    repo.git("commit", "-q", "-m", "Submodule", **repo.people(("M", "mira@example.org"), None))
    repo.git("mv", "a.txt", "b.txt")
    repo.git("commit", "-q", "-m", "Move", **repo.people(("M", "mira@example.org"), None))
    return repo


def answer(repo, question, environment):
    try:
        return repo.git(*question.split(), **environment)
    except AssertionError as refused:
        return str(refused)


@pytest.mark.parametrize("lie", LIES.values(), ids=LIES)
def test_nothing_beside_the_commits_changes_what_history_says(lie, told):
    def said(text):
        for name in ("HEAD~1", "HEAD~2", "HEAD"):
            if f"{{{name}}}" in text:
                text = text.replace(f"{{{name}}}", told.git("rev-parse", name))
        return text.replace("{folder}", str(told.folder))

    truth = list(commits_of(told.open()))
    plainly = answer(told, lie.ask, {})

    for path, text in lie.files.items():
        told.write(path, said(text))
    for key, value in lie.config.items():
        told.git("config", key, said(value))
    for command in lie.commands:
        told.git(*said(command).split())
    environment = {name: said(value) for name, value in lie.environment.items()}

    lied_to = open_repository(told.folder, told.environment(**environment))
    assert list(commits_of(lied_to)) == truth
    assert open_repository(told.folder / "washes", told.environment(**environment)).prefix
    assert answer(told, lie.ask, environment) != plainly, "the lie itself does not work"


def test_a_commit_graph_that_leaves_out_the_past_is_not_consulted(told):
    truth = list(commits_of(told.open()))
    assert told.git("rev-list", "--count", "HEAD") == "3"

    told.git("commit-graph", "write", "--reachable")
    place = told.folder / ".git/objects/info/commit-graph"
    place.chmod(0o644)
    graph = bytearray(place.read_bytes())
    chunks = {}
    for at in range(8, 8 + 12 * graph[6], 12):
        chunks[bytes(graph[at : at + 4])] = struct.unpack(">Q", graph[at + 4 : at + 12])[0]
    rows = chunks[b"CDAT"]
    for row in range(rows, rows + 3 * 36, 36):
        graph[row + 20 : row + 24] = struct.pack(">I", 0x70000000)  # "has no parent"
    place.write_bytes(graph)

    assert told.git("rev-list", "--count", "HEAD") == "1", "the lie itself does not work"
    assert list(commits_of(told.open())) == truth


def test_git_missing(repo):
    for path in ("", "/nonexistent", "relative:also"):
        with pytest.raises(GitProblem) as caught:
            git_in(repo.folder, {"PATH": path})
        assert caught.value.rule == "git-missing"


@pytest.mark.parametrize("version", ["git version 2.37.9", "git version 1.8", "no version\x1b[2J"])
def test_git_too_old(repo, tmp_path, version):
    (tmp_path / "bin").mkdir()
    old = tmp_path / "bin" / "git"
    old.write_text(f"#!/bin/sh\necho '{version}'\n")
    old.chmod(0o755)
    with pytest.raises(GitProblem, match=r"2\.38 or later is needed") as caught:
        git_in(repo.folder, {"PATH": f"{tmp_path}/bin"})
    assert caught.value.rule == "git-too-old"
    assert "\x1b" not in str(caught.value)


def test_a_complaint_of_git_carries_its_words_but_no_control_characters(repo):
    repo.commit()
    with pytest.raises(GitProblem) as caught:
        repo.open().git.output("rev-parse", "--verify", "no\x1bsuch\nthing")
    assert caught.value.rule == "git-failed"
    assert "Needed a single revision" in str(caught.value)


def test_a_damaged_repository_is_a_problem_not_a_crash(repo):
    repo.commit("One", {"a.txt": "a\n"})
    first = repo.head()
    repo.commit("Two")
    (repo.folder / ".git/objects" / first[:2] / first[2:]).unlink()
    with pytest.raises(GitProblem) as caught:
        list(commits_of(repo.open()))
    assert caught.value.rule == "git-failed"
    assert caught.value.remedy

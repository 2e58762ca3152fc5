"""The command line as a person meets it: a folder, a git that knows who they are, what is printed."""

import json
import shutil
from pathlib import Path
from typing import Any

import pytest
from example import EXAMPLE, example_loaded
from git_repo import git
from pinned_clock import pinned_clock
from sound_site import SOUND

from ledger.cli.clock import Clock
from ledger.cli.main import main
from ledger.files.tree import DiskTree
from ledger.site.pipeline import LoadedSite, Progress, load


class Tunnelbook:
    """Runs a command in this process: exit status, output and complaints.

    The time is pinned; a test that asks for another sets `clock`.
    """

    def __init__(self, capsys: pytest.CaptureFixture[str]) -> None:
        self._capsys = capsys
        self.clock: Clock = pinned_clock
        self.out = ""
        self.err = ""

    def __call__(self, *words: object) -> int:
        self._capsys.readouterr()
        status = main([str(word) for word in words], self.clock)
        self.out, self.err = self._capsys.readouterr()
        return status

    @property
    def data(self) -> Any:
        """What was found, of an answer in JSON."""
        return json.loads(self.out)["data"]


@pytest.fixture
def tunnelbook(capsys: pytest.CaptureFixture[str]) -> Tunnelbook:
    return Tunnelbook(capsys)


@pytest.fixture
def example_read_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Commands on the example site get the reading of this run: its files are many."""

    def read(tree: DiskTree, on_progress: Progress | None = None) -> LoadedSite:
        return example_loaded() if tree._root == EXAMPLE else load(tree, on_progress)

    monkeypatch.setattr("ledger.site.pipeline.load", read)


@pytest.fixture(autouse=True)
def known_to_git(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    """Git knows one invented person, whatever the machine's own settings are."""
    settings = tmp_path_factory.mktemp("git") / "config"
    settings.write_text("[user]\n\tname = Ada Tarrowby\n\temail = Tarrowby@wash.example\n")
    monkeypatch.setenv("GIT_CONFIG_GLOBAL", str(settings))
    monkeypatch.setenv("GIT_CONFIG_NOSYSTEM", "1")


@pytest.fixture
def files_of():
    """Every file below a folder by path, with its bytes."""

    def read(root: Path) -> dict[str, bytes]:
        return {
            path.relative_to(root).as_posix(): path.read_bytes()
            for path in sorted(root.rglob("*"))
            if path.is_file()
        }

    return read


@pytest.fixture
def wash(tmp_path: Path) -> Path:
    return shutil.copytree(SOUND, tmp_path / "wash")


@pytest.fixture
def shared(wash: Path, tmp_path: Path) -> Path:
    """The site in git, pushed to this repository, to which others push as well."""
    git(tmp_path, "init", "-q", "--bare", "-b", "main", "shared.git")
    git(wash, "init", "-q", "-b", "main")
    git(wash, "add", ".")
    git(wash, "commit", "-qm", "Start")
    git(wash, "remote", "add", "origin", str(tmp_path / "shared.git"))
    git(wash, "push", "-qu", "origin", "main")
    return tmp_path / "shared.git"

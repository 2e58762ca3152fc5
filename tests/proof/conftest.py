"""A small wash kept in a real repository by three people, as they would keep it."""

from collections.abc import Callable
from functools import cache, partial
from pathlib import Path

import pytest
from git_repo import DAG, Repo
from small_wash import APPROVED, COUNTED, EVA, FIRST_SETTING, GREASED, PROPOSAL, Wash


def started(folder: Path, inside: str) -> Wash:
    """A wash with its files and one reading; `inside` puts it below the repository's top."""
    wash = Wash(Repo(folder), inside)
    wash.begin()
    wash.file("2026-01-06T0700-mira", COUNTED, GREASED)
    return wash


def kept_well(folder: Path, inside: str) -> Wash:
    """A wash whose history was kept as it should: branches, a proposal, its approval by merge."""
    wash = started(folder, inside)
    wash.branch("mira-tuesday")
    wash.file("2026-01-07T0700-mira")
    wash.branch("eva-tuesday", "main")
    wash.file("2026-01-07T0710-eva", by=EVA)
    wash.switch("main")
    wash.at("2026-01-07T20:00").repo.merge("mira-tuesday", by=DAG)
    wash.at("2026-01-07T20:05").repo.merge("eva-tuesday", by=DAG)
    wash.branch("slower")
    wash.at("2026-01-08T09:00").commit({"setpoints/brush.yaml": FIRST_SETTING + PROPOSAL})
    wash.at("2026-01-08T15:00").commit({"setpoints/brush.yaml": FIRST_SETTING + APPROVED}, by=DAG)
    wash.switch("main")
    wash.at("2026-01-08T16:00").repo.merge("slower", by=DAG)
    wash.file("2026-01-09T0700-eva", "{corrects: 2026-01-07T0710-eva#1, reason: two more, task: grease, at: brush, strokes: 4}", by=EVA)  # fmt: skip
    return wash


@pytest.fixture(scope="session")
def originals(tmp_path_factory: pytest.TempPathFactory):
    """A history of each kind, made once and copied for each test."""

    @cache
    def original(make: Callable[[Path, str], Wash], inside: str) -> Wash:
        return make(tmp_path_factory.mktemp("original") / "repo", inside)

    return original


@pytest.fixture
def make_wash(originals, tmp_path: Path):
    """Gives a wash as `started` makes it."""

    def make(inside: str = "", by: Callable[[Path, str], Wash] = started) -> Wash:
        return Wash(originals(by, inside).repo.copy(tmp_path / "repo"), inside)

    return make


@pytest.fixture
def wash(make_wash) -> Wash:
    return make_wash()


@pytest.fixture
def kept(make_wash):
    """Gives a wash as `kept_well` makes it."""
    return partial(make_wash, by=kept_well)

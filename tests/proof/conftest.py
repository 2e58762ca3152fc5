"""A small wash kept in a real repository by three people, as they would keep it."""

from pathlib import Path

import pytest
from git_repo import DAG, Repo
from small_wash import APPROVED, COUNTED, EVA, FIRST_SETTING, GREASED, PROPOSAL, Wash


@pytest.fixture
def make_wash(tmp_path: Path):
    """Makes a wash with its files and one reading; `inside` puts it below the repository's top."""

    def make(inside: str = "") -> Wash:
        wash = Wash(Repo(tmp_path / "repo"), inside)
        wash.begin()
        wash.file("2026-01-06T0700-mira", COUNTED, GREASED)
        return wash

    return make


@pytest.fixture
def wash(make_wash) -> Wash:
    return make_wash()


@pytest.fixture
def kept(make_wash):
    """A wash whose history was kept as it should: branches, a proposal, its approval by merge."""

    def make(inside: str = "") -> Wash:
        wash = make_wash(inside)
        wash.branch("mira-tuesday")
        wash.file("2026-01-07T0700-mira")
        wash.branch("eva-tuesday", "main")
        wash.file("2026-01-07T0710-eva", by=EVA)
        wash.switch("main")
        wash.at("2026-01-07T20:00").repo.merge("mira-tuesday", by=DAG)
        wash.at("2026-01-07T20:05").repo.merge("eva-tuesday", by=DAG)
        wash.branch("slower")
        wash.at("2026-01-08T09:00").commit({"setpoints/brush.yaml": FIRST_SETTING + PROPOSAL})
        wash.at("2026-01-08T15:00").commit(
            {"setpoints/brush.yaml": FIRST_SETTING + APPROVED}, by=DAG
        )
        wash.switch("main")
        wash.at("2026-01-08T16:00").repo.merge("slower", by=DAG)
        wash.file("2026-01-09T0700-eva", "{corrects: 2026-01-07T0710-eva#1, reason: two more, task: grease, at: brush, strokes: 4}", by=EVA)  # fmt: skip
        return wash

    return make

"""Repositories under a test's folder; what they are made of is in `git_repo`."""

import pytest
from git_repo import Repo


@pytest.fixture
def make_repo(tmp_path):
    """Makes repositories by name; `make_repo()` makes the one most tests need."""

    def make(name: str = "site", *, object_format: str = "sha1") -> Repo:
        return Repo(tmp_path / name, object_format=object_format)

    return make


@pytest.fixture
def repo(make_repo):
    return make_repo()

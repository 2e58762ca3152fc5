"""What a clone lacks is told: cut, thinned or redirected history, and a head that was replaced."""

import pytest

from ledger.files.tree import UnreadableFileError
from ledger.history.git import GitProblem
from ledger.history.objects import GitTree
from ledger.history.repository import (
    Remembered,
    history_state,
    open_repository,
    remembered_head,
    resolve,
)


@pytest.fixture
def clone(repo, tmp_path):
    """Clones the repository with the given options and opens the clone."""
    repo.commit("One", {"a.yaml": "a\n"})
    repo.commit("Two", {"a.yaml": "b\n"})
    repo.git("config", "uploadpack.allowFilter", "true")

    def make(*options):
        target = tmp_path / "clone"
        repo.git("clone", "-q", *options, f"file://{repo.folder}", str(target))
        return open_repository(target, repo.environment())

    return make


def test_a_full_clone_is_whole(clone, repo):
    state = history_state(clone())
    assert state.is_whole
    assert (state.shallow_at, state.grafts, state.replaced, state.partial) == ((), (), (), False)


def test_a_shallow_clone_is_not_whole(clone, repo):
    state = history_state(clone("--depth=1"))
    assert state.shallow_at == (repo.head(),)
    assert not state.is_whole


def test_a_shallow_clone_is_named_where_a_revision_is_unknown(clone, repo):
    with pytest.raises(GitProblem, match="git fetch --unshallow"):
        resolve(clone("--depth=1"), repo.git("rev-parse", "HEAD~1"))


def test_a_partial_clone_is_not_whole_and_is_not_filled(clone, repo):
    opened = clone("--filter=blob:none", "--no-checkout")
    assert history_state(opened).partial
    assert not history_state(opened).is_whole
    with (
        GitTree(opened, "HEAD") as tree,
        pytest.raises(UnreadableFileError, match="This is a partial clone"),
    ):
        tree.read("a.yaml")


def test_grafts_and_replacements_are_told(repo):
    first = repo.commit("One")
    second = repo.commit("Two")
    repo.git("replace", second, first)
    repo.write(".git/info/grafts", f"# cut\n\n{second}\n")
    state = history_state(repo.open())
    assert state.replaced == (second,)
    assert state.grafts == (second,)
    assert resolve(repo.open(), "HEAD") == second
    assert state.is_whole


def test_a_remembered_head_is_held_while_history_grows(repo):
    remembered = repo.commit("One")
    assert remembered_head(repo.open(), remembered) is Remembered.HELD
    repo.commit("Two")
    assert remembered_head(repo.open(), remembered) is Remembered.HELD


def test_a_remembered_head_on_a_merged_branch_is_held(repo):
    repo.commit("One")
    repo.git("checkout", "-q", "-b", "branch")
    remembered = repo.commit("Two")
    repo.git("checkout", "-q", "main")
    assert remembered_head(repo.open(), remembered) is Remembered.REWRITTEN
    repo.merge("branch")
    assert remembered_head(repo.open(), remembered) is Remembered.HELD


def test_amended_history_is_rewritten_here_and_in_a_new_clone(repo, tmp_path):
    repo.commit("One", {"a.yaml": "a\n"})
    remembered = repo.commit("Two", {"a.yaml": "b\n"})
    repo.git("commit", "-q", "--amend", "-m", "Two, but better", **repo.people(("M", "m"), None))
    assert remembered_head(repo.open(), remembered) is Remembered.REWRITTEN
    repo.git("clone", "-q", f"file://{repo.folder}", str(tmp_path / "clone"))
    clone = open_repository(tmp_path / "clone", repo.environment())
    assert remembered_head(clone, remembered) is Remembered.REWRITTEN


def test_a_graft_or_replacement_does_not_bring_a_lost_head_back(repo):
    repo.commit("One")
    remembered = repo.commit("Two")
    repo.git("reset", "-q", "--hard", "HEAD~1")
    new = repo.commit("Instead")
    repo.write(".git/info/grafts", f"{new} {remembered}\n")
    assert repo.git("merge-base", remembered, "HEAD") == remembered, "the graft does not work"
    assert remembered_head(repo.open(), remembered) is Remembered.REWRITTEN


def test_a_shallow_clone_cannot_tell_of_a_head_before_its_start(clone, repo):
    opened = clone("--depth=1")
    assert remembered_head(opened, repo.git("rev-parse", "HEAD~1")) is Remembered.CANNOT_TELL
    assert remembered_head(opened, repo.head()) is Remembered.HELD


@pytest.mark.parametrize("oid", ["main", "HEAD", "", "-x", "abcdef0", "A" * 40, "0" * 40 + "\n"])
def test_only_a_full_object_id_can_be_remembered(repo, oid):
    repo.commit()
    with pytest.raises(GitProblem, match="not a full object id"):
        remembered_head(repo.open(), oid)

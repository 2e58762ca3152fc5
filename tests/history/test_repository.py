"""The repository around a site's folder, and what a person may call one of its commits."""

import os
from datetime import date
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from git_repo import commits_of

from ledger.history.git import GitProblem, git_in
from ledger.history.objects import GitTree
from ledger.history.repository import day_named, open_repository, resolve, resolve_as_of

UTC = ZoneInfo("UTC")
AUCKLAND = ZoneInfo("Pacific/Auckland")


def rule_of(call, *arguments):
    with pytest.raises(GitProblem) as caught:
        call(*arguments)
    assert caught.value.message
    return caught.value.rule


@pytest.mark.parametrize(
    ("inside", "prefix"), [("", ""), ("washes/north", "washes/north/"), ("-x y\nü", "-x y\nü/")]
)
def test_the_site_may_be_any_folder_of_the_checkout(repo, inside, prefix):
    repo.commit("Start", {f"{inside}/site.yaml".lstrip("/"): "format: 1\n", "other/a.txt": "a\n"})
    opened = repo.open(inside)
    assert opened.prefix == prefix
    assert opened.top == repo.folder.resolve()
    with GitTree(opened, "HEAD") as tree:
        assert "site.yaml" in tree.paths()
    (commit,) = commits_of(opened)
    assert "site.yaml" in {change.path for change in commit.changes}


def test_a_site_folder_reached_by_a_link_is_the_folder_itself(repo, tmp_path):
    repo.commit("Start", {"wash/site.yaml": "format: 1\n"})
    (tmp_path / "shortcut").symlink_to(repo.folder / "wash")
    assert open_repository(tmp_path / "shortcut", repo.environment()).prefix == "wash/"


def test_a_linked_worktree_shares_its_refs(repo, tmp_path):
    repo.commit("Start", {"site.yaml": "format: 1\n"})
    repo.git("worktree", "add", "-q", str(tmp_path / "second"), "-b", "second")
    opened = open_repository(tmp_path / "second", repo.environment())
    assert opened.top == tmp_path / "second"
    assert opened.shared == repo.folder / ".git"
    assert len(list(commits_of(opened))) == 1


def test_a_submodule_is_its_own_repository(make_repo):
    inner = make_repo("inner")
    inner.commit("Start", {"site.yaml": "format: 1\n"})
    outer = make_repo("outer")
    outer.git("-c", "protocol.file.allow=always", "submodule", "add", "-q", str(inner.folder))
    opened = outer.open("inner")
    assert opened.top == outer.folder / "inner"
    assert [commit.oid for commit in commits_of(opened)] == [inner.head()]


def test_sha256_repositories_read_the_same(make_repo):
    repo = make_repo(object_format="sha256")
    oid = repo.commit("Start", {"site.yaml": "format: 1\n"})
    assert len(oid) == 64
    assert resolve(repo.open(), "main") == oid
    with GitTree(repo.open(), oid) as tree:
        assert tree.read("site.yaml") == b"format: 1\n"
    assert [commit.oid for commit in commits_of(repo.open())] == [oid]


def test_what_is_no_repository_is_said(repo, tmp_path):
    (tmp_path / "empty").mkdir()
    (tmp_path / "file").touch()
    environment = repo.environment()
    assert rule_of(open_repository, tmp_path / "empty", environment) == "not-a-repository"
    assert rule_of(open_repository, tmp_path / "absent", environment) == "no-folder"
    assert rule_of(open_repository, tmp_path / "file", environment) == "no-folder"
    assert rule_of(open_repository, repo.folder, environment) == "no-commit"
    assert rule_of(open_repository, repo.folder / ".git", environment) == "bare-repository"


def test_a_bare_repository_is_refused(repo, tmp_path):
    repo.commit()
    repo.git("clone", "-q", "--bare", ".", str(tmp_path / "bare"))
    assert rule_of(open_repository, tmp_path / "bare", repo.environment()) == "bare-repository"


def test_a_checkout_that_claims_other_files_is_refused(repo, tmp_path):
    repo.commit("Start", {"wash/site.yaml": "format: 1\n"})
    repo.git("config", "core.worktree", str(tmp_path))
    assert rule_of(repo.open) == "checkout-elsewhere"
    repo.git("config", "core.worktree", str(repo.folder / "wash"))
    assert rule_of(repo.open) == "no-checkout"
    assert rule_of(repo.open, "wash") == "checkout-elsewhere"


@pytest.mark.skipif(
    not hasattr(os, "geteuid") or os.geteuid() != 0, reason="only root can give files away"
)
class TestAnotherOwner:
    """A repository of another user is refused as git does, and trusted as its user told git."""

    @pytest.fixture
    def foreign(self, repo):
        repo.commit()
        for place in (repo.folder, repo.folder / ".git"):
            os.chown(place, 54321, 54321)
        return repo

    def test_is_refused(self, foreign):
        with pytest.raises(AssertionError, match="dubious ownership"):
            foreign.git("log")
        with pytest.raises(GitProblem, match=r"safe\.directory") as caught:
            foreign.open()
        assert caught.value.rule == "another-owner"

    def test_cannot_vouch_for_itself(self, foreign):
        with (foreign.folder / ".git/config").open("a") as config:
            config.write("[safe]\n\tdirectory = *\n")
        assert rule_of(foreign.open) == "another-owner"

    @pytest.mark.parametrize("place", ["{folder}", "*", "~/site"])
    def test_is_read_where_the_user_trusts_it(self, foreign, place):
        environment = foreign.environment()
        home = Path(environment["HOME"])
        site = foreign.folder.rename(home / "site") if "~" in place else foreign.folder
        (home / ".gitconfig").write_text(f"[safe]\n\tdirectory = {place.format(folder=site)}\n")
        assert len(list(commits_of(open_repository(site, environment)))) == 1

    def test_is_refused_where_the_user_took_trust_back(self, foreign):
        (Path(foreign.environment()["HOME"]) / ".gitconfig").write_text(
            "[safe]\n\tdirectory = *\n\tdirectory =\n\tdirectory = /elsewhere\n"
        )
        assert git_in(foreign.folder, foreign.environment()).safe_directories == (
            "*",
            "",
            "/elsewhere",
        )
        assert rule_of(foreign.open) == "another-owner"

    def test_is_read_where_the_environment_trusts_it(self, foreign):
        environment = foreign.environment(
            GIT_CONFIG_COUNT="1",
            GIT_CONFIG_KEY_0="safe.directory",
            GIT_CONFIG_VALUE_0=str(foreign.folder),
        )
        assert len(list(commits_of(open_repository(foreign.folder, environment)))) == 1


@pytest.fixture
def named(repo):
    """Commits at 09:00, 10:00 and 11:00 +01:00 on 1 January 2026; the second on a side branch."""
    repo.commit("Start")
    repo.git("checkout", "-q", "-b", "night-shift")
    repo.commit("There")
    repo.git("checkout", "-q", "main")
    repo.merge("night-shift")
    repo.git(
        "tag", "-a", "-m", "Register 7", "register-7", "main~1", **repo.people(("M", "m"), None)
    )
    return repo


def test_a_revision_is_a_commit_by_gits_own_rules(named):
    opened = named.open()
    for revision in ("HEAD", "main", "register-7", "refs/tags/register-7", "HEAD^2", "main@{0}"):
        assert resolve(opened, revision) == named.git("rev-parse", f"{revision}^{{commit}}")
    assert resolve(opened, named.head()[:9]) == named.head()


@pytest.mark.parametrize("revision", ["-h", "--all", "--output=x", "-", "", "a\0b", "a\nb", "\x1b"])
def test_a_revision_that_could_be_an_option_is_refused(named, revision):
    assert rule_of(resolve, named.open(), revision) == "revision-refused"
    assert rule_of(resolve_as_of, named.open(), revision, UTC) == "revision-refused"


@pytest.mark.parametrize(
    "revision", ["night-shitf", "HEAD:site.yaml", "main..HEAD", "0" * 40, "^main"]
)
def test_a_revision_that_names_no_commit_is_said_with_the_nearest_names(named, revision):
    with pytest.raises(GitProblem) as caught:
        resolve(named.open(), revision)
    assert caught.value.rule == "unknown-revision"
    assert ("night-shift" in caught.value.nearest) == (revision == "night-shitf")
    assert revision in str(caught.value)


@pytest.mark.parametrize(
    ("zone", "date", "commit"),
    [
        (UTC, "2026-01-01", "main"),
        (UTC, "2026-12-31", "main"),
        # 10:00 +01:00, the last on the first-parent line, is 22:00 in Auckland
        (AUCKLAND, "2026-01-01", "main"),
        (ZoneInfo("Pacific/Kiritimati"), "2026-01-01", "main~1"),
    ],
)
def test_a_date_is_the_last_commit_of_the_line_by_the_end_of_the_day(named, zone, date, commit):
    assert resolve_as_of(named.open(), date, zone) == named.git("rev-parse", commit)


def test_a_date_before_history_and_a_date_that_is_none(named):
    assert rule_of(resolve_as_of, named.open(), "2025-12-31", UTC) == "before-history"
    assert rule_of(resolve_as_of, named.open(), "2026-02-30", UTC) == "revision-refused"
    assert rule_of(resolve_as_of, named.open(), "9999-12-31", UTC) == "revision-refused"


def test_a_shallow_clone_does_not_say_that_nothing_had_been_committed(named, tmp_path):
    named.git("clone", "-q", "--depth=1", f"file://{named.folder}", str(tmp_path / "shallow"))
    named.folder = tmp_path / "shallow"
    with pytest.raises(GitProblem, match=r"shallow.*2025-12-31.*--unshallow"):
        resolve_as_of(named.open(), "2025-12-31", UTC)


def test_a_day_is_told_from_a_revision(named):
    assert day_named(named.open(), "2026-06-30") == date(2026, 6, 30)
    assert day_named(named.open(), "2026-02-30") is None
    assert day_named(named.open(), "main") is None
    named.git("tag", "2026-06-30", "night-shift")
    assert day_named(named.open(), "2026-06-30") is None


def test_a_tag_of_a_dates_name_goes_before_the_date(named):
    named.git("tag", "2026-06-30", "night-shift")
    assert resolve_as_of(named.open(), "2026-06-30", UTC) == named.git("rev-parse", "night-shift")

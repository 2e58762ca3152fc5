"""The walk through history: what each commit did, and what a merge did on its own."""

import pytest
from campaign import examples
from git_repo import commits_of
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ledger.history.commit import Change, parse_commit
from ledger.history.git import GitProblem
from ledger.history.log import History


def did(changes):
    return [
        f"{'D' if one.new_oid is None else 'M' if one.old_oid else 'A'} {one.path}"
        for one in changes
    ]


def history(repo, inside="", **options):
    return {commit.subject: commit for commit in commits_of(repo.open(inside), **options)}


def test_commits_come_oldest_first_with_their_changes(repo):
    start = repo.commit("Start", {"a.yaml": "a\n", "b.yaml": "b\n"})
    repo.commit("Nothing")
    repo.commit("Edit", {"a.yaml": "a2\n", "b.yaml": None, "c.yaml": "c\n"})
    first, second, third = commits_of(repo.open())
    assert [commit.subject for commit in (first, second, third)] == ["Start", "Nothing", "Edit"]
    assert first.parents == ()
    assert second.parents == (start,)
    assert did(first.changes) == ["A a.yaml", "A b.yaml"]
    assert second.changes == ()
    assert (
        third.own_changes
        == third.changes
        == (
            Change(
                path="a.yaml",
                old_oid=repo.git("rev-parse", "HEAD~1:a.yaml"),
                new_oid=repo.git("rev-parse", "HEAD:a.yaml"),
                old_mode="100644",
                new_mode="100644",
            ),
            Change(
                path="b.yaml",
                old_oid=repo.git("rev-parse", "HEAD~1:b.yaml"),
                new_oid=None,
                old_mode="100644",
                new_mode=None,
            ),
            Change(
                path="c.yaml",
                old_oid=None,
                new_oid=repo.git("rev-parse", "HEAD:c.yaml"),
                old_mode=None,
                new_mode="100644",
            ),
        )
    )


def test_a_renamed_record_is_a_deletion_and_an_addition(repo):
    repo.commit("Start", {"2026-01-01.yaml": "x\n" * 50})
    repo.git("mv", "2026-01-01.yaml", "2026-01-09.yaml")
    repo.commit("Move")
    assert did(history(repo)["Move"].changes) == ["D 2026-01-01.yaml", "A 2026-01-09.yaml"]


def test_a_record_turned_into_a_link_or_a_program_is_a_change(repo):
    repo.commit("Start", {"a.yaml": "x", "b.yaml": "x"})
    (repo.folder / "a.yaml").unlink()
    (repo.folder / "a.yaml").symlink_to("b.yaml")
    repo.git("update-index", "--chmod=+x", "b.yaml")
    repo.git("add", "a.yaml")
    repo.git("commit", "-q", "-m", "Turn", **repo.people(("M", "m@example.org"), None))
    link, program = history(repo)["Turn"].changes
    assert (link.old_mode, link.new_mode) == ("100644", "120000")
    assert (program.old_mode, program.new_mode) == ("100644", "100755")


def test_people_and_subject_are_the_commits(repo):
    repo.commit("Set the\nbrush\n\nBody", committer=("Dag", "dag@example.org"))
    (commit,) = commits_of(repo.open())
    assert commit.author.email == "mira@example.org"
    assert commit.committer.email == "dag@example.org"
    assert commit.subject == "Set the brush"
    assert commit.author.at.isoformat() == "2026-01-01T09:00:00+01:00"
    assert commit.signature is None


def test_a_site_in_a_folder_sees_changes_there_alone(repo):
    repo.commit("Before", {"wash": "not yet a folder\n"})
    repo.commit("Start", {"wash": None, "wash/site.yaml": "format: 1\n", "washes.yaml": "x\n"})
    repo.commit("Elsewhere", {"washes.yaml": "y\n"})
    found = history(repo, "wash")
    assert did(found["Before"].changes) == ["A ."]
    assert sorted(did(found["Start"].changes)) == ["A site.yaml", "D ."]
    assert found["Elsewhere"].changes == ()


@pytest.fixture
def forked(repo):
    """A base with three records, then a branch and a main line that part."""
    repo.commit("Base", {"a.yaml": "a\n", "b.yaml": "b\n", "c.yaml": "c\n"})
    repo.git("checkout", "-q", "-b", "branch")
    repo.commit("Branch", {"a.yaml": "a by branch\n", "new.yaml": "filed on the branch\n"})
    repo.git("checkout", "-q", "main")
    repo.commit("Main", {"b.yaml": "b by main\n"})
    return repo


BOTH = {
    "a.yaml": "a by branch\n",
    "b.yaml": "b by main\n",
    "c.yaml": "c\n",
    "new.yaml": "filed on the branch\n",
}

MERGES = {
    "clean": (BOTH, [], []),
    "edits a record of its own accord": (BOTH | {"c.yaml": "c\n!"}, ["M c.yaml"], []),
    "edits what one side had edited": (BOTH | {"a.yaml": "!"}, ["M a.yaml"], []),
    "adds a record": (BOTH | {"more.yaml": "x"}, ["A more.yaml"], []),
    "deletes a record both sides hold": (
        {key: text for key, text in BOTH.items() if key != "c.yaml"},
        ["D c.yaml"],
        [],
    ),
    "drops a record filed on the branch": (
        {key: text for key, text in BOTH.items() if key != "new.yaml"},
        [],
        ["D new.yaml"],
    ),
    "drops an edit of the branch": (BOTH | {"a.yaml": "a\n"}, [], ["M a.yaml"]),
    "drops an edit of the main line": (BOTH | {"b.yaml": "b\n"}, [], ["M b.yaml"]),
    "keeps nothing of the branch": (
        {"a.yaml": "a\n", "b.yaml": "b by main\n", "c.yaml": "c\n"},
        [],
        ["M a.yaml", "D new.yaml"],
    ),
}


@pytest.mark.parametrize(("files", "own", "dropped"), MERGES.values(), ids=MERGES)
def test_what_a_merge_did_of_its_own_accord(forked, files, own, dropped):
    forked.merge_of([forked.head(), forked.git("rev-parse", "branch")], files)
    merge = history(forked)["Merge"]
    assert merge.is_merge
    assert did(merge.own_changes) == own
    assert did(merge.dropped) == dropped


def test_a_merge_by_git_did_nothing_of_its_own(forked):
    forked.merge("branch")
    merge = history(forked)["Merge"]
    assert did(merge.changes) == ["M a.yaml", "A new.yaml"]
    assert merge.own_changes == merge.dropped == ()


def test_a_conflict_settled_for_one_side_drops_nothing_in_secret(forked):
    forked.commit("Main again", {"a.yaml": "a by main\n"})
    files = BOTH | {"a.yaml": "a by main\n"}
    forked.merge_of([forked.head(), forked.git("rev-parse", "branch")], files)
    assert history(forked)["Merge"].dropped == ()


def test_a_branch_that_took_in_the_main_line_first_is_judged_by_its_own_work(forked):
    forked.git("checkout", "-q", "branch")
    forked.merge("main", message="Take in")
    forked.git("checkout", "-q", "main")
    forked.commit("Main later", {"c.yaml": "c by main\n"})
    without_branch = {"a.yaml": "a\n", "b.yaml": "b by main\n", "c.yaml": "c by main\n"}
    forked.merge_of([forked.head(), forked.git("rev-parse", "branch")], without_branch)
    found = history(forked)
    assert found["Take in"].dropped == ()
    assert did(found["Merge"].dropped) == ["M a.yaml", "D new.yaml"]


def test_an_octopus_may_drop_the_work_of_any_side(forked):
    forked.git("checkout", "-q", "-b", "third", "main~1")
    forked.commit("Third", {"third.yaml": "x\n"})
    forked.git("checkout", "-q", "main")
    parents = [forked.git("rev-parse", name) for name in ("main", "branch", "third")]
    forked.merge_of(parents, BOTH)
    merge = history(forked)["Merge"]
    assert merge.parents == tuple(parents)
    assert did(merge.dropped) == ["D third.yaml"]
    assert merge.own_changes == ()


def test_what_the_other_side_settled_itself_is_not_dropped(forked):
    forked.commit("Settled", {"a.yaml": "a by main\n"})
    files = BOTH | {"a.yaml": "a by main\n"}
    forked.merge_of([forked.head(), forked.git("rev-parse", "branch")], files)
    assert history(forked)["Merge"].dropped == ()


def test_another_head_than_head(forked):
    assert list(history(forked, head="branch")) == ["Base", "Branch"]
    with pytest.raises(GitProblem, match="Nearest: branch"):
        list(commits_of(forked.open(), head="brunch"))


def test_a_shallow_clone_says_where_it_was_cut(forked, tmp_path):
    forked.merge("branch")
    forked.commit("After", {"c.yaml": "c2\n"})
    forked.git("clone", "-q", "--depth=2", f"file://{forked.folder}", str(tmp_path / "shallow"))
    forked.folder = tmp_path / "shallow"
    merge, after = commits_of(forked.open())
    assert (merge.subject, merge.boundary, len(merge.parents)) == ("Merge", True, 2)
    assert did(merge.changes) == ["A a.yaml", "A b.yaml", "A c.yaml", "A new.yaml"]
    assert (after.subject, after.boundary, did(after.changes)) == ("After", False, ["M c.yaml"])


WHO = b"Mira Osterby <mira@example.org> 1767250800 +0100"
PEOPLE = b"author " + WHO + b"\ncommitter " + WHO + b"\n"

RAW = {
    "usual": (PEOPLE, b"\nSet the brush\n"),
    "two people": (PEOPLE.replace(b"committer Mira", b"committer Dag"), b"\nSubject\n"),
    "no message": (PEOPLE, b""),
    "an empty message": (PEOPLE, b"\n"),
    "blanks all over": (
        PEOPLE,
        b"\n\n \n  Two \nlines\t\n\n\n\tbody\r\n    x\nCo-authored-by: D <d@x.org> \n\n",
    ),
    "an encoding": (PEOPLE + b"encoding ISO-8859-1\n", b"\nB\xfcrste\n"),
    "a signature": (PEOPLE + b"gpgsig -----BEGIN SSH SIGNATURE-----\n abc\n", b"\nSigned \n\n\n"),
    "an odd header": (PEOPLE + b"odd x\n", b"\nSubject\n"),
    "no committer": (b"author " + WHO + b"\n", b"\ncommitter " + WHO + b"\n\nSubject\n"),
    "a second author": (b"author E <e@x.org> 0 +0000\n" + PEOPLE, b"\nSubject\n"),
    "brackets in a name": (PEOPLE.replace(b"Osterby", b"<mira@x.org>"), b"\nSubject\n"),
    "no date": (PEOPLE.replace(b"1767250800", b"soon"), b"\nSubject\n"),
    "a date far off": (PEOPLE.replace(b"1767250800", b"99999999999999"), b"\nSubject\n"),
    "a NUL behind the header": (PEOPLE[:-1] + b"\0gpgsig x\n", b"\nSubject\n"),
    "a NUL in the header": (PEOPLE.replace(b"Mira", b"M\0ra"), b"\nSubject\n"),
    "bytes of no text": (PEOPLE.replace(b"Mira", b"M\xff"), b"\nS\xff\n"),
}


@pytest.mark.parametrize(("headers", "message"), RAW.values(), ids=RAW)
def test_a_commit_says_what_its_object_says(repo, headers, message):
    first = repo.commit()
    oid = repo.raw_commit(headers, message)
    raw = f"tree {repo.git('rev-parse', f'{first}^{{tree}}')}\nparent {first}\n".encode()
    told = parse_commit(raw + headers + message)
    _, found = commits_of(repo.open())
    assert (found.oid, found.subject) == (oid, told.subject)
    assert found.text._replace(message=b"") == told._replace(message=b"")
    assert found.text.co_authors == told.co_authors


def test_a_path_cannot_pass_for_what_git_says(repo):
    """Names may hold line ends, and all that git writes beside them."""
    start = repo.commit("Start", {"a.yaml": "a\n"})
    edited = repo.commit("Edit", {"a.yaml": "edited\n"})
    trees = [repo.git("rev-parse", f"{oid}^{{tree}}") for oid in (start, edited)]
    blob = repo.blob("a\n")
    name = f"x\n{' '.join(trees)}\n:000000 100644 {'0' * 40} {blob} A"
    names = (name, "commit " + edited, ":" + name)
    entries = "".join(f"100644 blob {blob}\t{one}\0" for one in names).encode()
    tree = repo.git("mktree", "-z", stdin=entries)
    oid = repo.git("commit-tree", tree, "-p", edited, "-m", "x", **repo.people(("M", "m@x"), None))
    repo.git("update-ref", "HEAD", oid)
    _, edit, last = commits_of(repo.open())
    assert did(edit.changes) == ["M a.yaml"]
    assert sorted(did(last.changes)) == sorted(["D a.yaml", *(f"A {one}" for one in names)])


def test_a_tree_that_is_missing_is_told(repo):
    repo.commit("Start", {"a.yaml": "a\n"})
    lost = repo.git("rev-parse", "HEAD^{tree}")
    repo.commit("Edit", {"a.yaml": "b\n"})
    (repo.folder / ".git/objects" / lost[:2] / lost[2:]).unlink()
    with pytest.raises(GitProblem) as caught:
        list(commits_of(repo.open()))
    assert caught.value.rule == "git-failed"


def test_a_branch_may_take_in_the_main_line_many_times(repo):
    """More often than Python calls itself."""
    commits = [([], {})]
    for number in range(0, 3600, 3):
        main, branch = max(number - 2, 0), number
        commits += [([main], {}), ([branch], {}), ([number + 2, number + 1], {})]
    commits.append(([len(commits) - 3, len(commits) - 1], {"a.yaml": "x"}))
    repo.git("fast-import", "--quiet", "--done", stdin=imported(commits))
    with History(repo.open()) as history:
        *_, last = history.landings()
    assert len(last.commits) == 2401
    assert did(last.commit.own_changes) == ["A a.yaml"]


def test_a_walk_may_be_left_early(forked):
    forked.merge("branch")
    commits = commits_of(forked.open())
    assert next(commits).subject == "Base"
    commits.close()


PATHS = ("a.yaml", "b.yaml", "c/d.yaml")
TREES = st.dictionaries(st.sampled_from(PATHS), st.sampled_from("xyz"), max_size=3)


@st.composite
def graphs(draw):
    """Commits as (parents by number, files), of every shape that fits in nine commits."""
    commits = []
    for number in range(draw(st.integers(1, 9))):
        earlier = st.integers(max(0, number - 4), max(0, number - 1))
        parents = draw(st.lists(earlier, max_size=3, unique=True)) if number else []
        commits.append((parents or [number - 1] * (number > 0), draw(TREES)))
    return commits


def imported(commits):
    """The graph for `git fast-import`, one branch whose tip is the last commit."""
    lines = []
    for number, (parents, files) in enumerate(commits):
        lines += [
            "reset refs/heads/main",
            "commit refs/heads/main",
            f"mark :{number + 1}",
            f"committer M <m@example.org> {1_767_250_800 + number} +0100",
            f"data {len(str(number))}\n{number}",
            *(
                f"{'merge' if place else 'from'} :{parent + 1}"
                for place, parent in enumerate(parents)
            ),
            "deleteall",
            *(f"M 100644 inline {path}\ndata 1\n{text}" for path, text in sorted(files.items())),
        ]
    return "\n".join([*lines, "done", ""]).encode()


def plainly(commits):
    """By the sentences in the docstring of Commit, on whole sets: number → (own, dropped)."""
    ancestors = []
    touched = []
    answers = {}
    for number, (parents, files) in enumerate(commits):
        ancestors.append({number}.union(*(ancestors[parent] for parent in parents)))
        before = [commits[parent][1] for parent in parents] or [{}]
        own = {path for path in PATHS if all(old.get(path) != files.get(path) for old in before)}
        dropped = set()
        if len(parents) > 1:
            shared = set.intersection(*(ancestors[parent] for parent in parents))
            sides = [
                {path for commit in ancestors[parent] - shared for path in touched[commit]}
                for parent in parents
            ]
            holders = [
                {path for path in PATHS if old.get(path) == files.get(path)} for old in before
            ]
            for side, holds in zip(sides, holders, strict=True):
                for other_side, other_holds in zip(sides, holders, strict=True):
                    dropped |= (side - holds) & (other_holds - other_side)
        touched.append(own | dropped)
        answers[number] = (sorted(own), sorted(dropped))
    return {number: answers[number] for number in ancestors[-1]}


def assert_additions_are_all(landing):
    """What a landing of additions alone says of its commits is all that they did."""
    assert len(landing.additions) in (0, len(landing.commits))
    came = []
    for one, commit in zip(landing.additions, landing.commits, strict=False):
        maker = commit.committer
        assert (one.email, one.seconds, commit.dropped) == (maker.email, maker.seconds, ())
        if one.path:
            came.append(Change(one.path, None, one.blob, None, "100644"))
            assert commit.changes == commit.own_changes == (came[-1],)
        else:
            assert commit.own_changes == ()
            assert sorted(commit.changes) == sorted(came)


@settings(
    max_examples=examples(60),
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(commits=graphs())
def test_graphs_of_every_shape(tmp_path_factory, make_repo, commits):
    repo = make_repo(tmp_path_factory.mktemp("graph") / "site")
    repo.git("fast-import", "--quiet", "--done", stdin=imported(commits))
    found = {
        int(commit.subject): (
            sorted(change.path for change in commit.own_changes),
            sorted(change.path for change in commit.dropped),
        )
        for commit in commits_of(repo.open())
    }
    assert found == plainly(commits)
    with History(repo.open()) as history:
        for landing in history.landings():
            assert_additions_are_all(landing)
    # git's own combined diff names the paths that differ from every parent
    oids = dict(line.split() for line in repo.git("log", "--format=%s %H").splitlines())
    for number in found:
        if len(commits[number][0]) > 1:
            oid = oids[str(number)]
            paths = repo.git("diff-tree", "-c", "-r", "--name-only", "--no-commit-id", oid)
            assert sorted(paths.split()) == found[number][0]

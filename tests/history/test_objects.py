"""Texts and folders of a commit, as the commit holds them."""

import pytest
from campaign import examples
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ledger.files.tree import MAX_FILE_BYTES, DiskTree, UnreadableFileError
from ledger.history.git import GitProblem
from ledger.history.objects import BlobReader, GitTree, Oddity


def test_a_tree_is_a_commits_not_the_checkouts(repo):
    repo.commit("One", {"site.yaml": "format: 1\n", "tasks/grease.yaml": "title: Grease\n"})
    repo.commit("Two", {"site.yaml": "format: 2\n", "tasks/grease.yaml": None})
    repo.write("site.yaml", "not committed\n")
    with GitTree(repo.open(), "HEAD~1") as before, GitTree(repo.open(), "HEAD") as now:
        assert before.paths() == ("site.yaml", "tasks/grease.yaml")
        assert before.read("site.yaml") == b"format: 1\n"
        assert now.paths() == ("site.yaml",)
        assert now.read("site.yaml") == b"format: 2\n"
        assert before.object_id("site.yaml") == repo.git("rev-parse", "HEAD~1:site.yaml")
        assert now.object_id("tasks/grease.yaml") is None


def test_a_tree_lists_and_reads_what_the_disk_does(repo):
    files = {
        "site.yaml": "format: 1\n",
        ".github/workflows/book.yaml": "on: push\n",
        "equipment/.hidden.yaml": "x\n",
        "equipment/brush-p2.yaml": "kind: side-brush\r\n",
        "equipment/brush-p2/extra.yaml": b"\xff\x00",
        "observations/2026/11/2026-11-23T0640-m-osterby.yaml": "",
        "equipment/été 1.yaml": "x\n",
    }
    repo.commit("Start", files)
    disk = DiskTree(repo.folder)
    with GitTree(repo.open(), "HEAD") as tree:
        assert tree.paths() == disk.paths()
        for path in reversed(disk.paths()):
            assert tree.read(path) == disk.read(path)
        assert tree.read(".github/workflows/book.yaml") == b"on: push\n"


def test_a_site_in_a_folder_sees_that_folder_alone(repo):
    repo.commit("Before", {"README.md": "x\n"})
    repo.commit("Start", {"wash/site.yaml": "format: 1\n", "washes.yaml": "x\n"})
    opened = repo.open("wash")
    with GitTree(opened, "HEAD") as now, GitTree(opened, "HEAD~1") as before:
        assert now.paths() == ("site.yaml",)
        assert now.read("site.yaml") == b"format: 1\n"
        assert before.paths() == ()
        with pytest.raises(UnreadableFileError, match="it is not there"):
            before.read("site.yaml")


def test_a_site_that_was_once_a_file_is_empty_there(repo):
    repo.commit("Before", {"wash": "x\n"})
    repo.commit("Start", {"wash": None, "wash/site.yaml": "format: 1\n"})
    with GitTree(repo.open("wash"), "HEAD~1") as before:
        assert before.paths() == ()


def hostile_tree(repo, *entries):
    """A commit of one tree with just these entries, however odd, set as HEAD."""
    body = b"".join(mode + b" " + name + b"\0" + bytes.fromhex(oid) for mode, name, oid in entries)
    tree = repo.raw("tree", body)
    oid = repo.git("commit-tree", tree, "-m", "Odd", **repo.people(("M", "mira@example.org"), None))
    repo.git("update-ref", "HEAD", oid)
    return oid


def test_links_submodules_and_odd_names_are_named_and_not_read(repo):
    repo.commit()
    text = repo.blob("x\n")
    inner = repo.git("mktree", stdin=f"100644 blob {text}\tx.yaml\n".encode())
    hostile_tree(
        repo,
        (b"120000", b"a-link.yaml", repo.blob("/etc/passwd")),
        (b"160000", b"b-submodule", repo.head()),
        (b"100644", b"c-\xff.yaml", text),
        (b"100644", b"d\\e.yaml", text),
        (b"100644", b"f\x1b.yaml", text),
        (b"100644", b"g.yaml", text),
        (b"100644", b"h.yaml", text),
        (b"100644", b"h.yaml", text),
        (b"40000", b"..", inner),
        (b"40000", b".GIT", inner),
    )
    with GitTree(repo.open(), "HEAD") as tree:
        odd = {
            "../x.yaml": Oddity.UNSAFE_NAME,
            ".GIT/x.yaml": Oddity.UNSAFE_NAME,
            "a-link.yaml": Oddity.SYMLINK,
            "b-submodule": Oddity.SUBMODULE,
            "c-\\xff.yaml": Oddity.NOT_UTF8,
            "d\\e.yaml": Oddity.UNSAFE_NAME,
            "f\x1b.yaml": Oddity.UNSAFE_NAME,
            "h.yaml": Oddity.REPEATED,
        }
        shown = {path for path in odd if not path.startswith(".")}
        assert set(tree.paths()) == {"g.yaml"} | shown
        assert tree.read("g.yaml") == b"x\n"
        for path, why in odd.items():
            with pytest.raises(UnreadableFileError, match=why):
                tree.read(path)


def test_an_unknown_commit_is_a_problem(repo):
    repo.commit()
    with pytest.raises(GitProblem, match=r"No commit is named 'mian'\. Nearest: main"):
        GitTree(repo.open(), "mian")


def test_a_huge_file_is_cut_and_the_next_one_is_whole(repo):
    sizes = [MAX_FILE_BYTES - 1, MAX_FILE_BYTES, MAX_FILE_BYTES + 1, MAX_FILE_BYTES * 9, 3]
    repo.commit("Start", {f"{n}.yaml": b"y" * size for n, size in enumerate(sizes)})
    with GitTree(repo.open(), "HEAD") as tree:
        read = [len(tree.read(path)) for path in tree.paths()]
    assert read == [min(size, MAX_FILE_BYTES + 1) for size in sizes]


def test_a_missing_object_does_not_take_the_others_with_it(repo):
    repo.commit("Start", {"a.yaml": "a\n", "b.yaml": "b\n", "c.yaml": "c\n"})
    oid = repo.git("rev-parse", "HEAD:b.yaml")
    (repo.folder / ".git/objects" / oid[:2] / oid[2:]).unlink()
    with GitTree(repo.open(), "HEAD") as tree:
        assert tree.read("a.yaml") == b"a\n"
        with pytest.raises(UnreadableFileError, match="not in this clone"):
            tree.read("b.yaml")
        assert tree.read("c.yaml") == b"c\n"


def test_a_blob_reader_gives_blobs_only(repo):
    repo.commit("Start", {"a.yaml": "a\n"})
    blob = repo.git("rev-parse", "HEAD:a.yaml")
    with BlobReader(repo.open()) as blobs:
        with pytest.raises(GitProblem, match="is a commit, no file"):
            blobs.read(repo.head())
        with pytest.raises(GitProblem, match="not in this clone"):
            list(blobs.read_many([blob, "1" * 40, blob]))
        assert blobs.read(blob) == b"a\n"
        blobs.close()
        assert blobs.read(blob) == b"a\n"


def test_many_blobs_come_in_the_order_asked_for(repo):
    texts = [f"visit {n}\n".encode() * (n % 50) for n in range(500)]
    repo.commit("Start", {f"{n:03}.yaml": text for n, text in enumerate(texts)})
    with GitTree(repo.open(), "HEAD") as tree, BlobReader(repo.open()) as blobs:
        oids = [tree.object_id(path) for path in tree.paths()]
        assert list(blobs.read_many(reversed(oids))) == texts[::-1]
        assert [tree.read(path) for path in tree.paths()] == texts


@settings(
    max_examples=examples(30),
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(contents=st.lists(st.binary(max_size=200), min_size=1, max_size=8))
def test_bytes_come_back_as_they_went_in(repo, contents):
    """No line end, encoding or NUL is touched, whatever attributes would have git do."""
    files = {f"{n}.yaml": content for n, content in enumerate(contents)}
    entries = [f"100644 blob {repo.blob(text)}\t{path}\n" for path, text in files.items()]
    tree = repo.git("mktree", stdin="".join(entries).encode())
    oid = repo.git("commit-tree", tree, "-m", "x", **repo.people(("M", "m@example.org"), None))
    repo.git("update-ref", "HEAD", oid)
    with GitTree(repo.open(), oid) as at_commit:
        assert {path: at_commit.read(path) for path in at_commit.paths()} == files

"""Nothing outside the root of a site is read, by whatever name it is asked for."""

import os
import sys

import pytest

from ledger.files.tree import MAX_FILE_BYTES, DiskTree, UnreadableFileError

posix_only = pytest.mark.skipif(sys.platform == "win32", reason="links and pipes need POSIX")


@pytest.fixture
def root(tmp_path):
    site = tmp_path / "site"
    (site / "tasks").mkdir(parents=True)
    (site / "site.yaml").write_bytes(b"format: 1\n")
    (site / "tasks" / "b.yaml").write_bytes(b"b")
    (site / "tasks" / "a.yaml").write_bytes(b"a")
    (tmp_path / "secret.yaml").write_bytes(b"secret")
    return site


def test_paths_are_sorted_relative_and_without_dotted_names(root):
    (root / ".git").mkdir()
    (root / ".git" / "config").write_bytes(b"")
    (root / "tasks" / ".gitkeep").write_bytes(b"")
    assert DiskTree(root).paths() == ("site.yaml", "tasks/a.yaml", "tasks/b.yaml")
    assert DiskTree(root).read("tasks/a.yaml") == b"a"


@pytest.mark.parametrize(
    "path",
    [
        "../secret.yaml",
        "tasks/../../secret.yaml",
        "/etc/hostname",
        "tasks//a.yaml",
        "./site.yaml",
        "",
        "tasks\\a.yaml",
        "a\0b",
    ],
)
def test_a_name_that_leads_out_is_refused(root, path):
    with pytest.raises(UnreadableFileError, match="leads out"):
        DiskTree(root).read(path)


@posix_only
def test_a_link_is_listed_and_not_followed(root, tmp_path):
    (root / "tasks" / "c.yaml").symlink_to(tmp_path / "secret.yaml")
    tree = DiskTree(root)
    assert "tasks/c.yaml" in tree.paths()
    with pytest.raises(UnreadableFileError, match="link"):
        tree.read("tasks/c.yaml")


@posix_only
def test_a_linked_folder_is_listed_as_one_name_and_not_entered(root, tmp_path):
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "elsewhere" / "x.yaml").write_bytes(b"x")
    (root / "parts").symlink_to(tmp_path / "elsewhere", target_is_directory=True)
    tree = DiskTree(root)
    assert [path for path in tree.paths() if path.startswith("parts")] == ["parts"]
    with pytest.raises(UnreadableFileError, match="parts is a link"):
        tree.read("parts/x.yaml")


@posix_only
def test_the_root_itself_may_be_reached_by_a_link(root, tmp_path):
    (tmp_path / "alias").symlink_to(root, target_is_directory=True)
    assert DiskTree(tmp_path / "alias").read("site.yaml") == b"format: 1\n"


@posix_only
def test_a_pipe_is_refused_without_waiting(root):
    os.mkfifo(root / "tasks" / "pipe.yaml")
    tree = DiskTree(root)
    assert "tasks/pipe.yaml" in tree.paths()
    with pytest.raises(UnreadableFileError, match="plain file"):
        tree.read("tasks/pipe.yaml")


def test_a_file_that_is_gone_is_a_failure_of_its_own_kind(root):
    with pytest.raises(UnreadableFileError):
        DiskTree(root).read("tasks/gone.yaml")


def test_reading_stops_just_past_the_limit(root):
    (root / "tasks" / "big.yaml").write_bytes(b"x" * (MAX_FILE_BYTES * 2))
    assert len(DiskTree(root).read("tasks/big.yaml")) == MAX_FILE_BYTES + 1

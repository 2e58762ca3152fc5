"""Old bytes or new ones: what a writer leaves, and what it takes away of those before it."""

import errno
import fcntl
import os
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest

from ledger.files import save
from ledger.files.save import (
    PART_ENDING,
    UnconfirmedError,
    create_file,
    create_folder,
    remove_leftovers,
    replace_file,
    replace_folder,
)

HOLD = """
import fcntl, sys
opened = open(sys.argv[1], "w")
fcntl.flock(opened, fcntl.LOCK_EX)
print("held", flush=True)
sys.stdin.read()
"""
LEFTOVER = f".0123456789ab{PART_ENDING}"


def names(folder: Path) -> list[str]:
    return sorted(path.relative_to(folder).as_posix() for path in folder.rglob("*"))


def failing(wrong: BaseException):
    def fail(*_: object, **__: object) -> None:
        raise wrong

    return fail


def test_a_file_is_replaced_and_missing_folders_are_made(tmp_path):
    replace_file(tmp_path / "a/b/c.txt", b"old")
    replace_file(tmp_path / "a/b/c.txt", b"new")
    assert (tmp_path / "a/b/c.txt").read_bytes() == b"new"
    assert names(tmp_path) == ["a", "a/b", "a/b/c.txt"]


@pytest.mark.parametrize("has_links", [True, False])
def test_a_new_file_never_takes_a_name_that_is_taken(tmp_path, monkeypatch, has_links):
    if not has_links:
        monkeypatch.setattr(os, "link", failing(PermissionError(errno.EPERM, "no links here")))
    create_file(tmp_path / "a", b"first")
    with pytest.raises(FileExistsError) as refused:
        create_file(tmp_path / "a", b"second")
    assert refused.value.filename == str(tmp_path / "a")
    assert (tmp_path / "a").read_bytes() == b"first"
    assert names(tmp_path) == ["a"]


def test_without_links_a_failure_leaves_no_empty_file(tmp_path, monkeypatch):
    monkeypatch.setattr(os, "link", failing(OSError(errno.ENOTSUP, "no links here")))
    monkeypatch.setattr(os, "replace", failing(OSError(errno.EIO, "broken")))
    with pytest.raises(OSError, match="broken"):
        create_file(tmp_path / "a", b"text")
    assert names(tmp_path) == []


@pytest.mark.parametrize("wrong", [OSError(errno.ENOSPC, "full"), KeyboardInterrupt()])
@pytest.mark.parametrize("step", ["write", "fsync"])
def test_whatever_ends_a_writer_it_leaves_nothing_behind(tmp_path, monkeypatch, step, wrong):
    (tmp_path / "a").write_bytes(b"old")
    monkeypatch.setattr(os, step, failing(wrong))
    for save_it in (
        lambda: replace_file(tmp_path / "a", b"new"),
        lambda: create_file(tmp_path / "b", b"new"),
        lambda: create_folder(tmp_path / "c", {"d/e": b"new"}),
    ):
        with pytest.raises(type(wrong)):
            save_it()
    monkeypatch.undo()
    assert names(tmp_path) == ["a"]
    assert (tmp_path / "a").read_bytes() == b"old"


def test_what_the_disk_does_not_confirm_stands_and_is_said(tmp_path, monkeypatch):
    real = os.fsync

    def of_files(handle: int) -> None:
        if os.path.isdir(f"/proc/self/fd/{handle}"):  # noqa: PTH112
            raise OSError(errno.EIO, "broken")
        real(handle)

    monkeypatch.setattr(os, "fsync", of_files)
    with pytest.raises(UnconfirmedError, match="has not confirmed that it will keep it") as said:
        create_file(tmp_path / "a", b"text")
    assert said.value.filename == str(tmp_path / "a")
    assert (tmp_path / "a").read_bytes() == b"text"


def test_pages_that_can_be_made_again_are_not_forced_to_the_disk(tmp_path, monkeypatch):
    monkeypatch.setattr(os, "fsync", failing(AssertionError("forced")))
    replace_file(tmp_path / "book/a", b"page", is_forced=False)
    assert (tmp_path / "book/a").read_bytes() == b"page"


def test_a_folder_comes_whole_and_over_nothing(tmp_path):
    create_folder(tmp_path / "x/wash", {"site.yaml": b"a", "tasks/t.yaml": b"b"})
    assert names(tmp_path) == [
        "x",
        "x/wash",
        "x/wash/site.yaml",
        "x/wash/tasks",
        "x/wash/tasks/t.yaml",
    ]
    with pytest.raises(OSError, match="wash"):
        create_folder(tmp_path / "x/wash", {"site.yaml": b"c"})
    assert (tmp_path / "x/wash/site.yaml").read_bytes() == b"a"
    assert names(tmp_path / "x") == ["wash", "wash/site.yaml", "wash/tasks", "wash/tasks/t.yaml"]


@pytest.mark.parametrize("system", ["linux", "another"])
def test_a_folder_is_replaced_whole(tmp_path, monkeypatch, system):
    monkeypatch.setattr("ledger.files.save.sys", SimpleNamespace(platform=system))
    target = tmp_path / "x/export"
    replace_folder(target, {"a": b"1", "y/b": b"2", "y/c": b"3"})
    kept = (target / "y/b").stat().st_ino
    replace_folder(target, {"a": b"4", "z/d": b"5"}, ["y/b"])
    assert names(tmp_path / "x") == ["export", *(f"export/{n}" for n in ("a", "y", "y/b", "z", "z/d"))]  # fmt: skip
    assert (target / "a").read_bytes() == b"4"
    assert (target / "y/b").stat().st_ino == kept
    with pytest.raises(FileNotFoundError):
        replace_folder(target, {"a": b"6"}, ["y/missing"])
    assert names(tmp_path / "x")[-1] == "export/z/d"
    assert (target / "a").read_bytes() == b"4"


def test_leftovers_go_and_files_of_other_names_stay(tmp_path):
    for path in (
        LEFTOVER,
        f"deep/.x/{LEFTOVER}",
        f".git/{LEFTOVER}",
        f"mine{PART_ENDING}",
        ".part",
    ):
        (tmp_path / path).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / path).write_text("half")
    (tmp_path / "deep" / LEFTOVER / "inside").mkdir(parents=True)
    remove_leftovers(tmp_path, below=False)
    assert (tmp_path / "deep" / LEFTOVER).is_dir()
    remove_leftovers(tmp_path)
    left = [name for name in names(tmp_path) if (tmp_path / name).is_file()]
    assert left == [f".git/{LEFTOVER}", ".part", f"mine{PART_ENDING}"]
    assert not (tmp_path / "deep" / LEFTOVER).exists()


def test_what_a_living_writer_holds_stays_until_it_is_killed(tmp_path):
    part = tmp_path / LEFTOVER
    holder = subprocess.Popen(
        [
            sys.executable, "-c",
            HOLD,
            str(part),
        ],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE,
    )  # fmt: skip
    with holder:
        assert holder.stdout.readline() == b"held\n"
        remove_leftovers(tmp_path)
        assert part.exists()
        holder.kill()
        holder.wait()
    remove_leftovers(tmp_path)
    assert not part.exists()


def test_the_writer_itself_holds_its_file(tmp_path, monkeypatch):
    real = os.fsync
    seen = []

    def looked_at(handle: int) -> None:
        remove_leftovers(tmp_path)
        seen.extend(names(tmp_path))
        real(handle)

    monkeypatch.setattr(os, "fsync", looked_at)
    create_file(tmp_path / "a", b"text")
    assert save._PART.fullmatch(seen[0])
    assert names(tmp_path) == ["a"]


def test_where_nothing_can_be_locked_files_are_written_and_leftovers_stay(tmp_path, monkeypatch):
    monkeypatch.setattr(fcntl, "flock", failing(OSError(errno.ENOLCK, "no locks here")))
    create_file(tmp_path / "a", b"text")
    (tmp_path / LEFTOVER).write_text("half")
    remove_leftovers(tmp_path)
    assert names(tmp_path) == [LEFTOVER, "a"]

"""Texts and folders as they stand in a commit, read from git's objects, never from the checkout."""

import re
import subprocess
from bisect import bisect_left
from collections.abc import Iterable, Iterator, Sequence
from contextlib import suppress
from enum import StrEnum
from functools import lru_cache
from typing import IO, Self

from ledger.files.tree import MAX_FILE_BYTES, UnreadableFileError
from ledger.history.git import GitProblem, Stream
from ledger.history.repository import Repository, resolve

_DOTTED = re.compile(r"(?:^|/)\.")


_CHUNK_BYTES = 1 << 16

_BLOBS_KEPT = 256


# Git answers once it was asked for all of them, so neither pipe can be full while both wait.
_REQUESTS_AT_ONCE = 128


class Oddity(StrEnum):
    """Why an entry of a tree is not read as a file of the site."""

    SYMLINK = "symbolic link"
    SUBMODULE = "submodule"
    UNSAFE_NAME = "unsafe name"
    NOT_UTF8 = "name not in UTF-8"
    REPEATED = "repeated name"


class BlobReader:
    """One running `cat-file --batch-command`, for many blobs. Use it in a `with`.

    A blob of more than `max_bytes` is cut one byte later, and its rest never held in memory.
    """

    def __init__(self, repository: Repository, *, max_bytes: int = MAX_FILE_BYTES) -> None:
        self._repository = repository
        self._max_bytes = max_bytes
        self._stream: Stream | None = None
        # One file's versions are asked for several times in a row.
        self._kept = lru_cache(_BLOBS_KEPT)(lambda oid: next(self.read_many([oid])))
        self._ahead: dict[str, bytes] = {}

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """End the running git; a later read starts another."""
        if self._stream is not None:
            self._stream.close()
            self._stream = None

    def read(self, oid: str) -> bytes:
        """The bytes of one blob by its full object id, cut one byte after the limit.

        Raises GitProblem where it is absent or no blob.
        """
        found = self._ahead.get(oid)
        return self._kept(oid) if found is None else found

    def read_ahead(self, oids: Sequence[str]) -> None:
        """Fetch what will be asked for, as git answers many at once in a third of the time."""
        self._ahead = {}
        # Whoever asks for the one that is missing hears of it.
        with suppress(GitProblem):
            self._ahead.update(zip(oids, self.read_many(oids), strict=True))

    def read_many(self, oids: Iterable[str]) -> Iterator[bytes]:
        """The bytes of each blob, in the order asked for; as `read`, with less waiting."""
        waiting = list(oids)
        for start in range(0, len(waiting), _REQUESTS_AT_ONCE):
            requested = waiting[start : start + _REQUESTS_AT_ONCE]
            stream = self._running()
            try:
                requests = "".join(f"contents {oid}\n" for oid in requested)
                stream.stdin.write(f"{requests}flush\n".encode("ascii"))
                stream.stdin.flush()
                answers = [self._answer(stream, stream.stdout, oid) for oid in requested]
            except BrokenPipeError:
                problem = stream.problem()
                self.close()
                raise problem from None
            except GitProblem:
                # Answers to what was asked after it are still on their way: begin anew.
                self.close()
                raise
            yield from answers

    def _running(self) -> Stream:
        if self._stream is None:
            command = ("cat-file", "--batch-command", "--buffer")
            self._stream = self._repository.git.stream(*command, stdin=subprocess.PIPE)
        return self._stream

    def _answer(self, stream: Stream, printed: IO[bytes], oid: str) -> bytes:
        match printed.readline().split():
            case [_, b"blob", size]:
                kept = printed.read(min(int(size), self._max_bytes) + 1)
                left = int(size) + 1 - len(kept)
                if not left:
                    return kept[:-1]
            case [_, b"missing"]:
                raise GitProblem(
                    rule="objects-elsewhere",
                    message=f"The object {oid} is not in this clone.",
                    remedy="Fetch everything first: git fetch --refetch --no-filter.",
                )
            case [_, kind, _]:
                raise GitProblem(
                    rule="not-a-file",
                    message=f"The object {oid} is a {kind.decode('ascii', 'replace')}, no file.",
                )
            case _:
                raise stream.problem()
        while left:
            skipped = printed.read(min(left, _CHUNK_BYTES))
            if not skipped:
                raise stream.problem()
            left -= len(skipped)
        return kept


class GitTree:
    """The site's folder as it stands in one commit: a FileTree (`ledger.files.tree`).

    Symbolic links and submodules are not followed, and names that could lead out of the folder
    or are not UTF-8 are not read: `read` says why. Use it in a `with`, or `close` it.
    """

    def __init__(
        self, repository: Repository, commit: str, *, max_bytes: int = MAX_FILE_BYTES
    ) -> None:
        """Raises GitProblem where `commit` names no commit of the repository."""
        self.commit = resolve(repository, commit)
        self._blobs = BlobReader(repository, max_bytes=max_bytes)
        self._oids, self._odd = _listing(repository, self.commit)
        self._order = sorted(self._oids)
        self._ahead: dict[str, bytes] = {}

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """End the running git; a later read starts another."""
        self._blobs.close()

    def paths(self) -> tuple[str, ...]:
        """Every file and odd entry below the site's folder, sorted; dotted names are left out.

        None where the folder is not there.
        """
        return tuple(sorted(path for path in {*self._oids, *self._odd} if not _DOTTED.search(path)))

    def read(self, path: str) -> bytes:
        """The bytes of one file, cut one byte after the limit; a dotted name may be asked for.

        Raises UnreadableFileError for an odd entry and for a file that is not in the commit or
        not in this clone.
        """
        if path in self._odd:
            raise UnreadableFileError(f"it is not a plain file: {self._odd[path]}")
        oid = self.object_id(path)
        if oid is None:
            raise UnreadableFileError("it is not there")
        if path not in self._ahead:
            self._ahead = self._from(path, oid)
        return self._ahead[path]

    def _from(self, path: str, oid: str) -> dict[str, bytes]:
        """The file and those after it, since a tree is mostly read in order; or the file alone."""
        start = bisect_left(self._order, path)
        block = self._order[start : start + _REQUESTS_AT_ONCE]
        # Where one of them is not in this clone, this one may be.
        with suppress(GitProblem):
            texts = self._blobs.read_many(self._oids[name] for name in block)
            return dict(zip(block, texts, strict=True))
        try:
            return {path: self._blobs.read(oid)}
        except GitProblem as problem:
            raise UnreadableFileError(str(problem)) from problem

    def object_id(self, path: str) -> str | None:
        """The blob's object id: equal ids, equal bytes. None where no plain file is there."""
        return self._oids.get(path)


def path_text(name: bytes) -> str:
    r"""A path of a tree as text; bytes that are not UTF-8 show as `\xff`."""
    return name.decode("utf-8", "backslashreplace")


def _listing(repository: Repository, commit: str) -> tuple[dict[str, str], dict[str, Oddity]]:
    tree = _site_tree(repository, commit)
    if tree is None:
        return {}, {}
    printed = repository.git.output("ls-tree", "-r", "-z", "--full-tree", tree)
    files: dict[str, str] = {}
    odd: dict[str, Oddity] = {}
    for entry in printed.split(b"\0")[:-1]:
        described, _, name = entry.partition(b"\t")
        mode, kind, oid = described.split(b" ")
        path = path_text(name)
        why = _oddity(mode, kind, name)
        if path in odd or path in files:
            files.pop(path, None)
            why = Oddity.REPEATED
        if why is None:
            files[path] = oid.decode("ascii")
        else:
            odd[path] = why
    return files, odd


def _site_tree(repository: Repository, commit: str) -> str | None:
    """The object id of the site's folder; None where it was not there, or was no folder."""
    entry = repository.git.object_id(f"{commit}:{repository.prefix.removesuffix('/')}")
    return None if entry is None else repository.git.object_id(f"{entry}^{{tree}}")


def _oddity(mode: bytes, kind: bytes, name: bytes) -> Oddity | None:
    if mode == b"120000":
        return Oddity.SYMLINK
    if kind != b"blob":
        return Oddity.SUBMODULE
    try:
        parts = name.decode("utf-8").split("/")
    except UnicodeDecodeError:
        return Oddity.NOT_UTF8
    unsafe = any(
        part in ("", ".", "..")
        or part.casefold() == ".git"
        or "\\" in part
        or not part.isprintable()
        for part in parts
    )
    return Oddity.UNSAFE_NAME if unsafe else None

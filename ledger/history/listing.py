"""What git lists: every commit that a head reaches, and what differs between their trees."""

import re
import subprocess
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from functools import cached_property, lru_cache
from itertools import chain
from typing import IO

from ledger.history.commit import CommitText, parse_commit
from ledger.history.git import Git, Stream

_SIGNED = rb"([^\n<>]*<([^\n<>]*)> (\d{1,11}) [+-]\d{4})\n"

# What git shows of nearly every commit, up to its message. Of any other the object is read: git
# ends what it shows at a NUL, and a signature covers the message as it is.
_USUAL = re.compile(
    rb"[^\n]+\ntree [^\n]+\n(?:parent [^\n]+\n)*"
    rb"author " + _SIGNED + rb"committer " + _SIGNED + rb"\n    "
)

_LIST = ("rev-list", "--topo-order", "--reverse", "--parents", "--header", "--encoding=none")

# Renames off, so that a record moved away is seen to be gone.
_DIFF = (
    "diff-tree",
    "--stdin",
    "-r",
    "-z",
    "--raw",
    "--no-abbrev",
    "--no-renames",
    "--no-ext-diff",
    "--no-textconv",
    "--ignore-submodules=none",
)

# A folder without files, by how long the object ids of a repository are: by SHA-1 or SHA-256.
_EMPTY_TREES = {
    40: b"4b825dc642cb6eb9a060e54bf8d69288fbee4904",
    64: b"6ef19b41225c5369f1c104d45d8d85efa9b057b53b14b4b9b939dd74decc5321",
}

Entries = list[tuple[bytes, bytes]]
"""The files that differ between two trees: how, as git describes it, and the path."""


class Listing:
    """The commits that a head reaches, which git lists from now on. Close it after use.

    A commit is known by its place in the list, in which parents come before children.
    """

    def __init__(self, git: Git, head: str) -> None:
        self._git = git
        # Into a file, so that git ends even where nobody reads yet.
        self._printed = tempfile.TemporaryFile()  # noqa: SIM115  closed with the listing
        self._lister = git.stream(*_LIST, head, stdin=subprocess.DEVNULL, stdout=self._printed)

    def close(self) -> None:
        self._lister.close()
        self._printed.close()

    @cached_property
    def _shown(self) -> list[bytes]:
        self._lister.finish()
        self._printed.seek(0)
        return self._printed.read().split(b"\0")[:-1]

    @cached_property
    def _named(self) -> list[list[str]]:
        first_lines = b"\n".join([one[: one.index(b"\n")] for one in self._shown])
        return [line.split(" ") for line in first_lines.decode("ascii").split("\n")]

    @cached_property
    def places(self) -> dict[str, int]:
        """The place of each commit by its object id."""
        return {named[0]: place for place, named in enumerate(self._named)}

    @cached_property
    def oids(self) -> list[str]:
        """The object id of each commit."""
        return list(self.places)

    @cached_property
    def parents(self) -> list[list[int]]:
        """The parents of each commit that are in this clone."""
        places = self.places
        return [[places[parent] for parent in named[1:]] for named in self._named]

    @cached_property
    def makers(self) -> list[tuple[str, int, bool] | None]:
        """The author's address in small letters, the committer's seconds, and whether both are one.

        None for a commit that says more than usual.
        """
        usual = map(_USUAL.match, self._shown)
        return [one and (_small_letters(one[2]), int(one[6]), one[1] == one[4]) for one in usual]

    def may_say(self, place: int, words: bytes) -> bool:
        """Whether a commit may have these words in its message."""
        return self.makers[place] is None or words in self._shown[place]

    def text(self, place: int) -> CommitText:
        """What a commit says.

        Of a message git may leave out blanks at the end of a line and blank lines at either end.
        """
        if self.makers[place] is None:
            return self._unusual[place]
        head, _, message = self._shown[place].partition(b"\n")[2].partition(b"\n    ")
        return parse_commit(head + b"\n" + message.replace(b"\n    ", b"\n"))

    @cached_property
    def _unusual(self) -> dict[int, CommitText]:
        places = [place for place, maker in enumerate(self.makers) if maker is None]
        requests = [self.oids[place].encode("ascii") for place in places]
        with _answered(self._git, requests, "cat-file", "--batch", "--buffer") as (printed, stream):
            return dict(zip(places, _texts(printed, stream), strict=True))

    @cached_property
    def set_back_s(self) -> list[int]:
        """By how many seconds each commit is dated before what it builds on, as far as both say."""
        seconds = [
            maker[1] if maker else self._unusual[place].committer.seconds
            for place, maker in enumerate(self.makers)
        ]
        found = []
        for at, parents in zip(seconds, self.parents, strict=True):
            before = [then for one in parents if (then := seconds[one]) is not None]
            found.append(max(before) - at if before and at is not None else 0)
        return found

    def compared(
        self, sides: Mapping[int, Sequence[int]], *paths: str
    ) -> Iterator[tuple[int, list[Entries]]]:
        """Commits, each with what differs from each of its sides, at these paths if any.

        Without sides it is what it holds. Raises GitProblem.
        """
        trees = [one.split(b"\n", 2)[1].removeprefix(b"tree ") for one in self._shown]
        pairs = [
            [trees[side] + b" " + trees[place] for side in compared]
            or [_EMPTY_TREES[len(trees[place])] + b" " + trees[place]]
            for place, compared in sides.items()
        ]
        differing = self._differing(list(chain.from_iterable(pairs)), *paths)
        for place, compared in zip(sides, pairs, strict=True):
            yield place, [differing[pair] for pair in compared]

    def _differing(self, pairs: Sequence[bytes], *paths: str) -> dict[bytes, Entries]:
        """What differs between each pair of trees.

        Packs keep old trees as differences from newer ones, so git is asked for those first. A line
        that names a pair stands before its first entry.
        """
        found: dict[bytes, Entries] = {}
        with _answered(self._git, pairs[::-1], *_DIFF, "--", *paths) as (printed, stream):
            *fields, last = printed.read().split(b"\0")
            entries: Entries = []
            for described, path in zip(fields[::2], fields[1::2], strict=True):
                *named, entry = described.split(b"\n")
                for pair in named:
                    found[pair] = entries = []
                entries.append((entry, path))
            found |= {pair: [] for pair in last.split(b"\n")[:-1]}
            if not found.keys() >= {*pairs}:
                raise stream.problem()
        return found


@contextmanager
def _answered(
    git: Git, requests: Sequence[bytes], *arguments: str
) -> Iterator[tuple[IO[bytes], Stream]]:
    """What git prints on a list of requests, once it has ended well, and the git that did.

    Both are files: two pipes to the same child could wait for each other.
    """
    with tempfile.TemporaryFile() as listed, tempfile.TemporaryFile() as printed:
        listed.write(b"".join([request + b"\n" for request in requests]))
        listed.seek(0)
        stream = git.stream(*arguments, stdin=listed, stdout=printed)
        try:
            stream.finish()
            printed.seek(0)
            yield printed, stream
        finally:
            stream.close()


@lru_cache(maxsize=1024)  # so many people write most of a history
def _small_letters(email: bytes) -> str:
    return email.decode("utf-8", "replace").casefold()


def _texts(printed: IO[bytes], stream: Stream) -> Iterator[CommitText]:
    while header := printed.readline():
        match header.split():
            case [_, b"commit", size]:
                yield parse_commit(printed.read(int(size) + 1)[:-1])
            case _:
                raise stream.problem()

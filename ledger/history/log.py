"""History as a walk: every commit that a head reaches, oldest first, and what each one did."""

import heapq
import subprocess
import tempfile
from collections.abc import Iterable, Iterator, Sequence
from contextlib import ExitStack
from functools import cached_property
from typing import Self

from ledger.history.commit import Change, Commit, CommitText, Status, parse_commit
from ledger.history.git import Git, GitProblem, Stream
from ledger.history.objects import path_text
from ledger.history.repository import Repository, resolve

_CHUNK_BYTES = 1 << 16


# Packs keep old trees as differences from newer ones, so git is asked for the newer ones first,
# a block at a time: a whole history asked backwards would have to be held in memory.
_BLOCK = 256

_ABSENT_MODE = "000000"

_STATUS = {status.value: status for status in Status}


# Renames off, so that a record moved away is seen to be gone.
_DIFF = (
    "diff-tree",
    "--stdin",
    "--always",
    "--root",
    "-r",
    "-z",
    "--raw",
    "--no-abbrev",
    "--no-renames",
    "--no-ext-diff",
    "--no-textconv",
    "--ignore-submodules=none",
)


class History:
    """All commits that a head reaches. Use it in a `with`: git lists them from then on.

    `head` is the object id of that commit. Raises GitProblem where there is none.
    """

    def __init__(self, repository: Repository, head: str = "HEAD") -> None:
        self.repository = repository
        self.head = resolve(repository, head)
        self._stack = ExitStack()
        # Into a file, so that git ends even where nobody reads yet.
        self._listed = self._stack.enter_context(tempfile.TemporaryFile())  # noqa: SIM115
        self._lister = repository.git.stream(
            "rev-list",
            "--topo-order",
            "--reverse",
            "--parents",
            self.head,
            stdin=subprocess.DEVNULL,
            stdout=self._listed,
        )
        self._stack.callback(self._lister.close)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._stack.close()

    @cached_property
    def parents(self) -> dict[str, list[str]]:
        """Each commit with the parents that are in this clone, parents before children."""
        self._lister.finish()
        self._listed.seek(0)
        lines = [entry.split(" ") for entry in self._listed.read().decode("ascii").splitlines()]
        return {oid: parents for oid, *parents in lines}

    @cached_property
    def line(self) -> set[str]:
        """The head and its first parents, which is where branches are merged into."""
        found, oid = set(), self.head
        while oid in self.parents:
            found.add(oid)
            oid = next(iter(self.parents[oid]), "")
        return found

    def commits(self) -> Iterator[Commit]:
        """Every commit, parents before children, with its changes to the site."""
        repository = self.repository
        site = (str(repository.top / repository.prefix),) if repository.prefix else ()
        commits = list(self.parents.items())
        blocks = [commits[start : start + _BLOCK] for start in range(0, len(commits), _BLOCK)]
        comparisons = [
            request
            for block in blocks
            for oid, parents in reversed(block)
            for request in ([f"{oid} {parent}" for parent in parents] or [oid])
        ]
        with ExitStack() as stack:
            git = repository.git
            diffs = _differences(
                _running(git, comparisons, stack, *_DIFF, "--", *site), repository.prefix
            )
            texts = _texts(_running(git, self.parents, stack, "cat-file", "--batch", "--buffer"))
            sides = _Sides()
            for block in blocks:
                against = {
                    oid: [_next_of(oid, diffs) for _ in parents or (None,)]
                    for oid, parents in reversed(block)
                }
                for oid, _ in block:
                    commit = _commit(oid, _text_of(oid, texts), against[oid], sides)
                    sides.add(commit)
                    yield commit
            # Read on to where git says how it ended.
            if next(texts, None) is not None:
                raise GitProblem(rule="git-failed", message="Git gave more commits than asked for.")


def walk(
    repository: Repository, since: str | None = None, *, head: str = "HEAD"
) -> Iterator[Commit]:
    """Every commit that `head` reaches, parents before children, with its changes to the site.

    With `since`, only those that `since` does not reach; the others are read all the same, since
    what a merge dropped shows only against all that its sides did. Raises GitProblem.
    """
    old = set() if since is None else reached_by(repository, resolve(repository, since))
    with History(repository, head) as history:
        for commit in history.commits():
            if commit.oid not in old:
                yield commit


def reached_by(repository: Repository, oid: str) -> set[str]:
    """A commit and all that it builds on, as object ids. Raises GitProblem."""
    return set(repository.git.output("rev-list", oid).decode("ascii").split())


def _running(git: Git, requests: Iterable[str], stack: ExitStack, *arguments: str) -> Stream:
    # The list comes from a file: two pipes to the same child could wait for each other.
    listed = stack.enter_context(tempfile.TemporaryFile())  # noqa: SIM115  the stack closes it
    listed.write("".join(f"{request}\n" for request in requests).encode("ascii"))
    listed.seek(0)
    stream = git.stream(*arguments, stdin=listed)
    stack.callback(stream.close)
    return stream


def _texts(stream: Stream) -> Iterator[CommitText]:
    while header := stream.stdout.readline():
        match header.split():
            case [_, b"commit", size]:
                yield parse_commit(stream.stdout.read(int(size) + 1)[:-1])
            case _:
                raise stream.problem()
    stream.finish()


def _text_of(oid: str, texts: Iterator[CommitText]) -> CommitText:
    text = next(texts, None)
    if text is None:
        raise GitProblem(rule="git-failed", message=f"Git ended before it gave commit {oid}.")
    return text


def _fields(stream: Stream) -> Iterator[bytes]:
    rest = b""
    while chunk := stream.stdout.read(_CHUNK_BYTES):
        *whole, rest = (rest + chunk).split(b"\0")
        yield from whole
    stream.finish()


def _differences(stream: Stream, prefix: str) -> Iterator[tuple[str, dict[str, Change]]]:
    """For each comparison asked for, the commit's id and its changes by path."""
    oid = ""
    changes: dict[str, Change] = {}
    fields = _fields(stream)
    for entry in fields:
        if entry.startswith(b":"):
            change = _change(entry, next(fields), prefix)
            changes[change.path] = change
            continue
        if oid:
            yield oid, changes
        oid, changes = entry.decode("ascii"), {}
    if oid:
        yield oid, changes


def _next_of(oid: str, differences: Iterator[tuple[str, dict[str, Change]]]) -> dict[str, Change]:
    named, changes = next(differences, ("none", {}))
    if named != oid:
        raise GitProblem(
            rule="git-failed", message=f"Git told of commit {named} where {oid} was asked for."
        )
    return changes


def _change(described: bytes, name: bytes, prefix: str) -> Change:
    old_mode, new_mode, old_oid, new_oid, status = described.decode("ascii")[1:].split(" ")
    path = path_text(name)
    if prefix:
        # The site's folder itself can be a path where it was no folder.
        path = path.removeprefix(prefix) if path.startswith(prefix) else "."
    was, is_there = old_mode != _ABSENT_MODE, new_mode != _ABSENT_MODE
    return Change(
        status=_STATUS.get(status, Status.OTHER),
        path=path,
        old_oid=old_oid if was else None,
        new_oid=new_oid if is_there else None,
        old_mode=old_mode if was else None,
        new_mode=new_mode if is_there else None,
    )


class _Sides:
    """What each commit so far touched, to tell what either side of a merge had done."""

    def __init__(self) -> None:
        self._index: dict[str, int] = {}
        self._parents: list[tuple[int, ...]] = []
        self._touched: list[tuple[str, ...]] = []

    def add(self, commit: Commit) -> None:
        self._index[commit.oid] = len(self._parents)
        self._parents.append(
            tuple([self._index[parent] for parent in commit.parents if parent in self._index])
        )
        changes = (*commit.own_changes, *commit.dropped) if commit.dropped else commit.own_changes
        self._touched.append(tuple([change.path for change in changes]))

    def know(self, parents: Sequence[str]) -> bool:
        """Whether every parent has been added."""
        return all(map(self._index.__contains__, parents))

    def dropped(
        self, parents: Sequence[str], against: list[dict[str, Change]]
    ) -> tuple[Change, ...]:
        """Changes of one side that are not in the merge, where a side that never touched the path
        has the merge's version.
        """
        touched = self._touched_by_side(parents)
        lost: dict[str, Change] = {}
        for side, differing in enumerate(against):
            for path in touched[side] & differing.keys():
                if any(
                    path not in against[other] and path not in touched[other]
                    for other in range(len(against))
                ):
                    lost.setdefault(path, differing[path])
        return tuple(lost[path] for path in sorted(lost))

    def _touched_by_side(self, parents: Sequence[str]) -> list[set[str]]:
        """For each parent, the paths touched by commits it reaches and not every parent does."""
        every = (1 << len(parents)) - 1
        reached: dict[int, int] = {}
        for side, parent in enumerate(parents):
            index = self._index[parent]
            reached[index] = reached.get(index, 0) | 1 << side
        touched: list[set[str]] = [set() for _ in parents]
        # Children come after their parents, so the newest index left is reached in full already.
        newest = [-index for index in reached]
        heapq.heapify(newest)
        apart = sum(mask != every for mask in reached.values())
        while apart:
            index = -heapq.heappop(newest)
            mask = reached[index]
            if mask != every:
                apart -= 1
                for bit, paths in enumerate(touched):
                    if mask >> bit & 1:
                        paths.update(self._touched[index])
            for parent_index in self._parents[index]:
                before = reached.get(parent_index)
                after = (before or 0) | mask
                if before is None:
                    heapq.heappush(newest, -parent_index)
                    apart += after != every
                elif before != every and after == every:
                    apart -= 1
                reached[parent_index] = after
        return touched


def _commit(oid: str, text: CommitText, against: list[dict[str, Change]], sides: _Sides) -> Commit:
    first, *others = against
    changes = tuple(first.values())
    known = sides.know(text.parents)
    if not others:
        return Commit(oid=oid, text=text, changes=changes, own_changes=changes, boundary=not known)
    return Commit(
        oid=oid,
        text=text,
        changes=changes,
        own_changes=tuple(
            change for change in changes if all(change.path in other for other in others)
        ),
        dropped=sides.dropped(text.parents, against) if known else (),
        boundary=not known,
    )

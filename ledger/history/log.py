"""History as a walk: every commit that a head reaches, oldest first, and what each one did."""

import heapq
import re
import subprocess
import tempfile
from collections.abc import Iterable, Iterator, Sequence
from contextlib import ExitStack
from functools import cached_property
from typing import NamedTuple, Self

from ledger.files.names import SITE_FILE
from ledger.history.commit import Change, Commit, CommitText, parse_commit
from ledger.history.git import Git, GitProblem, Stream
from ledger.history.objects import path_text
from ledger.history.repository import OBJECT_ID, Repository, resolve

_CHUNK_BYTES = 1 << 16


# Packs keep old trees as differences from newer ones, so git is asked for the newer ones first,
# a block at a time: a whole history asked backwards would have to be held in memory.
_BLOCK = 256

_ABSENT_MODE = "000000"

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


# What `git pull` writes of the merge by which it takes the line into a clone's own commits. Git
# leaves out "into" for these two branches, and the branch merged is the one merged into.
_PULLED = re.compile(
    r"Merge (?:branch '([^']+)' of \S+|remote-tracking branch '[^/']+/([^']+)')(?: into (\S+))?"
)

_INTO_UNNAMED = ("main", "master")


class History:
    """All commits that a head reaches. Use it in a `with`: git lists them from then on.

    `head` is the object id of that commit, `remembered` are those of earlier heads: the line that
    the head stands on leads through them. Raises GitProblem where there is no head.
    """

    def __init__(
        self, repository: Repository, head: str = "HEAD", remembered: Iterable[str] = ()
    ) -> None:
        self.repository = repository
        self.head = resolve(repository, head)
        self.remembered = frozenset(oid for oid in remembered if OBJECT_ID.fullmatch(oid))
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
    def line(self) -> dict[str, str]:
        """The commits that branches were merged into, oldest first, each with its former tip.

        They are the head and its first parents, but where a merge was turned: its first parent is
        not the tip that it was put upon. That shows by a remembered head, which the line must lead
        through, or by what `git pull` writes of such a merge.
        """
        led_to = [oid for oid in self.remembered if oid in self.parents]
        above = {oid: self._above(oid) for oid in led_to}
        pulled = self._pulled
        found: dict[str, str] = {}
        oid = self.head
        while oid in self.parents:
            parents = self.parents[oid]
            former = parents[1] if oid in pulled and len(parents) == 2 else next(iter(parents), "")
            below = [known for known, over in above.items() if oid != known and oid in over]
            if below and not all(former in above[known] for known in below):
                former = next((p for p in parents if all(p in above[k] for k in below)), former)
            found[oid] = former
            oid = former
        return dict(reversed(found.items()))

    @cached_property
    def turned(self) -> set[str]:
        """The merges of the line whose first parent is not the tip that they were put upon."""
        return {
            oid for oid, former in self.line.items() if former and former != self.parents[oid][0]
        }

    @cached_property
    def _pulled(self) -> set[str]:
        """The merges that say of themselves that they took the line into somebody's own commits.

        Anybody can write that, to lead the line past rules or past a day. It is believed where
        those commits are of whoever merged, and leave site.yaml alone.
        """
        merges = [oid for oid, parents in self.parents.items() if len(parents) == 2]
        claimed = {oid: who for oid, subject, who in self._headers_of(merges) if _is_pull(subject)}
        own = {oid: self._only_in(*self.parents[oid]) for oid in claimed}
        every = sorted({one for commits in own.values() for one in commits})
        makers = {oid: who for oid, _, who in self._headers_of(every)}
        ruled = self._ruling(every)
        return {
            oid
            for oid, who in claimed.items()
            if {makers[one] for one in own[oid]} == {who} and ruled.isdisjoint(own[oid])
        }

    def _headers_of(self, oids: Sequence[str]) -> list[tuple[str, str, str]]:
        """Commits, each with its subject and its committer's address."""
        if not oids:
            return []
        with ExitStack() as stack:
            command = ("cat-file", "--batch", "--buffer")
            texts = _texts(_running(self.repository.git, oids, stack, *command))
            return [
                (oid, text.subject, text.committer.email.casefold())
                for oid, text in zip(oids, texts, strict=True)
            ]

    def _ruling(self, oids: Sequence[str]) -> set[str]:
        """Those of some commits that changed site.yaml."""
        if not oids:
            return set()
        repository = self.repository
        path = str(repository.top / repository.prefix / SITE_FILE)
        with ExitStack() as stack:
            stream = _running(repository.git, oids, stack, *_DIFF, "-m", "--", path)
            return {oid for oid, changes in _differences(stream, repository.prefix) if changes}

    def _only_in(self, tip: str, other: str) -> set[str]:
        """The commits that a tip reaches and another does not."""
        order = self._order
        is_own, found = {tip: True, other: False}, set()
        waiting = [(-order[oid], oid) for oid in is_own]
        heapq.heapify(waiting)
        # Children come after their parents, so nothing more reaches the newest one left.
        left = sum(is_own.values())
        while left:
            _, oid = heapq.heappop(waiting)
            if is_own[oid]:
                found.add(oid)
                left -= 1
            for parent in filter(order.__contains__, self.parents[oid]):
                known = is_own.get(parent)
                if known is None:
                    heapq.heappush(waiting, (-order[parent], parent))
                is_own[parent] = is_own[oid] and known is not False
                left += is_own[parent] - bool(known)
        return found

    @cached_property
    def _order(self) -> dict[str, int]:
        return {oid: place for place, oid in enumerate(self.parents)}

    def _above(self, oid: str) -> set[str]:
        """A commit and all that build on it."""
        found = {oid}
        for one, parents in self.parents.items():
            if not found.isdisjoint(parents):
                found.add(one)
        return found

    @cached_property
    def landing(self) -> dict[str, str]:
        """For each commit the one of the line that brought it: itself, or a merge."""
        found: dict[str, str] = {}
        for tip in self.line:
            waiting = [tip]
            while waiting:
                oid = waiting.pop()
                if oid in self.parents and oid not in found:
                    found[oid] = tip
                    waiting.extend(self.parents[oid])
        return found

    def landings(self) -> Iterator["Landing"]:
        """What came to the line, commit of the line by commit of the line, oldest first."""
        brought: dict[str, list[Commit]] = {}
        written_on: dict[str, str] = {}
        line, landing, places = self.line, self.landing, self._places
        for commit in self.commits():
            oid, tip = commit.oid, landing[commit.oid]
            if oid not in brought and list(commit.parents) == [line.get(oid)]:
                former = commit.parents[0]
                yield Landing(commit, former, (commit,), frozenset(commit.parents))
                continue
            # The tip that a commit knew is the newest of the line that it builds on.
            known = [p if p in line else written_on.get(p, "") for p in commit.parents]
            written_on[oid] = max(known, key=lambda one: places.get(one, -1), default="")
            brought.setdefault(tip, []).append(commit)
            if tip == oid:
                commits = tuple(brought.pop(tip))
                yield Landing(
                    commit=commit,
                    former=line[tip],
                    commits=commits,
                    forks=frozenset([written_on.pop(one.oid) for one in commits]) - {""},
                    is_turned=tip in self.turned,
                )

    def _sides_of(self, oid: str) -> list[str]:
        """The parents of a commit, that one first which the others were merged into."""
        if oid not in self.turned:
            return self.parents[oid]
        former = self.line[oid]
        return sorted(self.parents[oid], key=lambda parent: parent != former)

    @cached_property
    def _places(self) -> dict[str, int]:
        """Where on the line a commit stands."""
        return {oid: place for place, oid in enumerate(self.line)}

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
            for request in ([f"{oid} {parent}" for parent in self._sides_of(oid)] or [oid])
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
                    parents = self._sides_of(oid) if oid in self.turned else None
                    commit = _commit(oid, _text_of(oid, texts), against[oid], sides, parents)
                    sides.add(commit)
                    yield commit
            # Read on to where git says how it ended.
            if next(texts, None) is not None:
                raise GitProblem(rule="git-failed", message="Git gave more commits than asked for.")


class Landing(NamedTuple):
    """A commit of the line with all that it brought there: what the record is judged by.

    `former` is the tip before it, "" for the first. `commits` are those it brought, parents before
    children, itself the last; its `changes` are against the former tip. `forks` are the commits of
    the line that those were written on. `is_turned` where its first parent is not the former tip.
    """

    commit: Commit
    former: str
    commits: tuple[Commit, ...]
    forks: frozenset[str]
    is_turned: bool = False


def _is_pull(subject: str) -> bool:
    match = _PULLED.fullmatch(subject)
    if match is None:
        return False
    merged, into = match[1] or match[2], match[3]
    return merged in _INTO_UNNAMED if into is None else into == merged


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
            rule="git-failed", message=f"Git was asked for commit {oid} and gave {named}."
        )
    return changes


def _change(described: bytes, name: bytes, prefix: str) -> Change:
    old_mode, new_mode, old_oid, new_oid, _ = described.decode("ascii")[1:].split(" ")
    path = path_text(name)
    if prefix:
        # The site's folder itself can be a path where it was no folder.
        path = path.removeprefix(prefix) if path.startswith(prefix) else "."
    was = (old_oid, old_mode) if old_mode != _ABSENT_MODE else (None, None)
    now = (new_oid, new_mode) if new_mode != _ABSENT_MODE else (None, None)
    return Change(path, was[0], now[0], was[1], now[1])


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


def _commit(
    oid: str,
    text: CommitText,
    against: list[dict[str, Change]],
    sides: _Sides,
    turned: Sequence[str] | None,
) -> Commit:
    """A commit out of its differences from its parents, or from those of a turned merge."""
    first, *others = against
    changes = tuple(first.values())
    known = sides.know(text.parents)
    if not others:
        return Commit(oid, text, changes, changes, (), not known)
    return Commit(
        oid=oid,
        text=text,
        changes=changes,
        own_changes=tuple(
            change for change in changes if all(change.path in other for other in others)
        ),
        dropped=sides.dropped(turned or text.parents, against) if known else (),
        boundary=not known,
    )

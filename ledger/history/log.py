"""History as a walk: every commit that HEAD reaches, oldest first, and what each one did."""

import tempfile
from collections.abc import Iterable, Iterator
from contextlib import ExitStack

from ledger.history.commit import Change, Commit, CommitText, Status, parse_commit
from ledger.history.git import Git, Stream
from ledger.history.objects import path_text
from ledger.history.problem import GitProblem
from ledger.history.repository import Repository, resolve
from ledger.history.sides import Sides

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


def walk(
    repository: Repository, since: str | None = None, *, head: str = "HEAD"
) -> Iterator[Commit]:
    """Every commit that `head` reaches, parents before children, with its changes to the site.

    With `since`, only those that `since` does not reach; the others are read all the same, since
    what a merge dropped shows only against all that its sides did. Raises GitProblem.
    """
    git = repository.git
    line = _line_of_descent(git, resolve(repository, head))
    old = set() if since is None else set(_line_of_descent(git, resolve(repository, since)))
    site = (str(repository.top / repository.prefix),) if repository.prefix else ()
    commits = list(line.items())
    blocks = [commits[start : start + _BLOCK] for start in range(0, len(commits), _BLOCK)]
    comparisons = [
        request
        for block in blocks
        for oid, parents in reversed(block)
        for request in ([f"{oid} {parent}" for parent in parents] or [oid])
    ]
    with ExitStack() as stack:
        texts = _texts(_running(git, line, stack, "cat-file", "--batch", "--buffer"))
        diffs = _differences(
            _running(git, comparisons, stack, *_DIFF, "--", *site), repository.prefix
        )
        sides = Sides()
        for block in blocks:
            against = {
                oid: [_next_of(oid, diffs) for _ in parents or (None,)]
                for oid, parents in reversed(block)
            }
            for oid, _ in block:
                commit = _commit(oid, _text_of(oid, texts), against[oid], sides)
                sides.add(commit)
                if oid not in old:
                    yield commit
        # Read on to where git says how it ended.
        if next(texts, None) is not None:
            raise GitProblem(rule="git-failed", message="Git gave more commits than asked for.")


def _line_of_descent(git: Git, tip: str) -> dict[str, list[str]]:
    """Each commit with the parents that are in this clone, oldest first."""
    printed = git.output("rev-list", "--topo-order", "--reverse", "--parents", tip)
    lines = [entry.split(" ") for entry in printed.decode("ascii").splitlines()]
    return {oid: parents for oid, *parents in lines}


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
    old_mode, new_mode, old_oid, new_oid, status = described[1:].decode("ascii").split(" ")
    path = path_text(name)
    return Change(
        status=Status(status) if status in "ADMT" else Status.OTHER,
        # The site's folder itself can be a path where it was no folder.
        path=path.removeprefix(prefix) if path.startswith(prefix) else ".",
        old_oid=None if old_mode == _ABSENT_MODE else old_oid,
        new_oid=None if new_mode == _ABSENT_MODE else new_oid,
        old_mode=None if old_mode == _ABSENT_MODE else old_mode,
        new_mode=None if new_mode == _ABSENT_MODE else new_mode,
    )


def _commit(oid: str, text: CommitText, against: list[dict[str, Change]], sides: Sides) -> Commit:
    first, *others = against
    changes = tuple(first.values())
    own = tuple(change for change in changes if all(change.path in other for other in others))
    known = sides.know(text.parents)
    return Commit(
        oid=oid,
        parents=text.parents,
        author=text.author,
        committer=text.committer,
        subject=text.subject,
        trailers=text.trailers,
        signature=text.signature,
        changes=changes,
        own_changes=own,
        dropped=sides.dropped(text.parents, against) if others and known else (),
        boundary=not known,
        oddities=text.oddities,
    )

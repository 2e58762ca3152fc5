"""History as a walk: every commit that HEAD reaches, oldest first, and what each one did."""

import tempfile
from collections.abc import Iterator, Sequence
from contextlib import ExitStack

from ledger.history.commit import Change, Commit, CommitText, Status, parse_commit
from ledger.history.git import Git, Stream
from ledger.history.objects import path_text
from ledger.history.problem import GitProblem
from ledger.history.repository import Repository, resolve
from ledger.history.sides import Sides

_CHUNK_BYTES = 1 << 16
_ABSENT_MODE = "000000"

# Renames off, so that a record moved away is seen to be gone; every merge against each parent.
_DIFF = (
    "diff-tree",
    "--stdin",
    "--always",
    "--root",
    "-m",
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
    oids = _rev_list(git, resolve(repository, head))
    old = set() if since is None else set(_rev_list(git, resolve(repository, since)))
    site = (str(repository.top / repository.prefix),) if repository.prefix else ()
    with ExitStack() as stack:
        texts = _running(git, oids, stack, "cat-file", "--batch")
        diffs = _running(git, oids, stack, *_DIFF, "--", *site)
        sides = Sides()
        for oid, text, (named, against) in zip(
            oids, _texts(texts), _differences(diffs, repository.prefix), strict=True
        ):
            if oid != named:
                raise GitProblem(
                    rule="git-failed",
                    message=f"Git told of commit {named} where {oid} was asked for.",
                )
            commit = _commit(oid, text, against, sides)
            sides.add(commit)
            if oid not in old:
                yield commit


def _rev_list(git: Git, tip: str) -> list[str]:
    return git.output("rev-list", "--topo-order", "--reverse", tip).decode("ascii").split()


def _running(git: Git, oids: Sequence[str], stack: ExitStack, *arguments: str) -> Stream:
    # The list comes from a file: two pipes to the same child could wait for each other.
    requests = stack.enter_context(tempfile.TemporaryFile())  # noqa: SIM115  the stack closes it
    requests.write("".join(f"{oid}\n" for oid in oids).encode("ascii"))
    requests.seek(0)
    stream = git.stream(*arguments, stdin=requests)
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


def _fields(stream: Stream) -> Iterator[bytes]:
    rest = b""
    while chunk := stream.stdout.read(_CHUNK_BYTES):
        *whole, rest = (rest + chunk).split(b"\0")
        yield from whole
    stream.finish()


def _differences(stream: Stream, prefix: str) -> Iterator[tuple[str, list[dict[str, Change]]]]:
    """Each commit's id with its changes by path against each parent in turn."""
    named = ""
    against: list[dict[str, Change]] = []
    fields = _fields(stream)
    for entry in fields:
        if entry.startswith(b":"):
            change = _change(entry, next(fields), prefix)
            against[-1][change.path] = change
            continue
        oid = entry.decode("ascii")
        if oid != named:
            if named:
                yield named, against
            named, against = oid, []
        against.append({})
    if named:
        yield named, against


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

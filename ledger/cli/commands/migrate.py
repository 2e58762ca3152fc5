"""`tunnelbook migrate`: bring a site to the format that this version reads, in one commit."""

import argparse
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from ledger.cli.command import Failure, add_site_position, fault_text, site_root

if TYPE_CHECKING:
    from ledger.history.repository import Repository


DESCRIPTION = (
    "Move the files of a site to the format that this version reads, in one commit that changes "
    "nothing else. Comments are kept, and no visit is touched."
)

EXAMPLES = """\
examples:
  tunnelbook migrate                the site in this folder
  tunnelbook migrate mywash

Moved are site.yaml and the files of machines, tasks and drives, as the head of
the branch has them. `review` and `audit` repeat the move on the commit before
it and say where the two are not the same to the byte.
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_site_position(parser)


def run(parsed: argparse.Namespace) -> int:
    from ledger.cli.command import git_user  # noqa: PLC0415
    from ledger.filing.migrations import FORMAT, MIGRATIONS  # noqa: PLC0415
    from ledger.history.git import GitProblem  # noqa: PLC0415
    from ledger.history.new_commit import commit_files  # noqa: PLC0415
    from ledger.history.repository import open_repository, resolve  # noqa: PLC0415

    root = site_root(parsed.site)
    stated = _stated_on_disk(root)
    try:
        repository = open_repository(root)
        head = resolve(repository, "HEAD")
    except GitProblem as problem:
        if stated == FORMAT:
            return _nothing_to_move()
        raise Failure(f"a move is one commit, and there is no git here: {problem}") from problem
    try:
        move = _move(repository, head)
        if move.start == FORMAT:
            return _nothing_to_move()
        user = git_user(root)
        if not user.name or not user.email:
            raise Failure("git does not know who you are; set user.name and user.email in it")
        _write(root, move)
        steps = "".join(f"- {MIGRATIONS[number].words}\n" for number in range(move.start, FORMAT))
        made = commit_files(
            repository,
            head,
            move.after,
            message=f"Move the site to format {FORMAT}\n\n{steps}",
            name=user.name,
            email=user.email,
            when=parsed.clock(None),
        )
    except GitProblem as problem:
        raise Failure(f"{problem} Nothing was committed.") from problem
    except OSError as wrong:
        raise Failure(f"{fault_text(wrong)}; nothing was committed, so run it again") from None
    print(f"moved to format {FORMAT} in commit {made[:10]}, which changes nothing else:")
    print(steps + "".join(f"  {path}\n" for path in sorted(move.after)), end="")
    return 0


@dataclass(frozen=True, slots=True, kw_only=True)
class _Move:
    """The files of the head that a move changes, by path; `start` is the format of the head."""

    start: int
    before: Mapping[str, bytes]
    after: Mapping[str, bytes]


def _nothing_to_move() -> int:
    from ledger.filing.migrations import FORMAT  # noqa: PLC0415

    print(f"nothing is to be moved: the site is in format {FORMAT}, which this version reads")
    return 0


def _stated_on_disk(root: Path) -> int:
    """The format of the site's files. Failure where no step leads on from it."""
    from ledger.filing.migrations import format_of  # noqa: PLC0415

    stated = format_of((root / "site.yaml").read_text(encoding="utf-8", errors="replace"))
    if stated is None:
        raise Failure(f"site.yaml states no format; see `tunnelbook check {root}`")
    return _with_a_way_on(stated)


def _with_a_way_on(stated: int) -> int:
    from ledger.filing.migrations import FORMAT, can_be_moved, other_format  # noqa: PLC0415

    if stated != FORMAT and not can_be_moved(stated):
        raise Failure(other_format(stated))
    return stated


def _move(repository: "Repository", head: str) -> _Move:
    """What moving the head changes; nothing where it is in the present format already."""
    from ledger.filing.migrations import SITE_FILE, format_of, is_moved_kind, moved  # noqa: PLC0415
    from ledger.history.objects import GitTree  # noqa: PLC0415

    with GitTree(repository, head) as tree:
        before = {path: tree.read(path) for path in filter(is_moved_kind, tree.paths())}
    start = format_of(before.get(SITE_FILE, b"").decode("utf-8", "replace"))
    if start is None:
        raise Failure("the head of the branch holds no usable site.yaml; commit the site first")
    _with_a_way_on(start)
    after = {path: moved(path, raw, start) for path, raw in before.items()}
    changed = [path for path, raw in after.items() if raw != before[path]]
    return _Move(
        start=start,
        before={path: before[path] for path in changed},
        after={path: after[path] for path in changed},
    )


def _write(root: Path, move: _Move) -> None:
    """Write the files, site.yaml last: until it is written, the site is in its old format.

    Failure, with nothing written, where a file has changes that are not committed.
    """
    from ledger.files.save import remove_leftovers, replace_file  # noqa: PLC0415
    from ledger.filing.migrations import SITE_FILE  # noqa: PLC0415

    remove_leftovers(root)
    for path, raw in move.after.items():
        if (root / path).read_bytes() not in (raw, move.before[path]):
            raise Failure(f"`{root / path}` has changes that are not committed; commit them first")
    for path in sorted(move.after, key=lambda path: (path == SITE_FILE, path)):
        replace_file(root / path, move.after[path])

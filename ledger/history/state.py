"""What stands between this clone and the whole, true history; to be declared, never hidden."""

from dataclasses import dataclass
from enum import StrEnum

from ledger.history.problem import GitProblem
from ledger.history.repository import OBJECT_ID, Repository


@dataclass(frozen=True, slots=True, kw_only=True)
class HistoryState:
    """How far history can be read here.

    `shallow_at` are the commits whose parents were not fetched. `grafts` and `replaced` are
    commits that this clone would have git show with other parents or another content; this
    package never consults them. `partial` is true where files may be missing from the clone.
    """

    shallow_at: tuple[str, ...]
    grafts: tuple[str, ...]
    replaced: tuple[str, ...]
    partial: bool

    @property
    def is_whole(self) -> bool:
        """Whether every commit and file can be read here, as they were made."""
        return not self.shallow_at and not self.partial


class Remembered(StrEnum):
    """What became of a head that somebody wrote down earlier."""

    HELD = "held"
    REWRITTEN = "rewritten"
    CANNOT_TELL = "cannot tell"


def history_state(repository: Repository) -> HistoryState:
    """The state of the clone. Raises GitProblem where git cannot tell."""
    git = repository.git
    replaced = git.output("for-each-ref", "--format=%(refname:lstrip=2)", "refs/replace").decode()
    # Promisor remotes and filters are named in configuration that is only read, never followed.
    promised = git.attempt(
        "config",
        "--local",
        "--get-regexp",
        r"^(extensions\.partialclone|remote\..*\.(promisor|partialclonefilter))$",
    )
    return HistoryState(
        shallow_at=_listed(repository, "shallow"),
        grafts=_listed(repository, "info/grafts"),
        replaced=tuple(sorted(replaced.split())),
        partial=bool(promised) or any((repository.shared / "objects/pack").glob("*.promisor")),
    )


def remembered_head(repository: Repository, oid: str) -> Remembered:
    """Whether HEAD still builds on the commit `oid`, a full object id written down earlier.

    REWRITTEN where it does not: history was replaced, whether or not the old commit is still
    here. CANNOT_TELL where a shallow clone may end before it. Raises GitProblem where `oid` is
    not a full object id: a name or a short id can come to mean another commit.
    """
    if OBJECT_ID.fullmatch(oid) is None:
        raise GitProblem(
            rule="revision-refused",
            message=f"{oid!r} is not a full object id.",
            remedy="Remember a head by its full id: git rev-parse HEAD.",
        )
    git = repository.git
    present = git.attempt("rev-parse", "--verify", "--quiet", f"{oid}^{{commit}}") is not None
    if present and git.answer("merge-base", "--is-ancestor", oid, "HEAD"):
        return Remembered.HELD
    return Remembered.CANNOT_TELL if _listed(repository, "shallow") else Remembered.REWRITTEN


def _listed(repository: Repository, name: str) -> tuple[str, ...]:
    """The commits that a file of the repository names first on its lines, sorted."""
    try:
        lines = (repository.shared / name).read_text("ascii", "replace").splitlines()
    except FileNotFoundError:
        return ()
    return tuple(sorted(line.split()[0] for line in lines if line[:1] not in ("", "#")))

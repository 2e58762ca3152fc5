"""A site as it stood in a commit, read from git's objects."""

from dataclasses import dataclass

from ledger.diagnostics import count_of
from ledger.edit.migrations import present_tree
from ledger.history.objects import BlobReader, GitTree
from ledger.history.problem import GitProblem
from ledger.history.repository import Repository, resolve, resolve_as_of
from ledger.model.ledger import Ledger
from ledger.pipeline import Loaded, load
from ledger.proof.audit_sites import site_in
from ledger.proof.trees import object_ids


@dataclass(frozen=True, slots=True, kw_only=True)
class PastSite:
    """What the files of one commit say, and the object id of each by path."""

    commit: str
    loaded: Loaded
    oids: dict[str, str]


def site_at(repository: Repository, commit: str) -> PastSite:
    """The site of a commit. Raises GitProblem where the commit or its files cannot be read."""
    with GitTree(repository, commit) as tree:
        return PastSite(commit=tree.commit, loaded=load(present_tree(tree)), oids=object_ids(tree))


def ledger_as_of(repository: Repository, as_of: str) -> tuple[Ledger, str]:
    """The ledger as it stood at a revision, or at the end of a day (YYYY-MM-DD), and the commit.

    A day is one of the zone that the site has now. Raises GitProblem where there is no such
    commit, or its files have errors.
    """
    head = resolve(repository, "HEAD")
    with BlobReader(repository) as blobs:
        zone = site_in(repository, head, blobs).zone
    past = site_at(repository, resolve_as_of(repository, as_of, zone))
    errors = [one for one in past.loaded.diagnostics if one.is_error]
    if past.loaded.ledger is None or errors:
        raise GitProblem(
            rule="past-at-fault",
            message=f"The files of commit {past.commit[:12]} have errors ({count_of(errors)}).",
            remedy="Name another commit.",
        )
    return past.loaded.ledger, past.commit

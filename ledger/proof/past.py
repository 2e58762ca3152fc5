"""A site as it stood in a commit, read from git's objects."""

from dataclasses import dataclass

from ledger.history.objects import GitTree
from ledger.history.repository import Repository
from ledger.pipeline import Loaded, load
from ledger.proof.trees import object_ids


@dataclass(frozen=True, slots=True, kw_only=True)
class PastSite:
    """What the files of one commit say, and the object id of each by path."""

    commit: str
    loaded: Loaded
    oids: dict[str, str]

    @property
    def has_site(self) -> bool:
        return "site.yaml" in self.oids


def site_at(repository: Repository, commit: str) -> PastSite:
    """The site of a commit. Raises GitProblem where the commit or its files cannot be read."""
    with GitTree(repository, commit) as tree:
        return PastSite(commit=tree.commit, loaded=load(tree), oids=object_ids(tree))

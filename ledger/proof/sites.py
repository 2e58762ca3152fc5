"""The site as it stood in a commit: its people and policy, or all of its files."""

from collections.abc import Mapping
from datetime import date
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from ledger.files.document import Document
from ledger.files.names import SITE_FILE
from ledger.filing.migrations import moved_site, present_tree
from ledger.history.commit import parse_commit
from ledger.history.git import GitProblem
from ledger.history.objects import BlobReader, GitTree
from ledger.history.repository import Repository, day_named, resolve, resolve_as_of
from ledger.model.build_site import build_site
from ledger.model.site import Person, Site
from ledger.proof.records import Reader, sound_document
from ledger.values import dataclass

if TYPE_CHECKING:
    from ledger.site.pipeline import LoadedSite


def why_absent(person: Person, day: date) -> str:
    """In words, why a person was not with the site on a day."""
    if person.last_day is not None and person.last_day < day:
        return f"the last day of {person.name} was {person.last_day}"
    return f"the first day of {person.name} was {person.first_day}"


def site_in(repository: Repository, commit: str, blobs: Reader) -> Site:
    """The site of one commit, by its object id. Raises GitProblem where it holds no usable one."""
    oid = repository.git.object_id(f"{commit}:{repository.prefix}{SITE_FILE}")
    site = site_of(None if oid is None else blobs.read(oid))
    if site is None:
        raise GitProblem(
            rule="no-site",
            message=f"Commit {commit[:10]} holds no usable site.yaml.",
            remedy="Name the site's folder, and correct site.yaml.",
        )
    return site


def site_of(raw: bytes | None) -> Site | None:
    """The site of a site.yaml; None where there is none, or it has an error."""
    document = None if raw is None else sound_site(raw)
    return None if document is None else built_site(document.value)


def built_site(value: Mapping[str, Any]) -> Site | None:
    """The site of the values of a site.yaml; None where there is no such time zone."""
    try:
        zone = ZoneInfo(value["time_zone"])
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return None
    return build_site(value, zone)


def sound_site(raw: bytes) -> Document | None:
    """The document of a site.yaml, in the present format; None where it has an error."""
    return sound_document(SITE_FILE, moved_site(raw))


@dataclass(frozen=True, slots=True, kw_only=True)
class PastSite:
    """What the files of one commit say."""

    commit: str
    loaded: "LoadedSite"


def site_at(repository: Repository, commit: str) -> PastSite:
    """The site of a commit. Raises GitProblem where the commit or its files cannot be read."""
    from ledger.site.pipeline import load  # noqa: PLC0415 - an audit needs no more than site.yaml

    with GitTree(repository, commit) as tree:
        return PastSite(commit=tree.commit, loaded=load(present_tree(tree)))


def past_site(repository: Repository, named: str) -> tuple[PastSite, date, date | None]:
    """The site as git held it at a revision, or at the end of a day (YYYY-MM-DD).

    With it the day of that commit and the day that was named, if it was one; both are of the zone
    that the site has now. Raises GitProblem where there is no such commit.
    """
    head = resolve(repository, "HEAD")
    with BlobReader(repository) as blobs:
        zone = site_in(repository, head, blobs).zone
    past = site_at(repository, resolve_as_of(repository, named, zone))
    at = parse_commit(repository.git.output("cat-file", "commit", past.commit)).committer.at
    if at is None:
        raise GitProblem(
            rule="no-date",
            message=f"Commit {past.commit[:10]} has no date that can be read.",
            remedy="Name the commit before or after it.",
        )
    return past, at.astimezone(zone).date(), day_named(repository, named)

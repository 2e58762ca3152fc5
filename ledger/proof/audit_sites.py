"""The people and the policy as they stood at each commit."""

from collections.abc import Iterator
from zoneinfo import ZoneInfo, available_timezones

from ledger.history.commit import Commit
from ledger.history.problem import GitProblem
from ledger.history.repository import Repository
from ledger.model.build_site import build_site
from ledger.model.site import Site
from ledger.proof.records import Reader, differing, document_of
from ledger.schema.check import check_document
from ledger.source.document import Document

SITE_FILE = "site.yaml"


class Sites:
    """site.yaml along a walk; a file at fault stands for what its first parent had.

    `fallback` is the site of the head, for people whom an early file does not know yet.
    """

    def __init__(self, blobs: Reader, fallback: Site) -> None:
        self._blobs = blobs
        self._fallback = fallback
        self._of_commit: dict[str, Site | None] = {}
        self._of_blob: dict[str, Site | None] = {}
        self._start = ""
        self._addresses: dict[tuple[int, str], frozenset[str]] = {}

    def add(self, commit: Commit) -> None:
        """Take in the next commit of the walk."""
        if not self._start and any(change.path == SITE_FILE for change in commit.changes):
            self._start = commit.oid
        before = self._of_commit.get(commit.parents[0]) if commit.parents else None
        changed = next((c for c in commit.changes if c.path == SITE_FILE), None)
        if changed is None or changed.new_oid is None:
            self._of_commit[commit.oid] = before
        else:
            self._of_commit[commit.oid] = self._read(changed.new_oid) or before

    def begins_with(self, commit: Commit) -> bool:
        """Whether the commit brought site.yaml for the first time, and with it perhaps a record.

        Git cannot tell who wrote such a record, or when: it was kept before.
        """
        return commit.oid == self._start

    def at(self, commit: Commit) -> Site:
        """The site as the commit left it."""
        return self._of_commit.get(commit.oid) or self._fallback

    def ruling(self, commit: Commit) -> Site:
        """The site whose rules a commit is held to: as its first parent had it.

        So no commit can loosen the rule for itself. A root is held to its own.
        """
        before = self._of_commit.get(commit.parents[0]) if commit.parents else None
        return before or self.at(commit)

    def addresses(self, person: str, commit: Commit) -> frozenset[str]:
        """A person's addresses at a commit, or at the head where there were none then; small."""
        site = self.at(commit)
        asked = (id(site), person)
        found = self._addresses.get(asked)
        if found is None:
            found = addresses_of(site, person) or addresses_of(self._fallback, person)
            self._addresses[asked] = found
        return found

    def rule_changes(self, commit: Commit) -> Iterator[str]:
        """What the commit itself changed of people and policy, as `name: old → new`."""
        changed = next((c for c in commit.own_changes if c.path == SITE_FILE), None)
        if changed is None or changed.old_oid is None:
            return
        old = self._document(changed.old_oid)
        new = None if changed.new_oid is None else self._document(changed.new_oid)
        if new is None:
            yield "site.yaml cannot be used"
            return
        for key in ("policy", "people"):
            before = {} if old is None else old.value.get(key, {})
            yield from differing(before, new.value.get(key, {}), key)

    def _read(self, oid: str) -> Site | None:
        if oid not in self._of_blob:
            self._of_blob[oid] = site_of(self._blobs.read(oid))
        return self._of_blob[oid]

    def _document(self, oid: str) -> Document | None:
        return _sound(self._blobs.read(oid))


def site_in(repository: Repository, commit: str, blobs: Reader) -> Site:
    """The site of one commit, by its object id. Raises GitProblem where it holds no usable one."""
    place = f"{commit}:{repository.prefix}{SITE_FILE}"
    found = repository.git.attempt("rev-parse", "--verify", "--quiet", "--end-of-options", place)
    site = None if found is None else site_of(blobs.read(found.decode("ascii").strip()))
    if site is None:
        raise GitProblem(
            rule="no-site",
            message=f"Commit {commit[:10]} holds no usable site.yaml.",
            remedy="Name the site's folder, and mend site.yaml.",
        )
    return site


def addresses_of(site: Site, person: str) -> frozenset[str]:
    """The addresses of a person of a site, in small letters, as they are compared."""
    known = site.people.get(person)
    return frozenset(email.casefold() for email in known.emails) if known else frozenset()


def site_of(raw: bytes) -> Site | None:
    """The site of a site.yaml; None where it has an error."""
    document = _sound(raw)
    if document is None or document.value["time_zone"] not in available_timezones():
        return None
    return build_site(document.value, ZoneInfo(document.value["time_zone"]))


def _sound(raw: bytes) -> Document | None:
    document = document_of(SITE_FILE, raw)
    return document if document is not None and not check_document(document) else None

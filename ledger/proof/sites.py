"""The site as it stood in a commit: people and policy along a walk, or all files of one."""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from ledger.files.diagnostics import count_of
from ledger.files.document import Document
from ledger.files.names import SITE_FILE
from ledger.files.schemas import check_document
from ledger.filing.migrations import moved_site, present_tree
from ledger.history.commit import Commit
from ledger.history.git import GitProblem
from ledger.history.objects import BlobReader, GitTree
from ledger.history.repository import Repository, resolve, resolve_as_of
from ledger.model.build_site import build_site
from ledger.model.ledger import Ledger
from ledger.model.policy import CommitMaker, absent_on, may_approve, may_change_proof, owner_of
from ledger.model.site import Person, Site
from ledger.proof.records import Reader, differing, document_of, object_ids
from ledger.site.pipeline import LoadedSite, load

_OF_PROOF = re.compile(
    r"people\.(?P<person>[^.: ]+)(?:\.(?:approves|emails|signing_keys)\b|:)"
    r"|policy\.(?:approval_proof|approver_differs)\b"
)


class Sites:
    """site.yaml along a walk; a file at fault stands for what its first parent had.

    `fallback` is the site of the head, for people whom an early file does not know yet. `line`
    holds the commits that branches are merged into. `know_days` is true once a file has said of
    anyone when they came or left.
    """

    def __init__(self, blobs: Reader, fallback: Site, line: set[str]) -> None:
        self._blobs = blobs
        self._fallback = fallback
        self._line = line
        # By commit: the site as it left it, and the one whose rules it is held to.
        self._left: dict[str, Site | None] = {}
        self._rules: dict[str, Site | None] = {}
        self._of_blob: dict[str, Site | None] = {}
        self._start = ""
        self._addresses: dict[tuple[int, str], frozenset[str]] = {}
        self._owners: dict[tuple[int, str], Person | None] = {}
        self.know_days = _knows_days(fallback)

    def add(self, commit: Commit) -> bool:
        """Take in the next commit of the walk; whether it differs in site.yaml from its parent."""
        first = next(iter(commit.parents), "")
        on_line = next((parent for parent in commit.parents if parent in self._line), None)
        rules = self._rules.get(first) if on_line is None else self._left[on_line]
        site = self._left.get(first)
        changed = False
        for change in commit.changes:
            if change.path == SITE_FILE:
                changed = True
                self._start = self._start or commit.oid
                site = (change.new_oid and self._read(change.new_oid)) or site
        self._left[commit.oid], self._rules[commit.oid] = site, rules
        return changed

    def begins_with(self, commit: Commit) -> bool:
        """Whether the commit brought site.yaml for the first time, and with it perhaps a record.

        Git cannot tell who wrote such a record, or when: it was kept before.
        """
        return commit.oid == self._start

    def at(self, commit: Commit) -> Site:
        """The site as the commit left it."""
        return self._left[commit.oid] or self._fallback

    def ruling(self, commit: Commit) -> Site:
        """The site whose rules a commit is held to: as the line last had it before the commit.

        So neither a commit nor the branch it is on can loosen the rule for itself. The first
        commit of the line is held to its own.
        """
        return self._rules[commit.oid] or (
            self.at(commit) if commit.oid in self._line else self._fallback
        )

    def owner(self, email: str, commit: Commit) -> Person | None:
        """Whose address it is by the people file at a commit."""
        site = self.at(commit)
        asked = (id(site), email)
        if asked not in self._owners:
            self._owners[asked] = owner_of(email, site.people)
        return self._owners[asked]

    @property
    def people_today(self) -> Mapping[str, Person]:
        """People as the head knows them."""
        return self._fallback.people

    def why_absent(self, person: str, day: date, commit: Commit) -> str:
        """Why a person was not with the site on that day, in words; "" where they were.

        By the people file before the commit, and by a last day that it learned of later.
        """
        known = self.ruling(commit).people.get(person) or self.at(commit).people.get(person)
        absent = absent_on(day, known, self.people_today.get(person))
        return "" if absent is None else why_absent(absent, day)

    def addresses(self, person: str, commit: Commit) -> frozenset[str]:
        """A person's addresses at a commit, or at the head where there were none then; small."""
        site = self.at(commit)
        asked = (id(site), person)
        found = self._addresses.get(asked)
        if found is None:
            found = _addresses(site, person) or _addresses(self._fallback, person)
            self._addresses[asked] = found
        return found

    def weakens_proof(self, commit: Commit, changed: str, maker: CommitMaker) -> bool:
        """Whether a change of the rules, in words, alters what approvals are held against.

        That is an approver's right, addresses and keys, and the rule itself. Changed by one who
        may, it is not counted.
        """
        found, ruling = _OF_PROOF.match(changed), self.ruling(commit)
        if found is None or may_change_proof(maker, ruling):
            return False
        person = found["person"]
        return person is None or any(
            may_approve(site.people.get(person)) for site in (ruling, self.at(commit))
        )

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
            site = self._of_blob[oid] = site_of(self._blobs.read(oid))
            self.know_days = self.know_days or (site is not None and _knows_days(site))
        return self._of_blob[oid]

    def _document(self, oid: str) -> Document | None:
        return _sound(self._blobs.read(oid))


def _knows_days(site: Site) -> bool:
    return any(person.first_day or person.last_day for person in site.people.values())


def why_absent(person: Person, day: date) -> str:
    """In words, why a person was not with the site on a day."""
    if person.last_day is not None and person.last_day < day:
        return f"the last day of {person.name} was {person.last_day}"
    return f"the first day of {person.name} was {person.first_day}"


def site_in(repository: Repository, commit: str, blobs: Reader) -> Site:
    """The site of one commit, by its object id. Raises GitProblem where it holds no usable one."""
    oid = repository.git.object_id(f"{commit}:{repository.prefix}{SITE_FILE}")
    site = None if oid is None else site_of(blobs.read(oid))
    if site is None:
        raise GitProblem(
            rule="no-site",
            message=f"Commit {commit[:10]} holds no usable site.yaml.",
            remedy="Name the site's folder, and correct site.yaml.",
        )
    return site


def _addresses(site: Site, person: str) -> frozenset[str]:
    known = site.people.get(person)
    return frozenset(email.casefold() for email in known.emails) if known else frozenset()


def site_of(raw: bytes) -> Site | None:
    """The site of a site.yaml; None where it has an error."""
    document = _sound(raw)
    if document is None:
        return None
    try:
        zone = ZoneInfo(document.value["time_zone"])
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return None
    return build_site(document.value, zone)


def _sound(raw: bytes) -> Document | None:
    document = document_of(SITE_FILE, moved_site(raw))
    return document if document is not None and not check_document(document) else None


@dataclass(frozen=True, slots=True, kw_only=True)
class PastSite:
    """What the files of one commit say, and the object id of each by path."""

    commit: str
    loaded: LoadedSite
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

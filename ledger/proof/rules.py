"""The people and policy that count along the line: those of site.yaml, as far as vouched for.

Who may approve, by which proof and in which time is itself approved. A rule that was loosened, a
right widened or a key added without that does not count: here it stays as it was.
"""

import copy
from collections.abc import Iterator, Mapping
from datetime import date
from typing import Any

from ledger.files.names import SITE_FILE
from ledger.history.commit import Change
from ledger.history.log import Landing
from ledger.model.policy import (
    CommitMaker,
    Loosening,
    Vouchers,
    absent_on,
    can_vouch,
    loosenings,
    owner_of,
    strictest,
    why_not_vouched,
)
from ledger.model.site import ApprovalProof, Person, Policy, Site
from ledger.proof.at_landing import AtLanding
from ledger.proof.audit_items import Irregularity, Item, Note
from ledger.proof.records import Reader, differing, new_bytes
from ledger.proof.sites import built_site, site_of, sound_site, why_absent
from ledger.proof.statements import hash_of
from ledger.values import dataclass, replace


@dataclass(frozen=True, slots=True, kw_only=True)
class _Waiting:
    """A loosening that the file has and that does not count: who wrote it, and what to say."""

    item: Item
    is_reported: bool
    commits: tuple[CommitMaker, ...]


class Rules:
    """site.yaml along the line. Feed it the landings in order, each once it was judged.

    `today` is the site of the head: for the people of landings from before there was a site.yaml,
    and for last days that were written down later. What the first landing says is the anchor of
    all trust; at the landing `anchor`, which only a person outside can name, it begins anew. Where
    the first landing knows nobody who could approve anything, it begins with the first who can.
    `began_as` is the site's name there.
    """

    def __init__(self, blobs: Reader, today: Site, anchor: str = "") -> None:
        self._blobs = blobs
        self._anchor = anchor
        self.today = today
        self._counted: Site | None = None
        # What counts, and what the file says.
        self._value: dict[str, Any] = {}
        self._written: dict[str, Any] = {}
        self._raw = self._counted_raw = b""
        self._policies: list[Policy] = []
        self._gone: dict[str, Person] = {}
        self._owners: dict[tuple[int, str], Person | None] = {}
        self._waiting: dict[tuple[str, ...], _Waiting] = {}
        self.know_days = _knows_days(today)
        self._can_vouch = False
        self.began_as = ""

    @property
    def site(self) -> Site:
        """The site as it counts at the tip, before the landing that is judged."""
        return self._counted or self.today

    def begin_with(self, landing: Landing) -> bool:
        """Whether a landing brings site.yaml for the first time, and with it perhaps a record."""
        return self._counted is None and _site_change(landing) is not None

    def ruling(self, landing: Landing) -> Site:
        """The people of the tip, under the union of its rules and those where the work forked."""
        site = self._counted or self._begun_by(landing)
        others = [self._policies[fork] for fork in sorted(landing.forks)]
        others = [policy for policy in others if policy != site.policy]
        return strictest(site, others) if others else site

    def _begun_by(self, landing: Landing) -> Site:
        """The site as the first landing has it; as it is today where that has no site.yaml yet."""
        change = _site_change(landing)
        return (change and site_of(new_bytes(change, self._blobs))) or self.today

    def owner(self, email: str) -> Person | None:
        """Whose address it is by the people file of the tip."""
        key = (id(self.site), email)
        if key not in self._owners:
            self._owners[key] = owner_of(email, self.site.people)
        return self._owners[key]

    def why_absent(self, person: str, day: date) -> str:
        """Why a person was not with the site on that day, in words; "" where they were.

        By the people file of the tip, and by a last day that it learned of later.
        """
        absent = absent_on(day, self.site.person(person), self.today.person(person))
        return "" if absent is None else why_absent(absent, day)

    def are_as_before(self, landing: Landing) -> bool:
        """Whether a landing that only files visits is judged by the rules of the tip alone."""
        is_anchor = landing.oid == self._anchor
        return self._counted is not None and not is_anchor and not landing.forks

    def keep(self) -> None:
        """Remember the rules at a landing, for what is written on it."""
        self._policies.append(self.site.policy)

    def land(self, at: AtLanding) -> Iterator[Item]:
        """Take in what a landing did to the rules, or a statement that vouches for it."""
        change = _site_change(at.landing)
        if change is not None or (self._waiting and at.arrived):
            yield from self._take_in(at, change)
        if at.commit.oid == self._anchor:
            self._counted, self._value = built_site(self._written), copy.deepcopy(self._written)
            self._counted_raw = self._raw
            self._waiting.clear()
            yield at.item(Note.ANCHOR, "all people, keys and rules are trusted as they are here")
        self.keep()

    def end(self) -> Iterator[Item]:
        """What still waits for a statement."""
        return (one.item for one in self._waiting.values() if not one.is_reported)

    def _take_in(self, at: AtLanding, change: Change | None) -> Iterator[Item]:
        before, written = self._raw, self._written
        if change is not None:
            raw = new_bytes(change, self._blobs)
            document = None if raw is None else sound_site(raw)
            if document is None or built_site(document.value) is None:
                # No slip of a hand makes a link of it, and a checkout follows it elsewhere.
                is_link = raw is None and change.new_oid is not None
                kind = Irregularity.RULES if is_link else Note.RULES
                text = "site.yaml is a link, and no file" if is_link else "site.yaml cannot be used"
                yield at.item(kind, text, SITE_FILE)
                return
            self._written, self._raw = document.value, raw or b""
        claimed, counts = copy.deepcopy(self._written), copy.deepcopy(self._written)
        new, old = built_site(counts), self._counted
        if new is not None and not self.began_as:
            self.began_as = new.name
        if new is None or old is None:
            self._counted, self._value, self._counted_raw = new, counts, self._raw
            return
        self.know_days = self.know_days or _knows_days(new)
        self._can_vouch = self._can_vouch or can_vouch(old)
        found = {one.keys: one for one in loosenings(old, new, self._gone)}
        if not self._can_vouch:
            found = {}
            if can_vouch(new):
                yield at.item(Note.ANCHOR, "until then nobody could have approved anything")
        for keys in self._waiting.keys() - found.keys():
            yield from self._unreported(keys)
        start = {hash_of(before), hash_of(self._counted_raw)}
        statements = at.statements.take(SITE_FILE, start, hash_of(self._raw))
        signed = tuple(one.proof for one in statements)
        commits = at.makers(SITE_FILE) if change is not None else ()
        # A statement may come later than what it vouches for, a commit may not.
        may_wait = at.ruling.policy.approval_proof is ApprovalProof.STATEMENT
        is_alone = len({*old.people, *self._gone}) == 1
        for keys, one in found.items():
            waits = self._waiting.get(keys)
            if waits is not None and _value(written, keys) != _value(claimed, keys):
                yield from self._unreported(keys)
                waits = None
            vouchers = Vouchers(commits=waits.commits if waits else commits, statements=signed)
            why = why_not_vouched(one, at.ruling, vouchers, is_alone=is_alone)
            if not why:
                self._waiting.pop(keys, None)
                continue
            if waits is None:
                item = self._unvouched(at, one, why)
                self._waiting[keys] = _Waiting(item=item, is_reported=not may_wait, commits=commits)
                yield from () if may_wait else (item,)
            _put(counts, keys, _value(self._value, keys))
            _put(claimed, keys, _value(written, keys))
        for key in ("policy", "people"):
            for text in differing(written.get(key, {}), claimed.get(key, {}), key):
                yield at.item(Note.RULES, text, SITE_FILE)
        for ident in old.people.keys() - new.people.keys():
            person = old.people[ident]
            self._gone[ident] = replace(person, approves=frozenset(), roles=(), signing_keys=())
        self._counted, self._value = built_site(counts) or new, counts
        if not self._waiting:
            self._counted_raw = self._raw

    def _unreported(self, keys: tuple[str, ...]) -> Iterator[Item]:
        """The item of a change that waits no more, if it was not reported yet."""
        waits = self._waiting.pop(keys)
        yield from () if waits.is_reported else (waits.item,)

    def _unvouched(self, at: AtLanding, one: Loosening, why: str) -> Item:
        name = ".".join(one.keys)
        values = differing(_value(self._value, one.keys), _value(self._written, one.keys), name)
        effect = f", so that {one.effect}" if one.effect else ""
        text = f"{'; '.join(values)}{effect}: does not count, {why}"
        return at.item(Irregularity.RULES, text, SITE_FILE)


def _site_change(landing: Landing) -> Change | None:
    return next((one for one in landing.commit.changes if one.path == SITE_FILE), None)


def _value(values: Mapping[str, Any], keys: tuple[str, ...]) -> Any:
    for key in keys:
        values = values.get(key, {}) if isinstance(values, Mapping) else {}
    return values or None


def _put(values: dict[str, Any], keys: tuple[str, ...], value: Any) -> None:
    """Put a value at its place, or take out what is there where it is None."""
    *above, last = keys
    for key in above:
        values = values.setdefault(key, {})
    if value is None:
        values.pop(last, None)
    else:
        values[last] = value


def _knows_days(site: Site) -> bool:
    return any(person.first_day or person.last_day for person in site.people.values())

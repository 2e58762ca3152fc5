"""History as a walk: every commit that a head reaches, oldest first, and what each one did."""

import heapq
import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import cache, cached_property
from itertools import pairwise
from typing import NamedTuple, Self

from ledger.files.names import SITE_FILE
from ledger.history.commit import Change, Commit
from ledger.history.listing import Entries, Listing
from ledger.history.objects import path_text
from ledger.history.repository import OBJECT_ID, Repository

_ABSENT_MODE = "000000"

# How git describes a plain file that was not there before, up to its object id.
_ADDED = b":000000 100644 00000000"


_NONE: frozenset[int] = frozenset()

# What `git pull` writes of the merge by which it takes the line into a clone's own commits. Git
# leaves out "into" for these two branches, and the branch merged is the one merged into.
_PULLED = re.compile(
    r"Merge (?:branch '([^']+)' of \S+|remote-tracking branch '[^/']+/([^']+)')(?: into (\S+))?"
)

_INTO_UNNAMED = ("main", "master")


class History:
    """All commits that a head reaches. Use it in a `with`: git lists them from then on.

    `head` is the object id of that commit, by default the one checked out. `remembered` are those
    of earlier heads: the line that the head stands on leads through them.
    """

    def __init__(
        self, repository: Repository, head: str = "", remembered: Iterable[str] = ()
    ) -> None:
        self.repository = repository
        self.head = head or repository.head
        self.remembered = frozenset(oid for oid in remembered if OBJECT_ID.fullmatch(oid))
        self._listing = Listing(repository.git, self.head)
        self._against: list[list[Entries]] = []
        self._added: list[Addition | None] = []
        self._commit_at = cache(self._commit)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._listing.close()

    def __contains__(self, oid: object) -> bool:
        return oid in self._listing.places

    def is_on_line(self, oid: str) -> bool:
        """Whether a commit is one of those that branches were merged into."""
        return self._listing.places.get(oid) in self._line

    @cached_property
    def _parents(self) -> list[list[int]]:
        return self._listing.parents

    @cached_property
    def _line(self) -> dict[int, int]:
        """The commits that branches were merged into, oldest first, each with its number.

        They are the head and its first parents, but where a merge was turned: its first parent is
        not the tip that it was put upon. That shows by a remembered head, which the line must lead
        through, or by what `git pull` writes of such a merge.
        """
        places, pulled = self._listing.places, self._pulled
        led_to = [places[oid] for oid in self.remembered if oid in places]
        above = {place: self._above(place) for place in led_to}
        place = places[self.head]
        found = [place]
        while parents := self._parents[place]:
            former = parents[1] if place in pulled else parents[0]
            below = [over for known, over in above.items() if place != known and place in over]
            if below and not all(former in over for over in below):
                led = (one for one in parents if all(one in over for over in below))
                former = next(led, former)
            place = former
            found.append(place)
        return {place: number for number, place in enumerate(reversed(found))}

    @cached_property
    def _turned(self) -> dict[int, list[int]]:
        """The merges of the line whose first parent is not the tip that they were put upon.

        Each with its parents, that tip first.
        """
        return {
            tip: sorted(self._parents[tip], key=lambda side: side != former)
            for former, tip in pairwise(self._line)
            if self._parents[tip][0] != former
        }

    @cached_property
    def _pulled(self) -> set[int]:
        """The merges that say of themselves that they took the line into somebody's own commits.

        Anybody can write that, to lead the line past rules or past a day. It is believed where
        those commits are of whoever merged, and leave site.yaml alone.
        """
        listing = self._listing
        merges = [place for place, parents in enumerate(self._parents) if len(parents) == 2]
        named = [place for place in merges if listing.may_say(place, b"Merge ")]
        claimed = [place for place in named if _is_pull(listing.text(place).subject)]
        own = {place: self._apart(self._parents[place])[0] for place in claimed}
        ruled = self._ruling({one for places in own.values() for one in places})
        return {
            place
            for place in claimed
            if {*map(self._committer, own[place])} == {self._committer(place)}
            and ruled.isdisjoint(own[place])
        }

    def _committer(self, place: int) -> str:
        return self._listing.text(place).committer.email.casefold()

    def _ruling(self, places: Iterable[int]) -> set[int]:
        """Those of some commits that changed site.yaml."""
        parents = {place: self._parents[place] for place in sorted(places)}
        if not parents:
            return set()
        path = str(self.repository.top / self.repository.prefix / SITE_FILE)
        return {place for place, against in self._listing.compared(parents, path) if any(against)}

    def _apart(self, tips: Sequence[int]) -> list[set[int]]:
        """For each of some commits those that it reaches, and not every one of them does."""
        every = (1 << len(tips)) - 1
        reached: dict[int, int] = {}
        for side, tip in enumerate(tips):
            reached[tip] = reached.get(tip, 0) | 1 << side
        found: list[set[int]] = [set() for _ in tips]
        # Children come after their parents, so nothing more reaches the newest one left.
        newest = [-tip for tip in reached]
        heapq.heapify(newest)
        left = sum(mask != every for mask in reached.values())
        while left:
            place = -heapq.heappop(newest)
            mask = reached[place]
            if mask != every:
                left -= 1
                for side, places in enumerate(found):
                    if mask >> side & 1:
                        places.add(place)
            for parent in self._parents[place]:
                before = reached.get(parent)
                after = (before or 0) | mask
                if before is None:
                    heapq.heappush(newest, -parent)
                    left += after != every
                elif before != every and after == every:
                    left -= 1
                reached[parent] = after
        return found

    def _above(self, place: int) -> set[int]:
        """A commit and all that build on it."""
        found = {place}
        for one, parents in enumerate(self._parents):
            if not found.isdisjoint(parents):
                found.add(one)
        return found

    @cached_property
    def _brought_by(self) -> dict[int, int]:
        """For each commit that is not on the line the one of the line that brought it."""
        found: dict[int, int] = {}
        for tip in self._line:
            waiting = self._parents[tip][:]
            while waiting:
                place = waiting.pop()
                if place not in self._line and place not in found:
                    found[place] = tip
                    waiting.extend(self._parents[place])
        return found

    def landings(self) -> Iterator["Landing"]:
        """What came to the line, commit of the line by commit of the line, oldest first."""
        line, turned, oids = self._line, self._turned, self._listing.oids
        # What is not on the line yet, with the number of the commit that it was written on.
        written_on: dict[int, int] = {}
        brought: dict[int, list[int]] = {}
        former = ""
        for place in self._compared():
            places = brought.pop(place, [])
            addition = self._merged(place, places) if places else self._added[place]
            if addition is None:
                self._commit_at(place)  # in order: a merge asks what those before it did
            places.append(place)
            if place in line:
                numbers = [written_on.pop(one) for one in places[:-1]]
                forks = frozenset(numbers) - {-1, line[place] - 1} if numbers else _NONE
                # A merge is an addition only if all that it brings are.
                additions = [one for at in places if (one := self._added[at])] if addition else []
                yield Landing(
                    oids[place], former, places, additions, forks, self._commit_at, place in turned
                )
                former = oids[place]
                continue
            # The tip that a commit knew is the newest of the line that it builds on.
            known = [
                line[one] if one in line else written_on.get(one, -1)
                for one in self._parents[place]
            ]
            written_on[place] = max(known, default=-1)
            brought.setdefault(self._brought_by[place], []).append(place)

    def _compared(self) -> Iterator[int]:
        """The place of each commit, once it is known what differs from its parents."""
        listing, prefix = self._listing, self.repository.prefix
        makers, parents, late = listing.makers, self._parents, listing.set_back_s
        site = (str(self.repository.top / prefix),) if prefix else ()
        sides = dict(enumerate(parents)) | self._turned
        for place, against in listing.compared(sides, *site):
            maker, addition = makers[place], None
            if maker and len(parents[place]) == len(against[0]) == 1 and late[place] <= 0:
                email, at, is_alone = maker
                described, name = against[0][0]
                if is_alone and described.startswith(_ADDED):
                    path, blob = self._path(name), described.split(b" ")[3].decode("ascii")
                    addition = Addition(email, at, path, blob)
            self._against.append(against)
            self._added.append(addition)
            yield place

    def _merged(self, place: int, earlier: Sequence[int]) -> "Addition | None":
        """A merge that took in what its branch added as it is, and did nothing else."""
        maker, against = self._listing.makers[place], self._against[place]
        if not (maker and len(against) == 2 and all(self._added[one] for one in earlier)):
            return None
        came = [self._against[one][0][0] for one in earlier]
        if (
            self._listing.set_back_s[place] > 0
            or sorted(came) != sorted(against[0])
            or not {path for _, path in came}.isdisjoint([path for _, path in against[1]])
        ):
            return None
        self._added[place] = Addition(maker[0], maker[1], "", "")
        return self._added[place]

    def _commit(self, place: int) -> Commit:
        """A commit out of its differences from its parents."""
        text, oid = self._listing.text(place), self._listing.oids[place]
        first, *others = [self._changes(entries) for entries in self._against[place]]
        changes = tuple(first.values())
        own = tuple(change for change in changes if all(change.path in other for other in others))
        dropped = self._dropped(place, [first, *others]) if others else ()
        boundary = len(text.parents) != len(self._parents[place])
        set_back_s = self._listing.set_back_s[place]
        return Commit(oid, text, changes, own, dropped, boundary, set_back_s)

    def _touched(self, place: int) -> Iterable[str]:
        """The paths of what a commit did itself, and of what it left out."""
        addition = self._added[place]
        if addition is not None:
            return (addition.path,)
        commit = self._commit_at(place)
        return (change.path for change in (*commit.own_changes, *commit.dropped))

    def _dropped(self, place: int, against: list[dict[str, Change]]) -> tuple[Change, ...]:
        """Changes of one side that are not in the merge, where a side that never touched the path
        has the merge's version.
        """
        touched = [
            {path for one in places for path in self._touched(one)}
            for places in self._apart(self._turned.get(place, self._parents[place]))
        ]
        lost: dict[str, Change] = {}
        for side, differing in enumerate(against):
            for path in touched[side] & differing.keys():
                if any(
                    path not in against[other] and path not in touched[other]
                    for other in range(len(against))
                ):
                    lost.setdefault(path, differing[path])
        return tuple(lost[path] for path in sorted(lost))

    def _changes(self, entries: Entries) -> dict[str, Change]:
        found = {}
        for described, name in entries:
            old_mode, new_mode, old_oid, new_oid, _ = described.decode("ascii")[1:].split(" ")
            path = self._path(name)
            was = (old_oid, old_mode) if old_mode != _ABSENT_MODE else (None, None)
            now = (new_oid, new_mode) if new_mode != _ABSENT_MODE else (None, None)
            found[path] = Change(path, was[0], now[0], was[1], now[1])
        return found

    def _path(self, name: bytes) -> str:
        path, prefix = path_text(name), self.repository.prefix
        # The site's folder itself can be a path where it was no folder.
        return path.removeprefix(prefix) if path.startswith(prefix) else "."


class Addition(NamedTuple):
    """A commit that adds one plain file and does nothing else, made by one person at one time.

    Nearly all commits of a long history are so, and whoever reads them seldom needs a `Commit`. A
    merge that only joins such commits to the line has neither path nor blob. `email` is its
    author's, in small letters, `seconds` are its committer's.
    """

    email: str
    seconds: int
    path: str
    blob: str


class Landing(NamedTuple):
    """A commit of the line with all that it brought there: what the record is judged by.

    `former` is the tip before it, "" for the first. `commits` are those it brought, parents before
    children, itself the last; its `changes` are against the former tip. `additions` are the same
    if they only add files, else none. `forks` are the numbers of older landings that those were
    written on. `is_turned` where its first parent is not the former tip.
    """

    oid: str
    former: str
    places: Sequence[int]
    additions: Sequence[Addition]
    forks: frozenset[int]
    commit_at: Callable[[int], Commit]
    is_turned: bool

    @property
    def commits(self) -> tuple[Commit, ...]:
        return tuple(map(self.commit_at, self.places))

    @property
    def commit(self) -> Commit:
        return self.commit_at(self.places[-1])


def _is_pull(subject: str) -> bool:
    match = _PULLED.fullmatch(subject)
    if match is None:
        return False
    merged, into = match[1] or match[2], match[3]
    return merged in _INTO_UNNAMED if into is None else into == merged


def reached_by(repository: Repository, oid: str) -> set[str]:
    """A commit and all that it builds on, as object ids. Raises GitProblem."""
    return set(repository.git.output("rev-list", oid).decode("ascii").split())

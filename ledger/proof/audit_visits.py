"""Visits along a history: who filed each, how late, and what was done to it afterwards.

Records that came with the site itself from another folder, where their history still lies.

The walk reads the site's own folder alone, so a record that was edited elsewhere and then moved
would look as if it had begun here.
"""

import shlex
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, datetime, timedelta, tzinfo
from typing import NamedTuple

from ledger.book import words
from ledger.history.commit import Change, Commit, Status
from ledger.history.objects import path_text
from ledger.history.repository import Repository
from ledger.proof.audit_items import Item, Note, Offence, mark_of
from ledger.proof.records import (
    Reader,
    RecordChange,
    Touch,
    TouchedVisit,
    document_of,
    is_setpoints,
    is_visit,
    record_change,
    touched_visits,
)
from ledger.proof.sites import Sites

_SITE_FILE = "site.yaml"


def moved_here(repository: Repository, commit: Commit) -> Item | None:
    """The folder that a site's first records stood in before the commit that began the site.

    None where they stood nowhere. Records are known again by their names below the folder; a
    folder that is still there, and has not one of the texts, is another site's. Raises GitProblem.
    """
    brought = {
        change.path: change.new_oid
        for change in commit.own_changes
        if change.new_oid is not None and (is_visit(change.path) or is_setpoints(change.path))
    }
    if not brought or not commit.parents or commit.boundary:
        return None
    named: dict[str, set[str]] = {}
    texts: dict[str, set[str]] = {}
    printed = repository.git.output("rev-list", "--objects", "--missing=allow-any", *commit.parents)
    for line in printed.split(b"\n"):
        oid, _, name = line.partition(b" ")
        path = path_text(name)
        start = max(path.rfind("observations/"), path.rfind("setpoints/"))
        folder, below = path[: max(start, 0)], path[max(start, 0) :]
        if below in brought and folder != repository.prefix and folder[-1:] in ("", "/"):
            named.setdefault(folder, set()).add(below)
            texts.setdefault(folder, set()).add(oid.decode("ascii"))
    # Git lists a text once, by one of its names, though two files may hold it.
    alike = {
        folder: {below for below, oid in brought.items() if oid in held}
        for folder, held in texts.items()
    }
    for folder, same in sorted(alike.items(), key=lambda item: (-len(item[1]), item[0])):
        if same or not _stands(repository, commit.oid, folder):
            known = named[folder] | same
            return _told(repository, commit, folder, (len(known), len(same), len(brought)))
    return None


def _told(
    repository: Repository, commit: Commit, folder: str, counts: tuple[int, int, int]
) -> Item:
    known, same, brought = counts
    stood = "stood" if known == brought else f"{known} of them stood"
    said = f"{words.format_count(brought, 'file')} of visits and settings came here; {stood} there"
    if same < known:
        said += f", {known - same} with another text"
    said += (
        ". What was done to them before, only the audit of that folder tells: "
        f"{_command(repository, commit, folder)}. Once it is clean, audit here with "
        f"--since {commit.oid[:12]}"
    )
    return Item(
        kind=Note.MOVED, about=folder or "the top folder", words=said, commit=mark_of(commit)
    )


def _command(repository: Repository, commit: Commit, folder: str) -> str:
    """How to audit the folder: where it is, or in a second checkout of when it last was."""
    if _stands(repository, "HEAD", folder):
        return f"tunnelbook audit {shlex.quote(str(repository.top / folder))}"
    when = next((one for one in commit.parents if _stands(repository, one, folder)), None)
    if when is None:
        # It was taken out in an earlier commit, and stood in the one before that.
        place = str(repository.top / folder / _SITE_FILE)
        gone = repository.git.output("rev-list", "-1", *commit.parents, "--", place)
        when = f"{gone.decode('ascii').strip()}^"
    return (
        f"git worktree add ../before {when}, then tunnelbook audit "
        f"{shlex.quote(f'../before/{folder}')}"
    )


def _stands(repository: Repository, revision: str, folder: str) -> bool:
    place = f"{revision}:{folder}{_SITE_FILE}"
    verify = ("rev-parse", "--verify", "--quiet", "--end-of-options")
    return repository.git.attempt(*verify, place) is not None


_OFFENCE = {
    Touch.EDITED: Offence.EDITED,
    Touch.DELETED: Offence.DELETED,
    Touch.RENAMED: Offence.RENAMED,
}

# Clocks of two machines differ a little; so much is not a forged date.
_CLOCK_SLACK = timedelta(minutes=10)


class _Filed(NamedTuple):
    """A visit's text as it was last filed; one is made for each of a record, so it is a tuple.

    `first` is the path and text it was filed with.
    """

    oid: str | None
    by_email: str
    first: tuple[str, str | None]


class VisitTrail:
    """Follows every visit from the commit that filed it. Feed it the commits of a walk in order."""

    def __init__(self, blobs: Reader, sites: Sites, line: set[str], zone: tzinfo) -> None:
        self._blobs = blobs
        self._sites = sites
        self._line = line
        self._zone = zone
        self._filed: dict[str, _Filed] = {}
        self._taken_out: dict[tuple[str, str | None], _Filed] = {}
        self._touched_on_line: set[str] = set()
        self._amended: list[tuple[RecordChange, Item]] = []
        self._without_address: Counter[str] = Counter()
        self.count = 0

    def add(self, commit: Commit) -> Iterator[Item]:
        """What the next commit of the walk did to visits."""
        if commit.oid in self._line:
            for change in commit.changes:
                if change.old_oid is not None and is_visit(change.path):
                    self._touched_on_line.add(change.path)
        own = [change for change in commit.own_changes if is_visit(change.path)]
        touched, added = self._sorted_out(own)
        for one in touched:
            yield from self._touch(commit, one)
        if added and self._sites.begins_with(commit) and not commit.boundary:
            visits = words.format_count(len(added), "visit")
            said = f"{visits} came with the site itself: git cannot tell who filed them, or when"
            yield self._item(Note.BEGINNING, commit, "", said)
        for change in added:
            earlier = self._filed.get(change.path)
            if earlier is not None and earlier.oid != change.new_oid:
                yield self._item(
                    Offence.EDITED, commit, change.path, "filed a second time, with another text"
                )
            first = (change.path, change.new_oid)
            taken_out = self._taken_out.pop(first, None) if earlier is None else None
            if taken_out is not None:
                yield self._item(Note.PUT_BACK, commit, change.path, "the file is there again")
                self._filed[change.path] = taken_out
                continue
            if earlier is None and not commit.boundary:
                self.count += 1
                if not self._sites.begins_with(commit):
                    yield from self._filing(commit, change.path, change.new_oid)
            self._filed[change.path] = _Filed(
                oid=change.new_oid, by_email=commit.author.email, first=first
            )
        for change in commit.dropped:
            if is_visit(change.path):
                record = record_change(TouchedVisit(change=change), self._blobs)
                said = "one side of the merge had filed or kept this; the merge has it otherwise"
                yield self._with_texts(
                    self._item(Offence.MERGE_DROPPED, commit, change.path, said), record
                )

    def _sorted_out(self, own: list[Change]) -> tuple[list[TouchedVisit], list[Change]]:
        """As `touched_visits`; a single new visit, which most commits are, needs no thought."""
        if len(own) == 1 and own[0].status is Status.ADDED:
            return [], own
        return touched_visits(own, self._blobs) if own else ([], [])

    def end(self) -> Iterator[Item]:
        """What can only be told once the whole walk is known."""
        for record, item in self._amended:
            yield item if record.path in self._touched_on_line else replace(item, kind=Note.AMENDED)
        for person, count in sorted(self._without_address.items()):
            visits = words.format_count(count, "visit")
            yield Item(
                kind=Note.NO_ADDRESS, about=person, words=f"{visits}; add `emails` to site.yaml"
            )

    def _touch(self, commit: Commit, one: TouchedVisit) -> Iterator[Item]:
        record = record_change(one, self._blobs)
        filed = self._filed.pop(record.path, None)
        if record.new_path is not None:
            oid = (one.moved_to or one.change).new_oid
            by_email = filed.by_email if filed else commit.author.email
            first = filed.first if filed else (record.path, one.change.old_oid)
            self._filed[record.new_path] = _Filed(oid=oid, by_email=by_email, first=first)
            if (record.new_path, oid) == first:
                said = "as it was filed again"
                yield self._with_texts(self._item(Note.PUT_BACK, commit, record.path, said), record)
                return
        elif filed is not None:
            self._taken_out[filed.first] = filed
        said = "; ".join(record.values) or "layout or comments only"
        if record.touch is Touch.DELETED:
            said = "the file was taken out"
        elif record.touch is Touch.RENAMED:
            said = f"now {record.new_path}: {said}"
        kind = Offence.MERGE_WROTE if commit.is_merge else _OFFENCE[record.touch]
        item = self._with_texts(self._item(kind, commit, record.path, said), record)
        own = filed is not None and filed.by_email.casefold() == commit.author.email.casefold()
        if own and commit.oid not in self._line and not commit.is_merge:
            self._amended.append((record, item))
        else:
            yield item

    def _filing(self, commit: Commit, path: str, oid: str | None) -> Iterator[Item]:
        if commit.is_merge:
            yield self._item(Offence.MERGE_WROTE, commit, path, "no side of the merge has it")
        stem = path.rpartition("/")[2].removesuffix(".yaml")
        person = stem[16:].partition("~")[0]
        stranger = self._stranger(commit, path, oid, person)
        if stranger is not None:
            yield stranger
        try:
            served = datetime.fromisoformat(stem[:15])
        except ValueError:
            return  # a stray name; the check of the head's files tells of it
        gone = self._gone(commit, path, person, served.date())
        if gone is not None:
            yield gone
        seconds = commit.committer.seconds
        if seconds is None:
            return
        entered = datetime.fromtimestamp(seconds, self._zone)
        # Clocks on the wall first; what they say of an hour that comes twice is looked into.
        if served > entered.replace(tzinfo=None):
            ahead = served.replace(tzinfo=self._zone).timestamp() - seconds
            if ahead > _CLOCK_SLACK.total_seconds():
                said = f"service on {served:%Y-%m-%d %H:%M}, committed on {entered:%Y-%m-%d %H:%M}"
                yield self._item(Offence.AHEAD, commit, path, said)
        limit = self._sites.ruling(commit).policy.entry_within_days
        late = (entered.date() - served.date()).days
        if late > limit:
            said = f"committed {words.format_count(late, 'day')} after the service; limit {limit}"
            written = commit.author.at
            if written is not None and abs(entered - written) > timedelta(days=1):
                said += f" (its author's date says {written.astimezone(self._zone):%Y-%m-%d})"
            yield self._item(Offence.LATE, commit, path, said)

    def _stranger(self, commit: Commit, path: str, oid: str | None, person: str) -> Item | None:
        """An author who is neither the one who did the work nor was there as well."""
        addresses = self._sites.addresses(person, commit)
        if not addresses:
            self._without_address[person] += 1
            return None
        email = commit.author.email.casefold()
        if email in addresses:
            return None
        author = self._sites.owner(email, commit)
        if author is not None and author.ident in self._helpers(path, oid):
            return None
        who = f"{author.name} ({email})" if author else email or "an author without an address"
        people = self._sites.at(commit).people
        name = people[person].name if person in people else person
        return self._item(Offence.OTHER_AUTHOR, commit, path, f"by {name}, committed by {who}")

    def _gone(self, commit: Commit, path: str, person: str, served: date) -> Item | None:
        """One who was not with the site on the day of service, or who committed after leaving."""
        if not self._sites.know_days:
            return None
        wrong = self._sites.left_on(person, served, commit)
        if wrong:
            return self._item(Offence.GONE, commit, path, f"service on {served}; {wrong}")
        author, at = self._sites.owner(commit.author.email, commit), commit.committer.at
        if author is None or at is None:
            return None
        day = at.astimezone(self._zone).date()
        wrong = self._sites.left_on(author.ident, day, commit)
        return (
            self._item(Offence.GONE, commit, path, f"committed on {day}; {wrong}")
            if wrong
            else None
        )

    def _helpers(self, path: str, oid: str | None) -> tuple[str, ...]:
        document = None if oid is None else document_of(path, self._blobs.read(oid))
        if document is None or not isinstance(document.value, dict):
            return ()
        helpers = document.value.get("with", ())
        return tuple(helpers) if isinstance(helpers, list) else ()

    def _item(self, kind: Offence | Note, commit: Commit, path: str, said: str) -> Item:
        return Item(kind=kind, about=path, words=said, commit=mark_of(commit))

    def _with_texts(self, item: Item, record: RecordChange) -> Item:
        return replace(item, old_text=record.old_text, new_text=record.new_text)

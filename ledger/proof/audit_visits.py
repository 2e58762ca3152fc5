"""Visits along a history: who filed each, how late, and what was done to it afterwards."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, datetime, timedelta, tzinfo
from typing import NamedTuple

from ledger.book import words
from ledger.history.commit import Commit, Signer
from ledger.model.policy import is_filed_late, may_file
from ledger.proof import records
from ledger.proof.audit_items import Irregularity, Item, Note, record_item
from ledger.proof.sites import Sites

_IRREGULARITY = {
    records.Touch.EDITED: Irregularity.EDITED,
    records.Touch.DELETED: Irregularity.DELETED,
    records.Touch.RENAMED: Irregularity.RENAMED,
}

# Clocks of two machines differ a little; so much is not a forged date.
_CLOCK_SLACK = timedelta(minutes=10)


class _Filed(NamedTuple):
    """A visit's text as it was last filed; one is made for each of a record, so it is a tuple.

    `first` is the path and text it was filed with.
    """

    oid: str | None
    by: Signer
    first: tuple[str, str | None]


class VisitTrail:
    """Follows every visit from the commit that filed it. Feed it the commits of a walk in order."""

    def __init__(self, blobs: records.Reader, sites: Sites, line: set[str], zone: tzinfo) -> None:
        self._blobs = blobs
        self._sites = sites
        self._line = line
        self._zone = zone
        self._filed: dict[str, _Filed] = {}
        self._taken_out: dict[tuple[str, str | None], _Filed] = {}
        self._touched_on_line: set[str] = set()
        self._amended: list[tuple[records.RecordChange, Item]] = []
        self._without_address: Counter[str] = Counter()
        self.count = 0

    def add(self, commit: Commit) -> Iterator[Item]:
        """What the next commit of the walk did to visits."""
        if commit.oid in self._line:
            for change in commit.changes:
                if change.old_oid is not None and records.is_visit(change.path):
                    self._touched_on_line.add(change.path)
        touched, added = records.touched_visits(commit.own_changes, self._blobs)
        for one in touched:
            yield from self._touch(commit, one)
        if added and self._sites.begins_with(commit) and not commit.boundary:
            visits = words.format_count(len(added), "visit")
            text = f"{visits} came with the site itself: git cannot tell who filed them, or when"
            yield Item(Note.BEGINNING, text, commit=commit)
        for change in added:
            earlier = self._filed.get(change.path)
            if earlier is not None and earlier.oid != change.new_oid:
                text = "filed a second time, with another text"
                yield Item(Irregularity.EDITED, text, about=change.path, commit=commit)
            first = (change.path, change.new_oid)
            taken_out = self._taken_out.pop(first, None) if earlier is None else None
            if taken_out is not None:
                text = "the file is there again"
                yield Item(Note.PUT_BACK, text, about=change.path, commit=commit)
                self._filed[change.path] = taken_out
                continue
            if earlier is None and not commit.boundary:
                self.count += 1
                if not self._sites.begins_with(commit):
                    yield from self._filing(commit, change.path, change.new_oid)
            self._filed[change.path] = _Filed(oid=change.new_oid, by=commit.author, first=first)
        for change in commit.dropped:
            if records.is_visit(change.path):
                record = records.record_change(records.TouchedVisit(change=change), self._blobs)
                text = "one side of the merge had filed or kept this; the merge has it otherwise"
                yield record_item(Irregularity.MERGE_DROPPED, text, record, commit)

    def end(self) -> Iterator[Item]:
        """What can only be told once the whole walk is known."""
        for record, item in self._amended:
            yield item if record.path in self._touched_on_line else replace(item, kind=Note.AMENDED)
        for person, count in sorted(self._without_address.items()):
            visits = words.format_count(count, "visit")
            yield Item(Note.NO_ADDRESS, f"{visits}; add `emails` to site.yaml", about=person)

    def _touch(self, commit: Commit, one: records.TouchedVisit) -> Iterator[Item]:
        record = records.record_change(one, self._blobs)
        filed = self._filed.pop(record.path, None)
        if record.new_path is not None:
            oid = (one.moved_to or one.change).new_oid
            by = filed.by if filed else commit.author
            first = filed.first if filed else (record.path, one.change.old_oid)
            self._filed[record.new_path] = _Filed(oid=oid, by=by, first=first)
            if (record.new_path, oid) == first:
                yield record_item(Note.PUT_BACK, "as it was filed again", record, commit)
                return
        elif filed is not None:
            self._taken_out[filed.first] = filed
        kind = Irregularity.MERGE_WROTE if commit.is_merge else _IRREGULARITY[record.touch]
        item = record_item(kind, record.words, record, commit)
        own = filed is not None and filed.by.is_same(commit.author)
        if own and commit.oid not in self._line and not commit.is_merge:
            self._amended.append((record, item))
        else:
            yield item

    def _filing(self, commit: Commit, path: str, oid: str | None) -> Iterator[Item]:
        """What is wrong with how a visit was filed, by whom and when."""

        def item(kind: Irregularity, text: str) -> Item:
            return Item(kind, text, about=path, commit=commit)

        if commit.is_merge:
            yield item(Irregularity.MERGE_WROTE, "no side of the merge has it")
        stem = path.rpartition("/")[2].removesuffix(".yaml")
        person = stem[16:].partition("~")[0]
        stranger = self._stranger(commit, path, oid, person)
        if stranger:
            yield item(Irregularity.OTHER_AUTHOR, stranger)
        try:
            served = datetime.fromisoformat(stem[:15])
        except ValueError:
            return  # a stray name; the check of the head's files tells of it
        absent = self._absent(commit, person, served.date()) if self._sites.know_days else ""
        if absent:
            yield item(Irregularity.GONE, absent)
        seconds = commit.committer.seconds
        if seconds is None:
            return
        entered = datetime.fromtimestamp(seconds, self._zone)
        # Clocks on the wall first; what they say of an hour that comes twice is looked into.
        if served > entered.replace(tzinfo=None):
            ahead = served.replace(tzinfo=self._zone).timestamp() - seconds
            if ahead > _CLOCK_SLACK.total_seconds():
                text = f"service on {served:%Y-%m-%d %H:%M}, committed on {entered:%Y-%m-%d %H:%M}"
                yield item(Irregularity.AHEAD, text)
        policy = self._sites.ruling(commit).policy
        if is_filed_late(served.date(), entered.date(), policy):
            late = words.format_count((entered.date() - served.date()).days, "day")
            text = f"committed {late} after the service; limit {policy.entry_within_days}"
            written = commit.author.at
            if written is not None and abs(entered - written) > timedelta(days=1):
                text += f" (its author's date says {written.astimezone(self._zone):%Y-%m-%d})"
            yield item(Irregularity.LATE, text)

    def _stranger(self, commit: Commit, path: str, oid: str | None, person: str) -> str:
        """Who committed a visit that was not theirs to file, in words; "" for nobody."""
        addresses = self._sites.addresses(person, commit)
        if not addresses:
            self._without_address[person] += 1
            return ""
        email = commit.author.email.casefold()
        author = None if email in addresses else self._sites.owner(email, commit)
        if may_file(email, addresses, author, lambda: self._helpers(path, oid)):
            return ""
        who = f"{author.name} ({email})" if author else email or "an author without an address"
        return f"by {words.format_person(person, self._sites.at(commit))}, committed by {who}"

    def _absent(self, commit: Commit, person: str, served: date) -> str:
        """Who was not with the site on the day of service, or had left when committing; or ""."""
        wrong = self._sites.why_absent(person, served, commit)
        if wrong:
            return f"service on {served}; {wrong}"
        author, at = self._sites.owner(commit.author.email, commit), commit.committer.at
        if author is None or at is None:
            return ""
        day = at.astimezone(self._zone).date()
        wrong = self._sites.why_absent(author.ident, day, commit)
        return wrong and f"committed on {day}; {wrong}"

    def _helpers(self, path: str, oid: str | None) -> tuple[str, ...]:
        document = None if oid is None else records.document_of(path, self._blobs.read(oid))
        if document is None or not isinstance(document.value, dict):
            return ()
        helpers = document.value.get("with", ())
        return tuple(helpers) if isinstance(helpers, list) else ()

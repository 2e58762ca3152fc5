"""Visits along the line: who filed each, how late it landed, and what was done to it afterwards."""

import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import Any, NamedTuple

from ledger.book.short_words import format_count, format_person
from ledger.history.commit import Change, Commit
from ledger.history.log import Addition
from ledger.model.policy import is_filed_late, may_file, may_file_for
from ledger.model.site import Site
from ledger.proof import records
from ledger.proof.at_landing import AtLanding
from ledger.proof.audit_items import Irregularity, Item, Note, record_item
from ledger.proof.rules import Rules
from ledger.proof.signatures import NO_REPLY

# Clocks of two machines differ a little; so much is not a forged date.
_CLOCK_SLACK = timedelta(minutes=10)

# Nearly every visit says who and when like this; the others are parsed.
_USUAL = re.compile(rb"(?:#[^\n]*\n)*at: (\d{4}-\d\d-\d\dT\d\d):(\d\d)\nby: ([a-z0-9-]+)\n")
_USUAL_PATH = re.compile(
    r"observations/\d{4}/\d\d/(\d{4}-\d\d-\d\dT\d{4}-([a-z0-9-]+))\.yaml", re.ASCII
)
_PICTURE = re.compile(rb"photos/[\w./-]+")


class _Filed(NamedTuple):
    """A visit's text as it was last filed; one is made for each of a record, so it is a tuple.

    `first` is the path and text it was filed with, `run` the run of landings that it came in.
    """

    oid: str | None
    by: str
    first: tuple[str, str | None]
    run: int


class _Stranger(NamedTuple):
    """A visit of one person that another address committed, and what to say of it.

    `is_unknown` where the people file did not know that person, `is_filed_for` where the author
    may file for others and says so.
    """

    item: Item
    email: str
    person: str
    is_unknown: bool = False
    is_filed_for: bool = False


class VisitTrail:
    """Follows every visit from the landing that filed it. Feed it the landings in order."""

    def __init__(self, blobs: records.Reader, rules: Rules) -> None:
        self._blobs = blobs
        self._rules = rules
        self._filed: dict[str, _Filed] = {}
        self._taken_out: dict[tuple[str, str | None], _Filed] = {}
        # The pictures that visits name, each as it was when one first did or when it came.
        self._pictures: dict[str, str | None] = {}
        self._without_address: Counter[str] = Counter()
        self._no_reply: Counter[str] = Counter()
        self._strangers: list[_Stranger] = []
        # Landings one after the other by one author alone: nobody else has had the line between.
        self._run, self._run_author = 0, ""
        self._known_of: Site | None = None
        self._known: dict[str, frozenset[str]] = {}
        self.count = 0

    def land(self, at: AtLanding, *, is_seen: bool) -> Iterator[Item]:
        """What the next landing did to visits; `is_seen` where the tip before it was remembered."""
        authors = {commit.author.email.casefold() for commit in at.landing.commits}
        self._run_of(authors, is_seen=is_seen)
        touched, added = records.touched_visits(at.commit.changes, self._blobs)
        for one in touched:
            yield from self._touch(at, one)
        if added and at.begins and not at.commit.boundary:
            visits = format_count(len(added), "visit")
            text = f"{visits} came with the site itself: git cannot tell who filed them, or when"
            yield at.item(Note.BEGINNING, text)
        for change in added:
            yield from self._add(at, change)
        yield from self._touched_pictures(at)
        for commit in at.landing.commits if at.commit.is_merge else ():
            for change in commit.dropped:
                if records.is_visit(change.path):
                    yield self._dropped(commit, change)

    def take(self, additions: Sequence[Addition], site: Site) -> bool:
        """Take in visits that their own people filed, as is usual and in time; False if not so.

        They come to the line with the last commit.
        """
        if self._rules.know_days:
            return False
        landed = datetime.fromtimestamp(additions[-1].seconds, site.zone)
        # As the clock on the wall showed it; `replace` takes four times as long.
        entered = datetime.combine(landed.date(), landed.time())
        for one in additions:
            if one.path and not self._is_usual(one, entered, site):
                return False
        self._run_of({one.email for one in additions})
        for email, _, path, blob in additions:
            if path:
                self._filed[path] = _Filed(blob, email, (path, blob), self._run)
                self.count += 1
        return True

    def _is_usual(self, one: Addition, entered: datetime, site: Site) -> bool:
        path, blob = one.path, one.blob
        named = _USUAL_PATH.fullmatch(path)
        if named is None or path in self._filed or (path, blob) in self._taken_out:
            return False
        raw = self._blobs.read(blob)
        usual, served = _USUAL.match(raw), _served(path)
        return (
            usual is not None
            and served is not None
            and b"%b%b-%b" % usual.groups() == named[1].encode()
            and one.email in self._addresses(site, named[2])
            and b"photos/" not in raw
            and b"filed_by" not in raw
            and b"\\" not in raw
            and served <= entered
            and not is_filed_late(served.date(), entered.date(), site.policy)
        )

    def _run_of(self, authors: set[str], *, is_seen: bool = False) -> None:
        """Begin another run of landings, unless one author alone goes on with theirs."""
        if is_seen or authors != {self._run_author}:
            self._run += 1
            self._run_author = authors.pop() if len(authors) == 1 else ""

    def end(self) -> Iterator[Item]:
        """What can only be judged once all is known: an address may have been added since."""
        for one in self._strangers:
            known = self._rules.site.person(one.person)
            if known is not None and one.is_filed_for:
                continue
            if known is not None and one.is_unknown and not known.emails:
                self._without_address[one.person] += 1
            elif known is None or not known.has_address(one.email):
                yield one.item
        for person, count in sorted(self._without_address.items()):
            visits = format_count(count, "visit")
            yield Item(Note.NO_ADDRESS, f"{visits}; add `emails` to site.yaml", about=person)
        for address, count in sorted(self._no_reply.items()):
            visits = format_count(count, "visit")
            text = f"{visits} filed by an account whose address belongs to a git host; add it to "
            yield Item(Note.NO_ADDRESS, f"{text}`emails` of its person in site.yaml", about=address)

    def text_of(self, path: str) -> str | None:
        """The object id of a visit's text, None where it is not filed."""
        filed = self._filed.get(path)
        return None if filed is None else filed.oid

    def _add(self, at: AtLanding, change: Change) -> Iterator[Item]:
        if change.path in self._filed:
            text = "a visit was filed by this name; the tree has it twice now"
            yield at.item(Irregularity.EDITED, text, change.path)
        first = (change.path, change.new_text_oid)
        taken_out = self._taken_out.pop(first, None)
        if taken_out is not None:
            yield at.item(Note.PUT_BACK, "the file is back", change.path)
            self._filed[change.path] = taken_out
            return
        if not at.commit.boundary:
            self.count += 1
            if not at.begins:
                yield from self._filing(at, change)
        for name in _PICTURE.findall(self._searchable(change.path, change.new_text_oid)):
            self._pictures.setdefault(name.decode("ascii"), None)
        by = self._maker(at.writer(change.path))
        self._filed[change.path] = _Filed(
            oid=change.new_text_oid, by=by, first=first, run=self._run
        )

    def _touch(self, at: AtLanding, one: records.TouchedVisit) -> Iterator[Item]:
        record = records.record_change(one, self._blobs)
        filed = self._filed.pop(record.path, None)
        change = one.moved_to or one.change
        writer = at.writer(change.path)
        by = self._maker(writer)
        is_own = filed is not None and filed.by == by and filed.run == self._run
        if record.new_path is not None:
            first = filed.first if filed else (record.path, one.change.old_text_oid)
            who = filed.by if filed else by
            run = filed.run if filed else -1
            self._filed[record.new_path] = _Filed(change.new_text_oid, who, first, run)
            if (record.new_path, change.new_text_oid) == first:
                yield record_item(Note.PUT_BACK, "again as it was filed", record, writer)
                return
        elif filed is not None:
            self._taken_out[filed.first] = filed
        if is_own and record.touch is records.Touch.EDITED and not self._is_late(at, record.path):
            yield record_item(Note.AMENDED, record.words, record, writer)
            return
        kind = Irregularity[record.touch.name]
        kind = Irregularity.MERGE_WROTE if writer.is_merge else kind
        yield record_item(kind, record.words, record, writer)

    def _touched_pictures(self, at: AtLanding) -> Iterator[Item]:
        """Pictures that visits name, replaced or taken away after they came."""
        for change in at.commit.changes:
            if change.path not in self._pictures:
                continue
            first, new = self._pictures[change.path], change.new_text_oid
            first = self._pictures[change.path] = first or change.old_text_oid or new
            if new is None:
                text = "a visit names this picture, and it was removed"
                yield at.item(Irregularity.DELETED, text, change.path)
            elif new != first:
                text = "a visit names this picture, and it was replaced by another"
                yield at.item(Irregularity.EDITED, text, change.path)
            elif change.old_text_oid is not None:
                yield at.item(Note.PUT_BACK, "the picture is again as it was", change.path)

    def _maker(self, commit: Commit) -> str:
        """Whose work a commit is: its author's, and its committer's where that is another here."""
        author, committer = commit.author.email.casefold(), commit.committer.email.casefold()
        if author == committer:
            return author
        owner = self._rules.owner(committer)
        is_other = owner is not None and not owner.has_address(author)
        return f"{author} by {owner.ident}" if owner and is_other else author

    def _dropped(self, commit: Commit, change: Change) -> Item:
        record = records.record_change(records.TouchedVisit(change=change), self._blobs)
        text = "one side of the merge had filed or kept this; the merge has something else"
        return record_item(Irregularity.MERGE_DROPPED, text, record, commit)

    def _is_late(self, at: AtLanding, path: str) -> bool:
        served, landed = _served(path), at.landed_on
        if served is None or landed is None:
            return True
        return is_filed_late(served.date(), landed, at.ruling.policy)

    def _filing(self, at: AtLanding, change: Change) -> Iterator[Item]:
        """What is wrong with how a visit was filed, by whom and when."""
        path = change.path
        wrote = [commit for commit, _ in at.written(path)]
        if all(commit.is_merge for commit in wrote):
            yield at.item(Irregularity.MERGE_WROTE, "it is on neither side of the merge", path)
        person, served = self._stated(at, path, change.new_text_oid)
        if not person and records.source_of(path) is None:
            return  # nothing reads it; the check of the files reports it
        stranger = self._stranger(at, path, change.new_text_oid, person, wrote or [at.commit])
        if isinstance(stranger, Item):
            yield stranger
        elif stranger is not None:
            self._strangers.append(stranger)
        if served is None:
            return  # neither name nor text says when; the check of the files reports it
        absent = self._absent(at, person, served.date()) if self._rules.know_days else ""
        if absent:
            yield at.item(Irregularity.GONE, absent, path, concerns=person)
        entered, seconds = at.landed_at, at.commit.committer.seconds
        if entered is None or seconds is None:
            return
        # Clocks on the wall first; what they say of an hour that comes twice is looked into.
        if served > entered.replace(tzinfo=None):
            ahead = served.replace(tzinfo=at.zone).timestamp() - seconds
            if ahead > _CLOCK_SLACK.total_seconds():
                text = f"service on {served:%Y-%m-%d %H:%M}, committed on {entered:%Y-%m-%d %H:%M}"
                yield at.item(Irregularity.AHEAD, text, path, concerns=person)
        policy = at.ruling.policy
        if is_filed_late(served.date(), entered.date(), policy):
            late = format_count((entered.date() - served.date()).days, "day")
            text = f"landed {late} after the service; limit {policy.entry_within_days}"
            if served.date() != (_served(path) or served).date():
                text += f" (its text says {served:%Y-%m-%d})"
            written = at.writer(path).author.at
            if written is not None and abs(entered - written) > timedelta(days=1):
                text += f" (its author's date says {written.astimezone(at.zone):%Y-%m-%d})"
            yield at.item(Irregularity.LATE, text, path, concerns=person)

    def _stranger(
        self, at: AtLanding, path: str, oid: str | None, person: str, wrote: Sequence[Commit]
    ) -> _Stranger | Item | None:
        """Who committed a visit that was not theirs to file, or filed it for another openly."""
        addresses = self._addresses(at.ruling, person)
        filed_by = self._filed_by(path, oid)
        is_unknown = at.ruling.person(person) is None
        if not addresses and not filed_by and not is_unknown:
            self._without_address[person] += 1
            return None
        openly: Item | None = None
        for commit in wrote:
            email = commit.author.email.casefold()
            author = None if email in addresses else self._rules.owner(email)
            if may_file(email, addresses, author, lambda: self._helpers(path, oid)):
                continue
            # A host's squash has one author; that others wrote it too is as good a claim.
            if not addresses.isdisjoint(commit.text.co_authors):
                continue
            whose = format_person(person, at.ruling)
            is_filed_for = may_file_for(author, filed_by, at.ruling.policy)
            if author and is_filed_for and not is_unknown:
                openly = at.item(Note.FILED_FOR, f"filed by {author.name} for {whose}", path)
                continue
            if author is None and any(part in f"@{email}" for part in NO_REPLY):
                self._no_reply[email] += 1
                continue
            who = f"{author.name} ({email})" if author else email or "an author without an address"
            unknown = ", who is not in the people file" if is_unknown else ""
            text = f"by {whose}{unknown}, committed by {who}"
            item = at.item(Irregularity.OTHER_AUTHOR, text, path)
            return _Stranger(item, email, person, is_unknown, is_filed_for)
        return openly or self._false_filer(at, path, filed_by, wrote)

    def _false_filer(
        self, at: AtLanding, path: str, filed_by: str, wrote: Sequence[Commit]
    ) -> Item | None:
        """That a visit names a filer who committed none of it, though all who did are known."""
        filer = at.ruling.person(filed_by)
        if filer is None:
            return None
        authors = [self._rules.owner(commit.author.email) for commit in wrote]
        known = [author for author in authors if author is not None]
        if len(known) < len(authors) or any(author.ident == filer.ident for author in known):
            return None
        names = " and ".join(dict.fromkeys(author.name for author in known))
        text = f"says that {filer.name} filed it, committed by {names}"
        return at.item(Irregularity.OTHER_AUTHOR, text, path)

    def _addresses(self, site: Site, person: str) -> frozenset[str]:
        """Those of a person by the site that judges, in small letters."""
        if self._known_of is not site:
            self._known_of, self._known = site, {}
        found = self._known.get(person)
        if found is None:
            known = site.person(person)
            emails = known.emails if known else ()
            found = self._known[person] = frozenset(email.casefold() for email in emails)
        return found

    def _absent(self, at: AtLanding, person: str, served: date) -> str:
        """Who was not with the site on the day of service, or had left when it landed; or ""."""
        wrong = self._rules.why_absent(person, served)
        if wrong:
            return f"service on {served}; {wrong}"
        author = self._rules.owner(at.commit.author.email)
        if author is None or at.landed_on is None:
            return ""
        wrong = self._rules.why_absent(author.ident, at.landed_on)
        return wrong and f"committed on {at.landed_on}; {wrong}"

    def _helpers(self, path: str, oid: str | None) -> tuple[str, ...]:
        helpers = self._content(path, oid).get("with", ())
        return tuple(helpers) if isinstance(helpers, list) else ()

    def _filed_by(self, path: str, oid: str | None) -> str:
        # Nearly no visit has the key, and to parse them all would take longer than the rest.
        if b"filed_by" not in self._searchable(path, oid):
            return ""
        return str(self._content(path, oid).get("filed_by", ""))

    def _searchable(self, path: str, oid: str | None) -> bytes:
        return records.searchable(path, self._raw(oid))

    def _raw(self, oid: str | None) -> bytes:
        return b"" if oid is None else self._blobs.read(oid)

    def _stated(self, at: AtLanding, path: str, oid: str | None) -> tuple[str, datetime | None]:
        """Who did a visit's work and when, by the site's clock: as its text says, else its name."""
        served, person = _served(path), _person(path)
        usual = _USUAL.match(self._raw(oid))
        stem = path.rpartition("/")[2].removesuffix(".yaml").partition("~")[0]
        if usual is not None and stem.encode() == b"%b%b-%b" % usual.groups():
            return person, served
        content = self._content(path, oid)
        by = str(content.get("by", person))
        try:
            when = datetime.fromisoformat(str(content.get("at", "")))
            when = when if when.tzinfo is None else when.astimezone(at.zone).replace(tzinfo=None)
        except (ValueError, OverflowError):
            return by, served
        return by, when

    def _content(self, path: str, oid: str | None) -> Mapping[str, Any]:
        document = None if oid is None else records.document_of(path, self._blobs.read(oid))
        is_usable = document is not None and isinstance(document.value, dict)
        return document.value if document is not None and is_usable else {}


def _person(path: str) -> str:
    """Who did the work, by the name of a visit's file."""
    return path.rpartition("/")[2].removesuffix(".yaml")[16:].partition("~")[0]


def _served(path: str) -> datetime | None:
    """When a visit was, by its file's name; None for a stray name."""
    try:
        return datetime.fromisoformat(path.rpartition("/")[2][:15])
    except ValueError:
        return None

"""A commit as its author's bytes say it: parsed from the raw object, never from a rendering."""

import codecs
import re
from datetime import UTC, datetime, timedelta, timezone
from functools import cache, lru_cache
from typing import NamedTuple

from ledger.history.verification import Signature, signature_in

_WHO = re.compile(rb"([^\n]*?) ?<([^<>\n]*)>")

_ZONE = re.compile(rb"[+-]\d{4}")

_SECONDS = re.compile(rb"-?\d{1,18}")

_CO_AUTHOR = re.compile(r"(?im)^co-authored-by: [^\n]*<([^<>\n]+)>[ \t\r]*$")

_BLANK = re.compile(r"\n(?:[ \t]*\n)+")

# The seconds of the years 2 to 9998, so that no time zone leads out of the calendar.
_CALENDAR = range(-62_104_060_800, 253_370_764_800)


# Text encodings that people commit in; others of Python's are no character sets, or slow by design.
_CHARSETS = re.compile(
    r"utf[-_]?8|ascii|iso8859[-_]\d+|cp\d+|koi8[-_][rtu]|euc_\w+|shift_jis\w*|gb\w+|big5\w*"
)


# A symbolic link and a submodule.
_NO_TEXT = ("120000", "160000")


class Signer(NamedTuple):
    """Who and when of a commit, as written there.

    `seconds` are those since 1970 in UTC, None where the bytes give no instant of the calendar;
    `zone` is the offset from UTC as +hhmm.
    """

    name: str
    email: str
    seconds: int | None
    zone: str = "+0000"

    @property
    def at(self) -> datetime | None:
        """The instant, None where there is none."""
        if self.seconds is None:
            return None
        return datetime.fromtimestamp(self.seconds, _zone(self.zone))


class Change(NamedTuple):
    """One path that differs between two trees; `path` is relative to the site's folder.

    A rename is a deletion and an addition.

    An object id and mode is None on the side where the path is not there. Mode is git's octal
    text: 100644 a file, 120000 a symbolic link, 160000 a submodule.
    """

    path: str
    old_oid: str | None
    new_oid: str | None
    old_mode: str | None = None
    new_mode: str | None = None

    @property
    def old_text_oid(self) -> str | None:
        """The blob that was there; None also for a link or submodule, which no site reads."""
        return None if self.old_mode in _NO_TEXT else self.old_oid

    @property
    def new_text_oid(self) -> str | None:
        """The blob that is there; None also for a link or submodule."""
        return None if self.new_mode in _NO_TEXT else self.new_oid


class CommitText(NamedTuple):
    """What the raw commit object alone says.

    `signature` is what the commit carries, not verified: that takes keys someone trusts, see
    `verification`. `oddities` say which headers could not be read as they should be.
    """

    parents: tuple[str, ...]
    author: Signer
    committer: Signer
    message: bytes
    charset: str = "utf-8"
    signature: Signature | None = None
    oddities: tuple[str, ...] = ()

    @property
    def subject(self) -> str:
        """The first paragraph of the message, on one line."""
        return subject_of(self.message.decode(self.charset, "replace"))

    @property
    def co_authors(self) -> set[str]:
        """The addresses, in small letters, of who else wrote it, as git hosts write it."""
        text = self.message.decode(self.charset, "replace")
        return {email.casefold() for email in _CO_AUTHOR.findall(text)}


class Commit(NamedTuple):
    """One commit and what it did to the site's folder.

    `changes` are against the first parent (against nothing for a root). `own_changes` are those
    that no parent has: all of them for an ordinary commit; for a merge, what the merge itself
    wrote, given against its first parent. `dropped` are changes that one side of a merge had
    made, the other side had not touched, and the merge left out all the same; given from that
    side's version to the merge's.
    `boundary` is true where a parent is not in this clone: it is shallow, and `changes` hold the
    whole folder. By `set_back_s` seconds it is dated before what it builds on.
    """

    oid: str
    text: CommitText
    changes: tuple[Change, ...]
    own_changes: tuple[Change, ...]
    dropped: tuple[Change, ...] = ()
    boundary: bool = False
    set_back_s: int = 0

    @property
    def parents(self) -> tuple[str, ...]:
        return self.text.parents

    @property
    def author(self) -> Signer:
        return self.text.author

    @property
    def committer(self) -> Signer:
        return self.text.committer

    @property
    def subject(self) -> str:
        return self.text.subject

    @property
    def signature(self) -> Signature | None:
        return self.text.signature

    @property
    def is_merge(self) -> bool:
        return len(self.text.parents) > 1


def parse_commit(raw: bytes) -> CommitText:
    """The headers and message of a raw commit object; malformed ones are named in `oddities`."""
    head, _, message = raw.partition(b"\n\n")
    headers = _headers(head)
    oddities: list[str] = []
    charset = _charset(headers, oddities)
    return CommitText(
        parents=tuple(
            value.decode("ascii", "replace") for key, value in headers if key == b"parent"
        ),
        author=_person(b"author", headers, charset, oddities),
        committer=_person(b"committer", headers, charset, oddities),
        message=message,
        charset=charset,
        signature=signature_in(raw),
        oddities=tuple(oddities),
    )


def subject_of(message: str) -> str:
    """The first paragraph of a message, on one line."""
    text = "\n" + message.replace("\r\n", "\n") + "\n"
    first = next((part for part in _BLANK.split(text) if part.strip()), "")
    return " ".join(line.strip() for line in first.strip("\n").split("\n"))


def _headers(head: bytes) -> list[tuple[bytes, bytes]]:
    """Keys and values; a value's further lines begin with a space in the object, not here."""
    headers: list[tuple[bytes, bytes]] = []
    for line in head.split(b"\n"):
        if line.startswith(b" ") and headers:
            key, value = headers[-1]
            headers[-1] = (key, value + b"\n" + line[1:])
        else:
            key, _, value = line.partition(b" ")
            headers.append((key, value))
    return headers


def _charset(headers: list[tuple[bytes, bytes]], oddities: list[str]) -> str:
    named = next((value for key, value in headers if key == b"encoding"), None)
    if named is None:
        return "utf-8"
    charset = _known_charset(named)
    if charset is None:
        oddities.append(f"encoding {named.decode('ascii', 'backslashreplace')!r} is not known")
        return "utf-8"
    return charset


@cache
def _known_charset(named: bytes) -> str | None:
    try:
        charset = codecs.lookup(named.decode("ascii")).name
    except (LookupError, UnicodeError, ValueError):
        return None
    return charset if _CHARSETS.fullmatch(charset) else None


def _person(
    role: bytes, headers: list[tuple[bytes, bytes]], charset: str, oddities: list[str]
) -> Signer:
    written = [value for key, value in headers if key == role]
    if len(written) != 1:
        oddities.append(f"{len(written)} {role.decode()} lines")
    if not written:
        return Signer(name="", email="", seconds=None)
    signer = _signer(written[0], charset)
    if signer is None:
        oddities.append(f"{role.decode()} line cannot be read")
        return Signer(name=written[0].decode(charset, "replace"), email="", seconds=None)
    if signer.seconds is None:
        oddities.append(f"{role.decode()} date is outside the calendar")
    return signer


def _signer(line: bytes, charset: str) -> Signer | None:
    """Who and when out of `Name <address> seconds zone`; None where it cannot be read."""
    who, _, when = line.rpartition(b"> ")
    seconds, _, zone = when.partition(b" ")
    known = _known(who + b">", zone, charset)
    if known is None or _SECONDS.fullmatch(seconds) is None:
        return None
    instant = int(seconds)
    name, email, offset = known
    return Signer(name, email, instant if instant in _CALENDAR else None, offset)


@lru_cache(maxsize=1024)  # so many people, in so many time zones, write most of a history
def _known(who: bytes, zone: bytes, charset: str) -> tuple[str, str, str] | None:
    parts = _WHO.fullmatch(who)
    if parts is None or _ZONE.fullmatch(zone) is None:
        return None
    name, email = parts[1].decode(charset, "replace"), parts[2].decode(charset, "replace")
    return name, email, zone.decode("ascii")


@cache
def _zone(zone: str) -> timezone:
    minutes = int(zone[1:3]) * 60 + int(zone[3:5])
    if minutes == 0 or minutes >= 24 * 60:
        return UTC
    return timezone(timedelta(minutes=-minutes if zone[0] == "-" else minutes))

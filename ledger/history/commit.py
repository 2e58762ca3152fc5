"""A commit as its author's bytes say it: parsed from the raw object, never from a rendering."""

import codecs
import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone
from enum import StrEnum
from functools import cache, lru_cache

from ledger.history.signature import Signature, signature_in

_SIGNED = re.compile(
    r"(?P<name>.*?) ?<(?P<email>[^<>]*)> (?P<seconds>-?\d{1,18}) (?P<zone>[+-]\d{4})"
)
# What nearly every commit looks like; any other is taken apart header by header.
_USUAL = re.compile(
    rb"tree [0-9a-f]+\n((?:parent [0-9a-f]+\n)*)author ([^\n]*)\ncommitter ([^\n]*)\n\n"
)
_BLANK = re.compile(r"\n(?:[ \t]*\n)+")
_TRAILER = re.compile(r"(?P<key>[A-Za-z0-9-]+)[ \t]*:[ \t]*(?P<value>.*)")

# Text encodings that people commit in; others of Python's are no character sets, or slow by design.
_CHARSETS = re.compile(
    r"utf[-_]?8|ascii|iso8859[-_]\d+|cp\d+|koi8[-_][rtu]|euc_\w+|shift_jis\w*|gb\w+|big5\w*"
)


class Status(StrEnum):
    """What a commit did to a path. A rename is a deletion and an addition."""

    ADDED = "A"
    DELETED = "D"
    MODIFIED = "M"
    RETYPED = "T"
    OTHER = "X"


@dataclass(frozen=True, slots=True, kw_only=True)
class Signer:
    """Who and when of a commit, as written there: `at` is None where the bytes give no instant."""

    name: str
    email: str
    at: datetime | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One path that differs between two trees; `path` is relative to the site's folder.

    An object id and mode is None on the side where the path is not there. Mode is git's octal
    text: 100644 a file, 120000 a symbolic link, 160000 a submodule.
    """

    status: Status
    path: str
    old_oid: str | None
    new_oid: str | None
    old_mode: str | None
    new_mode: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Commit:
    """One commit and what it did to the site's folder.

    `changes` are against the first parent (against nothing for a root). `own_changes` are those
    that no parent has: all of them for an ordinary commit; for a merge, what the merge itself
    wrote, given against its first parent. `dropped` are changes that one side of a merge had
    made, the other side had not touched, and the merge left out all the same; given from that
    side's version to the merge's.
    `signature` is what the commit carries, not verified: that takes keys someone trusts, see
    `verification`.
    `boundary` is true where a parent is not in this clone: it is shallow, and `changes` hold the
    whole folder.
    `oddities` say which headers could not be read as they should be.
    """

    oid: str
    parents: tuple[str, ...]
    author: Signer
    committer: Signer
    subject: str
    trailers: tuple[tuple[str, str], ...]
    signature: Signature | None
    changes: tuple[Change, ...]
    own_changes: tuple[Change, ...]
    dropped: tuple[Change, ...]
    boundary: bool
    oddities: tuple[str, ...]

    @property
    def is_merge(self) -> bool:
        return len(self.parents) > 1


@dataclass(frozen=True, slots=True, kw_only=True)
class CommitText:
    """What the raw commit object alone says; the fields are those of `Commit`."""

    parents: tuple[str, ...]
    author: Signer
    committer: Signer
    subject: str
    trailers: tuple[tuple[str, str], ...]
    signature: Signature | None
    oddities: tuple[str, ...]


def parse_commit(raw: bytes) -> CommitText:
    """The headers and message of a raw commit object; malformed ones are named in `oddities`."""
    usual = _USUAL.match(raw)
    if usual is not None:
        author, author_wrong = _person(usual[2], "utf-8")
        committer, committer_wrong = _person(usual[3], "utf-8")
        if not author_wrong and not committer_wrong:
            subject, trailers = parse_message(raw[usual.end() :].decode("utf-8", "replace"))
            return CommitText(
                parents=tuple(usual[1].decode("ascii").split()[1::2]),
                author=author,
                committer=committer,
                subject=subject,
                trailers=trailers,
                signature=None,
                oddities=(),
            )
    return _parse_by_header(raw)


def _parse_by_header(raw: bytes) -> CommitText:
    head, _, message = raw.partition(b"\n\n")
    headers = _headers(head)
    oddities: list[str] = []
    charset = _charset(headers, oddities)
    subject, trailers = parse_message(message.decode(charset, "replace"))
    return CommitText(
        parents=tuple(
            value.decode("ascii", "replace") for key, value in headers if key == b"parent"
        ),
        author=_signer(b"author", headers, charset, oddities),
        committer=_signer(b"committer", headers, charset, oddities),
        subject=subject,
        trailers=trailers,
        signature=signature_in(raw),
        oddities=tuple(oddities),
    )


def parse_message(message: str) -> tuple[str, tuple[tuple[str, str], ...]]:
    """The subject (first paragraph on one line) and the trailers, keys as written.

    Trailers are `Key: value` lines that make up the whole last paragraph, which is not the first;
    an indented line goes on with the value before it.
    """
    only = message.strip("\n")
    if "\n" not in only:
        return only.strip(), ()
    text = "\n" + message.replace("\r\n", "\n") + "\n"
    paragraphs = [part.strip("\n").split("\n") for part in _BLANK.split(text) if part.strip()]
    if not paragraphs:
        return "", ()
    subject = " ".join(line.strip() for line in paragraphs[0])
    return subject, _trailers(paragraphs[-1]) if len(paragraphs) > 1 else ()


def _trailers(lines: list[str]) -> tuple[tuple[str, str], ...]:
    found: list[tuple[str, str]] = []
    for line in lines:
        trailer = _TRAILER.fullmatch(line)
        if trailer is not None:
            found.append((trailer["key"], trailer["value"].strip()))
        elif line[:1] in (" ", "\t") and found:
            key, value = found[-1]
            found[-1] = (key, f"{value} {line.strip()}".strip())
        else:
            return ()
    return tuple(found)


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


def _signer(
    role: bytes, headers: list[tuple[bytes, bytes]], charset: str, oddities: list[str]
) -> Signer:
    written = [value for key, value in headers if key == role]
    if len(written) != 1:
        oddities.append(f"{len(written)} {role.decode()} lines")
    if not written:
        return Signer(name="", email="", at=None)
    signer, wrong = _person(written[0], charset)
    if wrong:
        oddities.append(f"{role.decode()} {wrong}")
    return signer


@lru_cache(maxsize=2)  # mostly one and the same person at the same second, twice
def _person(written: bytes, charset: str) -> tuple[Signer, str]:
    text = written.decode(charset, "replace")
    parts = _SIGNED.fullmatch(text)
    if parts is None:
        return Signer(name=text, email="", at=None), "line cannot be read"
    at = _instant(int(parts["seconds"]), parts["zone"])
    signer = Signer(name=parts["name"], email=parts["email"], at=at)
    return signer, "date is outside the calendar" if at is None else ""


def _instant(seconds: int, zone: str) -> datetime | None:
    try:
        return datetime.fromtimestamp(seconds, _zone(zone))
    except (ValueError, OverflowError, OSError):
        return None


@cache
def _zone(zone: str) -> timezone:
    minutes = int(zone[1:3]) * 60 + int(zone[3:5])
    if minutes == 0 or minutes >= 24 * 60:
        return UTC
    return timezone(timedelta(minutes=-minutes if zone[0] == "-" else minutes))

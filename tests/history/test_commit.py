"""Commits from their raw bytes, held to what git itself says of them."""

from datetime import UTC, datetime, timedelta, timezone

import pytest
from campaign import examples
from git_repo import commits_of
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ledger.history.commit import parse_commit, subject_of
from ledger.history.verification import SignatureKind

CET = timezone(timedelta(hours=1))
WHO = b"Mira Osterby <mira@example.org> 1767250800 +0100"


def raw(author=WHO, committer=WHO, more=b"", message=b"Subject\n"):
    return (
        b"tree " + b"0" * 40 + b"\nauthor " + author + b"\ncommitter " + committer + b"\n"
        + more + b"\n" + message
    )  # fmt: skip


def test_people_and_instants_with_their_offset():
    commit = parse_commit(raw(committer=b"Dag Varrick <dag@example.org> 1767254400 -0330"))
    assert (commit.author.name, commit.author.email) == ("Mira Osterby", "mira@example.org")
    assert commit.author.at == datetime(2026, 1, 1, 8, tzinfo=CET)
    assert commit.author.at.utcoffset() == timedelta(hours=1)
    assert commit.committer.at.utcoffset() == -timedelta(hours=3, minutes=30)
    assert commit.committer.at == datetime(2026, 1, 1, 8, tzinfo=UTC)
    assert commit.oddities == ()


@pytest.mark.parametrize(
    ("author", "expected", "oddity"),
    [
        (b"<m@x> 0 +0000", ("", "m@x", datetime(1970, 1, 1, tzinfo=UTC)), None),
        (b"M <> 60 +0000", ("M", "", datetime(1970, 1, 1, 0, 1, tzinfo=UTC)), None),
        (b"M <m@x> -60 +0000", ("M", "m@x", datetime(1969, 12, 31, 23, 59, tzinfo=UTC)), None),
        (b"M <m@x> 0 +9999", ("M", "m@x", datetime(1970, 1, 1, tzinfo=UTC)), None),
        (b"M <m@x> 99999999999999999 +0000", ("M", "m@x", None), "author date is outside the calendar"),
        (b"M <m@x> soon", ("M <m@x> soon", "", None), "author line cannot be read"),
        (b"M m@x 0 +0000", ("M m@x 0 +0000", "", None), "author line cannot be read"),
        (b"M <a> <b> 0 +0000", ("M <a>", "b", datetime(1970, 1, 1, tzinfo=UTC)), None),
        (b"M\xff <m@x> 0 +0000", ("M�", "m@x", datetime(1970, 1, 1, tzinfo=UTC)), None),
        (b"", ("", "", None), "author line cannot be read"),
    ],
)  # fmt: skip
def test_malformed_people_are_told_not_guessed(author, expected, oddity):
    commit = parse_commit(raw(author=author))
    assert (commit.author.name, commit.author.email, commit.author.at) == expected
    assert commit.oddities == ((oddity,) if oddity else ())
    assert commit.committer.name == "Mira Osterby"


def test_a_second_or_a_missing_author_is_told():
    twice = parse_commit(raw(more=b"author Other <o@x> 0 +0000\n"))
    assert twice.oddities == ("2 author lines",)
    assert twice.author.name == "Mira Osterby"
    assert parse_commit(b"tree x\n\nMessage").oddities == ("0 author lines", "0 committer lines")


@pytest.mark.parametrize(
    ("charset", "written", "read", "odd"),
    [
        (b"ISO-8859-1", "Bürste".encode("latin-1"), "Bürste", False),
        (b"windows-1252", "„Bürste“".encode("cp1252"), "„Bürste“", False),
        (b"UTF-8", "Bürste".encode(), "Bürste", False),
        (b"EUC-JP", "ブラシ".encode("euc-jp"), "ブラシ", False),
        (b"KOI8-R", "щётка".encode("koi8-r"), "щётка", False),
        (b"GB18030", "刷子".encode("gb18030"), "刷子", False),
        (b"rot13", b"Subject", "Subject", True),
        (b"zlib", b"Subject", "Subject", True),
        (b"idna", b"Subject", "Subject", True),
        (b"unicode_escape", b"\\u0041", "\\u0041", True),
        (b"no-such\xff", "Bürste".encode(), "Bürste", True),
    ],
)
def test_the_encoding_header(charset, written, read, odd):
    commit = parse_commit(raw(more=b"encoding " + charset + b"\n", message=written))
    assert commit.subject == read
    assert any("encoding" in oddity for oddity in commit.oddities) == odd


@pytest.mark.parametrize(
    ("header", "kind"),
    [
        (b"", None),
        (b"gpgsig -----BEGIN PGP SIGNATURE-----\n \n abc\n", SignatureKind.OPENPGP),
        (b"gpgsig -----BEGIN PGP MESSAGE-----\n abc\n", SignatureKind.OPENPGP),
        (b"gpgsig -----BEGIN SSH SIGNATURE-----\n abc\n", SignatureKind.SSH),
        (b"gpgsig -----BEGIN SIGNED MESSAGE-----\n abc\n", SignatureKind.X509),
        (b"gpgsig-sha256 -----BEGIN SSH SIGNATURE-----\n abc\n", SignatureKind.SSH),
        (b"gpgsig trust me\n", SignatureKind.UNKNOWN),
        (b"mergetag object x\n gpgsig -----BEGIN PGP SIGNATURE-----\n", None),
    ],
)
def test_the_kind_of_signature_a_commit_carries(header, kind):
    commit = parse_commit(raw(more=header))
    assert (commit.signature.kind if commit.signature else None) == kind
    assert commit.subject == "Subject"


MESSAGES = {
    "none": "",
    "subject": "Set the brush",
    "a subject of two lines": "Set the\nbrush\n\nBody\n",
    "leading blank lines": "\n\n  \nSet the brush\n\nBody",
    "trailing blank lines": "Set\n\nA: 1\n\n\n",
    "blanks in the blank line": "Set\n \t\nA: 1\n",
}


@pytest.mark.parametrize("message", MESSAGES.values(), ids=MESSAGES)
def test_the_subject_is_the_one_git_reads(message, repo):
    repo.commit()
    oid = repo.raw_commit(
        b"author " + WHO + b"\ncommitter " + WHO + b"\n", b"\n" + message.encode()
    )
    assert subject_of(message) == repo.git("log", "-1", "--format=%s", oid)


NAMES = st.text(
    st.characters(codec="utf-8", exclude_characters="<>\n\0", exclude_categories=["Cs"])
)


@settings(
    max_examples=examples(25),
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(
    name=NAMES,
    email=NAMES,
    seconds=st.integers(86_400, 4_102_444_800),
    offset=st.integers(-14 * 60, 14 * 60),
)
def test_people_are_those_git_reads(repo, name, email, seconds, offset):
    repo.commit()
    zone = f"{'-' if offset < 0 else '+'}{abs(offset) // 60:02}{abs(offset) % 60:02}"
    who = f"{name} <{email}> {seconds} {zone}".encode()
    oid = repo.raw_commit(b"author " + who + b"\ncommitter " + WHO + b"\n")
    commit = [commit for commit in commits_of(repo.open()) if commit.oid == oid][0]  # noqa: RUF015
    by_git = repo.git("log", "-1", "--no-mailmap", "--format=%an%x00%ae%x00%aI", oid).split("\0")
    # git trims blanks and stray punctuation around names; the audit shows them as written
    assert commit.author.name.strip().endswith(by_git[0].strip())
    assert commit.author.at == datetime.fromisoformat(by_git[2])
    assert commit.author.at.utcoffset() == datetime.fromisoformat(by_git[2]).utcoffset()


@given(st.binary(max_size=400))
def test_no_bytes_at_all_make_parsing_fail(content):
    commit = parse_commit(content)
    assert isinstance(commit.subject, str)
    assert commit.author.at is None or commit.author.at.tzinfo is not None


@given(
    more=st.lists(st.binary(max_size=30), max_size=4),
    people=st.binary(max_size=60),
    message=st.binary(max_size=80),
)
def test_odd_headers_never_hide_the_committer(more, people, message):
    headers = b"".join(b" " + line.replace(b"\n", b" ") + b"\n" for line in more)
    commit = parse_commit(
        raw(author=people.replace(b"\n", b" "), more=b"odd x\n" + headers, message=message)
    )
    assert commit.committer.email == "mira@example.org"

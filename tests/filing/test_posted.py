"""What mail and messengers do to a text is put right; what cannot be is never taken for whole."""

import html
import re
import textwrap
import zlib
from email.message import EmailMessage
from email.policy import SMTP

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from ledger.filing.posted import check_digits, text_of, visits_in

BODY = """\
at: 2026-11-20T06:40
by: m-tarrow
meters: {vehicles: 184233}
note: "Cold this morning, and the doors stood open for an hour before anybody closed them again."
entries:
- {task: check-brush-speed, at: brush-p2, counted: 43, seconds: 30.5, found_hz: 44}
- {task: look-over, at: conveyor, note: "damper #2: leaks oil, but only when it is cold -- and loud"}
- {finding: "Schraube lose, won't hold", at: [brush-p2, conveyor], urgency: planned}
"""
VALUE = yaml.load(BODY, Loader=yaml.BaseLoader)
SENT = f"{BODY}# check {check_digits(VALUE)}\n"


def wrapped(width: int, text: str = SENT) -> str:
    return "\n".join(
        "\n".join(textwrap.wrap(line, width, break_long_words=False, break_on_hyphens=False))
        for line in text.split("\n")
    )


def quoted(text: str) -> str:
    return "".join(f"> {line}\n" for line in text.splitlines())


def mail(encoding: str, subtype: str = "plain", text: str = SENT) -> bytes:
    message = EmailMessage(policy=SMTP)
    message["From"], message["Subject"] = "m@wash.example", "visit"
    message.set_content(text, subtype=subtype, cte=encoding)
    return message.as_bytes()


def with_attachment() -> bytes:
    message = EmailMessage(policy=SMTP)
    message["From"] = "m@wash.example"
    message.set_content(SENT)
    message.add_attachment(SENT.replace("43", "34"), filename="visit.txt")
    return message.as_bytes()


WHOLE = {
    "as it was sent": SENT,
    "CR LF": SENT.replace("\n", "\r\n"),
    "curly quotes and dashes": re.sub(r'"(.*?)"', "“\\1”", SENT)
    .replace("'", "’")
    .replace("--", "—"),
    "capitals at the start of a line": re.sub(r"(?m)^[a-z]", lambda sign: sign[0].upper(), SENT),
    "wrapped at 72": wrapped(72),
    "wrapped at 40": wrapped(40),
    "wrapped at 25, with `at:` at the start of a line": wrapped(25),
    "a quoted reply": quoted(SENT),
    "a quoted reply, wrapped": quoted(wrapped(60)),
    "quoted twice": quoted(quoted(SENT)),
    "a quoted reply below a greeting": f"Here it is.\n\n{quoted(SENT)}\nRegards\n",
    "indented": "".join(f"  {line}\n" for line in SENT.splitlines()),
    "within a fence, with a greeting before and a signature behind": (
        f"Hi,\nat: last\n```yaml\n{SENT}```\nSent from my phone"
    ),
    "spaces that do not break": SENT.replace(" ", "\N{NO-BREAK SPACE}"),
    "a mark of the byte order": "\ufeff" + SENT,
    "stuffed with spaces": "".join(f" {line}\n" for line in SENT.splitlines()),
    "mail, 8bit": mail("8bit"),
    "mail, quoted-printable": mail("quoted-printable"),
    "mail, base64": mail("base64"),
    "mail in HTML, set in type": mail(
        "8bit", "html", f"<p>Here:</p><pre>{html.escape(SENT)}</pre>"
    ),
    "mail in HTML, a block a line": mail(
        "8bit", "html", "".join(f"<div>{html.escape(line)}</div>" for line in SENT.splitlines())
    ),
    "mail in HTML alone": mail("base64", "html", html.escape(SENT).replace("\n", "<br>\n")),
    "mail with an attachment, which is not read": with_attachment(),
    "the source of a mail, pasted": mail("quoted-printable").decode().replace("\r\n", "\n"),
}
CHANGED = {
    "a number": SENT.replace("44", "45"),
    "an entry left out": re.sub(r"(?m)^- \{task: look-over.*\n", "", SENT),
    "a letter of a note": SENT.replace("leaks", "leaky"),
    "another person": SENT.replace("m-tarrow", "d-varrick"),
    "the check": re.sub(r"check ........", "check 00000000", SENT),
    "all on one line": " ".join(SENT.split()),
    "cut off": SENT[:-30],
    "cut off within an entry": SENT[:-120] + "\n# check 1234abcd",
    "an anchor": SENT.replace("[brush-p2,", "&a [brush-p2,"),
}


def test_the_check_is_the_crc_of_the_standard():
    """The check value of CRC-32 over `123456789`: ISO/IEC 3309 as in the published catalogues."""
    assert f"{zlib.crc32(b'123456789'):08x}" == "cbf43926"
    told = zlib.crc32(b'{"a":["x y"],"b":"1 2"}')
    assert check_digits({"b": "1  2", "a": ["x\ny"]}) == f"{told:08x}"


@pytest.mark.parametrize("way", WHOLE)
def test_a_visit_comes_through_whole(way):
    sent = WHOLE[way]
    (found,) = visits_in(text_of(sent if isinstance(sent, bytes) else sent.encode()))
    assert (found.is_whole, found.fault) == (True, "")
    assert check_digits(yaml.load(found.yaml, Loader=yaml.BaseLoader)) == check_digits(VALUE)


@pytest.mark.parametrize("way", CHANGED)
def test_what_was_changed_is_not_whole(way):
    (found,) = visits_in(text_of(CHANGED[way].encode()))
    assert not found.is_whole


def test_every_visit_of_a_text_is_found_with_its_line():
    other = SENT.replace("43", "44")
    found = list(visits_in(f"Two of them:\n{SENT}\nand, changed on the way:\n{other}\n{BODY}"))
    assert [(one.line, one.is_whole) for one in found] == [(2, True), (13, False), (23, False)]
    assert "no check line" in found[2].fault


def test_what_was_repaired_is_named():
    (found,) = visits_in(quoted(SENT.replace("by:", "By:").replace("'", "’").replace('"', "“")))
    assert found.is_whole
    assert found.repairs == (
        "marks of a quoted mail", "capitals at the start of a line", "curly quotes",
    )  # fmt: skip


@given(st.text(max_size=300))
def test_no_text_breaks_it(text):
    list(visits_in(text_of(text.encode("utf-8", "surrogatepass"))))


@given(st.binary(max_size=300), st.integers(0, len(SENT)))
def test_no_bytes_within_a_visit_break_it(junk, place):
    raw = SENT.encode()[:place] + junk + SENT.encode()[place:]
    for found in visits_in(text_of(raw)):
        if found.is_whole:
            assert check_digits(yaml.load(found.yaml, Loader=yaml.BaseLoader)) == check_digits(
                VALUE
            )

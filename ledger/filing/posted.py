"""Visits in any text: as the phone's page sent them, and what mail and messengers did to that.

A sent visit is plain YAML that ends in `# check` and eight digits: the CRC-32 of what the text
says. So whatever was done to line ends, quotes and indentation can be undone, as long as the result
says what was sent; and where it cannot, that is known, and never silently wrong. The check finds
accidents. It is no signature: whoever can write a visit can write its check.
"""

import html
import json
import quopri
import re
import zlib
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import yaml

from ledger.values import dataclass

MOST_BYTES = 2**20

_BEGIN = re.compile(r"(?mi)^[ \t>]*at:[ \t]*\S")
_END = re.compile(r"(?mi)#[ \t]*check:?[ \t]+([0-9a-f]{8})\b")

_BLANKS = str.maketrans(
    {**dict.fromkeys("\u00a0\u202f", " "), **dict.fromkeys("\u200b\u2060\ufeff\u00ad", "")}
)
"""Spaces that do not break become such as do, and what has no width goes."""

# Most lines beginning with `at:` before a check line; in a wrapped text a place can stand there.
_MOST_BEGINNINGS = 50


@dataclass(frozen=True, slots=True, kw_only=True)
class Posted:
    """One visit of a text: its YAML once repaired, the line it begins on, and what was repaired.

    `is_whole` says that it is what was sent, to the letter. `fault` says, where nothing can be read
    out of it, why; then `yaml` is empty.
    """

    line: int
    yaml: str = ""
    repairs: tuple[str, ...] = ()
    is_whole: bool = False
    fault: str = ""


def check_digits(value: Any) -> str:
    """What stands behind `# check`: the CRC-32 (ISO/IEC 3309) of a visit's values as text.

    `checkDigits` of the pocket page is the same.
    """
    content = json.dumps(_as_text(value), sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return f"{zlib.crc32(content.encode('utf-8', 'surrogatepass')):08x}"


def _as_text(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {key: _as_text(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_as_text(item) for item in value]
    # A line that was wrapped has a line end where it had a space.
    return " ".join(str(value).translate(_BLANKS).split())


def text_of(raw: bytes) -> str:
    """The text in a file or in what was pasted; of a mail its text, and no attachment."""
    if re.match(rb"(?:[A-Za-z-]+:[^\n]*\n(?:[ \t][^\n]*\n)*)+\r?\n", raw):
        import email  # noqa: PLC0415 - a list of work reads no mail
        from email.message import EmailMessage  # noqa: PLC0415 - nor this
        from email.policy import default as modern  # noqa: PLC0415 - nor this

        parsed = email.message_from_bytes(raw, policy=modern)
        if isinstance(parsed, EmailMessage) and "from" in parsed:
            body = parsed.get_body(("plain", "html"))
            content = "" if body is None else body.get_content()
            is_html = body is not None and body.get_content_subtype() == "html"
            return _without_tags(content) if is_html else content
    return raw.decode("utf-8", "replace")


def _without_tags(text: str) -> str:
    # A line end counts as one in <pre> alone.
    parts = re.split(r"(?is)(<pre\b.*?</pre>)", text)
    flowing = (part if at % 2 else re.sub(r"\s*\n\s*", " ", part) for at, part in enumerate(parts))
    lines = re.sub(r"(?i)<br\s*/?>|</?(?:p|div|li|tr|pre)\b[^>]*>", "\n", "".join(flowing))
    return html.unescape(re.sub(r"<[^>]*>", "", lines))


def visits_in(text: str) -> Iterator[Posted]:
    """Every visit of a text, whole or not, in its order."""
    if "content-transfer-encoding: quoted-printable" in text.lower():
        # The raw source of a mail, pasted.
        raw = quopri.decodestring(text.encode("utf-8", "surrogatepass"))
        text = raw.decode("utf-8", "replace")
    text = text.replace("\r\n", "\n").replace("\r", "\n").translate(_BLANKS)
    start = 0
    for end in _END.finditer(text):
        begins = [found.start() for found in _BEGIN.finditer(text, start, end.start())]
        yield _posted(text, begins or [start], end)
        start = end.end()
    rest = _BEGIN.search(text, start)
    if rest is not None and re.search(r"(?mi)^\W*entries:", text[rest.start() :]):
        line = text.count("\n", 0, rest.start()) + 1
        yield Posted(line=line, fault="it has no check line: cut off, or typed by hand")


def _posted(text: str, begins: Sequence[int], end: re.Match[str]) -> Posted:
    check = end[1].lower()
    found = [
        _repaired(text[begin : end.start()], text.count("\n", 0, begin) + 1, check)
        for begin in begins[-_MOST_BEGINNINGS:]
    ]
    return max(reversed(found), key=lambda one: (one.is_whole, not one.fault))


def _repaired(text: str, line: int, check: str) -> Posted:
    """The first state of a text, as repairs go on, that says what was sent; else the last read."""
    read: Posted | None = None
    fault = ""
    repairs: list[str] = []
    for name, repair in (("", str), *_REPAIRS):
        mended = repair(text)
        if name and mended == text:
            continue
        text = mended
        repairs += [name] if name else []
        try:
            value = _values(text)
        except ValueError as wrong:
            fault = str(wrong)
            continue
        is_whole = check_digits(value) == check
        read = Posted(line=line, yaml=text, repairs=tuple(repairs), is_whole=is_whole)
        if read.is_whole:
            return read
    return read or Posted(line=line, fault=fault)


def _values(text: str) -> Mapping[str, Any]:
    """The values of a YAML text, every word as text. Raises ValueError."""
    try:
        for event in yaml.parse(text, Loader=yaml.CSafeLoader):
            if isinstance(event, yaml.AliasEvent) or getattr(event, "anchor", None):
                raise ValueError("it has an anchor, and a visit has none")
        value = yaml.load(text, Loader=yaml.CBaseLoader)  # noqa: S506 - makes nothing but text
    except (yaml.YAMLError, RecursionError) as wrong:
        raise ValueError(f"it is no YAML: {str(wrong).splitlines()[0]}") from None
    if not isinstance(value, Mapping) or not {"at", "by", "entries"} <= value.keys():
        raise ValueError("it has no `at`, `by` and `entries`")
    return value


_CURLY = str.maketrans({**dict.fromkeys("“”„‟", '"'), **dict.fromkeys("‘’‚‛", "'")})
_DASHES = str.maketrans({"—": "--", "…": "..."})


def _without_marks(text: str) -> str:
    return re.sub(r"(?m)^ (?=[-a-z#])", "", re.sub(r"(?m)^(?:[>|]\s?)+", "", text))


def _with_small_keys(text: str) -> str:
    return re.sub(r"(?m)^[A-Z](?=[a-z_]*:(?:\s|$))", lambda found: found[0].lower(), text)


def _unwrapped(text: str) -> str:
    """Lines within braces or quotes joined again; what stood at a line's end was a space."""
    lines: list[str] = []
    for line in text.split("\n"):
        if lines and _is_open(lines[-1]):
            lines[-1] = f"{lines[-1].rstrip()} {line.strip()}"
        else:
            lines.append(line)
    return "\n".join(lines)


def _is_open(line: str) -> bool:
    bare = re.sub(r'"(?:[^"\\]|\\.)*"', "", line)
    return bare.count("{") + bare.count("[") > bare.count("}") + bare.count("]") or '"' in bare


def _with_lists_in_line(text: str) -> str:
    return re.sub(r"(?m)^[ \t]*-[ \t]+(?=\{)", "- ", re.sub(r"(?m)^[ \t]+(?=[a-z_]+:)", "", text))


_REPAIRS = (
    ("marks of a quoted mail", _without_marks),
    ("capitals at the start of a line", _with_small_keys),
    ("lines that were wrapped", _unwrapped),
    ("indentation", _with_lists_in_line),
    ("curly quotes", lambda text: text.translate(_CURLY)),
    ("lines that were wrapped", _unwrapped),
    ("dashes", lambda text: text.translate(_DASHES)),
)

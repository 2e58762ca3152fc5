"""The one place where text that a person typed is made fit for markup, terminals and logs."""

import html
import json
import re
from functools import lru_cache
from typing import Any

# Controls other than tab and line feed, marks that reorder text, separators that some programs
# take for line ends, byte order marks, non-characters and halves of surrogate pairs.
_UNPRINTABLE = re.compile(
    "[\\x00-\\x08\\x0b-\\x1f\\x7f-\\x9f\\u2028\\u2029\\u202a-\\u202e\\u2066-\\u2069"
    "\\ufeff\\ufffe\\uffff\\ud800-\\udfff]"
)

_BLANKS = re.compile(r"\r\n|[\t\n\r]")


# Continuous integration obeys `##[command]` and `##vso[command]` anywhere in a line, and
# `::command` at its start (recalled from how the runners read logs; no standard says so).
_LOG_COMMAND = re.compile(r"##(?=\[|vso\[)")

_LOG_START = re.compile(r"^\s*::")


# CommonMark 6: always markup somewhere: escape, code, emphasis, links; GFM: strike-through and
# the bar that ends a table's cell.
_ALWAYS_MARKUP = r"[\\`*\[\]~|]"

# An underscore inside a word is never emphasis (CommonMark 6.2); ends of the text may stand
# beside a letter or may not, so they count as an end of a word.
_UNDERSCORE = r"(?<![^\W_])_|_(?![^\W_])"

# `<` and `&` mean something only before these; at the end nobody knows what follows.
_OPENERS = r"<(?=[A-Za-z/!?]|\Z)|&(?=[#A-Za-z]|\Z)"

_MARKUP = re.compile(f"{_ALWAYS_MARKUP}|{_UNDERSCORE}|{_OPENERS}")


def visible(text: str) -> str:
    """`text` with a printable sign for each character that would act or hide when shown.

    Tabs and line feeds stay. Controls become their Unicode pictures (U+2400), others `⟨202E⟩`.
    """
    return _UNPRINTABLE.sub(_sign, text)


def terminal_text(text: str) -> str:
    """`text` on one line, with nothing in it that a terminal would obey."""
    return visible(_BLANKS.sub(" ", text))


def defused(text: str) -> str:
    """`text`, as long as before, with no command in it for whoever reads the log."""
    broken = _LOG_COMMAND.sub("#\N{MUSIC SHARP SIGN}", text)
    return _LOG_START.sub(lambda match: match.group().replace("::", ":\N{RATIO}"), broken)


def log_text(text: str) -> str:
    """`text` on one line, with nothing in it that a terminal or a log would obey."""
    return terminal_text(defused(text))


def json_text(document: Any, *, ascii_only: bool = True) -> str:
    """`document` as indented JSON, without a sign that a terminal or a log would obey."""
    written = json.dumps(document, indent=2, ensure_ascii=ascii_only)
    # Both stand in strings only, where an escape may stand for them; line ends part the lines.
    kept = _UNPRINTABLE.sub(lambda match: f"\\u{ord(match.group()):04x}", written)
    return re.sub("#(?=#)", r"\\u0023", kept) + "\n"


# A book repeats its words: dates, names, verdicts.
@lru_cache(maxsize=16_384)
def markdown_text(text: str) -> str:
    """`text` as inline CommonMark that shows it literally, inside a GFM table's cell too.

    Line ends become spaces. What would open a block at the start of a paragraph (`#`, `-`, `1.`)
    is not touched: whoever starts a paragraph guards its start.
    """
    return _MARKUP.sub(r"\\\g<0>", terminal_text(text))


def html_text(text: str) -> str:
    """`text` for HTML, between tags or in a quoted attribute."""
    return html.escape(visible(text))


def xml_text(text: str) -> str:
    """`text` for XML 1.0, between tags or in a quoted attribute; tabs and line ends survive."""
    return html.escape(visible(text)).replace("\t", "&#9;").replace("\n", "&#10;")


def github_command_text(text: str) -> str:
    """`text` as the message of a GitHub workflow command."""
    return visible(text).replace("%", "%25").replace("\n", "%0A")


def github_command_property(text: str) -> str:
    """`text` as the value of a property of a GitHub workflow command."""
    return github_command_text(text).replace(":", "%3A").replace(",", "%2C")


def _sign(match: re.Match[str]) -> str:
    code = ord(match.group())
    if code < 0x20:
        return chr(0x2400 + code)
    return "\N{SYMBOL FOR DELETE}" if code == 0x7F else f"⟨{code:04X}⟩"

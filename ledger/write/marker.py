"""The sentence by which a file of the book is known as one this program made."""

import re

MARKER = "Rendered by tunnelbook from the files of this site; edits here are lost."

# A page starts with it; markup that must come first (a document type) is short.
_WITHIN = 400
_VERSION = re.compile(rf"{re.escape(MARKER)} Version (\d[\w.+-]{{0,39}})\. ")
_MARKER_LINE = re.compile(rf"\A<!-- {re.escape(MARKER)}[^\n]* -->\n*")


def has_marker(text: str) -> bool:
    return MARKER in text[:_WITHIN]


def marker_of(version: str) -> str:
    """The marker with the version of the program that rendered; without one, the marker alone."""
    return f"{MARKER} Version {version}." if version else MARKER


def without_marker_line(markdown: str) -> str:
    """A Markdown page without the comment at its start that holds the marker and the version."""
    return _MARKER_LINE.sub("", markdown, count=1)


def version_in(text: str) -> str:
    """The version that a page's marker names; "" where it names none."""
    found = _VERSION.search(text[:_WITHIN])
    return found[1] if found else ""

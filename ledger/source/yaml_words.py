"""What a YAML reader says of broken text, in words that help the person who typed it."""

from typing import NamedTuple


class Said(NamedTuple):
    """What is wrong, what to do, and whether the place to show is where the thing began.

    `is_sure` where the reader's words leave no doubt what was typed.
    """

    message: str
    remedy: str
    is_at_opening: bool = False
    is_sure: bool = False


# What ruamel says, in part, against what to tell a person and what the person can do.
_PLAIN_WORDS: tuple[tuple[str, str, str], ...] = (
    (
        "mapping values are not allowed here",
        "a colon and a space cannot stand here",
        "put the text in quotes, or line the key up with its neighbours",
    ),
    (
        "expected <block end>",
        "the line does not line up with the ones above",
        "give entries of one list, and keys of one mapping, the same indentation",
    ),
    (
        r"found character '\t'",
        "a tab stands here",
        "replace tabs by spaces",
    ),
    (
        "that cannot start any token",
        "text cannot start with this character",
        "put the text in quotes",
    ),
    ("could not find expected ':'", "a key without its colon", "write key: value"),
    ("found unexpected end of stream", "a quote is opened and never closed", "close the quote"),
    (
        "found unexpected document separator",
        "a quote is opened and never closed",
        "close the quote",
    ),
    ("expected ',' or ']'", "a list in [ ] is not closed", "part the items by commas and close it"),
    (
        "expected ',' or '}'",
        "a mapping in { } is not closed",
        "part the keys by commas and close it; text with a colon or comma in it takes quotes",
    ),
    (
        "more indented follow up line",
        "a block of text starts with a line of mere spaces",
        "delete the spaces",
    ),
    (
        "expected the node content",
        "a value is missing here",
        "write the value, and close every bracket",
    ),
    ("unknown escape character", "there is no such escape", r"write \\ for a backslash"),
    ("undefined alias", "aliases are not part of the format", "write the value out"),
    ("undefined tag handle", "tags are not part of the format", "take the tag away"),
)


# Those of them that a slip elsewhere in the text cannot be behind.
_SURE_WORDS = frozenset(
    {
        "more indented follow up line",
        "unknown escape character",
        "undefined alias",
        "undefined tag handle",
    }
)


def in_plain_words(problem: str) -> Said:
    """The reader's words where no plainer ones are known."""
    for says, message, remedy in _PLAIN_WORDS:
        if says in problem:
            return Said(
                message, remedy, is_at_opening="closed" in message, is_sure=says in _SURE_WORDS
            )
    return Said(problem or "the text is not YAML", "correct the line, or put the text in quotes")

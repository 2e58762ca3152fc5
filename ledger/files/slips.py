"""What people mistype: for a line at fault, the slip that explains it and the line as it was meant.

A slip is told only where the fault is gone with it, so on a file without a fault none is looked
for, and on a line that is right none can be found.
"""

import re
from collections.abc import Callable, Sequence
from typing import NamedTuple

from ledger.files import slip_finders as find
from ledger.files.diagnostics import Diagnostic, Position
from ledger.files.slip_finders import ITEM, KEY, Find, Fix, in_quotes, replaced
from ledger.files.yaml_fast import number_without_commas

#: Larger texts are not mended: each proposal is read anew.
MAX_MENDED_CHARACTERS = 32 * 1024

#: Of one file so many faults are looked into; the others keep the words of the reader.
MAX_MENDED_FAULTS = 5


class Slip(NamedTuple):
    """What was mistyped, and the text of the whole file as it was meant."""

    fault: Diagnostic
    text: str


def find_slip(
    text: str, path: str, lines: Sequence[int], is_better: Callable[[str], bool]
) -> Slip | None:
    """The slip on one of `lines`, counted from 1, that explains the fault seen there, or None.

    `is_better` says whether a text is without that fault.
    """
    # Where characters were at fault, no line is what was typed.
    if len(text) > MAX_MENDED_CHARACTERS or "\N{REPLACEMENT CHARACTER}" in text:
        return None
    rows = text.split("\n")
    numbers = [number for number in dict.fromkeys(lines) if 0 < number <= len(rows)]
    for known in KNOWN_SLIPS:
        for finder in known.finders:
            for number in numbers:
                for fix in finder(rows, number - 1):
                    first, last = number - 1 - fix.above, number - 1 + fix.replaces
                    mended = "\n".join((*rows[:first], *fix.lines, *rows[last:]))
                    if is_better(mended):
                        return Slip(_fault(known, fix, path, number, rows[number - 1]), mended)
    return None


def in_place_of(
    slip: Slip, found: Sequence[Diagnostic], left: Sequence[Diagnostic]
) -> list[Diagnostic]:
    """`found` with the slip in the place of the faults on its line that are gone without it.

    `left` are the faults of the text as it was meant.
    """
    still = {(one.rule, one.message) for one in left}
    line = slip.fault.position.line
    kept = [one for one in found if one.position.line != line or (one.rule, one.message) in still]
    return [*kept, slip.fault]


class _Known(NamedTuple):
    """A slip that people make, in words that may name the groups of its finders' patterns."""

    rule: str
    message: str
    remedy: str
    finders: tuple[Find, ...]
    #: Whether the line as it was meant is shown.
    is_shown: bool


def _slip(rule: str, message: str, remedy: str, *finders: Find, is_shown: bool = True) -> _Known:
    return _Known(rule, message, remedy, finders, is_shown)


def _fault(known: _Known, fix: Fix, path: str, number: int, line: str) -> Diagnostic:
    meant = fix.lines[0].strip() if len(fix.lines) == 1 and known.is_shown else ""
    end = fix.end + 1 if fix.end > fix.start else 0
    return Diagnostic(
        rule=known.rule,
        position=Position(path=path, line=number, column=fix.start + 1, end_column=end),
        message=known.message.format_map(fix.names),
        remedy=known.remedy.format_map(fix.names),
        nearest=meant if meant != line.strip() else "",
        source_line=line,
    )


_CURLY = "\u201c\u201d\u201e\u201f\u2018\u2019\u201a\u201b\u00ab\u00bb\u2039\u203a\uff02\uff07"

_DASHES = "\u2010-\u2015\u2212\ufe58\ufe63\uff0d"

# Signs that look like one of the format or like nothing, and what to put in their place.
_LOOKALIKES = (
    ("a full-width colon is used instead of `:`", r"[\uff1a\ufe55\u02d0\ua789] ?", ": "),
    ("a full-width comma is used instead of `,`", r"[\uff0c\u3001\u060c\ufe50]", ","),
    ("a full-width bracket is used instead of `{{`", r"\uff5b", "{"),
    ("a full-width bracket is used instead of `}}`", r"\uff5d", "}"),
    ("a full-width bracket is used instead of `[`", r"\uff3b", "["),
    ("a full-width bracket is used instead of `]`", r"\uff3d", "]"),
    ("there is a non-breaking space here", r"[\u00a0\u1680\u2000-\u200a\u202f\u205f\u3000]", " "),
    ("there is an invisible character here", r"[\u00ad\u200b-\u200d\u2060]", ""),
)

_BLOCK_KEY = rf"^{ITEM}(?P<key>{KEY}):\s+"

_FLOW_KEY = rf"[{{,]\s*(?P<key>{KEY}):\s+"

# The value of a key in braces ends where the next key or the end of the braces stands.
_FLOW_END = rf"(?=\s*(?:,\s*[\"']?{KEY}[\"']?:(?:\s|$)|\}}\s*$|\}}\s*,))"

# A character of a value, which ends before the next key.
_TEXT = rf"(?:(?!,\s*{KEY}:\s)[^{{}}])"

_PLAIN = rf"(?:(?!,\s*{KEY}:\s)[^\"'{{}}\[\]])"

_SIGNS = r"@`%&*!|>\[\]{}\"'#?,-"


def _text_in_quotes(match: re.Match[str]) -> str:
    return in_quotes(match["slip"].strip().strip(_CURLY))


def _requoted(match: re.Match[str]) -> str:
    text = match["slip"]
    return in_quotes(text[1:-1] if text[-1] == text[0] else text)


def _with_point(match: re.Match[str]) -> str:
    return number_without_commas(match["slip"].replace(" ", ""))


def _in_braces(match: re.Match[str]) -> str:
    is_closed = find.unmatched_brackets(match.string)[1] is not None
    return "{" + match["slip"] + ("" if is_closed else "}")


def _of_value(
    slip: str, put: Callable[[re.Match[str]], str], *, in_comments: bool = False
) -> tuple[Find, ...]:
    """At the value of a key that has its own line, and of one in braces."""
    return tuple(
        replaced(f"{key}{slip}{end}", put, in_comments=in_comments)
        for key, end in ((_BLOCK_KEY, r"(?=\s*$)"), (_FLOW_KEY, _FLOW_END))
    )


def _without_colon(*, with_known_key: bool) -> Find:
    return replaced(
        rf"^{ITEM}(?P<at>(?P<key>{KEY})(?P<slip>\s*(?:=>|->|\u2192|[=;|~,]|\s-)\s*|\s*\.\s+|\s+)"
        r"(?=[^\s:=]))(?=[^:]*$|[{\[]|[^:]*:\S[^:]*$)",
        ": ",
        with_known_key=with_known_key,
    )


_COLON_MISSING = (
    "missing-colon",
    "the colon after `{key}` is missing",
    "put a colon after the key",
)

_QUOTE_IT = "put the text in quotes"

# The particular ones come first; the general ones, which nearly any line could satisfy, last.
KNOWN_SLIPS = (
    _slip(
        "merge-mark",
        "this is a mark of an unfinished merge",
        "keep one of the two versions, and delete the lines that mark them",
        find.removed(r"<{7}|={7}|>{7}"),
    ),
    _slip(
        "pasted-markup",
        "this is a line of Markdown or HTML",
        "delete the line",
        find.removed(r"\s*(?:(?:```|~~~|</?[a-z]+>).*|\|.*\|\s*$|\*\*.*\*\*\s*$)"),
    ),
    _slip("tab", "there is a tab here", "replace tabs by spaces", replaced(r"(?P<slip>\t+)", " ")),
    *(
        _slip(
            "lookalike-character",
            message,
            "delete it and type it again" if plain else "delete it, or type the line again",
            replaced(f"(?P<slip>{signs})", plain),
        )
        for message, signs, plain in _LOOKALIKES
    ),
    _slip(
        "curly-quotes",
        "curly quotes do not count as quotes",
        "type straight quotes, or none around a plain word",
        replaced(
            rf"(?P<slip>[{_CURLY}](?P<text>[^{_CURLY}]*(?:[\u2019](?=\w)[^{_CURLY}]*)*)[{_CURLY}])",
            lambda match: in_quotes(match["text"]),
        ),
    ),
    _slip(
        "wrong-dash",
        "a long dash is used instead of `-`",
        "type - and a space",
        replaced(rf"^\s*(?P<slip>[{_DASHES}]+\s*)(?=\S)", "- "),
    ),
    _slip(
        "wrong-dash",
        "there are two dashes before the item",
        "remove one dash",
        replaced(r"^\s*(?P<slip>-(?:\s*-)+\s*)(?=\S)", "- "),
    ),
    _slip(
        "wrong-dash",
        "a dash is missing: `{slip}` does not begin an item of a list",
        "type - instead",
        replaced(r"^\s*(?P<at>(?P<slip>[*+\u2022\u25cf\u25aa\u00b7]|\d{1,3}[.)]))\s+(?=\S)", "-"),
    ),
    _slip(
        "wrong-dash",
        "this is the check box of a Markdown list",
        "remove the brackets",
        replaced(r"^\s*-\s+(?P<slip>\[[ xX]?\]\s+)(?=\S)", ""),
    ),
    _slip(
        "wrong-bracket",
        "there are two braces where one is enough",
        "remove one pair",
        replaced(r"(?P<slip>\{\s*(?P<text>\{[^{}]*\})\s*\})", r"\g<text>"),
    ),
    _slip(
        "wrong-bracket",
        "the list is in brackets other than `[` and `]`",
        "write square brackets",
        replaced(
            r":\s+(?P<slip>[({](?P<text>[^(){}\[\]:]*,[^(){}\[\]:]*)[)}])",
            r"[\g<text>]",
        ),
    ),
    _slip(
        "missing-comma",
        "a comma is missing between two numbers",
        "separate them with a comma",
        replaced(r"\[\s*[0-9.]+(?P<slip>\s*[;/]\s*|\s*-\s*|\s+)(?=[0-9.]+\s*\])", ", "),
    ),
    _slip(
        "missing-bracket",
        "brackets are missing around the list",
        "put it in square brackets",
        replaced(
            rf"^{ITEM}{KEY}:\s+(?P<slip>[^\s\[\]{{}}\"'][^\[\]{{}}]*,\s*\{{[^{{}}]*\}})\s*$",
            r"[\g<slip>]",
        ),
    ),
    _slip(
        "missing-bracket",
        "braces are missing around the keys on this line",
        "put them in braces",
        replaced(
            rf"^(?:\s*-|\s*{KEY}:)\s+(?P<slip>(?P<at>{KEY}):\s(?:[^,]*,\s*{KEY}:\s.*?|.*\}}))\s*$",
            _in_braces,
        ),
    ),
    _slip(
        "list-beside-key",
        "the first item of a list is on the line of `{key}`",
        "begin a new line after the colon of `{key}`",
        *(
            replaced(
                rf"^(?P<indent>\s*)(?P<key>{KEY}):(?P<slip>\s+(?P<at>-)\s)",
                rf"\n\g<indent>{deeper}- ",
            )
            for deeper in ("  ", "", "    ")
        ),
    ),
    _slip(
        "missing-space",
        "the space after the dash is missing",
        "put a space after the dash",
        replaced(r"^\s*(?P<slip>-)(?=[\w{\"'\[])", "- "),
    ),
    _slip(
        "two-entries",
        "two entries are on one line",
        "put the second on a line of its own",
        replaced(
            rf"^(?P<indent>\s*)-.*?(?P<slip>\s+(?P<at>-)\s+(?=\{{|{KEY}:\s))",
            r"\n\g<indent>- ",
        ),
        replaced(
            r"^(?P<indent>\s*)-.*?[}\]](?P<slip>[,\s]*(?P<at>(?=\{)))",
            r"\n\g<indent>- ",
        ),
    ),
    _slip(
        "value-below",
        "the value of `{key}` is on the next line, where a key is expected",
        "write {right}",
        find.value_below,
    ),
    _slip(
        "wrong-dash",
        "there is a dash before a key that does not begin an item of a list",
        "remove the dash",
        replaced(rf"^\s*(?P<slip>-\s+)(?={KEY}:(?:\s|$))", ""),
    ),
    _slip(
        "missing-dash",
        "the dash before the item is missing",
        "put - and a space before it",
        find.missing_dash,
    ),
    _slip(
        "spare-comma",
        "there is a comma at the end of the line",
        "remove the comma",
        replaced(r"\S(?P<slip>\s*[,;])\s*$", ""),
    ),
    _slip(
        "wrong-comma",
        "`{slip}` is used instead of a comma",
        "write commas",
        replaced(
            rf"(?<=[^\s{{])\s*(?P<slip>[;|/])(?=\s*(?P<key>{KEY}):\s)",
            ",",
            with_known_key=True,
        ),
    ),
    _slip(
        "spare-comma",
        "there are two commas in a row",
        "remove one",
        replaced(r"(?P<slip>,\s*,)", ","),
    ),
    _slip(
        "comma-in-number",
        "`{slip}` has a comma, and a comma separates values",
        "write a point before decimals, and nothing between thousands",
        replaced(r"(?<![\w.,-])(?P<slip>-?[0-9]+(?:,[0-9]+)+)(?![\w.])", _with_point),
    ),
    _slip(
        "comma-in-number",
        "`{slip}` has a comma, and a comma separates values inside braces",
        "write a point in the number, or [{slip}] where a list is meant",
        replaced(r":\s+(?P<slip>-?[0-9]+,\s+[0-9]+)(?=\s*[,}])", _with_point),
        is_shown=False,
    ),
    _slip(
        "two-colons",
        "there are two colons after `{key}`",
        "remove one",
        replaced(rf"(?:^{ITEM}|[{{,]\s*)(?P<at>(?P<key>{KEY})(?P<slip>\s*:\s*:\s*))", ": "),
    ),
    _slip(
        "missing-space",
        "the space after the colon of `{key}` is missing",
        "put a space after the colon",
        replaced(rf"(?:^{ITEM}|[{{,]\s*)(?P<at>(?P<key>{KEY}):(?P<slip>)(?=[^\s:/,}}\]]))", " "),
    ),
    _slip(
        *_COLON_MISSING,
        _without_colon(with_known_key=True),
        replaced(rf"^{ITEM}(?P<at>(?P<key>{KEY})(?P<slip>))\s*$", ":"),
        replaced(
            rf"[{{,]\s*(?P<at>(?P<key>{KEY})(?P<slip>\s*(?:=>|[=;|~])\s*|\s+)(?=[^\s:=]))"
            r"(?=[^:,{}\[\]]*[,}]|[{\[])",
            ": ",
        ),
    ),
    _slip(
        "missing-comma",
        "a comma is missing before `{key}`",
        "put a comma before it",
        replaced(
            rf"[{{,][^{{}},]*[^\s{{}},:](?P<at>(?P<slip>\s+))(?=(?P<key>{KEY}):\s)",
            ", ",
            with_known_key=True,
        ),
    ),
    _slip(
        "missing-comma",
        "a comma is missing after `{sign}`",
        "put a comma after it",
        replaced(rf"(?P<sign>[}}\]\"'])(?P<slip>\s+)(?=[{{\[\"']|{KEY}:\s)", ", "),
    ),
    _slip(
        "sign-in-braces",
        "the # in these braces makes the rest of the line a comment",
        "put the text in quotes, or the comment after the closing brace",
        replaced(
            rf"{_FLOW_KEY}(?P<slip>{_PLAIN}*?(?<=\s)(?P<at>#){_PLAIN}*?){_FLOW_END}",
            _text_in_quotes,
            in_comments=True,
        ),
        # A number behind a word, as in the name of an entry of a visit.
        replaced(r"(?P<slip>\s+)(?P<at>#)(?=[0-9]+\s*\])", "", in_comments=True),
        # Outside a text it is a comment, and nothing but the comment can go.
        replaced(r"(?P<slip>\s+(?P<at>#)[^,}\]]*)(?=[,}\]])", "", in_comments=True),
    ),
    _slip(
        "wrong-bracket",
        "`{bracket}` closes a bracket of another kind",
        "write {right} instead",
        find.wrong_bracket,
    ),
    _slip(
        "open-bracket",
        "the bracket `{bracket}` is opened and never closed",
        "close it",
        find.open_bracket,
    ),
    _slip("wrong-bracket", "`{bracket}` closes nothing", "take it away", find.spare_bracket),
    _slip(
        "wrong-bracket",
        "keys are in brackets where braces are needed",
        "write braces instead",
        replaced(
            rf"(?<=[:\-]\s)(?P<slip>[(\[](?P<text>\s*{KEY}:\s[^()\[\]{{}}]*)[)\]])",
            r"{\g<text>}",
        ),
    ),
    _slip(
        "quote-in-quotes",
        "the quote {sign} ends the text too early",
        "put the whole text in the other kind of quotes",
        *_of_value(r"(?P<slip>(?P<sign>[\"'])(?=.*(?P=sign)).+?)", _requoted, in_comments=True),
    ),
    _slip("open-quote", "a quote is opened and never closed", "close the quote", find.open_quote),
    _slip(
        "unquoted-text",
        "text with a colon and a space in it continues here without quotes",
        "put the whole text in quotes",
        find.text_goes_on,
    ),
    _slip(
        "wrong-indent",
        "the line is indented by {is}, which matches none of the lines around it",
        "{right}",
        find.indent_unlike_both,
        find.wrong_indent,
    ),
    _slip(*_COLON_MISSING, _without_colon(with_known_key=False)),
    _slip(
        "unquoted-text",
        "the value of `{key}` is a sign, not a value: `{slip}`",
        "write a value after the colon, or remove the key",
        replaced(
            rf"(?:^{ITEM}|[{{,]\s*)(?P<key>{KEY}):\s+(?P<slip>[?*&%@!`>|-]+)(?=\s*(?:[,}}]|$))",
            '"x"',
        ),
        is_shown=False,
    ),
    _slip(
        "unquoted-text",
        "text with a colon and a space in it has no quotes",
        _QUOTE_IT,
        *_of_value(rf"(?P<slip>[^\s{_SIGNS}]{_TEXT}*?:(?:\s{_TEXT}*?)?)", _text_in_quotes),
    ),
    _slip(
        "unquoted-text",
        "text cannot start with {sign}, which has a meaning of its own in YAML",
        _QUOTE_IT,
        *_of_value(
            rf"(?P<slip>(?P<sign>(?![\"']|\[\s*\]|\{{\s*\}}|\W+[,}}]|\W+$)[{_SIGNS}]){_TEXT}*?)",
            _text_in_quotes,
            in_comments=True,
        ),
    ),
    _slip(
        "unquoted-text",
        "text with brackets in it has no quotes",
        _QUOTE_IT,
        *_of_value(
            rf"(?P<slip>[^\s{_SIGNS}](?:(?!,\s*{KEY}:\s).)*?[\[\]{{}}].*?)", _text_in_quotes
        ),
    ),
    _slip(
        "missing-bracket",
        "brackets are missing around the list of `{key}`",
        "put it in square brackets",
        replaced(
            rf"{_FLOW_KEY}(?P<slip>[a-z0-9][a-z0-9/-]*(?:\s*,\s*[a-z0-9][a-z0-9/-]*)+){_FLOW_END}",
            r"[\g<slip>]",
        ),
    ),
    _slip(
        "unquoted-text",
        "text with a comma in it has no quotes inside braces",
        _QUOTE_IT,
        replaced(
            rf"{_FLOW_KEY}(?P<slip>[^\s{_SIGNS}]{_TEXT}*?(?!,\s*{KEY}:\s),{_TEXT}*?){_FLOW_END}",
            _text_in_quotes,
        ),
    ),
)

"""The slips that are known: what to look for, and what to say of each."""

from dataclasses import dataclass

from ledger.source.scalars import number_without_commas
from ledger.source.slip_finders import (
    merge_mark,
    missing_dash,
    open_quote,
    pasted_line,
    quote_in_quotes,
    sign_in_braces,
    spare_bracket,
    two_entries,
    unclosed_bracket,
    value_below,
    wrong_bracket,
    wrong_indent,
)
from ledger.source.slip_lines import ITEM, KEY, Find, in_quotes
from ledger.source.slip_patterns import (
    BLOCK_KEY,
    CURLY_QUOTES,
    DASHES,
    FLOW_END,
    FLOW_KEY,
    ODD_SPACES,
    SIGNS,
    TEXT,
    UNSEEN,
    lookalike,
    quoted_slip,
    replaced,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Recogniser:
    rule: str
    message: str
    remedy: str
    expected: str = ""
    find: Find


# The particular ones come first; the general ones, which nearly any line could satisfy, last.
RECOGNISERS: tuple[Recogniser, ...] = (
    Recogniser(
        rule="merge-mark",
        message="a mark of a merge that was not finished stands here",
        remedy="keep one of the two versions, and delete the lines that mark them",
        find=merge_mark,
    ),
    Recogniser(
        rule="pasted-markup",
        message="a line of Markdown or HTML stands here",
        remedy="delete the line",
        find=pasted_line,
    ),
    Recogniser(
        rule="lookalike-character",
        message="a full-width colon stands in the place of `:`",
        expected="a colon and a space",
        remedy="type the colon anew, with a space after it",
        find=replaced(r"(?P<slip>[\uff1a\ufe55\u02d0\ua789] ?)", ": ", everywhere=True),
    ),
    Recogniser(
        rule="lookalike-character",
        message="a full-width comma stands in the place of `,`",
        expected="a comma",
        remedy="type the comma anew",
        find=lookalike("\uff0c\u3001\u060c\ufe50", ","),
    ),
    Recogniser(
        rule="lookalike-character",
        message="a non-breaking space stands in the place of a plain one",
        expected="a plain space",
        remedy="delete the space and type it anew",
        find=lookalike(ODD_SPACES, " "),
    ),
    Recogniser(
        rule="lookalike-character",
        message="a character that is not seen stands here",
        remedy="delete it, or type the line anew",
        find=lookalike(UNSEEN, ""),
    ),
    *(
        Recogniser(
            rule="lookalike-character",
            message=f"a full-width bracket stands in the place of `{plain}`",
            remedy=f"type {plain} in its place",
            find=lookalike(wide, plain),
        )
        for wide, plain in (("\uff5b", "{"), ("\uff5d", "}"), ("\uff3b", "["), ("\uff3d", "]"))
    ),
    Recogniser(
        rule="curly-quotes",
        message="curly quotes are no quotes in a file",
        expected="straight quotes, or none around a plain word",
        remedy="type straight quotes",
        find=replaced(
            rf"(?P<slip>[{CURLY_QUOTES}](?P<text>[^{CURLY_QUOTES}]*(?:[\u2019](?=\w)[^{CURLY_QUOTES}]*)*)[{CURLY_QUOTES}])",
            lambda match: in_quotes(match["text"]),
            everywhere=True,
        ),
    ),
    Recogniser(
        rule="wrong-dash",
        message="an en dash or a long one stands in the place of `-`",
        expected="a hyphen and a space before each item of a list",
        remedy="type - and a space",
        find=replaced(rf"^\s*(?P<slip>[{DASHES}]+\s*)(?=\S)", "- "),
    ),
    Recogniser(
        rule="wrong-dash",
        message="two dashes stand before the item",
        expected="one dash and a space",
        remedy="take one dash away",
        find=replaced(r"^\s*(?P<slip>-(?:\s*-)+\s*)(?=\S)", "- "),
    ),
    Recogniser(
        rule="wrong-dash",
        message="a dash is missing: `{slip}` begins no item of a list",
        expected="a dash and a space before each item",
        remedy="type - in its place",
        find=replaced(
            r"^\s*(?P<at>(?P<slip>[*+\u2022\u25cf\u25aa\u00b7]|[0-9]{1,3}[.)]))\s+(?=\S)", "-"
        ),
    ),
    Recogniser(
        rule="wrong-dash",
        message="the check box of a Markdown list stands here",
        expected="a dash, a space and the entry",
        remedy="take the brackets away",
        find=replaced(r"^\s*-\s+(?P<slip>\[[ xX]?\]\s+)(?=\S)", ""),
    ),
    Recogniser(
        rule="missing-space",
        message="the space after the dash is missing",
        expected="a dash and a space",
        remedy="put a space after the dash",
        find=replaced(r"^\s*(?P<slip>-)(?=[\w{\"'\[])", "- "),
    ),
    Recogniser(
        rule="two-entries",
        message="two entries stand on one line",
        expected="each entry on a line of its own",
        remedy="put the second on a line of its own: {right}",
        find=two_entries,
    ),
    Recogniser(
        rule="value-below",
        message="the value of `{key}` stands on the next line, where a key is expected",
        expected="the value on the line of its key",
        remedy="write {right}",
        find=value_below,
    ),
    Recogniser(
        rule="missing-dash",
        message="the dash before the item is missing",
        expected="a dash and a space before each item of a list",
        remedy="put - and a space before it",
        find=missing_dash,
    ),
    Recogniser(
        rule="spare-comma",
        message="a comma stands at the end of the line",
        expected="commas only between the items inside brackets",
        remedy="take the comma away",
        find=replaced(r"\S(?P<slip>\s*[,;])\s*$", ""),
    ),
    Recogniser(
        rule="spare-comma",
        message="two commas stand in a row",
        expected="one comma",
        remedy="take one away",
        find=replaced(r"(?P<slip>,\s*,)", ","),
    ),
    Recogniser(
        rule="comma-in-number",
        message="`{slip}` has a comma, and a comma parts values",
        expected="a point before decimals, and nothing between thousands",
        remedy="write the number with a point, or without the comma",
        find=replaced(
            r"(?<![\w.,-])(?P<slip>-?[0-9]+(?:,[0-9]+)+)(?![\w.])",
            lambda match: number_without_commas(match["slip"]),
        ),
    ),
    Recogniser(
        rule="missing-space",
        message="the space after the colon of `{key}` is missing",
        expected="a colon and a space",
        remedy="put a space after the colon",
        find=replaced(
            rf"(?:^{ITEM}|[{{,]\s*)(?P<at>(?P<key>{KEY}):(?P<slip>)(?=[^\s:/,}}\]]))", " "
        ),
    ),
    Recogniser(
        rule="missing-space",
        message="the space after the colons is missing, first that of `{key}`",
        expected="a colon and a space",
        remedy="put a space after each colon",
        find=replaced(
            rf"(?:^{ITEM}|[{{,]\s*)(?P<at>(?P<key>{KEY}):(?P<slip>)(?=[^\s:/,}}\]]))",
            " ",
            everywhere=True,
        ),
    ),
    Recogniser(
        rule="missing-colon",
        message="the colon after `{key}` is missing",
        expected="a key, a colon, a space and the value",
        remedy="put a colon after the key",
        find=replaced(
            rf"^{ITEM}(?P<at>(?P<key>{KEY})(?P<slip>\s*(?:=>|[=;|~]|\s-)\s*|\s*\.\s+|\s+)(?=[^\s:=]))"
            r"(?=[^:]*$|[{\[]|[^:]*:\S[^:]*$)",
            ": ",
        ),
    ),
    Recogniser(
        rule="missing-colon",
        message="the colon after `{key}` is missing",
        expected="a key, a colon, a space and the value",
        remedy="put a colon after the key",
        find=replaced(
            rf"[{{,]\s*(?P<at>(?P<key>{KEY})(?P<slip>\s*(?:=>|[=;|~])\s*|\s+)(?=[^\s:=]))"
            r"(?=[^:,{}\[\]]*[,}]|[{\[])",
            ": ",
        ),
    ),
    Recogniser(
        rule="missing-comma",
        message="a comma is missing before `{key}`",
        expected="a comma between the keys inside braces",
        remedy="put a comma before it",
        find=replaced(
            rf"[{{,][^{{}},]*[^\s{{}},:](?P<at>(?P<slip>\s+))(?=(?P<key>{KEY}):\s)", ", "
        ),
    ),
    Recogniser(
        rule="missing-comma",
        message="a comma is missing after `{sign}`",
        expected="a comma between the parts inside braces",
        remedy="put a comma after it",
        find=replaced(rf"(?P<sign>[}}\]\"'])(?P<slip>\s+)(?=[{{\[\"']|{KEY}:\s)", ", "),
    ),
    Recogniser(
        rule="sign-in-braces",
        message="the # in these braces makes the rest of the line a comment",
        expected="text with a # in quotes",
        remedy="put the text in quotes, or the comment behind the closing brace",
        find=sign_in_braces,
    ),
    Recogniser(
        rule="wrong-bracket",
        message="`{bracket}` closes what another bracket opened",
        expected="{right}",
        remedy="write {right} in its place",
        find=wrong_bracket,
    ),
    Recogniser(
        rule="open-bracket",
        message="the bracket `{bracket}` is opened and never closed",
        expected="a closing bracket for each that opens",
        remedy="close it",
        find=unclosed_bracket,
    ),
    Recogniser(
        rule="wrong-bracket",
        message="`{bracket}` closes nothing",
        expected="a closing bracket for each that opens, and no more",
        remedy="take it away",
        find=spare_bracket,
    ),
    Recogniser(
        rule="wrong-bracket",
        message="round brackets hold no keys",
        expected="keys and values in { }".replace("{", "{{").replace("}", "}}"),
        remedy="write braces in their place",
        find=replaced(
            r"(?<=[:\-]\s)(?P<slip>\((?P<text>[^()]*)\))", lambda match: "{" + match["text"] + "}"
        ),
    ),
    Recogniser(
        rule="quote-in-quotes",
        message="the quote {sign} ends the text before it is over",
        expected="other quotes around a text that holds such a quote",
        remedy="put the whole text in quotes",
        find=quote_in_quotes,
    ),
    Recogniser(
        rule="open-quote",
        message="a quote is opened and never closed",
        expected="a quote at both ends of the text",
        remedy="close the quote",
        find=open_quote,
    ),
    Recogniser(
        rule="wrong-indent",
        message="the line is indented by {is}, which fits none of the lines around it",
        expected="the same indentation for all keys of one mapping and all items of one list",
        remedy="{right}",
        find=wrong_indent,
    ),
    *(
        recogniser
        for key, end in ((BLOCK_KEY, r"(?=\s*$)"), (FLOW_KEY, FLOW_END))
        for recogniser in (
            Recogniser(
                rule="unquoted-text",
                message="text with a colon and a space in it stands without quotes",
                expected="text with a colon in quotes",
                remedy="put the text in quotes",
                find=replaced(
                    rf"{key}(?P<slip>[^\s{SIGNS}]{TEXT}*?:(?:\s{TEXT}*?)?){end}", quoted_slip
                ),
            ),
            Recogniser(
                rule="unquoted-text",
                message="text cannot start with {sign}, which is a sign of its own in a file",
                expected="such a text in quotes",
                remedy="put the text in quotes",
                find=replaced(
                    rf"{key}(?P<slip>(?P<sign>(?![\"']|\[\s*\]|\{{\s*\}})[{SIGNS}]){TEXT}*?){end}",
                    quoted_slip,
                    in_comments=True,
                ),
            ),
        )
    ),
    Recogniser(
        rule="unquoted-text",
        message="text with a comma in it stands without quotes inside braces",
        expected="text with a comma in quotes",
        remedy="put the text in quotes",
        find=replaced(
            rf"{FLOW_KEY}(?P<slip>[^\s{SIGNS}]{TEXT}*?(?!,\s*{KEY}:\s),{TEXT}*?){FLOW_END}",
            quoted_slip,
        ),
    ),
)

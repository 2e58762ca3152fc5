"""Signs that are mistyped: dashes, commas, brackets, spaces, and characters that look like them."""

from ledger.files.slip_finders import (
    braces_missing,
    list_beside_key,
    merge_mark,
    missing_dash,
    pasted_line,
    two_entries,
    value_below,
)
from ledger.files.slip_patterns import (
    CURLY_QUOTES,
    DASHES,
    ITEM,
    KEY,
    ODD_SPACES,
    UNSEEN,
    Recogniser,
    in_quotes,
    lookalike,
    replaced,
)
from ledger.files.yaml_fast import number_without_commas

SIGNS_MISTYPED: tuple[Recogniser, ...] = (
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
        rule="tab",
        message="a tab stands here",
        expected="spaces",
        remedy="replace tabs by spaces",
        find=replaced(r"(?P<slip>\t+)", " ", everywhere=True),
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
        rule="wrong-bracket",
        message="two braces open where one does",
        expected="one pair of braces around the keys",
        remedy="take one pair away",
        find=replaced(
            r"(?P<slip>\{\s*\{(?P<text>[^{}]*)\}\s*\})", lambda match: "{" + match["text"] + "}"
        ),
    ),
    Recogniser(
        rule="wrong-bracket",
        message="a list stands in other brackets than `[` and `]`",
        expected="the items of a list inside [ ]",
        remedy="write square brackets",
        find=replaced(
            r":\s+(?P<slip>[({](?P<text>[^(){}\[\]:]*,[^(){}\[\]:]*)[)}])",
            lambda match: f"[{match['text']}]",
        ),
    ),
    Recogniser(
        rule="missing-comma",
        message="a comma is missing between two numbers",
        expected="commas between the items of a list",
        remedy="part them by a comma",
        find=replaced(r"\[\s*[0-9.]+(?P<slip>\s*[;/]\s*|\s*-\s*|\s+)(?=[0-9.]+\s*\])", ", "),
    ),
    Recogniser(
        rule="missing-bracket",
        message="brackets are missing around the list",
        expected="a list of several items inside [ ]",
        remedy="put it in square brackets",
        find=replaced(
            rf"^{ITEM}{KEY}:\s+(?P<slip>[^\s\[\]{{}}\"'][^\[\]{{}}]*,\s*\{{[^{{}}]*\}})\s*$",
            lambda match: f"[{match['slip']}]",
        ),
    ),
    Recogniser(
        rule="missing-bracket",
        message="braces are missing around the keys on this line",
        expected="keys that share a line inside { }".replace("{", "{{").replace("}", "}}"),
        remedy="put them in braces",
        find=braces_missing,
    ),
    Recogniser(
        rule="list-beside-key",
        message="the first item of a list stands on the line of `{key}`",
        expected="each item on a line of its own below the key",
        remedy="begin a new line after the colon of `{key}`",
        find=list_beside_key,
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
        rule="wrong-dash",
        message="a dash stands before a key that begins no item of a list",
        expected="a dash only before the items of a list",
        remedy="take the dash away",
        find=replaced(rf"^\s*(?P<slip>-\s+)(?={KEY}:(?:\s|$))", ""),
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
        rule="wrong-comma",
        message="`{slip}` stands in the place of a comma",
        expected="a comma between the keys inside braces",
        remedy="write commas",
        find=replaced(
            rf"(?<=[^\s{{])\s*(?P<slip>[;|/])(?=\s*(?P<key>{KEY}):\s)",
            ",",
            everywhere=True,
            with_known_key=True,
        ),
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
            lambda match: number_without_commas(match["slip"]) or None,
        ),
    ),
    Recogniser(
        rule="comma-in-number",
        message="`{slip}` has a comma, and a comma parts values inside braces",
        expected="a point in a number, and a list inside [ ]",
        remedy="write a point in the number, or [{slip}] where a list is meant",
        offers=False,
        find=replaced(
            r":\s+(?P<slip>-?[0-9]+,\s+[0-9]+)(?=\s*[,}])",
            lambda match: number_without_commas(match["slip"].replace(" ", "")) or None,
        ),
    ),
    Recogniser(
        rule="two-colons",
        message="two colons stand after `{key}`",
        expected="one colon and a space",
        remedy="take one away",
        find=replaced(rf"(?:^{ITEM}|[{{,]\s*)(?P<at>(?P<key>{KEY})(?P<slip>\s*:\s*:\s*))", ": "),
    ),
)

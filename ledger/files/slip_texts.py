"""Keys without their colon, wrong indentation, and text that takes quotes."""

from ledger.files.slip_finders import (
    indent_unlike_both,
    key_without_value,
    open_quote,
    quote_in_quotes,
    sign_in_braces,
    spare_bracket,
    text_goes_on,
    unclosed_bracket,
    wrong_bracket,
    wrong_indent,
)
from ledger.files.slip_patterns import (
    BLOCK_KEY,
    FLOW_END,
    FLOW_KEY,
    ITEM,
    KEY,
    SIGNS,
    TEXT,
    Recogniser,
    quoted_slip,
    replaced,
)

TEXTS_MISTYPED: tuple[Recogniser, ...] = (
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
            rf"^{ITEM}(?P<at>(?P<key>{KEY})(?P<slip>\s*(?:=>|->|\u2192|[=;|~,]|\s-)\s*|\s*\.\s+|\s+)(?=[^\s:=]))"
            r"(?=[^:]*$|[{\[]|[^:]*:\S[^:]*$)",
            ": ",
            with_known_key=True,
        ),
    ),
    Recogniser(
        rule="missing-colon",
        message="the colon after `{key}` is missing",
        expected="a key, a colon and what it holds",
        remedy="put a colon after the key",
        find=key_without_value,
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
            rf"[{{,][^{{}},]*[^\s{{}},:](?P<at>(?P<slip>\s+))(?=(?P<key>{KEY}):\s)",
            ", ",
            with_known_key=True,
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
        message="keys stand in brackets that hold none",
        expected="keys and values in { }".replace("{", "{{").replace("}", "}}"),
        remedy="write braces in their place",
        find=replaced(
            rf"(?<=[:\-]\s)(?P<slip>[(\[](?P<text>\s*{KEY}:\s[^()\[\]{{}}]*)[)\]])",
            lambda match: "{" + match["text"] + "}",
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
        rule="unquoted-text",
        message="text with a colon and a space in it goes on here without quotes",
        expected="text with a colon in quotes",
        remedy="put the whole text in quotes",
        find=text_goes_on,
    ),
    Recogniser(
        rule="wrong-indent",
        message="the line is indented by {is}, and the lines around it otherwise",
        expected="the same indentation for all keys of one mapping and all items of one list",
        remedy="{right}",
        find=indent_unlike_both,
    ),
    Recogniser(
        rule="wrong-indent",
        message="the line is indented by {is}, which fits none of the lines around it",
        expected="the same indentation for all keys of one mapping and all items of one list",
        remedy="{right}",
        find=wrong_indent,
    ),
    Recogniser(
        rule="missing-colon",
        message="the colon after `{key}` is missing",
        expected="a key, a colon, a space and the value",
        remedy="put a colon after the key",
        find=replaced(
            rf"^{ITEM}(?P<at>(?P<key>{KEY})(?P<slip>\s*(?:=>|->|\u2192|[=;|~,]|\s-)\s*|\s*\.\s+|\s+)(?=[^\s:=]))"
            r"(?=[^:]*$|[{\[]|[^:]*:\S[^:]*$)",
            ": ",
        ),
    ),
    Recogniser(
        rule="unquoted-text",
        message="the value of `{key}` is a sign and no value: `{slip}`",
        expected="a value, or text in quotes",
        remedy="write a value after the colon, or take the key away",
        offers=False,
        find=replaced(
            rf"(?:^{ITEM}|[{{,]\s*)(?P<key>{KEY}):\s+(?P<slip>[?*&%@!`>|-]+)(?=\s*(?:[,}}]|$))",
            '"x"',
        ),
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
                    rf"{key}(?P<slip>(?P<sign>(?![\"']|\[\s*\]|\{{\s*\}}|\W+[,}}]|\W+$)[{SIGNS}]){TEXT}*?){end}",
                    quoted_slip,
                    in_comments=True,
                ),
            ),
            Recogniser(
                rule="unquoted-text",
                message="text with brackets in it stands without quotes",
                expected="text with brackets in quotes",
                remedy="put the text in quotes",
                find=replaced(
                    rf"{key}(?P<slip>[^\s{SIGNS}](?:(?!,\s*{KEY}:\s).)*?[\[\]{{}}].*?){end}",
                    quoted_slip,
                ),
            ),
        )
    ),
    Recogniser(
        rule="missing-bracket",
        message="brackets are missing around the list of `{key}`",
        expected="a list of several items inside [ ]",
        remedy="put it in square brackets",
        find=replaced(
            rf"{FLOW_KEY}(?P<slip>[a-z0-9][a-z0-9/-]*(?:\s*,\s*[a-z0-9][a-z0-9/-]*)+){FLOW_END}",
            lambda match: f"[{match['slip']}]",
        ),
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

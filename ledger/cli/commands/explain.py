"""`tunnelbook explain` and `guide`: what `check` asks, what a key means, the guide."""

import textwrap
from argparse import Namespace

from ledger.cli.arguments import arg, command
from ledger.cli.command import Failure, give, known

_WIDTH = 78


def _explain(parsed: Namespace) -> int:
    from ledger.files.reference import key_rows
    from ledger.files.schemas import shipped_schemas
    from ledger.rules.questions import EXAMPLES, QUESTIONS, examples_text

    word = parsed.word
    if word is None or word in QUESTIONS:
        questions = QUESTIONS if word is None else {word: QUESTIONS[word]}
        text = "".join(f"{rule}\n{_wrapped(why, '  ')}\n" for rule, why in questions.items())
        if word is not None:
            unless = f"policy: {{rules: {{{word}: off}}}}"
            text += f"\n{examples_text(word)}"
            text += f"\nA warning, unless site.yaml says {unless}, or error.\n"
        data = {rule: {"why": why, **EXAMPLES[rule]} for rule, why in questions.items()}
        give(parsed, lambda: text, lambda: data)
        return 0
    plain = ([cell.replace("`", "") for cell in row] for row in key_rows(shipped_schemas()))
    rows = [dict(zip(_COLUMNS, row, strict=True)) for row in plain]
    try:
        known(word, [row["key"] for row in rows], "rule of a foreman or key of a file")
    except Failure as failure:
        raise Failure(f"{failure}\n{_OF_ERRORS}") from None
    found = [row for row in rows if row["key"] == word]
    give(parsed, lambda: "".join(map(_text_of_key, found)), lambda: found)
    return 0


_OF_ERRORS = (
    "an error of `check` says itself what was expected and how to put it right; no rule switches "
    "it off"
)

_COLUMNS = ("where", "key", "needed", "takes", "meaning", "example")


def _text_of_key(row: dict[str, str]) -> str:
    return (
        f"{row['where']}\n{_wrapped(row['meaning'], '  ')}\n"
        f"  Takes: {row['takes']}\n  Example: {row['example']}\n\n"
    )


def _wrapped(text: str, indent: str = "") -> str:
    return textwrap.fill(text, _WIDTH, initial_indent=indent, subsequent_indent=indent)


def _guide(parsed: Namespace) -> int:
    from ledger.site.guide import TITLE, parts

    found = parts()
    if parsed.part is not None:
        titles = {title.lower(): title for title in found}
        title = titles[known(parsed.part.lower(), titles, "part of the guide")]
        found = {title: found[title]}
    texts = (f"{title}\n{'=' * len(title)}\n\n{text}\n" for title, text in found.items())
    answer = "\n".join(texts)
    if TITLE in found:
        answer += '\nOne part alone: tunnelbook guide "A visit"\n'
    give(parsed, lambda: answer, lambda: found)
    return 0


COMMANDS = {
    "guide": command(
        _guide,
        "Print a short guide: the first morning, a visit, a tuning session, a pull request, an "
        "audit, many sites, and other programs.",
        """\
  tunnelbook guide | less
  tunnelbook guide "a visit"
""",
        arg("part", "PART", "one part alone, by its title", nargs="?"),
    ),
    "explain": command(
        _explain,
        "Say why `check` asks a question, by the rule that it prints in brackets, or what a key "
        "of a file means. Without a word it lists the rules.",
        """\
  tunnelbook explain
  tunnelbook explain count-too-short
  tunnelbook explain found_hz
""",
        arg("word", "RULE|KEY", "a rule, or a key of a file", nargs="?"),
    ),
}

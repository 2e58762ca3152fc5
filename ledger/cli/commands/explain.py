"""`tunnelbook explain`: why a question is asked, or what a key of a file means."""

import argparse
import re
import textwrap
from collections.abc import Iterator

from ledger.cli.arguments import arg, command
from ledger.cli.command import known

_WIDTH = 78


def _explain(parsed: argparse.Namespace) -> int:
    from ledger.rules.questions import QUESTIONS

    word = parsed.word
    if word is None:
        for rule, why in QUESTIONS.items():
            print(f"{rule}\n{_wrapped(why, '  ')}")
        return 0
    if word in QUESTIONS:
        print(_wrapped(QUESTIONS[word]))
        print(f"\nA warning, unless site.yaml says policy: {{rules: {{{word}: off}}}}, or error.")
        return 0
    rows = list(_rows_of_keys())
    known(word, [*QUESTIONS, *(key for _, key, *_ in rows)], "rule of a foreman or key of a file")
    for where, key, takes, meaning, example in rows:
        if key == word:
            print(f"{where}\n{_wrapped(meaning, '  ')}\n  Takes: {takes}\n  Example: {example}\n")
    return 0


def _wrapped(text: str, indent: str = "") -> str:
    return textwrap.fill(text, _WIDTH, initial_indent=indent, subsequent_indent=indent)


def _rows_of_keys() -> Iterator[tuple[str, str, str, str, str]]:
    """Where each key stands, the key, what it takes, what it means and an example."""
    from ledger.files.reference import field_reference
    from ledger.files.schemas import shipped_schemas

    file = part = ""
    for line in field_reference(shipped_schemas()).splitlines():
        if line.startswith("## "):
            file, part = line[3:], ""
        elif line.startswith("### "):
            part = f", {line[4:].replace('`', '')}"
        elif line.startswith("| `"):
            cells = re.split(r"(?<!\\) \| ", line[2:-2])
            key, _, takes, meaning, example = (
                cell.replace("\\|", "|").replace("`", "") for cell in cells
            )
            yield f"{file}{part}", key, takes, meaning, example


COMMANDS = {
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
    )
}

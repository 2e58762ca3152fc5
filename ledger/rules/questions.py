"""Every question that a foreman would ask, by its rule, with why it is asked and two examples.

They are the keys of `policy: rules:` in the schema of site.yaml, so an editor and the reference of
the keys tell why too.
"""

import textwrap
from collections.abc import Mapping

from ledger.files.paths import Kind
from ledger.files.schemas import shipped_schemas, uri_of

_POLICY = shipped_schemas().by_uri[uri_of(Kind.SITE)]["properties"]["policy"]["properties"]
_RULES = _POLICY["rules"]["properties"]

QUESTIONS: Mapping[str, str] = {rule: one["description"] for rule, one in _RULES.items()}

EXAMPLES: Mapping[str, Mapping[str, str]] = {
    rule: {"wrong": one["x-wrong"], "right": one["x-right"]} for rule, one in _RULES.items()
}
"""What is wrong and what is right, as it stands in the files."""


def examples_text(rule: str) -> str:
    """Both examples of a rule, each under its word."""
    return "".join(
        f"{word.capitalize()}:\n{textwrap.indent(example, '  ')}\n"
        for word, example in EXAMPLES[rule].items()
    )

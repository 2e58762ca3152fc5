"""What a diagnostic says, as sentences, and the fingerprint by which it is known again."""

import hashlib
import re
from collections import Counter
from collections.abc import Sequence

from ledger.diagnostics import Diagnostic
from ledger.write.escape import terminal_text

_LINE_NUMBER = re.compile(r"\bline \d+")


def sentences(diagnostic: Diagnostic) -> list[str]:
    """What is wrong, what was expected, the nearest spelling and the remedy, as far as known."""
    said = [terminal_text(diagnostic.message)]
    if diagnostic.expected:
        said.append(f"Expected: {terminal_text(diagnostic.expected)}.")
    if diagnostic.nearest:
        said.append(f"Did you mean {terminal_text(diagnostic.nearest)}?")
    if diagnostic.remedy:
        said.append(f"Remedy: {terminal_text(diagnostic.remedy)}.")
    return said


def fingerprints(diagnostics: Sequence[Diagnostic]) -> list[str]:
    """For each diagnostic a digest that stays when lines move: no line number goes into it.

    Equal faults on equal lines of one file are told apart by their order.
    """
    seen: Counter[tuple[str, ...]] = Counter()
    digests = []
    for diagnostic in diagnostics:
        identity = (
            diagnostic.rule,
            diagnostic.position.path,
            _LINE_NUMBER.sub("line", diagnostic.message),
            diagnostic.source_line.strip(),
        )
        parts = (*identity, str(seen[identity]))
        seen[identity] += 1
        # A length before each part, so that no two lists of parts read alike.
        text = "".join(f"{len(part)}:{part}" for part in parts)
        digest = hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()
        digests.append(digest)
    return digests

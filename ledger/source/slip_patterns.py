"""Slips that a pattern tells, and the patterns of keys and values they are made of."""

import re
from collections.abc import Callable, Iterator, Sequence

from ledger.resources import key_words
from ledger.source.slip_lines import ITEM, KEY, Find, Fix, bare, in_quotes, without_quoted


def replaced(
    pattern: str,
    put: str | Callable[[re.Match[str]], str | None],
    *,
    everywhere: bool = False,
    in_comments: bool = False,
    with_known_key: bool = False,
) -> Find:
    """Puts something in the place of the group `slip` of a pattern, at its first place or at all.

    The pattern is matched to the line without the text in its quotes. Its other groups are the
    words that a message may name; `with_known_key` asks that `key` is one that schemas name.
    Nothing is proposed where `put` gives None.
    """
    compiled = re.compile(pattern)

    def find(lines: Sequence[str], n: int) -> Iterator[Fix]:
        line = lines[n]
        shown = without_quoted(line) if in_comments else bare(line)
        found = [
            match
            for match in compiled.finditer(shown)
            if not with_known_key or match["key"] in key_words()
        ]
        for chosen in [found] if everywhere and found else [[match] for match in found]:
            mended_line = line
            for match in reversed(chosen):
                start, end = match.span("slip")
                # Quoted text is blotted out in the match, not in the file.
                true = match if shown == line else (compiled.match(line, match.start()) or match)
                new = put if isinstance(put, str) else put(true)
                if new is None:
                    break
                mended_line = mended_line[:start] + new + mended_line[end:]
            if mended_line == line:
                continue
            first = chosen[0]
            start, end = first.span("at") if "at" in compiled.groupindex else first.span("slip")
            names = {
                name: line[slice(*first.span(name))]
                for name in compiled.groupindex
                if first[name] is not None
            }
            yield Fix(start, end, (mended_line,), names)

    return find


def lookalike(signs: str, put: str) -> Find:
    return replaced(f"(?P<slip>[{signs}])", put, everywhere=True)


CURLY_QUOTES = (
    "\u201c\u201d\u201e\u201f\u2018\u2019\u201a\u201b\u00ab\u00bb\u2039\u203a\uff02\uff07"
)
ODD_SPACES = "\u00a0\u1680\u2000-\u200a\u202f\u205f\u3000"
UNSEEN = "\u00ad\u200b-\u200d\u2060"
DASHES = "\u2010-\u2015\u2212\ufe58\ufe63\uff0d"


def quoted_slip(match: re.Match[str]) -> str:
    return in_quotes(match["slip"].strip().strip(CURLY_QUOTES))


# The value of a key in braces: it ends where the next key or the end of the braces stands.
FLOW_END = rf"(?=\s*(?:,\s*[\"']?{KEY}[\"']?:(?:\s|$)|\}}\s*$|\}}\s*,))"
FLOW_KEY = rf"[{{,]\s*(?P<key>{KEY}):\s+"
# A character of a value, which ends before the next key.
TEXT = rf"(?:(?!,\s*{KEY}:\s)[^{{}}])"
BLOCK_KEY = rf"^{ITEM}(?P<key>{KEY}):\s+"
SIGNS = r"@`%&*!|>\[\]{}\"'#?,-"

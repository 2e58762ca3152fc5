"""The names by which headings are linked, the same as the usual git hosts give them."""

import re
from collections.abc import Iterable, Iterator

_DROPPED = re.compile(r"[^\w\- ]")


def anchor_of(heading: str) -> str:
    """The anchor of a heading that stands once on its page: `Lock out first` is
    `lock-out-first`.
    """
    return _DROPPED.sub("", heading.strip().lower()).replace(" ", "-")


def anchors_of(headings: Iterable[str]) -> Iterator[str]:
    """The anchors of a page's headings in order; repeated ones get `-1`, `-2` and so on."""
    taken: set[str] = set()
    for heading in headings:
        first = anchor_of(heading)
        anchor, n = first, 0
        while anchor in taken:
            n += 1
            anchor = f"{first}-{n}"
        taken.add(anchor)
        yield anchor

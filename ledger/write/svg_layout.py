"""Where words go on a picture so that none lies on another."""

from collections.abc import Sequence
from dataclasses import dataclass

LINE_HEIGHT = 24.0
_LETTER = 10.2
"""A generous mean width of a letter at 18 units; the reader's font is not known here."""
_GAP = 14.0
_MOST_LANES = 3
_LONGEST = 48


@dataclass(frozen=True, slots=True, kw_only=True)
class EventLabel:
    """Words at `start`, in lane 0 next to the plot or further above, for the line at `x`."""

    x: float
    start: float
    lane: int
    words: str


def text_width(words: str) -> float:
    """A cautious estimate of the width of words set at 18 units."""
    return _LETTER * len(words)


def event_labels(
    events: Sequence[tuple[float, str]], left: float, right: float
) -> tuple[Sequence[EventLabel], Sequence[str]]:
    """Labels in lanes for events sorted by place; numbers explained in the key where words
    would need more than three lanes.
    """
    words = [shortened(label) for _, label in events]
    labels = _in_lanes([x for x, _ in events], words, left, right)
    if all(label.lane < _MOST_LANES for label in labels):
        return labels, ()
    numbers = [str(n) for n in range(1, len(events) + 1)]
    explained = [f"{n} {label}" for n, label in zip(numbers, words, strict=True)]
    return _in_lanes([x for x, _ in events], numbers, left, right), explained


def shortened(label: str) -> str:
    """Words that fit beside others on one picture; the page beside it has them in full."""
    return label if len(label) <= _LONGEST else label[: _LONGEST - 1].rstrip() + "…"


def _in_lanes(
    places: Sequence[float], words: Sequence[str], left: float, right: float
) -> list[EventLabel]:
    # A line passes through every lane below its own words, so it takes room there too. Going
    # from right to left with words to the right of their line, a new line only ever meets
    # words that start at it or to the right: none is crossed unless the words were pushed left.
    taken: list[list[tuple[float, float]]] = []
    labels: list[EventLabel] = []
    for x, text in reversed(list(zip(places, words, strict=True))):
        start = max(left, min(x - 4, right - text_width(text)))
        end = start + text_width(text) + _GAP
        lane = 0
        while lane < len(taken) and _meets(taken[lane], start, end):
            lane += 1
        for below in range(lane + 1):
            if below == len(taken):
                taken.append([])
            taken[below].append((start, end) if below == lane else (x, x))
        labels.append(EventLabel(x=x, start=start, lane=lane, words=text))
    return labels[::-1]


def _meets(taken: Sequence[tuple[float, float]], start: float, end: float) -> bool:
    return any(start < other_end and other_start < end for other_start, other_end in taken)


def flowed(
    widths: Sequence[float], left: float, right: float
) -> tuple[Sequence[tuple[float, int]], int]:
    """Start and row of each of `widths`, wrapped between `left` and `right`; and the rows."""
    x, row = left, 0
    places: list[tuple[float, int]] = []
    for width in widths:
        if x > left and x + width > right:
            x, row = left, row + 1
        places.append((x, row))
        x += width + 2 * _GAP
    return places, row + 1

"""A plot as SVG: the same plot gives the same bytes.

Print first: black and grey on white with one accent, and nothing that only colour shows. All
style stands in presentation attributes, so no content security policy of a page can strip it.
Letters are large, since a phone shows the picture at half its size.

Where words go on a picture so that none lies on another.

A small picture has no words, is a line or two high and may be stretched, to compare many at a
glance: a whole year from left to right with a hair line a month; a band in the middle, or the
range of the values where none is stated. Every value is a line of its own in two paths, so that
one more reading changes two lines of the file.
"""

import math
from collections.abc import Sequence
from datetime import date
from itertools import chain

from ledger.book.blocks import Curve, Mark, Picture, Plot, Sample, Samples, Stroke, Zone
from ledger.book.escape import xml_text
from ledger.book.svg_scale import Scale, Tick, clipped_segments, ticks, x_range, y_range
from ledger.files.book_files import MARKER
from ledger.values import dataclass

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
        while lane < len(taken) and any(start < e and s < end for s, e in taken[lane]):
            lane += 1
        for below in range(lane + 1):
            if below == len(taken):
                taken.append([])
            taken[below].append((start, end) if below == lane else (x, x))
        labels.append(EventLabel(x=x, start=start, lane=lane, words=text))
    return labels[::-1]


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


ACCENT = "#1d4f9e"

_INK, _GREY, _RULE = "#111111", "#666666", "#c4c4c4"

_ZONE_FILLS = ("#e6e6e6", "#d2d2d2", "#bcbcbc")

_DASHES = {Stroke.SOLID: "", Stroke.DASHED: "10 6", Stroke.DOTTED: "2 6"}


_WIDTH = 720

_PLOT_HEIGHT = 250

_EDGE = 14

_SYMBOL = 38

_MANY = 80


def draw(picture: Picture) -> str:
    """The file of a picture."""
    return _render_small(picture.plot) if picture.is_small else render(picture.plot)


def render(plot: Plot) -> str:
    """SVG text, ending in a line feed.

    Raises:
        ValueError: a sample's x, y or half width is not finite.
    """
    _check(plot)
    y_low, y_high = y_range(plot)
    y_ticks, y_label = ticks(plot.y, y_low, y_high)
    left = _EDGE + max((text_width(tick.words) for tick in y_ticks), default=0.0) + 12
    x = Scale(*x_range(plot), start=left, end=_WIDTH - _EDGE)
    x_ticks, x_label = ticks(plot.x, x.low, x.high)
    labels, explained = event_labels(
        [(x.place(event.x), event.label) for event in sorted(plot.events, key=lambda e: e.x)],
        left,
        _WIDTH - _EDGE,
    )
    lanes = 1 + max((label.lane for label in labels), default=-1)
    top = _EDGE + LINE_HEIGHT * (1 + lanes) + 4
    y = Scale(low=y_low, high=y_high, start=top + _PLOT_HEIGHT, end=top)
    outside = sum(not y.holds(point.y) for samples in plot.samples for point in samples.points)
    bottom = top + _PLOT_HEIGHT + 2 * LINE_HEIGHT
    shows_anything = plot.curves or any(samples.points for samples in plot.samples)
    key, height = _key(plot, explained, outside, bottom + LINE_HEIGHT)
    body = [
        _tag("rect", width=_WIDTH, height=height, fill="#ffffff"),
        *_zones(plot.zones, x, y),
        *(_grid(x_ticks, y_ticks, x, y) if shows_anything else _empty(x, y)),
        _text(_EDGE, _EDGE + 12, y_label),
        _text((x.start + x.end) / 2, bottom - 2, x_label, anchor="middle"),
        *_events(labels, top, y.start),
        *_curves(plot.curves, x, y),
        *chain.from_iterable(
            _samples(samples, _colour(at), x, y) for at, samples in enumerate(plot.samples)
        ),
        *key,
    ]
    title = f"<title>{xml_text(plot.title)}</title>\n<desc>{xml_text(plot.summary)}</desc>"
    style = (
        f'font-family="system-ui, sans-serif" font-size="18" fill="{_INK}" stroke-linecap="round" '
        'stroke-linejoin="round"'
    )
    return _file(plot, f"{_WIDTH} {_n(height)}", style, [title, *body])


def _file(plot: Plot, size: str, style: str, lines: Sequence[str]) -> str:
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {size}" role="img"'
        f' aria-label="{xml_text(plot.title)}" {style}>'
    )
    return "\n".join((head, f"<!-- {MARKER} -->", *filter(None, lines), "</svg>")) + "\n"


def _empty(x: Scale, y: Scale) -> list[str]:
    centre = (x.start + x.end) / 2
    return [
        _line(x.start, y.start, x.end, y.start, _INK, 2),
        _text(centre, (y.start + y.end) / 2, "nothing to show yet", anchor="middle"),
    ]


def _check(plot: Plot) -> None:
    for samples in plot.samples:
        for at, point in enumerate(samples.points):
            if not all(map(math.isfinite, (point.x, point.y, point.half_width))):
                raise ValueError(f"sample {at} of {samples.name!r} is not finite: {point}")


def _colour(at: int) -> str:
    return (ACCENT, _INK)[at] if at < 2 else _GREY


def _zones(zones: Sequence[Zone], x: Scale, y: Scale) -> list[str]:
    names = list(dict.fromkeys(zone.name for zone in zones))
    drawn = []
    # The widest first, so that a band inside its alarm limits stays in sight.
    for zone in sorted(zones, key=lambda zone: zone.low - zone.high):
        left = x.low if zone.x_from is None else max(x.low, zone.x_from)
        right = x.high if zone.x_to is None else min(x.high, zone.x_to)
        low, high = max(y.low, zone.low), min(y.high, zone.high)
        if left >= right or low > high:
            continue
        start, end = x.place(left), x.place(right)
        fill, dash = _zone_style(names.index(zone.name))
        drawn.append(
            _tag(
                "rect",
                x=start,
                y=y.place(high),
                width=end - start,
                height=y.place(low) - y.place(high),
                fill=fill,
            )
        )
        drawn += [
            _line(start, y.place(limit), end, y.place(limit), _GREY, 1.5, dash)
            for limit in (zone.low, zone.high)
            if y.holds(limit)
        ]
    return drawn


def _zone_style(at: int) -> tuple[str, str]:
    """How a zone is filled, and its edges dashed."""
    return _ZONE_FILLS[at % len(_ZONE_FILLS)], tuple(_DASHES.values())[at % len(_DASHES)]


def _grid(x_ticks: Sequence[Tick], y_ticks: Sequence[Tick], x: Scale, y: Scale) -> list[str]:
    drawn = []
    for tick in y_ticks:
        at = y.place(tick.at)
        drawn.append(_line(x.start, at, x.end, at, _RULE, 1))
        drawn.append(_text(x.start - 10, at + 6, tick.words, anchor="end"))
    drawn.append(_line(x.start, y.start, x.end, y.start, _INK, 2))
    for tick in x_ticks:
        at = x.place(tick.at)
        drawn.append(_line(at, y.start, at, y.start + 7, _INK, 2))
        half = text_width(tick.words) / 2
        centre = min(max(at, half + 4), _WIDTH - half - 4)
        drawn.append(_text(centre, y.start + 25, tick.words, anchor="middle"))
    return drawn


def _events(labels: Sequence[EventLabel], top: float, bottom: float) -> list[str]:
    lines, words = [], []
    for label in labels:
        baseline = top - 10 - LINE_HEIGHT * label.lane
        lines.append(_line(label.x, baseline + 5, label.x, bottom, _INK, 1.5, "1 5"))
        words.append(_text(label.start, baseline, label.words))
    # A white edge keeps the words legible where a line of another event has to pass.
    edge = 'stroke="#ffffff" stroke-width="5" paint-order="stroke"'
    return [*lines, f"<g {edge}>", *words, "</g>"] if labels else []


def _curves(curves: Sequence[Curve], x: Scale, y: Scale) -> list[str]:
    return [
        _tag(
            "polyline",
            points=" ".join(f"{_n(x.place(px))},{_n(y.place(py))}" for px, py in run),
            fill="none",
            stroke=_INK,
            stroke_width=2.5,
            stroke_dasharray=_DASHES[curve.stroke],
        )
        for curve in curves
        for run in clipped_segments(curve.corners, x, y)
    ]


def _samples(samples: Samples, colour: str, x: Scale, y: Scale) -> list[str]:
    size = 6.5 if len(samples.points) <= _MANY else 4.0
    bars = [_bar(point, colour, size, x, y) for point in samples.points]
    marks = [
        _mark(samples.mark, x.place(point.x), y.place(point.y), size, colour)
        if y.holds(point.y)
        else _beyond(x.place(point.x), y, point.y > y.high, colour)
        for point in samples.points
    ]
    return [*bars, *marks]


def _bar(point: Sample, colour: str, size: float, x: Scale, y: Scale) -> str:
    low, high = point.y - point.half_width, point.y + point.half_width
    if point.half_width <= 0 or high < y.low or low > y.high:
        return ""
    at = x.place(point.x)
    upper, lower = y.place(min(high, y.high)), y.place(max(low, y.low))
    path = f"M{_n(at)} {_n(upper)}V{_n(lower)}"
    for end, limit in ((upper, high), (lower, low)):
        if y.holds(limit):
            path += f"M{_n(at - size)} {_n(end)}H{_n(at + size)}"
    return _tag("path", d=path, stroke=colour, stroke_width=1.8 if size > 5 else 1)


def _mark(mark: Mark, x: float, y: float, size: float, colour: str) -> str:
    r = size
    match mark:
        case Mark.DISC:
            return _tag("circle", cx=x, cy=y, r=r, fill=colour)
        case Mark.RING:
            return _tag(
                "circle", cx=x, cy=y, r=r - 0.5, fill="#ffffff", stroke=colour, stroke_width=2.5
            )
        case Mark.SQUARE:
            return _tag("rect", x=x - r, y=y - r, width=2 * r, height=2 * r, fill=colour)
        case Mark.DIAMOND:
            r *= 1.35
            path = (
                f"M{_n(x)} {_n(y - r)}L{_n(x + r)} {_n(y)}L{_n(x)} {_n(y + r)}L{_n(x - r)} {_n(y)}Z"
            )
            return _tag("path", d=path, fill=colour)
        case Mark.CROSS:
            path = (
                f"M{_n(x - r)} {_n(y - r)}L{_n(x + r)} {_n(y + r)}"
                f"M{_n(x - r)} {_n(y + r)}L{_n(x + r)} {_n(y - r)}"
            )
            return _tag("path", d=path, stroke=colour, stroke_width=3)


def _beyond(x: float, y: Scale, is_above: bool, colour: str) -> str:  # noqa: FBT001
    """An arrow at the edge for a value outside the picture."""
    tip, base = (y.end + 1, y.end + 14) if is_above else (y.start - 1, y.start - 14)
    path = f"M{_n(x)} {_n(tip)}L{_n(x - 7)} {_n(base)}H{_n(x + 7)}Z"
    return _tag("path", d=path, fill="#ffffff", stroke=colour, stroke_width=2)


def _key(plot: Plot, explained: Sequence[str], outside: int, top: float) -> tuple[list[str], float]:
    """What each mark means, in rows below the plot; and the height of the whole picture."""
    entries: list[tuple[str, str]] = []
    for at, samples in enumerate(plot.samples):
        if samples.points:
            entries.append((samples.name, _mark(samples.mark, 15, -6, 6.5, _colour(at))))
    if any(point.half_width > 0 for samples in plot.samples for point in samples.points):
        bar = _tag("path", d="M15 -16V4M9 -16H21M9 4H21", stroke=_INK, stroke_width=1.8)
        entries.append(("uncertainty", bar))
    for curve in plot.curves:
        symbol = _line(2, -6, 28, -6, _INK, 2.5, _DASHES[curve.stroke])
        entries.append((curve.name, symbol))
    for at, name in enumerate(dict.fromkeys(zone.name for zone in plot.zones)):
        fill, dash = _zone_style(at)
        edges = "".join(_line(2, y, 28, y, _GREY, 1.5, dash) for y in (-15, 3))
        entries.append((name, _tag("rect", x=2, y=-15, width=26, height=18, fill=fill) + edges))
    if outside:
        arrow = _tag("path", d="M15 -14L8 -1H22Z", fill="#ffffff", stroke=_INK, stroke_width=2)
        entries.append((f"{outside} outside the picture", arrow))
    entries += [(words, "") for words in explained]
    if not entries:
        return [], top - LINE_HEIGHT / 2
    places, rows = flowed(
        [text_width(shortened(name)) + (_SYMBOL if symbol else 0) for name, symbol in entries],
        _EDGE,
        _WIDTH - _EDGE,
    )
    drawn = []
    for (name, symbol), (x, row) in zip(entries, places, strict=True):
        y = top + 6 + row * (LINE_HEIGHT + 4)
        shift = f'<g transform="translate({_n(x)} {_n(y)})">'
        drawn.append(f"{shift}{symbol}{_text(_SYMBOL if symbol else 0, 0, shortened(name))}</g>")
    return drawn, top + 6 + (rows - 1) * (LINE_HEIGHT + 4) + _EDGE


def _text(x: float, y: float, words: str, *, anchor: str = "") -> str:
    at = f' text-anchor="{anchor}"' if anchor else ""
    return f'<text x="{_n(x)}" y="{_n(y)}"{at}>{xml_text(words)}</text>'


def _line(
    x1: float, y1: float, x2: float, y2: float, colour: str, width: float, dash: str = ""
) -> str:
    ends = {"x1": x1, "y1": y1, "x2": x2, "y2": y2}
    return _tag("line", **ends, stroke=colour, stroke_width=width, stroke_dasharray=dash)


def _tag(name: str, **attributes: float | str) -> str:
    """An element without content; an attribute that is "" is left out."""
    written = (
        f'{key.replace("_", "-")}="{value if isinstance(value, str) else _n(value)}"'
        for key, value in attributes.items()
        if value != ""
    )
    return f"<{name} {' '.join(written)}/>"


def _n(value: float) -> str:
    """A place on the picture to a tenth, the same on every machine; no minus zero."""
    text = f"{value:.1f}".removesuffix(".0")
    return "0" if text == "-0" else text


_SMALL_WIDTH, _SMALL_HEIGHT, _SMALL_EDGE = 360, 44, 4

_QUIET, _HAIR, _FILL = "#454545", "#d9d9d9", "#f0f0f0"

# How wide a dot is, and how its ends are; a ring is a dot with a lesser one on it. Paths of no
# length with square ends are left out by some printers, so a dot has a little, aslant.
_DOTS = {Mark.DISC: (4, "round"), Mark.RING: (7, "round")}

_OTHER_DOT = (7, "square")

_HOLE = 4.0

_A_LITTLE = "l.01.005"


def _render_small(plot: Plot) -> str:
    """SVG text, ending in a line feed; what lies beyond the picture is drawn at its edge."""
    x = Scale(*x_range(plot), start=0, end=_SMALL_WIDTH)
    y = Scale(*y_range(plot), start=_SMALL_HEIGHT - _SMALL_EDGE, end=_SMALL_EDGE)
    body = [_path(_HAIR, 1, _months(x))]
    for zone in plot.zones:
        if zone.x_from is None and zone.x_to is None:
            top, bottom = (f"{_clipped(y, limit):.1f}" for limit in (zone.high, zone.low))
            body.append(
                f'<path d="M0 {top}H{_SMALL_WIDTH}V{bottom}H0Z" fill="{_FILL}" stroke="none"/>'
            )
            body.append(_path(_INK, 1.25, [f"M0 {top}H{_SMALL_WIDTH}M0 {bottom}H{_SMALL_WIDTH}"]))
    for curve in plot.curves:
        dash = "" if curve.stroke is Stroke.SOLID else ' stroke-dasharray="4 4"'
        corners = (f"{_clipped(x, at):.1f} {_clipped(y, value):.1f}" for at, value in curve.corners)
        body.append(_path(_INK, 1.25, ["M" + "L".join(corners)], dash))
    shown = [(samples, [p for p in samples.points if x.holds(p.x)]) for samples in plot.samples]
    bars = [_small_bar(point, x, y) for _, points in shown for point in points if point.half_width]
    body.append(_path(_QUIET, 1, sorted(bars)))
    for samples, points in shown:
        dots = [f"M{x.place(p.x):.1f} {_clipped(y, p.y):.1f}{_A_LITTLE}" for p in points]
        width, ends = _DOTS.get(samples.mark, _OTHER_DOT)
        body.append(_path(_INK, width, dots, f' stroke-linecap="{ends}"'))
        if samples.mark is Mark.RING:
            body.append(_path("#ffffff", _HOLE, dots, ' stroke-linecap="round"'))
    size = f"{_SMALL_WIDTH} {_SMALL_HEIGHT}"
    return _file(plot, size, 'preserveAspectRatio="none" fill="none"', body)


def _months(x: Scale) -> list[str]:
    first = date.fromordinal(int(x.low))
    starts = (date(first.year, month, 1).toordinal() for month in range(1, 13))
    return [f"M{x.place(start):.1f} 0V{_SMALL_HEIGHT}" for start in starts if x.holds(start)]


def _small_bar(point: Sample, x: Scale, y: Scale) -> str:
    low, high = (_clipped(y, point.y + sign * point.half_width) for sign in (-1, 1))
    return f"M{x.place(point.x):.1f} {high:.1f}V{low:.1f}"


def _clipped(scale: Scale, value: float) -> float:
    return scale.place(min(max(value, scale.low), scale.high))


def _path(colour: str, width: float, pieces: list[str], more: str = "") -> str:
    """Lines keep their width when the picture is stretched."""
    if not pieces:
        return ""
    drawn = "\n".join(pieces)
    return (
        f'<path stroke="{colour}" stroke-width="{width:g}" vector-effect="non-scaling-stroke"'
        f'{more} d="\n{drawn}\n"/>'
    )

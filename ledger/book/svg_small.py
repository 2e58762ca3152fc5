"""A plot without words, a line or two high, that may be stretched: to compare many at a glance.

A whole year from left to right with a hair line a month; a band in the middle, or the range of
the values where none is stated. Every value is a line of its own in two paths, so that one more
reading changes two lines of the file.
"""

from datetime import date

from ledger.book.blocks import Mark, Plot, Sample, Stroke
from ledger.book.escape import xml_text
from ledger.book.svg_scale import Scale, x_range, y_range
from ledger.files.book_files import MARKER

_WIDTH, _HEIGHT, _EDGE = 360, 44, 4

_INK, _QUIET, _HAIR, _PAPER, _FILL = "#111111", "#454545", "#d9d9d9", "#ffffff", "#f0f0f0"

# How wide a dot is, and how its ends are; a ring is a dot with a lesser one on it. Paths of no
# length with square ends are left out by some printers, so a dot has a little, aslant.
_DOTS = {Mark.DISC: (4, "round"), Mark.RING: (7, "round")}

_OTHER_DOT = (7, "square")

_HOLE = 4.0

_A_LITTLE = "l.01.005"


def render(plot: Plot) -> str:
    """SVG text, ending in a line feed; what lies beyond the picture is drawn at its edge."""
    x_low, x_high = x_range(plot)
    x = Scale(low=x_low, high=x_high, start=0, end=_WIDTH)
    y_low, y_high = y_range(plot)
    y = Scale(low=y_low, high=y_high, start=_HEIGHT - _EDGE, end=_EDGE)
    body = [_path(_HAIR, 1, _months(x))]
    for zone in plot.zones:
        if zone.x_from is None and zone.x_to is None:
            top, bottom = (f"{_clipped(y, limit):.1f}" for limit in (zone.high, zone.low))
            body.append(f'<path d="M0 {top}H{_WIDTH}V{bottom}H0Z" fill="{_FILL}" stroke="none"/>')
            body.append(_path(_INK, 1.25, [f"M0 {top}H{_WIDTH}M0 {bottom}H{_WIDTH}"]))
    for curve in plot.curves:
        dash = "" if curve.stroke is Stroke.SOLID else ' stroke-dasharray="4 4"'
        corners = (f"{_clipped(x, at):.1f} {_clipped(y, value):.1f}" for at, value in curve.corners)
        body.append(_path(_INK, 1.25, ["M" + "L".join(corners)], dash))
    shown = [(samples, [p for p in samples.points if x.holds(p.x)]) for samples in plot.samples]
    bars = [_bar(point, x, y) for _, points in shown for point in points if point.half_width]
    body.append(_path(_QUIET, 1, sorted(bars)))
    for samples, points in shown:
        dots = [f"M{x.place(p.x):.1f} {_clipped(y, p.y):.1f}{_A_LITTLE}" for p in points]
        width, ends = _DOTS.get(samples.mark, _OTHER_DOT)
        body.append(_path(_INK, width, dots, f' stroke-linecap="{ends}"'))
        if samples.mark is Mark.RING:
            body.append(_path(_PAPER, _HOLE, dots, ' stroke-linecap="round"'))
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH} {_HEIGHT}" role="img"'
        f' aria-label="{xml_text(plot.title)}" preserveAspectRatio="none" fill="none">'
    )
    return "\n".join((head, f"<!-- {MARKER} -->", *filter(None, body), "</svg>")) + "\n"


def _months(x: Scale) -> list[str]:
    first = date.fromordinal(int(x.low))
    starts = (date(first.year, month, 1).toordinal() for month in range(1, 13))
    return [f"M{x.place(start):.1f} 0V{_HEIGHT}" for start in starts if x.holds(start)]


def _bar(point: Sample, x: Scale, y: Scale) -> str:
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

"""Plots as SVG: the same bytes each time, nothing outside the picture, words that can be read."""

import math
import re
from datetime import date
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.book import svg
from ledger.book.blocks import (
    Axis,
    AxisKind,
    Curve,
    Event,
    Mark,
    Picture,
    Plot,
    Sample,
    Samples,
    Stroke,
    Zone,
    pictures_of,
)
from ledger.book.svg import event_labels, flowed, text_width
from ledger.book.svg_scale import Scale, clipped_segments, ticks, x_range, y_range, year_span
from ledger.files.book_files import has_marker

SVG = "{http://www.w3.org/2000/svg}"
NUMBERS = Axis(label="frequency, Hz")
SPEED = Axis(label="speed, r/min")
DAYS = Axis(label="date", kind=AxisKind.DAY)


def day(text):
    return float(date.fromisoformat(text).toordinal())


def plot_of(values, *, x=NUMBERS, y=SPEED, first=None, half_width=0.0, **more):
    if first is None:
        first = day("2026-01-05") if x is DAYS else 0.0
    points = [Sample(x=first + n, y=y, half_width=half_width) for n, y in enumerate(values)]
    samples = (Samples(name="read", mark=Mark.DISC, points=points),)
    return Plot(
        **{"title": "Speed", "summary": "Falls.", "x": x, "y": y, "samples": samples} | more
    )


def texts(drawn):
    return [element.text for element in ET.fromstring(drawn).iter(f"{SVG}text")]


def test_the_whole_picture_is_as_reviewed(book, golden):
    (picture,) = (one for page in book for one in pictures_of(page.blocks) if not one.is_small)
    golden("speed.svg", svg.draw(picture))


def test_a_small_picture_has_no_words_and_one_reading_alters_two_lines():
    """Its bar and its dot; what lies beyond the picture is drawn at the edge."""
    year = Axis(label="date", kind=AxisKind.DAY, span=year_span(2026, 2026))
    band = Axis(label="speed, r/min", span=(62, 98))
    before, after = (
        svg.draw(Picture("a.svg", plot_of(values, x=year, y=band, first=day("2026-01-05"), half_width=1.0), is_small=True))
        for values in ([80.0, 79.0], [80.0, 79.0, 500.0])
    )  # fmt: skip
    assert texts(after) == []
    added = set(after.splitlines()) - set(before.splitlines())
    assert sorted(added) == ["M5.9 4.0V4.0", "M5.9 4.0l.01.005"]
    assert set(before.splitlines()) < set(after.splitlines())


def test_it_says_what_it_shows_where_it_cannot_be_seen():
    root = ET.fromstring(svg.render(plot_of([80.0, 79.0])))
    assert root.get("role") == "img"
    assert root.find(f"{SVG}title").text == "Speed"
    assert root.find(f"{SVG}desc").text == "Falls."


def test_it_carries_the_marker_and_no_style_a_policy_could_strip():
    drawn = svg.render(plot_of([80.0, 79.0]))
    assert has_marker(drawn)
    assert "style" not in drawn
    assert " id=" not in drawn
    assert "http" not in drawn.replace("http://www.w3.org/2000/svg", "")


def test_words_are_escaped():
    zone = Zone(name="<band> & \x01 limits", low=1, high=2)
    drawn = svg.render(plot_of([1.0, 2.0], zones=(zone,)))
    assert any(text.startswith("<band> & ") and "\x01" not in text for text in texts(drawn))


@pytest.mark.parametrize(
    "values",
    [
        [],
        [76.0],
        [76.0] * 5,
        [0.0],
        [-3.0, 3.0],
        [1.2e12, 1.3e12],
        [3e-9, 5e-9],
        [0.0, 0.0],
        [1e9, 1e9 + 1e-6],
    ],
    ids=[
        "none",
        "one",
        "all equal",
        "zero",
        "both signs",
        "huge",
        "small",
        "zeros",
        "huge and close",
    ],
)
@pytest.mark.parametrize("axis", [NUMBERS, DAYS], ids=["numbers", "days"])
def test_any_values_give_a_picture_with_every_mark_inside(values, axis):
    drawn = svg.render(plot_of(values, x=axis, half_width=1.0))
    root = ET.fromstring(drawn)
    _, _, width, height = map(float, root.get("viewBox").split())
    marks = [e for e in root if e.tag == f"{SVG}circle"]
    assert len(marks) == len(values)
    assert all(
        0 <= float(m.get("cx")) <= width and 0 <= float(m.get("cy")) <= height for m in marks
    )


@given(
    st.lists(
        st.tuples(st.floats(-1e12, 1e12), st.floats(-1e12, 1e12), st.floats(0, 1e6)), max_size=20
    ),
    st.sampled_from(list(Mark)),
)
def test_every_place_is_a_finite_number_inside_the_picture(points, mark):
    samples = Samples(
        name="read", mark=mark, points=[Sample(x=x, y=y, half_width=u) for x, y, u in points]
    )
    drawn = svg.render(Plot(title="", summary="", x=NUMBERS, y=NUMBERS, samples=(samples,)))
    root = ET.fromstring(drawn)
    _, _, width, height = map(float, root.get("viewBox").split())
    for path in root.iter(f"{SVG}path"):
        numbers = [float(n) for n in re.findall(r"-?\d+(?:\.\d+)?", path.get("d"))]
        assert all(-20 <= n <= max(width, height) + 20 for n in numbers)
    assert "nan" not in drawn
    assert "inf" not in drawn


def test_an_arrow_stands_for_a_value_far_outside_and_the_key_counts_it():
    values = [80.0, 79.0, 81.0, 80.5, 79.5, 80.2, 960.0]
    low, high = y_range(plot_of(values))
    assert (low > 70, high < 100) == (True, True)
    assert "1 outside the picture" in texts(svg.render(plot_of(values)))


def test_a_real_step_stays_in_the_picture():
    low, high = y_range(plot_of([80.0, 79.0, 81.0, 80.5, 72.0, 71.5, 72.5]))
    assert (low < 71.5, high > 81.0) == (True, True)


def test_few_values_are_all_shown():
    assert y_range(plot_of([80.0, 960.0]))[1] > 960


def test_limits_are_in_the_picture_and_infinite_ones_end_at_its_edge():
    zone = Zone(name="too fast", low=85.0, high=math.inf)
    plot = plot_of([80.0, 79.0], zones=(zone,))
    assert y_range(plot)[1] > 85
    ET.fromstring(svg.render(plot))


@pytest.mark.parametrize("bad", [math.nan, math.inf])
def test_a_sample_that_is_not_finite_is_named(bad):
    with pytest.raises(ValueError, match="sample 1 of 'read' is not finite"):
        svg.render(plot_of([1.0, bad]))


@pytest.mark.parametrize(
    ("low", "high", "expected"),
    [
        ("2026-11-23", "2026-11-26", ["2026-11-23", "2026-11-24", "2026-11-25", "2026-11-26"]),
        (
            "2026-11-01",
            "2026-11-30",
            ["2026-11-02", "2026-11-09", "2026-11-16", "2026-11-23", "2026-11-30"],
        ),
        ("2026-08-15", "2027-01-15", ["2026-09", "2026-10", "2026-11", "2026-12", "2027-01"]),
        (
            "2025-05-20",
            "2026-11-20",
            ["2025-07", "2025-10", "2026-01", "2026-04", "2026-07", "2026-10"],
        ),
        ("2017-03-01", "2026-11-20", ["2018", "2020", "2022", "2024", "2026"]),
    ],
    ids=["days", "Mondays", "months", "quarters", "years"],
)
def test_ticks_of_days(low, high, expected):
    found, label = ticks(DAYS, day(low), day(high), 6)
    assert ([tick.words for tick in found], label) == (expected, "date")


@pytest.mark.parametrize(
    ("low", "high", "expected", "label"),
    [
        (71.2, 86.9, ["75", "80", "85"], "x"),
        (-0.3, 0.3, ["−0.3", "−0.2", "−0.1", "0.0", "0.1", "0.2", "0.3"], "x"),
        (0.24, 0.26, ["0.240", "0.245", "0.250", "0.255", "0.260"], "x"),
        (0, 250000, ["0", "50", "100", "150", "200", "250"], "x (×10³)"),
        (0, 4e-6, ["0", "1", "2", "3", "4"], "x (×10⁻⁶)"),
    ],
)
def test_ticks_of_numbers(low, high, expected, label):
    found, named = ticks(Axis(label="x"), low, high, 6)
    assert ([tick.words for tick in found], named) == (expected, label)


@given(st.floats(-1e9, 1e9), st.floats(1e-3, 1e9), st.integers(2, 8))
def test_ticks_lie_inside_and_no_two_read_alike(low, width, most):
    high = low + width
    found, _ = ticks(NUMBERS, low, high, most)
    assert len(found) <= most + 1
    assert all(low - 1e-6 * width <= tick.at <= high + 1e-6 * width for tick in found)


def test_an_axis_shows_what_it_states_whatever_the_values():
    plot = plot_of([80.0, 300.0], y=Axis(label="speed", span=(65, 95)))
    assert y_range(plot) == (65, 95)
    assert "1 outside the picture" in texts(svg.render(plot))


def test_a_band_of_one_value_has_room_about_it():
    low, high = y_range(plot_of([80.0], y=Axis(label="speed", span=(80, 80))))
    assert low < 80 < high


def test_days_are_shown_to_whole_years_and_numbers_to_whole_steps():
    """By steps of 5 from 71 to 86, so that another value between them moves nothing."""
    days = plot_of([71.0, 86.0], x=DAYS, events=(Event(x=day("2025-12-31"), label="before"),))
    assert x_range(days) == (day("2025-01-01"), day("2027-01-01"))
    assert y_range(days) == y_range(plot_of([71.0, 86.0, 73.0])) == (70, 90)


def test_meanings_keep_their_colours_where_one_has_no_points():
    drawn = svg.render(plot_of([], samples=(Samples(name="good", mark=Mark.DISC, points=()), Samples(name="bad", mark=Mark.DISC, points=[Sample(x=1, y=1)]))))  # fmt: skip
    assert svg.ACCENT not in drawn
    assert "good" not in texts(drawn)


def test_a_day_axis_stays_in_the_calendar():
    plot = Plot(title="", summary="", x=DAYS, y=NUMBERS, events=(Event(x=1.0, label="first"),))
    low, high = x_range(plot)
    assert 1 <= low < high


@given(
    st.lists(st.tuples(st.floats(60, 700), st.text("abc 0", min_size=1, max_size=50)), max_size=12)
)
def test_words_of_events_never_lie_on_each_other(events):
    labels, explained = event_labels(sorted(events), 60, 706)
    assert len(labels) == len(events)
    assert len(explained) in (0, len(events))
    for a in labels:
        for b in labels:
            if a is not b and a.lane == b.lane:
                first, second = sorted((a, b), key=lambda label: label.start)
                assert first.start + text_width(first.words) <= second.start


def test_many_events_are_numbered_and_told_in_the_key():
    events = tuple(Event(x=float(n), label=f"setting changed to {n} Hz") for n in range(12))
    shown = texts(svg.render(plot_of([1.0, 2.0], events=events)))
    assert "7" in shown
    assert "7 setting changed to 6 Hz" in shown


def test_key_rows_wrap_at_the_edge():
    assert flowed([100, 100, 100], 0, 260) == ([(0, 0), (128.0, 0), (0, 1)], 2)


@pytest.mark.parametrize(
    ("corners", "expected"),
    [
        ([(0, 5), (10, 5)], [[(0, 5), (10, 5)]]),
        ([(-10, 5), (20, 5)], [[(0, 5), (10, 5)]]),
        ([(-5, -5), (15, 15)], [[(0, 0), (10, 10)]]),
        ([(0, 20), (10, 20)], []),
        ([(2, 2), (4, 20), (6, 2)], [[(2, 2), (2.889, 10)], [(5.111, 10), (6, 2)]]),
        ([(0, 1), (math.nan, 2), (3, 3), (4, 4)], [[(3, 3), (4, 4)]]),
    ],
    ids=["inside", "both ends", "corner to corner", "outside", "over the top", "broken"],
)
def test_lines_are_cut_at_the_edge_of_the_plot(corners, expected):
    scale = Scale(low=0, high=10, start=0, end=100)
    found = clipped_segments(corners, scale, scale)
    rounded = [
        [(pytest.approx(x, abs=1e-3), pytest.approx(y, abs=1e-3)) for x, y in run]
        for run in expected
    ]
    assert found == rounded


def test_a_band_inside_wider_limits_is_drawn_above_them():
    zones = (Zone(name="band", low=74, high=86), Zone(name="limits", low=70, high=90))
    drawn = svg.render(plot_of([80.0, 79.0], zones=zones))
    assert drawn.index("#d2d2d2") < drawn.index("#e6e6e6")


def test_strokes_differ():
    curves = tuple(
        Curve(name=stroke.value, stroke=stroke, corners=((0, 1), (1, 2))) for stroke in Stroke
    )
    drawn = ET.fromstring(svg.render(plot_of([1.0, 2.0], curves=curves)))
    dashes = [line.get("stroke-dasharray") for line in drawn.iter(f"{SVG}polyline")]
    assert dashes == [None, "10 6", "2 6"]

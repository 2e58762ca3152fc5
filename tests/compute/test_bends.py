"""Which of the newest readings one pace, or one level, explains."""

import math
from dataclasses import replace

import pytest

from ledger.compute.trend import Line, TimedReading, at_one_pace, fit_line, since_step

# Residuals of a hand on the watch, drawn once from a normal distribution and rounded.
SCATTER = (0.3, -0.5, 0.1, 0.7, -0.2, -0.4, 0.6, 0.0, -0.7, 0.2)


def readings_of(levels, u=0.5) -> list[TimedReading]:
    return [
        TimedReading(day=7 * n, value=level + SCATTER[n % 10], standard_uncertainty=u)
        for n, level in enumerate(levels)
    ]


def line_of(readings) -> Line:
    line = fit_line(readings)
    assert isinstance(line, Line)
    return line


@pytest.mark.parametrize(
    ("levels", "kept"),
    [
        pytest.param([80.0] * 30, 30, id="steady"),
        pytest.param([80 - 0.2 * n for n in range(30)], 30, id="one pace"),
        pytest.param([80 - max(0, n - 15) for n in range(30)], 15, id="falls from the middle on"),
        pytest.param(
            [80 - 2 * max(0, n - 9) for n in range(19)], 19, id="halves of nine tell nothing"
        ),
        pytest.param([80 - max(0, n - 10) for n in range(20)], 10, id="halves of ten do"),
    ],
)
def test_the_newest_readings_at_one_pace(levels, kept):
    assert at_one_pace(readings_of(levels)) == kept


@pytest.mark.parametrize(
    ("levels", "by_line", "kept"),
    [
        pytest.param([81.0] * 20 + [78.0] * 20, False, 20, id="in the middle"),
        pytest.param([81.0] * 20 + [78.0] * 20, True, 20, id="better than by a line"),
        pytest.param([81.0] * 30 + [78.0] * 10, True, 10, id="late"),
        pytest.param([81.0] * 36 + [78.0] * 4, False, 4, id="the last four"),
        pytest.param([78.0] * 4 + [81.0] * 36, False, 36, id="the first four"),
        pytest.param([81 - 0.1 * n for n in range(40)], True, 40, id="a line explains better"),
        pytest.param([81.0] * 4 + [78.0] * 3, False, 7, id="too few for two levels"),
        pytest.param([81.0] * 4 + [78.0] * 4, False, 4, id="as few as do"),
    ],
)
def test_the_readings_since_a_step(levels, by_line, kept):
    readings = readings_of(levels)
    assert since_step(readings, line_of(readings) if by_line else None) == kept


@pytest.mark.parametrize(("share", "kept"), [(0.9995, 8), (1.0005, 4)])
def test_a_step_has_to_explain_more_than_its_day_is_worth(share, kept):
    """The line is moved until its chi-square is that of two levels and 10.83 of their scatter."""
    values = [n // 4 + 0.5 * (-1) ** n for n in range(8)]
    readings = [
        TimedReading(day=n, value=2 * v, standard_uncertainty=2) for n, v in enumerate(values)
    ]
    line = line_of(readings)
    by_line = math.fsum((v - line.at(n) / 2) ** 2 for n, v in enumerate(values))
    by_levels = 8 * 0.5**2
    higher = math.sqrt((by_levels * (1 + 10.83 / 6) * share - by_line) / 8)

    assert since_step(readings, replace(line, value=line.value + 2 * higher)) == kept


def test_a_half_of_too_few_days_shows_no_bend():
    crowded = [replace(one, day=one.day % 14) for one in readings_of([80.0] * 10)]
    later = [replace(one, day=one.day + 70) for one in readings_of([80 - 2 * n for n in range(10)])]

    assert at_one_pace([*crowded, *later]) == 20

"""Readings parted at the changes that re-base a chart."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.compute.trend import Stretch, TimedReading, stretches

days = st.lists(st.integers(0, 100), max_size=40)


def readings_on(some_days) -> list[TimedReading]:
    return [TimedReading(day=d, value=75.0, standard_uncertainty=1.0) for d in some_days]


def test_a_change_starts_a_baseline_anew():
    first, second = stretches(readings_on(range(8)), change_days=[5], baseline_readings=2)

    assert [r.day for r in first.baseline] == [0, 1]
    assert [r.day for r in first.watched] == [2, 3, 4]
    assert second.since_day == 5
    assert [r.day for r in second.baseline] == [5, 6]
    assert [r.day for r in second.watched] == [7]


def test_no_reading_since_the_last_change_is_said():
    *_, last = stretches(readings_on(range(3)), change_days=[10, 20])

    assert last == Stretch(since_day=20, baseline=(), watched=())


@given(days, days, st.integers(1, 12))
def test_every_reading_is_in_one_stretch(read, changed, length):
    parted = stretches(readings_on(read), change_days=changed, baseline_readings=length)
    back = [r.day for s in parted for r in (*s.baseline, *s.watched)]

    assert back == sorted(read)
    assert all(len(s.baseline) == length for s in parted if s.watched)
    assert parted[-1].since_day == max(changed, default=None)


def test_an_empty_baseline_is_refused():
    with pytest.raises(ValueError, match="baseline"):
        stretches([], change_days=[], baseline_readings=0)

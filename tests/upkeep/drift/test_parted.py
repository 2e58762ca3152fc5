"""Readings parted at the changes that re-base a chart."""

from datetime import date
from types import SimpleNamespace

from hypothesis import given
from hypothesis import strategies as st

from ledger.compute.trend import BASELINE_READINGS
from ledger.model.references import Place
from ledger.upkeep.drift.common import parted
from ledger.upkeep.drift.series import SPEED, Measured, Rebase, Series, SeriesReading

days = st.lists(st.integers(1, 100), max_size=40)


def parted_days(read, changed):
    """What began each stretch, and the days of its baseline and of what is watched."""
    series = Series(
        kind=SPEED,
        place=Place("brush"),
        readings=tuple(
            SeriesReading(
                entry=SimpleNamespace(day=date.fromordinal(day)),
                measured=Measured(value=75.0, u=1.0),
            )
            for day in sorted(read)
        ),
        lower=None,
        upper=None,
        rebases=tuple(
            Rebase(day=date.fromordinal(day), what="new belt", ends_trend=True, evidence=())
            for day in changed
        ),
    )
    return [
        (
            None if since is None else since.day.toordinal(),
            *([one.entry.day.toordinal() for one in part] for part in parts),
        )
        for since, *parts in parted(series)
    ]


def test_a_change_starts_a_baseline_anew():
    first, second = parted_days(range(1, 26), [13])

    assert first == (None, list(range(1, 11)), [11, 12])
    assert second == (13, list(range(13, 23)), [23, 24, 25])


def test_no_reading_since_the_last_change_is_said():
    *_, last = parted_days(range(1, 4), [10, 20])

    assert last == (20, [], [])


@given(days, days)
def test_every_reading_is_in_one_stretch(read, changed):
    found = parted_days(read, changed)
    back = [day for _, baseline, watched in found for day in (*baseline, *watched)]

    assert back == sorted(read)
    assert all(len(baseline) == BASELINE_READINGS for _, baseline, watched in found if watched)
    assert found[-1][0] == max(changed, default=None)

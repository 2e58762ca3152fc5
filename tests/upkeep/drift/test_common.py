"""What the speeds of one day have in common is taken out, and watched for itself."""

from random import Random

import pytest
from sitegen import draws
from small_site import ELECTRIC, ledger_of, on, visit

from ledger.book import terminal
from ledger.upkeep.drift.common import days_in_common, deviations, less_common, together
from ledger.upkeep.drift.found import drift, speed_series
from ledger.upkeep.drift.page import drift_page
from ledger.upkeep.speeds.found import speed_results

NAMES = [f"brush-{n}" for n in range(7)]


def ledger(rpm, *, brushes=7, weeks=50, policy=None):
    """Every brush timed once a week; `rpm(brush, week)` is its true speed."""
    rng = Random(1)
    names = NAMES[:brushes]
    visits = [
        visit(
            7 * week,
            *(
                {"at": name, **draws.timed_turns(rng, rpm(n, week), 40), "found_hz": 45}
                for n, name in enumerate(names)
            ),
        )
        for week in range(weeks)
    ]
    machines = {name: ELECTRIC | {"station": 10 + n} for n, name in enumerate(names)}
    site = {} if policy is None else {"policy": policy}
    return ledger_of(visits, machines=machines, site=site)


def judged(ledger):
    return drift(ledger, speed_results(ledger))


def text_of(ledger):
    return " ".join(terminal.render(drift_page(ledger, judged(ledger))).split())


def together_down(brush, week):
    """All lose 2 % from week 30 on, whatever their own speed."""
    return (70 + 3 * brush) * (0.98 if week >= 30 else 1.0)


def test_what_befalls_all_brushes_accuses_none_and_is_told_once():
    found = judged(ledger(together_down))

    assert not any(result.signals for result in found.results)
    assert found.common[0].day in {on(7 * 30), on(7 * 31)}
    assert found.common[-1].percent == pytest.approx(-2, abs=0.4)
    text = text_of(ledger(together_down))
    assert "All brushes of a day together" in text
    assert "line voltage, oil, the watch" in text


def test_of_too_few_brushes_nothing_is_taken_out():
    found = judged(ledger(together_down, brushes=5))

    assert all(result.signals for result in found.results)
    assert found.common == ()


def test_one_brush_that_slows_is_named_alone():
    def rpm(brush, week):
        return (70 + 3 * brush) * (0.98 if brush == 4 and week >= 30 else 1.0)

    found = judged(ledger(rpm))

    assert [r.series.place.machine for r in found.results if r.signals] == ["brush-4"]
    assert found.common == ()


def test_the_range_moves_with_the_day_and_the_reading_stays_as_it_was_read():
    found = judged(ledger(together_down))
    (stretch,) = found.results[0].stretches
    before, after = stretch.points[5], stretch.points[-1]

    assert after.value == stretch.watched[-1].measured.value
    assert after.limits.centre == pytest.approx(0.98 * before.limits.centre, rel=0.008)


def test_the_common_part_is_the_median_of_the_others_with_its_own_doubt():
    record = ledger(together_down)
    series = speed_series(record, speed_results(record))
    days = days_in_common({one.place.machine: deviations(one) for one in series})
    reading = less_common(series[0], days).readings[-1]

    assert reading.common is not None
    assert reading.common.value == pytest.approx(-0.02 * 70, abs=0.3)
    u_share = 1.2533 * 0.27 / 70 / 6**0.5
    assert reading.common.u == pytest.approx(70 * u_share, rel=0.2)
    charted = reading.charted({})
    assert charted.value == reading.measured.value - reading.common.value
    assert charted.standard_uncertainty > reading.measured.u
    assert len(together(days)) == 50


def test_the_price_of_alarms_stands_on_the_page_with_both_numbers():
    text = text_of(ledger(lambda brush, _: 70 + 3 * brush))

    assert "Series watched: 7. A steady series raises a false alarm about 13 times in 100" in text
    assert "all together about 1 a year" in text


def test_a_site_that_bears_more_false_alarms_has_narrower_ranges():
    def rpm(brush, _week):
        return 70 + 3 * brush

    few, many = (
        judged(ledger(rpm, policy={"false_alarms_per_year": rate})).results[0].stretches[0]
        for rate in (0.5, 8)
    )

    assert many.points[-1].limits.upper < few.points[-1].limits.upper

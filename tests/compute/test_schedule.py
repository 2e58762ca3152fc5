"""When work is due, and whether past work was in time."""

from dataclasses import replace
from datetime import date, timedelta
from itertools import islice

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.compute.meter import Closure, MeterReading, OperatingCalendar, meter_log
from ledger.compute.recurrence import Hours, Vehicles, nth_date, parse_interval, parse_rule
from ledger.compute.schedule import (
    CountsFrom,
    Cycle,
    Due,
    Meters,
    Obligation,
    Outcome,
    State,
    Window,
    answered,
    due_row,
    next_due,
    unanswered,
)

# 2026-01-05 is a Monday.
MONDAY = date(2026, 1, 5)
WEEKLY, DAILY, MONTHLY = (parse_interval(text) for text in ("1 week", "1 day", "1 month"))
TWO_DAYS = Window(early_days=2, late_days=2)
SIX_DAYS_OPEN = OperatingCalendar(open_weekdays=frozenset(range(1, 7)))
FOR_GOOD = OperatingCalendar(closures=(Closure(first=date(2026, 1, 15), last=date.max),))


def day(n: int) -> date:
    """The day n days after the Monday on which the examples begin."""
    return MONDAY + timedelta(days=n)


def cycle(*intervals, fixed=False, window=Window(), operating=OperatingCalendar(), in_service=MONDAY, anchor=MONDAY):  # noqa: B008  # fmt: skip
    return Cycle(
        intervals=intervals,
        in_service=in_service,
        anchor=anchor,
        counts_from=CountsFrom.CALENDAR if fixed else CountsFrom.LAST_DONE,
        window=window,
        operating=operating,
    )


def obligations(cycle, *, done, as_of, first, last, meters=None) -> tuple[Obligation, ...]:
    """Every due date from `first` to `last`, answered or not, in order."""
    found = [
        *answered(cycle, done=done, as_of=as_of, last=last, meters=meters),
        *unanswered(cycle, done=done, as_of=as_of, meters=meters),
    ]
    found.sort(key=lambda one: (one.due_on, one.window_from))
    return tuple(one for one in found if first <= one.due_on <= last)


def vehicles(*pairs: tuple[int, float]) -> Meters:
    return Meters(vehicles=meter_log(MeterReading(on=day(n), reading=r) for n, r in pairs))


@pytest.mark.parametrize(
    ("as_of", "state", "overdue_days"),
    [
        (4, State.NOT_DUE, 0),
        (5, State.IN_WINDOW, 0),
        (7, State.IN_WINDOW, 0),
        (9, State.IN_WINDOW, 0),
        (10, State.OVERDUE, 1),
        (11, State.OVERDUE, 2),
        (40, State.OVERDUE, 31),
    ],
)
def test_a_weekly_task_with_a_window_of_two_days(as_of, state, overdue_days):
    found = next_due(cycle(WEEKLY, window=TWO_DAYS), done=[], as_of=day(as_of))
    assert found == Due(
        seen_on=day(as_of), due_on=day(7), window_from=day(5), window_to=day(9), because=WEEKLY
    )
    assert (found.state, found.overdue_days) == (state, overdue_days)


@pytest.mark.parametrize(
    ("example", "done", "due_on"),
    [
        pytest.param(cycle(WEEKLY), [], day(7), id="never done: from in service"),
        pytest.param(cycle(WEEKLY), [day(3)], day(10), id="rolls from the last time done"),
        pytest.param(cycle(WEEKLY), [day(9), day(3)], day(16), id="in any order"),
        pytest.param(cycle(WEEKLY), [day(3), day(999)], day(10), id="a day to come does not count"),
        pytest.param(cycle(WEEKLY), [day(-30)], day(7), id="nor one before the point was in service"),
        pytest.param(cycle(MONTHLY), [date(2026, 1, 31)], date(2026, 2, 28), id="month end"),
        pytest.param(cycle(WEEKLY, fixed=True), [], day(7), id="calendar: the first date after in service"),
        pytest.param(cycle(WEEKLY, fixed=True), [day(8)], day(14), id="calendar: late work does not move the next"),
        pytest.param(cycle(WEEKLY, fixed=True), [day(4)], day(7), id="calendar: work before the window discharges nothing"),
        pytest.param(cycle(WEEKLY, fixed=True, window=TWO_DAYS), [day(5)], day(14), id="calendar: work in the window does"),
        pytest.param(cycle(WEEKLY, fixed=True, window=TWO_DAYS), [day(11)], day(14), id="calendar: still before the window"),
        pytest.param(cycle(WEEKLY, fixed=True, anchor=day(30)), [], day(30), id="calendar: nothing before the anchor"),
        pytest.param(
            cycle(MONTHLY, fixed=True, anchor=date(2026, 1, 31)), [date(2026, 1, 31)], date(2026, 2, 28), id="calendar: 28 February"
        ),
        pytest.param(
            cycle(MONTHLY, fixed=True, anchor=date(2026, 1, 31)), [date(2026, 2, 28)], date(2026, 3, 31), id="calendar: then 31 March"
        ),
        pytest.param(cycle(parse_rule("FREQ=MONTHLY;BYDAY=1FR")), [], date(2026, 2, 6), id="a rule stands on the calendar"),
        pytest.param(cycle(MONTHLY, WEEKLY), [], day(7), id="several: the first to come"),
        pytest.param(cycle(DAILY, operating=SIX_DAYS_OPEN), [day(5)], day(7), id="daily: not due on a closed Sunday"),
        pytest.param(cycle(DAILY, fixed=True, operating=SIX_DAYS_OPEN), [day(5)], day(7), id="daily on the calendar: likewise"),
        pytest.param(cycle(WEEKLY, operating=SIX_DAYS_OPEN), [day(6)], day(12), id="a Sunday moves to the Saturday before"),
        pytest.param(
            cycle(WEEKLY, operating=OperatingCalendar(closures=(Closure(first=day(9), last=day(20)),))), [day(5)], day(8),
            id="into a closure: the last day before it",
        ),
        pytest.param(
            cycle(WEEKLY, operating=OperatingCalendar(closures=(Closure(first=day(9), last=day(20)),))), [day(8)], day(22),
            id="done on the last day before a closure: the next date after it that was not in it",
        ),
    ],
)  # fmt: skip
def test_the_next_due_date(example, done, due_on):
    found = next_due(example, done=done, as_of=min(due_on, day(200)))
    assert found.due_on == due_on


def test_a_window_does_not_reach_its_neighbours():
    found = next_due(cycle(DAILY, window=TWO_DAYS), done=[day(3)], as_of=day(4))
    assert (found.window_from, found.due_on, found.window_to) == (day(4), day(4), day(4))


def test_a_meter_interval_is_predicted_by_the_recent_rate_and_says_so():
    found = next_due(
        cycle(Vehicles(count=8000)), done=[day(14)], as_of=day(28), meters=vehicles((0, 100_000), (28, 111_200))
    )  # fmt: skip
    # 400 a day, so 8000 more 20 days after it was done.
    assert found.due_on == day(34)
    assert found.predicted
    assert found.rate is not None
    assert (found.rate.per_day, found.rate.span_days) == (400, 28)
    assert found.state is State.NOT_DUE


def test_a_meter_interval_that_has_been_read_is_not_a_prediction():
    found = next_due(
        cycle(Vehicles(count=8000)), done=[], as_of=day(28), meters=vehicles((0, 0), (10, 4000), (28, 11_200))
    )  # fmt: skip
    assert found.due_on == day(20)
    assert not found.predicted
    assert (found.state, found.overdue_days) == (State.OVERDUE, 8)


def test_readings_after_the_as_of_day_are_not_known_yet():
    log = vehicles((0, 0), (10, 4000), (28, 40_000))
    early = next_due(cycle(Vehicles(count=8000)), done=[], as_of=day(12), meters=log)
    assert (early.due_on, early.predicted) == (day(20), True)


def test_a_meter_that_no_one_read_leaves_the_date_unknown():
    hours = Hours(count=80)
    assert next_due(cycle(hours), done=[], as_of=day(3)) == Due(seen_on=day(3), rests=State.UNKNOWN)
    beside = next_due(cycle(hours, WEEKLY), done=[], as_of=day(3))
    assert (beside.due_on, beside.because) == (day(7), WEEKLY)


def test_the_first_of_calendar_and_meter_fires():
    both = cycle(parse_interval("2 weeks"), Vehicles(count=4000))
    busy = next_due(both, done=[], as_of=day(7), meters=vehicles((0, 0), (7, 2800)))
    quiet = next_due(both, done=[], as_of=day(7), meters=vehicles((0, 0), (7, 280)))
    assert (busy.due_on, busy.because) == (day(10), Vehicles(count=4000))
    assert (quiet.due_on, quiet.because, quiet.rate) == (day(14), parse_interval("2 weeks"), None)


def test_a_rule_that_has_ended_is_not_due():
    once = parse_rule("FREQ=DAILY;COUNT=2")
    found = next_due(cycle(once), done=[day(1)], as_of=day(9))
    assert found == Due(seen_on=day(9), rests=State.NOT_DUE)


def outcomes(found: tuple[Obligation, ...]) -> list[tuple[int, int | None, Outcome]]:
    return [
        (
            (o.due_on - MONDAY).days,
            None if o.done_on is None else (o.done_on - MONDAY).days,
            o.outcome,
        )
        for o in found
    ]


@pytest.mark.parametrize(
    ("example", "done", "expected"),
    [
        pytest.param(
            cycle(WEEKLY, window=TWO_DAYS), [7, 16, 21],
            [(7, 7, Outcome.IN_WINDOW), (14, 16, Outcome.IN_WINDOW), (23, 21, Outcome.IN_WINDOW), (28, None, Outcome.OPEN)],
            id="rolling: each counts from the day before it was done",
        ),
        pytest.param(
            cycle(WEEKLY), [6, 14],
            [(7, 6, Outcome.EARLY), (13, 14, Outcome.LATE), (21, None, Outcome.MISSED), (28, None, Outcome.OPEN)],
            id="rolling without a window: early and late",
        ),
        pytest.param(
            cycle(WEEKLY, window=TWO_DAYS), [24],
            [(7, None, Outcome.MISSED), (14, None, Outcome.MISSED), (21, 24, Outcome.LATE), (31, None, Outcome.OPEN)],
            id="rolling: neglect of three weeks is three rounds",
        ),
        pytest.param(
            cycle(WEEKLY, fixed=True, window=TWO_DAYS), [3, 8, 19, 24],
            [(7, 8, Outcome.IN_WINDOW), (14, None, Outcome.MISSED), (21, 19, Outcome.IN_WINDOW), (28, None, Outcome.OPEN)],
            id="calendar: extra work has no obligation of its own",
        ),
        pytest.param(
            cycle(WEEKLY, fixed=True, window=TWO_DAYS), [11, 21],
            [(7, 11, Outcome.LATE), (14, None, Outcome.MISSED), (21, 21, Outcome.IN_WINDOW), (28, None, Outcome.OPEN)],
            id="calendar: late for one, and too early for the next",
        ),
        pytest.param(
            cycle(DAILY, operating=OperatingCalendar(open_weekdays=frozenset({1, 2}))), [1, 7],
            [(1, 1, Outcome.IN_WINDOW), (7, 7, Outcome.IN_WINDOW), (8, None, Outcome.MISSED), (14, None, Outcome.MISSED),
             (15, None, Outcome.MISSED), (21, None, Outcome.MISSED), (22, None, Outcome.MISSED), (28, None, Outcome.OPEN)],
            id="daily: open days only",
        ),
    ],
)  # fmt: skip
def test_what_became_of_each_due_date(example, done, expected):
    found = obligations(
        example, done=[day(n) for n in done], as_of=day(26), first=MONDAY, last=day(365)
    )
    assert outcomes(found) == expected


def test_obligations_of_a_meter_fall_when_it_came_round():
    found = obligations(
        cycle(Vehicles(count=4000), window=TWO_DAYS),
        done=[day(11), day(25)], as_of=day(28), first=MONDAY, last=day(365),
        meters=vehicles((0, 0), (14, 5600), (28, 11_200)),
    )  # fmt: skip
    assert outcomes(found) == [
        (10, 11, Outcome.IN_WINDOW),
        (21, 25, Outcome.LATE),
        (35, None, Outcome.OPEN),
    ]


def test_only_the_period_asked_for_is_given():
    everything = obligations(cycle(WEEKLY), done=[], as_of=day(100), first=MONDAY, last=day(365))
    some = obligations(cycle(WEEKLY), done=[], as_of=day(100), first=day(14), last=day(28))
    assert some == everything[1:4]


def test_a_cycle_that_cannot_be_dated_has_no_obligations():
    assert (
        obligations(cycle(Hours(count=8)), done=[day(3)], as_of=day(9), first=MONDAY, last=day(9))
        == ()
    )


def test_the_last_date_of_a_rule_can_be_done_late_or_missed():
    twice = cycle(parse_rule("FREQ=WEEKLY;COUNT=2"), in_service=day(-5), window=TWO_DAYS)
    late = obligations(twice, done=[day(30)], as_of=day(40), first=day(-5), last=day(365))
    missed = obligations(twice, done=[], as_of=day(40), first=day(-5), last=day(365))
    assert outcomes(late) == [(0, None, Outcome.MISSED), (7, 30, Outcome.LATE)]
    assert outcomes(missed) == [(0, None, Outcome.MISSED), (7, None, Outcome.MISSED)]
    after = obligations(twice, done=[day(7), day(30)], as_of=day(40), first=day(1), last=day(365))
    assert outcomes(after) == [(7, 7, Outcome.IN_WINDOW)]


def test_the_calendar_ends_with_the_year_9999():
    end = date.max - timedelta(days=3)
    old = cycle(parse_interval("1 week"), parse_interval("2 weeks"), in_service=end, anchor=end)
    assert next_due(old, done=[], as_of=end).due_on is None
    assert next_due(cycle(WEEKLY, in_service=end, anchor=end), done=[], as_of=end).due_on is None
    assert next_due(cycle(DAILY, in_service=date.max), done=[], as_of=date.max).due_on is None
    fixed = cycle(WEEKLY, in_service=end, anchor=end, fixed=True)
    assert next_due(fixed, done=[], as_of=end).due_on is None


def test_a_meter_that_came_round_many_times_in_a_closure_is_due_once_after_it():
    closed = OperatingCalendar(closures=(Closure(first=day(8), last=day(20)),))
    found = next_due(
        cycle(Vehicles(count=800), operating=closed), done=[day(7)], as_of=day(7), meters=vehicles((0, 0), (7, 2800))
    )  # fmt: skip
    # 400 a day by the recent rate: the first multiple of two days after day 7 that is open.
    assert found.due_on == day(21)


def test_what_is_still_open_is_neither_in_time_nor_missed():
    found = obligations(cycle(WEEKLY, window=TWO_DAYS), done=[day(7), day(24)], as_of=day(26), first=MONDAY, last=day(99))  # fmt: skip
    assert [o.outcome for o in found] == [
        Outcome.IN_WINDOW,
        Outcome.MISSED,
        Outcome.LATE,
        Outcome.OPEN,
    ]


INTERVALS = st.one_of(
    st.sampled_from(["1 day", "2 days", "1 week", "2 weeks", "1 month", "3 months", "1 year"]).map(parse_interval),
    st.sampled_from(["FREQ=DAILY", "FREQ=WEEKLY;BYDAY=MO,TH", "FREQ=MONTHLY;BYMONTHDAY=31", "FREQ=MONTHLY;BYDAY=-1FR"]).map(parse_rule),
    st.sampled_from([Vehicles(count=3000), Hours(count=80)]),
)  # fmt: skip
OFFSETS = st.integers(0, 200)
CYCLES = st.builds(
    Cycle,
    intervals=st.lists(INTERVALS, min_size=1, max_size=3, unique=True).map(tuple),
    in_service=OFFSETS.map(day),
    anchor=OFFSETS.map(day),
    counts_from=st.sampled_from(CountsFrom),
    window=st.builds(Window, early_days=st.integers(0, 9), late_days=st.integers(0, 9)),
    operating=st.builds(
        OperatingCalendar,
        open_weekdays=st.frozensets(st.integers(1, 7), min_size=1),
        closures=st.lists(
            st.builds(lambda n, length: Closure(first=day(n), last=day(n + length)), OFFSETS, st.integers(0, 30)),
            max_size=2,
        ).map(tuple),
    ),
)  # fmt: skip
DONE = st.lists(OFFSETS.map(day), max_size=12)
METERS = Meters(
    vehicles=meter_log(MeterReading(on=day(n), reading=n * 350) for n in range(0, 400, 7)),
    hours=meter_log(MeterReading(on=day(n), reading=n * 9.5) for n in range(0, 400, 7)),
)


@given(CYCLES, DONE, st.integers(0, 300))
def test_due_comes_after_done_on_an_open_day_inside_its_window(any_cycle, done, n):
    as_of = day(n)
    found = next_due(any_cycle, done=done, as_of=as_of, meters=METERS)
    if found.due_on is None:
        return
    last_done = max(
        (d for d in done if any_cycle.in_service <= d <= as_of), default=any_cycle.in_service
    )
    assert found.window_from is not None
    assert found.window_to is not None
    assert last_done < found.window_from <= found.due_on <= found.window_to
    assert any_cycle.operating.is_open(found.due_on)
    assert (found.overdue_days > 0) is (found.state is State.OVERDUE)


@given(CYCLES, DONE, st.integers(0, 300))
def test_obligations_are_in_order_and_agree_with_the_next_due_date(any_cycle, done, n):
    as_of = day(n)
    found = obligations(
        any_cycle, done=done, as_of=as_of, first=date.min, last=date.max, meters=METERS
    )
    dues = [o.due_on for o in found]
    assert dues == sorted(dues)
    for one in found:
        assert one.window_from <= one.due_on <= one.window_to
        match one.outcome:
            case Outcome.EARLY:
                assert one.done_on is not None
                assert one.done_on < one.window_from
            case Outcome.IN_WINDOW:
                assert one.done_on is not None
                assert one.window_from <= one.done_on <= one.window_to
            case Outcome.LATE:
                assert one.done_on is not None
                assert one.done_on > one.window_to
            case Outcome.MISSED | Outcome.OPEN:
                assert one.done_on is None
    last_done = max(
        (d for d in done if any_cycle.in_service <= d <= as_of), default=any_cycle.in_service
    )
    standing = [o for o in found if o.done_on is None and o.window_from > last_done]
    assert (standing[0].due_on if standing else None) == next_due(
        any_cycle, done=done, as_of=as_of, meters=METERS
    ).due_on


@given(CYCLES, DONE)
def test_work_done_when_due_is_in_its_window_and_moves_the_due_date_on(any_cycle, done):
    first = next_due(any_cycle, done=done, as_of=day(300), meters=METERS)
    if first.due_on is None or first.due_on > day(300):
        return
    after = next_due(any_cycle, done=[*done, first.due_on], as_of=day(300), meters=METERS)
    assert after.due_on is None or after.due_on > first.due_on
    found = obligations(
        any_cycle,
        done=[*done, first.due_on],
        as_of=day(300),
        first=first.due_on,
        last=first.due_on,
        meters=METERS,
    )
    # Early work before a closure may have had the same due date.
    assert [o.outcome for o in found if o.done_on == first.due_on] == [Outcome.IN_WINDOW]


@given(CYCLES, DONE, st.integers(0, 300), st.integers(0, 300), st.booleans())
def test_what_was_answered_by_a_day_and_after_it_is_all_that_was_answered(
    any_cycle, done, n, cut, at_once
):
    earlier = any_cycle.in_service - timedelta(days=30)
    done_from = None if at_once else earlier
    any_cycle = replace(any_cycle, is_due_at_once=at_once, done_from=done_from)
    as_of = day(n)
    whole = [*answered(any_cycle, done=done, as_of=as_of, last=date.max)]
    before = [one for one in done if one <= day(cut)]
    # Of the days before only the last is known, and the last before the day in service.
    early = [one for one in before if one < any_cycle.in_service]
    known = [*sorted(early)[-1:], *sorted(before)[-1:]]
    after = max(any_cycle.days_done(before, as_of), default=None)
    parts = [
        *answered(any_cycle, done=before, as_of=as_of, last=date.max),
        *answered(
            any_cycle,
            done=[*known, *(one for one in done if one > day(cut))],
            as_of=as_of,
            last=date.max,
            after=after,
        ),
    ]
    assert parts == whole


@given(
    st.sampled_from([WEEKLY, MONTHLY, parse_interval("2 days")]),
    CYCLES.map(lambda any_cycle: any_cycle.operating),
    OFFSETS,
)
def test_a_due_date_moves_to_the_last_open_day_before_and_never_later(interval, operating, n):
    found = next_due(cycle(interval, operating=operating), done=[day(n)], as_of=day(n))
    nominal = [nth_date(interval, day(n), k) for k in range(1, 60)]
    moved = [operating.last_open_on_or_before(each) for each in nominal if each is not None]
    assert found.due_on == next(each for each in moved if each is not None and each > day(n))


@given(
    st.sampled_from([WEEKLY, MONTHLY, DAILY, parse_rule("FREQ=WEEKLY;BYDAY=MO,TH")]),
    CYCLES,
    DONE,
    st.integers(0, 300),
)
def test_on_fixed_dates_each_due_date_owns_the_days_until_the_next_window_opens(
    interval, any_cycle, done, n
):
    as_of = day(n)
    fixed = cycle(
        interval,
        fixed=True,
        window=any_cycle.window,
        operating=any_cycle.operating,
        in_service=any_cycle.in_service,
        anchor=any_cycle.anchor,
    )
    if interval == parse_rule("FREQ=WEEKLY;BYDAY=MO,TH"):
        nominal = [
            d for k in range(700) if (d := fixed.anchor + timedelta(days=k)).weekday() in {0, 3}
        ]
    else:
        nominal = [
            d for k in range(700) if (d := nth_date(interval, fixed.anchor, k)) and d <= day(700)
        ]
    if interval == DAILY:
        nominal = [d for d in nominal if fixed.operating.is_open(d)]
    dues = sorted({moved for d in nominal if (moved := fixed.operating.last_open_on_or_before(d))})
    early, late = (timedelta(days=k) for k in (fixed.window.early_days, fixed.window.late_days))
    opens = [
        max(due - early, *([dues[k - 1] + timedelta(days=1)] if k else [due - early]))
        for k, due in enumerate(dues)
    ]
    expected = []
    for due, opened, next_opened in zip(dues, opens, opens[1:], strict=False):
        if opened <= fixed.in_service:
            continue
        closes = min(due + late, next_opened - timedelta(days=1))
        owned = [d for d in sorted(done) if opened <= d < next_opened and d <= as_of]
        if owned:
            expected.append(
                (due, owned[0], Outcome.IN_WINDOW if owned[0] <= closes else Outcome.LATE)
            )
        elif closes < as_of:
            expected.append((due, None, Outcome.MISSED))
        else:
            expected.append((due, None, Outcome.OPEN))
            break
    found = obligations(fixed, done=done, as_of=as_of, first=date.min, last=date.max)
    assert [(o.due_on, o.done_on, o.outcome) for o in found] == expected


@pytest.mark.parametrize(
    "any_cycle",
    [
        pytest.param(cycle(WEEKLY, operating=FOR_GOOD), id="rolling weeks"),
        pytest.param(cycle(WEEKLY, fixed=True, operating=FOR_GOOD), id="fixed weeks"),
        pytest.param(cycle(parse_rule("FREQ=DAILY"), operating=FOR_GOOD), id="a daily rule"),
        pytest.param(cycle(parse_rule("FREQ=DAILY;BYDAY=MO,TU"), operating=FOR_GOOD), id="a rule of weekdays"),
        pytest.param(cycle(Vehicles(count=1), operating=FOR_GOOD), id="every vehicle"),
    ],
)  # fmt: skip
def test_a_site_closed_for_good_has_nothing_due(any_cycle):
    meters = vehicles((0, 0), (8, 800))
    assert next_due(any_cycle, done=[day(9)], as_of=day(400), meters=meters).due_on is None


@pytest.mark.parametrize(
    "fixed", [pytest.param(False, id="rolling"), pytest.param(True, id="fixed")]
)
def test_after_a_closure_of_centuries_the_dates_go_on(fixed):
    last = day(7 * 52 * 300 + 1)
    closed = OperatingCalendar(closures=(Closure(first=day(10), last=last),))
    due = next_due(cycle(WEEKLY, fixed=fixed, operating=closed), done=[day(9)], as_of=day(400))
    assert due.due_on == day(7 * 52 * 300 + (2 if not fixed else 7))


def test_a_meter_that_races_over_a_closed_day_dates_work_as_any_other():
    """A misread digit once made a million million vehicles of a day."""
    weekdays = OperatingCalendar(open_weekdays=frozenset(range(1, 6)))
    racing = vehicles((0, 0), (4, 4e12))
    due = next_due(cycle(Vehicles(count=1), operating=weekdays), done=[day(4)], as_of=day(4), meters=racing)  # fmt: skip
    assert due.due_on == day(7)
    due = next_due(cycle(Vehicles(count=1)), done=[day(2)], as_of=day(4), meters=racing)
    assert (due.due_on, due.state, due.overdue_days) == (day(3), State.OVERDUE, 1)


def test_work_due_at_once_is_due_because_of_its_first_interval():
    at_once = replace(cycle(WEEKLY, Vehicles(count=100)), is_due_at_once=True)
    (first,) = islice(due_row(at_once, day(-1), Meters()), 1)

    assert (first.due_on, first.opens, first.because) == (MONDAY, MONDAY, WEEKLY)


def test_what_was_due_at_once_is_not_due_again_once_it_is_done():
    at_once = replace(cycle(WEEKLY), is_due_at_once=True)

    assert next_due(at_once, done=[day(1)], as_of=day(2)).due_on == day(8)
    assert next_due(at_once, done=[day(0)], as_of=day(2)).due_on == day(7)

import json
import re
from itertools import pairwise
from random import Random

import pytest
from campaign import examples
from hypothesis import given, settings
from hypothesis import strategies as st
from sitegen import draws
from small_site import ELECTRIC, HYDRAULIC, LOOK, ledger_of, on, setpoint, visit

from ledger.book import svg, terminal
from ledger.book.blocks import Bullets, Heading, Link, Mark, Page, Paragraph, Picture, Table
from ledger.upkeep.drift.found import drift
from ledger.upkeep.drift.outlook import line_shown
from ledger.upkeep.drift.page import drift_page, is_steady
from ledger.upkeep.drift.plot import MOST_SHOWN, drift_plot
from ledger.upkeep.drift.words import drift_row
from ledger.upkeep.speeds.found import speed_results

BOTH = {"brush": ELECTRIC, "low": HYDRAULIC}


def record(weeks=40, *, units="si", slower=0.1):
    """A brush that wears, a hydraulic one that holds, strips, a chain, and a drum of too few."""
    rng = Random(8)
    visits = []
    for week in range(weeks):
        rpm = 80 - slower * week
        entries = [
            {"at": "brush", **draws.timed_turns(rng, rpm, 40), "found_hz": 45},
            {"at": "low", **draws.timed_turns(rng, 85, 40), "found_flow_lpm": 14.4},
            {"at": "brush/cloth", "strip_length_mm": round(490 - 1.5 * week + rng.gauss(0, 2))},
            {"at": "brush/gauge", "pressure_kpa": round(600 + rng.gauss(0, 5))},
        ]
        if week < 3:
            entries.append({"at": "brush/motor", "current_a": 3.1})
        visits.append(visit(7 * week, *entries, meters={"vehicles": 1000 * week}))
    return ledger_of(visits, setpoints=[setpoint(0, 45)], machines=BOTH, site={"units": units})


def page_of(ledger) -> Page:
    return drift_page(ledger, drift(ledger, speed_results(ledger)))


def text_of(ledger) -> str:
    return " ".join(terminal.render(page_of(ledger)).split())


def test_a_series_that_moved_is_a_line_and_each_of_its_signals_stands_with_its_evidence():
    ledger = record()
    found = drift(ledger, speed_results(ledger))
    signals = [signal for result in found.results for signal in result.signals]

    blocks = drift_page(ledger, found).blocks
    at = blocks.index(Heading(2, "Unusual"))
    bullets = blocks[at + 1]

    assert isinstance(bullets, Bullets)
    moved = [result for result in found.results if result.signals]
    assert len(bullets.items) == len(moved) > 0
    for item, result in zip(bullets.items, moved, strict=True):
        assert any(str(result.signals[-1].evidence[-1]) in str(span) for span in item)
    facts = [str(block.items) for block in blocks if isinstance(block, Bullets)]
    rows = [str(row) for block in blocks if isinstance(block, Table) for row in block.rows]
    for signal in signals:
        assert any(
            signal.text in said and str(signal.evidence[-1]) in said for said in [*facts, *rows]
        )


def test_of_many_signals_the_facts_name_the_first_and_the_last_and_a_table_has_them_all():
    ledger = record(slower=0.04)
    found = drift(ledger, speed_results(ledger))
    (many,) = [result.signals for result in found.results if len(result.signals) > 2]

    text = text_of(ledger)
    (table,) = [
        block
        for block in drift_page(ledger, found).blocks
        if isinstance(block, Table) and block.columns[0].title == "Unusual on"
    ]

    assert f"{len(many)} signals since the last change; the first on {many[0].day}: " in text
    assert f"; the last on {many[-1].day}: {many[-1].text}." in text
    assert [row[0] for row in table.rows] == [str(signal.day) for signal in reversed(many)]


def test_what_moves_has_its_section_and_what_is_steady_a_line_and_a_picture():
    blocks = page_of(record()).blocks
    titles = [(block.level, block.text) for block in blocks if isinstance(block, Heading)]

    assert titles == [
        (2, "Unusual"),
        (2, "Series that change or stand out"),
        (2, "Steady"),
        (2, "Side brush: shaft speed at the setting in force"),
        (2, "Pictures of the steady series"),
        (3, "Side brush: Gauge: pressure"),
        (3, "Low brush: shaft speed at the setting in force"),
    ]
    moving, steady = (
        blocks[blocks.index(Heading(2, title)) + 1 :]
        for title in ("Series that change or stand out", "Steady")
    )
    assert [row[0][1] for row in moving[0].rows] == [": shaft speed at the setting in force"]
    assert [row[1] for row in steady[1].rows] == ["pressure", "shaft speed at the setting in force"]
    pictured = [n for n, block in enumerate(blocks) if isinstance(block, Picture)]
    before = [type(blocks[n - 1]) for n in pictured]
    assert before == [Bullets, Heading, Heading]


def test_a_repair_that_answered_a_signal_is_no_reason_to_call_the_series_steady():
    """The brush slows, its belt is renewed after 25 weeks, and from then on it holds."""
    rpm = [80.0] * 12 + [76.0] * 13 + [80.0] * 15
    visits = [
        visit(
            7 * n,
            {"at": "brush", "tachometer_rpm": speed + 0.3 * (-1) ** n, "accuracy_rpm": 0.5, "found_hz": 45},
        )
        for n, speed in enumerate(rpm)
    ]  # fmt: skip
    belt = visit(7 * 24 + 1, {"at": "brush", "changed": "belt"})
    ledger = ledger_of([*visits, belt], setpoints=[setpoint(0, 45)])

    (result,) = drift(ledger, speed_results(ledger)).results
    assert not result.signals
    assert result.answered > 0
    (summary,) = next(
        block.rows
        for block in page_of(ledger).blocks
        if isinstance(block, Table) and block.columns[0].title == "Where, what"
    )
    assert summary[3] == f"0, {result.answered} before"
    assert not is_steady(result)


def test_what_wears_by_nature_is_told_on_the_page_of_wear_alone():
    page = page_of(record())
    text = text_of(record())

    assert "74 r/min reached about" in text
    assert "nozzles, chain, belts, cloth and dampers; strip length (1)." in text
    assert "400 mm" not in text
    links = [span for b in page.blocks if isinstance(b, Paragraph) for span in spans_of(b.spans)]
    assert "wear.md" in {span.to for span in links if isinstance(span, Link)}


def spans_of(spans):
    return spans if isinstance(spans, tuple) else (spans,)


def test_what_has_too_few_readings_is_counted():
    text = text_of(record())

    assert "Not enough data yet: 1 series with fewer than 8 readings: motor current (1)." in text


def test_figures_show_no_more_digits_than_they_deserve():
    """The slope is known to about 0.02 r/min a month, so it has three decimals and no more."""
    ledger = record()
    summary = next(
        block
        for block in page_of(ledger).blocks
        if isinstance(block, Table) and block.columns[0].title == "Where, what"
    )

    (speed,) = summary.rows

    assert re.fullmatch(r"7\d\.\d\d ± 0\.\d\d r/min", speed[1])
    assert re.fullmatch(r"falls 0\.\d{3} \(0\.\d{3} to 0\.\d{3}\) r/min a month", speed[4])


def test_a_us_site_reads_psi():
    text = text_of(record(units="us"))

    assert "psi" in text
    assert "kPa" not in text


def test_a_steady_site_says_so():
    ledger = ledger_of(
        [visit(7 * n, {"at": "brush/gauge", "pressure_kpa": 600 + n % 2}) for n in range(20)]
    )

    text = text_of(ledger)

    assert "Nothing unusual since the last changes." in text
    assert "Neither a rise nor a fall shows, and nothing was unusual." in text
    assert "What moves" not in text


def test_a_site_without_readings_has_a_page_that_says_so():
    page = page_of(ledger_of([visit(0, LOOK)]))

    assert Paragraph("No series has 8 readings yet.") in page.blocks


def test_the_page_knows_no_day():
    assert page_of(record()).as_of == ""


def plot_of(ledger, ident):
    found = drift(ledger, speed_results(ledger))
    return drift_plot(ledger, next(r for r in found.results if r.series.ident == ident))


def test_the_picture_marks_baseline_and_what_lies_beyond():
    ledger = record()
    plot = plot_of(ledger, "speed-brush")

    marks = {samples.mark: len(samples.points) for samples in plot.samples}
    assert marks[Mark.RING] == 10
    assert marks[Mark.CROSS] > 5
    assert sum(marks.values()) == 40
    assert {zone.name for zone in plot.zones} == {"limits to keep", "normal range"}
    assert [curve.name for curve in plot.curves] == ["weighted average", "trend"]


def test_control_limits_cover_the_watched_days_without_a_gap():
    plot = plot_of(record(), "speed-brush")

    steps = [zone for zone in plot.zones if zone.name == "normal range"]

    assert steps[0].x_from == on(70).toordinal()
    assert steps[-1].x_to == on(7 * 39).toordinal()
    assert all(before.x_to == after.x_from for before, after in pairwise(steps))


def test_what_rebased_the_chart_is_an_event():
    visits = [
        visit(
            7 * n,
            {"at": "brush", "tachometer_rpm": 80 + n % 2, "accuracy_rpm": 1, "found_hz": 45},
        )
        for n in range(24)
    ]
    changed = visit(70, {"at": "brush", "changed": "belt"}, time="06:00")

    plot = plot_of(ledger_of([*visits, changed], setpoints=[setpoint(0, 45)]), "speed-brush")

    assert [(event.x, event.label) for event in plot.events] == [(on(70).toordinal(), "new belt")]


def test_a_long_record_is_pictured_by_its_newest_readings():
    visits = [
        visit(n, {"at": "brush/gauge", "pressure_kpa": 600 + n % 3}) for n in range(MOST_SHOWN + 20)
    ]

    plot = plot_of(ledger_of(visits), "pressure-brush-gauge")

    days = [point.x for samples in plot.samples for point in samples.points]
    assert len(days) == MOST_SHOWN
    assert min(days) == on(20).toordinal()


def test_the_same_record_gives_the_same_bytes():
    def drawn():
        page = page_of(record())
        return [svg.render(block.plot) for block in page.blocks if isinstance(block, Picture)]

    assert drawn() == drawn()


@pytest.mark.parametrize("slower", [0.0, 0.1, 0.4])
def test_rows_are_json_with_the_evidence_of_each_signal(slower):
    ledger = record(slower=slower)
    found = drift(ledger, speed_results(ledger))

    rows = json.loads(json.dumps([drift_row(r) for r in found.results], allow_nan=False))

    assert [row["series"] for row in rows] == [r.series.ident for r in found.results]
    for row, result in zip(rows, found.results, strict=True):
        assert row["readings"] == len(result.series.readings)
        assert [s["evidence"] for s in row["signals"]] == [
            [str(ref) for ref in s.evidence] for s in result.signals
        ]
    says = {row["series"]: row["outlook"]["says"] for row in rows}
    assert says["strip-length-brush-cloth"] == "crosses its limit"
    expected = {0.0: "neither a rise nor a fall shows", 0.1: "crosses its limit"}
    assert says["speed-brush"] == expected.get(slower, "beyond its limit already")


def test_a_fall_in_whole_passes_is_told_and_nothing_calls_it_steady():
    """30 s counts that fall from 82 to 78 r/min in half a year, one pass at a time."""
    passes = [41] * 8 + [
        int(n) for n in "40 41 41 40 41 40 41 40 40 41 40 40 40 40 39 40 40 39".split()
    ]
    visits = [
        visit(7 * week, {"at": "brush", "counted": n, "seconds": 30, "found_hz": 45})
        for week, n in enumerate(passes)
    ]
    text = text_of(ledger_of(visits, setpoints=[setpoint(0, 45)]))

    assert re.search(r"Falls 0\.56 \(0\.3\d to 0\.7\d\) r/min a month", text)
    assert "teady" not in text.replace("A steady series raises a false alarm", "")


@given(
    st.integers(0, 10**6),
    st.sampled_from([0.0, -0.05, -0.15, 0.1]),
    st.sampled_from([0.0, -1.0, 3.0]),
    st.sampled_from(["timed", "random", "on-pass"]),
    st.integers(12, 60),
)
@settings(max_examples=examples(25), deadline=None)
def test_no_page_calls_a_series_steady_that_signals_or_moves(seed, a_week, step, way, weeks):
    rng = Random(seed)
    visits = []
    for week in range(weeks):
        rpm = 80 + a_week * week + step * (week >= weeks // 2)
        read = (
            draws.timed_turns(rng, rpm, 40)
            if way == "timed"
            else draws.pass_count(rng, rpm, 30, on_pass=way == "on-pass")
        )
        visits.append(visit(7 * week, {"at": "brush", **read, "found_hz": 45}))
    ledger = ledger_of(visits, setpoints=[setpoint(0, 45)])
    (result,) = drift(ledger, speed_results(ledger)).results
    text = text_of(ledger).replace("A steady series raises a false alarm", "")

    has_moved = line_shown(result.outlook) is not None
    assert ("teady" in text) == (not result.signals and not has_moved)
    assert not result.signals or "Unusual" in text
    assert not has_moved or re.search(r"[Ff]alls|[Rr]ises", text)


def test_one_gross_reading_is_named_and_left_out_of_the_pace():
    rng = Random(3)
    visits = [
        visit(7 * n, {"at": "brush", **draws.timed_turns(rng, 80, 40), "found_hz": 45})
        for n in range(20)
    ]
    visits[12]["entries"][0]["seconds"] = 27.5
    text = text_of(ledger_of(visits, setpoints=[setpoint(0, 45)]))

    assert re.search(rf"{on(84)}\S+#1 lies far from all others and is left out of the pace", text)


def test_readings_that_wander_say_that_the_date_is_rough():
    rng = Random(4)
    level, visits = 0.0, []
    for n in range(40):
        level = 0.9 * level + rng.gauss(0, 0.5)
        reading = draws.timed_turns(rng, 82 - 0.1 * n + level, 40)
        visits.append(visit(7 * n, {"at": "brush", **reading, "found_hz": 45}))
    text = text_of(ledger_of(visits, setpoints=[setpoint(0, 45)]))

    assert "The readings wander: one is like the one before." in text


def test_a_gauge_that_stands_still_says_what_it_cannot_show():
    visits = [
        visit(7 * n, {"at": "brush/gauge", "pressure_kpa": 600 if n < 17 else 575})
        for n in range(20)
    ]
    text = text_of(ledger_of(visits))

    assert "A rise or fall of less than about one step of the scale cannot be seen." in text

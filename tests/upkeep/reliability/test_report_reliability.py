import json
import re
from dataclasses import replace

import pytest
from small_site import ELECTRIC, LOOK, ledger_of, visit

from ledger.book import svg, terminal
from ledger.book.blocks import Page, Picture, Table
from ledger.upkeep.reliability.found import reliability
from ledger.upkeep.reliability.page import failure_plot, reliability_page
from ledger.upkeep.reliability.table import kind_row, machine_row, task_row
from ledger.upkeep.reliability.tasks import task_values

EVEN = (100, 195, 300, 400, 510, 605, 700, 805, 900)
FASTER = (500, 700, 800, 850, 900, 930, 960, 980)


def record(days, *, at="brush/bearing-bottom", basis="practice"):
    visits = [
        visit(day, LOOK, time="06:00", meters={"conveyor_hours": 10 * day}) for day in (0, 1000)
    ]
    visits += [
        visit(
            day,
            {"finding": "Seized.", "at": at, "failed": True, "stopped_minutes": 60},
            time="15:00",
        )
        for day in days
    ]
    task = {
        "title": "Grease",
        "on": {"points": "rotating-bearing"},
        "every": "1 week",
        "basis": basis,
        "steps": ".",
    }
    other = ELECTRIC | {"name": "Other brush", "station": 20}
    return ledger_of(visits, machines={"brush": ELECTRIC, "other": other}, tasks={"grease": task})


def page_of(ledger) -> Page:
    return reliability_page(ledger, reliability(ledger), task_values(ledger))


def text_of(ledger) -> str:
    return " ".join(terminal.render(page_of(ledger), width=400).split())


def test_few_failures_read_as_not_enough_data():
    text = text_of(record((300,)))

    assert "too few to tell: 1 of 4 failures" in text
    assert "too few to tell: 0 of 1 services on record" in text
    assert "nan" not in text
    assert "inf" not in text


def test_no_failure_reads_as_a_lower_bound():
    text = text_of(record(()))

    # 10 010 h and no failure: 10 010/2.3026 = 4347 h.
    assert "2 machines without a failure in 10000 h (conveyor hours): at least 4300 h" in text
    assert "No failure is on record at a place of any task." in text


def test_a_worn_part_reads_with_its_age_and_both_costs():
    text = text_of(record(EVEN))

    # Brackets hold ranges only, each its own.
    assert re.search(
        r"the part wears out, by \d+ lives, 9 of them ended by a failure; 63 of 100 fail within "
        r"\d+ h \(\d+ to \d+\), and the shape is \d+ \([\d.]+ to \d+\)\.",
        text,
    )
    assert "Until the cause is found: renewing bearing bottom at" in text
    # 10 010 h in 1001 days are 70 h a week.
    assert "At the 70 h a week that it ran, that is about every" in text
    assert re.search(
        r"saves about \d+ % \([\d.]+ to [\d.]+\) of what running to failure costs", text
    )
    assert "The chance that it saves is > 99 %." in text
    assert "9 of 9 failures were at Side brush: Bearing bottom" in text


def test_what_failures_cost_by_the_record_stands_beside_what_the_file_says():
    ledger = record(EVEN)
    assert "By the record" not in text_of(ledger)
    costs = replace(ledger.site.costs, down_per_h=480.0)
    told = text_of(replace(ledger, site=replace(ledger.site, costs=costs)))
    assert "By the record a failure cost about 480 EUR" in told
    assert "its file says 1000 EUR" in told


def test_a_trend_takes_the_mtbf_away():
    text = text_of(record(FASTER))

    assert "none: the failures come at a changing rate" in text
    assert "failures come faster (unlikely to be chance: " in text
    assert "between failures, by the growth model with shape" in text


@pytest.mark.parametrize("basis", ["law", "maker"])
def test_no_record_speaks_for_a_longer_interval_of_law_or_maker(basis):
    bound = text_of(record(EVEN, basis=basis))
    free = text_of(record(EVEN))

    kept = "law, safety or the maker sets this interval: keep it, or shorten it"
    assert kept in bound
    assert kept not in free
    for text in (bound, free):
        assert "nothing here is a reason for a longer interval" in text


def test_one_failure_gives_no_more_than_a_lower_end():
    table = next(block for block in page_of(record((300,))).blocks if isinstance(block, Table))

    # 10 010 h, one failure: 2 · 10 010/χ²(0.95; 4) = 20 020/9.488 = 2110 h.
    assert table.rows[0][3] == "at least 2100 h"


def test_availability_has_the_digits_of_its_limits():
    table = next(block for block in page_of(record(EVEN)).blocks if isinstance(block, Table))

    assert table.rows[0][3:6] == (
        "1100 h (630 to 2200)",
        "too few to tell: 0 of 9 stops closed",
        "99.87 % (99.69 to 99.95)",
    )


@pytest.mark.parametrize(
    ("days", "curve", "corners"),
    [
        pytest.param(EVEN, "constant rate", 2, id="no trend"),
        pytest.param(FASTER, "at the pace of the failures", 41, id="trend"),
    ],
)
def test_the_picture_counts_failures_over_hours(days, curve, corners):
    ledger = record(days)
    (machine,) = reliability(ledger).failed

    plot = failure_plot(machine)

    (samples,) = plot.samples
    assert [point.y for point in samples.points] == list(range(1, len(days) + 1))
    (drawn,) = plot.curves
    assert (drawn.name, len(drawn.corners)) == (curve, corners)
    # The model passes through what was counted at the end of the watch.
    assert drawn.corners[-1] == pytest.approx((machine.watch.hours, len(days)))
    assert svg.render(plot) == svg.render(failure_plot(machine))


def test_a_picture_is_followed_by_its_numbers():
    blocks = page_of(record(EVEN)).blocks

    (at,) = [n for n, block in enumerate(blocks) if isinstance(block, Picture)]
    table = blocks[at + 1]
    assert isinstance(table, Table)
    assert len(table.rows) == len(EVEN)


def test_the_page_knows_no_day():
    assert page_of(record(EVEN)).as_of == ""


@pytest.mark.parametrize("days", [(), (300,), EVEN, FASTER, (30, 250, 290, 300, 620, 650, 940)])
def test_rows_are_json(days):
    ledger = record(days)
    found = reliability(ledger)
    rows = {
        "machines": [machine_row(m) for m in (*found.failed, *found.unfailed)],
        "kinds": [kind_row(kind) for kind in found.kinds],
        "tasks": [task_row(value) for value in task_values(ledger)],
    }

    read = json.loads(json.dumps(rows, allow_nan=False))

    assert sum(len(row["failures"]) for row in read["machines"]) == len(days)
    assert len(read["kinds"]) == len(read["tasks"]) == bool(days)

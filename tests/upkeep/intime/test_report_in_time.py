from small_site import ELECTRIC, ledger_of, on, visit

from ledger.book import svg, terminal
from ledger.book.blocks import Paragraph, Picture, Table
from ledger.upkeep.due.found import Schedule
from ledger.upkeep.intime.found import DEFINITION, in_time, rounds
from ledger.upkeep.intime.page import in_time_page

LOOK = {"title": "Look", "on": {"points": "motor"}, "every": "1 week", "steps": "."}
GREASE = {**LOOK, "title": "Grease", "on": {"points": "gauge"}}


def done(day, task="look", at="brush/motor", time="10:00"):
    return visit(day, {"task": task, "at": at}, time=time)


def page(visits, as_of, **tasks):
    ledger = ledger_of(
        visits,
        tasks={"look": LOOK, "grease": GREASE, **tasks},
        machines={"brush": ELECTRIC},
    )
    found = in_time(ledger, Schedule(ledger, on(as_of)), on(as_of))
    return in_time_page(ledger, found, rounds(ledger, on(as_of)), on(as_of))


def tables(found, column):
    """The tables of the page that have a column of this name."""
    return [
        block
        for block in found.blocks
        if isinstance(block, Table) and column in [one.title for one in block.columns]
    ]


# Looked in time seven weeks long, greased in time only once, a week late once.
VISITS = [
    *(done(7 * week) for week in range(1, 8)),
    done(7, "grease", "brush/gauge", "12:00"),
    done(15, "grease", "brush/gauge", "12:00"),
]


def test_the_definition_is_on_the_page():
    assert Paragraph(DEFINITION) in page(VISITS, 50).blocks


def test_months_are_newest_first_and_all_of_them_last():
    (by_month,) = tables(page(VISITS, 50), "Month")

    assert [row[0] for row in by_month.rows] == ["2026-02", "2026-01", "All"]
    assert by_month.rows[1][1:] == ("67 %", "1", "–", "–")
    undone = [int(row[2]) for row in by_month.rows]
    assert undone[0] + undone[1] == undone[2]


def test_the_daily_round_is_counted_apart():
    """Two weeks of a daily look done each day do not hide the two weekly ones that nobody did."""
    daily = {**LOOK, "title": "Daily look", "every": "1 day", "on": {"points": "nozzle"}}
    visits = [done(day, "daily", "brush/nozzle") for day in range(1, 16)]

    (by_month,) = tables(page(visits, 15, daily=daily), "Month")

    assert by_month.rows[-1] == ("All", "0 %", "4", "100 %", "0")


def test_what_was_not_done_stands_first_and_what_matters_before_the_rest():
    """Nothing was done: the law's task, due on the first day too, comes before the others."""
    stop = {**LOOK, "title": "Stop test", "basis": "law"}
    found = page([], 22, astop=stop)

    assert "".join(getattr(span, "text", span) for span in found.blocks[0].spans) == (
        "10 not done of 10 due dates, 4 of them for safety or by law; "
        "0 more were done late or early."
    )
    (undone, *_) = tables(found, "Comes round")
    assert [row[0].text for row in undone.rows] == ["Stop test", "Grease", "Look"]
    assert undone.rows[0][1:] == ("safety and law", "weekly", "4", "4", "2026-01-26")


def test_all_but_a_few_is_not_said_to_be_all():
    daily = {**LOOK, "title": "Daily look", "every": "1 day", "on": {"points": "nozzle"}}
    visits = [done(day, "daily", "brush/nozzle") for day in range(1, 300) if day != 50]

    (by_month,) = tables(page(visits, 299, daily=daily), "Month")

    assert by_month.rows[-1][3:] == ("> 99 %", "1")


def test_the_task_least_in_time_comes_first():
    by_task = tables(page(VISITS, 50), "Task")[-1]

    titles = [row[0].text for row in by_task.rows]
    assert titles == ["Grease", "Look"]
    assert by_task.rows[1][2:7] == ("100 %", "7", "0", "0", "0")
    assert by_task.rows[1][-2:] == ("100 (3/3)", "100 (4/4)")


def test_the_picture_draws_the_months_that_are_over():
    (picture,) = [block for block in page(VISITS, 50).blocks if isinstance(block, Picture)]

    assert [point.x for point in picture.plot.samples[0].points] == [
        on(0).replace(day=1).toordinal()
    ]
    assert svg.render(picture.plot).startswith("<svg")


def test_before_anything_settled_it_says_so():
    text = terminal.render(page([], 3))

    assert "No due date has settled yet." in text
    assert (
        "As of 2026-01-08 (Thursday): what was filed and approved by the end of that day." in text
    )

from small_site import ELECTRIC, ledger_of, on, visit

from ledger.assess.compliance import DEFINITION, compliance
from ledger.assess.due import Schedule
from ledger.report.blocks import Paragraph, Picture, Table
from ledger.report.pages.compliance import compliance_page
from ledger.write import svg, terminal

LOOK = {"title": "Look", "on": {"points": "motor"}, "every": "1 week", "steps": "."}
GREASE = {**LOOK, "title": "Grease", "on": {"points": "gauge"}}


def done(day, task="look", at="brush/motor", time="10:00"):
    return visit(day, {"task": task, "at": at}, time=time)


def page(visits, as_of):
    ledger = ledger_of(visits, tasks={"look": LOOK, "grease": GREASE}, machines={"brush": ELECTRIC})
    return compliance_page(compliance(ledger, Schedule(ledger, on(as_of)), on(as_of)), on(as_of))


def tables(found):
    return [block for block in found.blocks if isinstance(block, Table)]


# Looked in time seven weeks long, greased in time only once, a week late once.
VISITS = [
    *(done(7 * week) for week in range(1, 8)),
    done(7, "grease", "brush/gauge", "12:00"),
    done(15, "grease", "brush/gauge", "12:00"),
]


def test_the_definition_is_on_the_page():
    assert Paragraph(DEFINITION) in page(VISITS, 50).blocks


def test_months_are_newest_first_and_all_of_them_last():
    (by_month, _) = tables(page(VISITS, 50))

    assert [row[0] for row in by_month.rows] == ["2026-02", "2026-01", "All"]
    assert by_month.rows[1][1:3] == ("67 %", "4")
    settled = [sum(map(int, row[2:])) for row in by_month.rows]
    assert settled[0] + settled[1] == settled[2]


def test_the_task_least_in_time_comes_first():
    (_, by_task) = tables(page(VISITS, 50))

    titles = [row[0].text for row in by_task.rows]
    assert titles == ["Grease", "Look"]
    assert by_task.rows[1][1:6] == ("100 %", "7", "0", "0", "0")
    assert by_task.rows[1][-2:] == ("100 (3/3)", "100 (4/4)")


def test_the_picture_draws():
    (picture,) = [block for block in page(VISITS, 50).blocks if isinstance(block, Picture)]

    assert len(picture.plot.samples[0].points) == 2
    assert svg.render(picture.plot).startswith("<svg")


def test_before_anything_settled_it_says_so():
    text = terminal.render(page([], 3))

    assert "No due date has settled yet." in text
    assert "As of 2026-01-08 (Thursday): what was filed and approved by the end of that day." in text

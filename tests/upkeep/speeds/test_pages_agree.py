"""The pages of one book held to each other: none may say what another denies."""

import re
from collections import Counter
from collections.abc import Mapping

import pytest
from example import example_ledger, example_pages

from ledger.book import terminal
from ledger.book.blocks import Bullets, Heading, Page, Paragraph, SmallPlots, Table
from ledger.book.words import marked
from ledger.model.ledger import last_day_filed
from ledger.site.pages import Book


@pytest.fixture(scope="module")
def book() -> Mapping[str, Page]:
    return example_pages()


def text(spans) -> str:
    parts = spans if isinstance(spans, tuple) else (spans,)
    return "".join(getattr(part, "text", part) for part in parts)


def rows(page: Page, *titles: str) -> list[dict[str, str]]:
    """The rows of every table of the page that has these columns, as text by column."""
    return [
        {column.title: text(cell) for column, cell in zip(block.columns, row, strict=True)}
        for block in page.blocks
        if isinstance(block, Table) and set(titles) <= {column.title for column in block.columns}
        for row in block.rows
    ]


def words_of(page: Page) -> str:
    return " ".join(terminal.render(page, 4000).split())


def number(pattern: str, said: str) -> int:
    found = re.search(pattern, said)
    assert found, f"nothing like {pattern} in: {said[:2000]}"
    return int(found[1])


def test_wear_and_drift_hold_the_same_readings_to_the_same_limits(book):
    """And date the day a limit is reached alike, word for word."""
    drift = {
        row["Where, what"].rpartition(": ")[0]: row
        for row in rows(book["drift.md"], "Limits", "Signals", "Outlook")
    }
    last = {row["Where"]: row for row in rows(book["wear.md"], "Limit", "Limit reached")}
    told = {
        block.text: text(book["wear.md"].blocks[at + 1].spans)
        for at, block in enumerate(book["wear.md"].blocks)
        if isinstance(block, Heading) and block.text in drift
    }

    assert any("Belt" in place for place in told)
    for place, said in told.items():
        assert last[place]["Limit"] == drift[place]["Limits"]
        assert drift[place]["Outlook"] in said


def test_the_front_page_counts_what_the_due_page_lists(book):
    blocks = book["README.md"].blocks
    today = blocks[blocks.index(Heading(2, "Today")) + 1]
    front = " ".join(map(text, today.items))
    extents = [block for block in book["due.md"].blocks if isinstance(block, Paragraph)]
    due = " ".join(text(block.spans) for block in extents)

    def counts(pattern: str, said: str) -> list[int]:
        return [int(count) for count in re.findall(pattern, said)]

    for pattern in (r"(\d+) tasks? at", r"(\d+) overdue"):
        of_passes = counts(pattern, front)
        whole, *rest = counts(pattern, due)
        assert of_passes == rest
        assert sum(of_passes) == whole


def test_the_front_page_counts_the_findings_that_are_listed_open(book):
    open_rows = rows(book["findings.md"], "Urgency", "Found")

    assert number(r"(\d+) findings? open", words_of(book["README.md"])) == len(open_rows)


def test_the_front_page_names_the_parts_that_the_parts_page_orders(book):
    ordered = {
        row["Part"] for row in rows(book["parts.md"], "Part", "Order") if row["Order"] != "–"
    }
    front = words_of(book["README.md"])

    assert ordered
    assert all(part in front for part in ordered)


def test_reliability_and_findings_list_the_same_failures(book):
    closed = [
        row for row in rows(book["findings.md"], "Closed", "What") if "(failure)" in row["What"]
    ]
    still = [
        row for row in rows(book["findings.md"], "Urgency", "What") if "(failure)" in row["What"]
    ]
    failed = rows(book["reliability.md"], "Date", "What", "Stopped")

    def keys(found, day):
        return Counter((row[day], row["Where"]) for row in found)

    assert keys([*closed, *still], "Found") == keys(failed, "Date")
    machines = rows(book["reliability.md"], "Machine", "Failures", "Hours")
    assert sum(int(row["Failures"]) for row in machines) == len(failed)


def test_the_front_page_and_the_wear_page_find_the_same_things_worn(book):
    bullets = next(block for block in book["wear.md"].blocks if isinstance(block, Bullets))
    front = words_of(book["README.md"])

    places = [text(item).split(": ", 1)[1].split(", read ")[0] for item in bullets.items]
    assert places
    assert all(place in front for place in places)


def test_the_plan_of_a_task_is_the_same_on_its_page_and_under_reliability(book):
    """And what reliability calls a service, the share in time counts as due work of that task."""
    counted = {row["Task"] for row in rows(book["in-time.md"], "Task", "Share in time")}
    told = rows(book["reliability.md"], "Task", "Plan")
    pages = {page.title: words_of(page) for path, page in book.items() if path.startswith("tasks/")}

    assert told
    for row in told:
        assert f"Due {row['Plan']}" in pages[row["Task"]]
        assert row["Task"] in counted


def test_what_was_not_done_adds_up_alike_by_task_month_and_purpose(book):
    page = book["in-time.md"]
    total = number(r"(\d+) not done of", words_of(page))

    by_task = rows(page, "Task", "Share in time")
    by_purpose = rows(page, "For", "Tasks", "Share in time")
    (by_month,) = [row for row in rows(page, "Month") if row["Month"] == "All"]
    assert sum(int(row["Not done"]) for row in by_task) == total
    assert sum(int(row["Not done"]) for row in by_purpose) == total
    assert int(by_month["Not done"]) + int(by_month["Not done, daily"]) == total


def test_a_brush_out_of_band_is_out_of_band_on_every_page(book):
    (strip,) = [block for block in book["speeds.md"].blocks if isinstance(block, SmallPlots)]
    out = [
        text(said.first).partition(" ")[2]
        for said, _ in strip.rows
        if marked("out of band") in text(said.others[0])
    ]
    front = words_of(book["README.md"])

    assert out
    for machine in out:
        assert f"◆ Out of band: {machine}," in front


def test_what_needs_a_decision_at_a_machine_is_named_on_its_page_and_nothing_twice(book):
    """The front page of the last day filed and the machines' pages are of one mind."""
    ledger = example_ledger()
    day = last_day_filed(ledger)
    asking = [
        decision
        for decision in Book(ledger, day).asked
        if decision.place is not None and decision.matter != "Now"
    ]

    assert {decision.matter for decision in asking} >= {"Out of band", "Slack", "Near its limit"}
    for decision in asking:
        page = book[f"machines/{decision.place.machine}.md"]
        heading = page.blocks.index(Heading(2, "Now"))
        said = [text(item) for item in page.blocks[heading + 1].items]
        assert text(decision.line_on_machine_page(ledger)) in said
        assert len(said) == len(set(said))

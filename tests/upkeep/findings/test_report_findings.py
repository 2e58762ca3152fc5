from small_site import ledger_of, on, visit

from ledger.book import terminal
from ledger.book.blocks import Table
from ledger.upkeep.findings.page import findings_page


def ref(day, number=1):
    return f"{on(day)}T1000-a-holt#{number}"


def found(day, what, **rest):
    return visit(day, {"finding": what, "at": "brush/bearing-top", **rest})


def page(*visits):
    return findings_page(ledger_of(visits, tasks={"look": LOOKING}))


LOOKING = {
    "title": "Look at the bearing",
    "on": {"points": "rotating-bearing"},
    "every": "1 week",
    "steps": ".",
}


def tables(found_page):
    return [block for block in found_page.blocks if isinstance(block, Table)]


def test_a_site_without_findings_says_none_twice():
    text = terminal.render(page())

    assert "0 findings open, 0 closed." in text
    assert text.count("None.") == 2


def test_the_most_urgent_open_finding_comes_first():
    (table,) = tables(
        page(found(1, "Howls.", urgency="planned"), found(2, "Seized.", urgency="now"))
    )

    assert [row[0] for row in table.rows] == ["now", "planned"]
    assert table.rows[0][-1] == ref(2)


def test_closed_findings_go_by_the_day_they_were_closed():
    (table,) = tables(
        page(
            found(1, "Howls."),
            found(2, "Seized.", failed=True),
            visit(3, {"closes": ref(2), "note": "Mended."}),
            visit(9, {"closes": ref(1), "note": "Oiled."}),
        )
    )

    assert [row[0] for row in table.rows] == ["2026-01-14", "2026-01-08"]
    assert [row[2] for row in table.rows] == ["8", "1"]
    assert [terminal.plain(row[4]) for row in table.rows] == ["Howls.", "Seized. (failure)"]


def test_what_put_it_right_is_said():
    (table,) = tables(
        page(
            found(1, "Howls."),
            found(2, "Seized."),
            found(3, "Loose."),
            visit(4, {"closes": ref(1), "changed": "bearing", "at": "brush/bearing-top"}),
            visit(
                5,
                {
                    "closes": ref(2),
                    "changed": "bearing",
                    "at": "brush/bearing-top",
                    "note": "The seal too.",
                },
            ),
            visit(6, {"closes": ref(3), "task": "look", "at": "brush/bearing-top"}),
        )
    )

    assert [row[5] for row in table.rows] == [
        "Look at the bearing",
        "New bearing. The seal too.",
        "New bearing.",
    ]

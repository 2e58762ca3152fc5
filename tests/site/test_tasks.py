import pytest
from small_site import ELECTRIC, ledger_of, on

from ledger.book import terminal
from ledger.book.blocks import Caution, Prose
from ledger.site.task_page import task_page

TASK = {
    "title": "Grease the bearings",
    "on": {"points": "rotating-bearing"},
    "every": "1 week",
    "window": "2 days",
    "lockout": True,
    "minutes": 3,
    "qualified": ["height"],
    "uses": {"grease": "3 strokes"},
    "reads": ["temperature"],
    "covers": ["look"],
    "cautions": ["Block the arm."],
    "starts": on(0).isoformat(),
    "steps": "1. Wipe.\n2. Three strokes.",
}
LOOK = {"title": "Look", "on": {"points": "rotating-bearing"}, "every": "1 day", "steps": "."}


def page(task=TASK):
    ledger = ledger_of(
        tasks={"greasing": task, "look": LOOK},
        machines={"brush": ELECTRIC},
        parts={"grease": {"name": "EP 2 grease", "kind": "consumable", "unit": "g"}},
    )
    return task_page(ledger, ledger.tasks["greasing"])


def test_the_page_says_how_often_what_it_needs_and_what_it_uses():
    text = terminal.render(page())

    for said in (
        "Due weekly, within 2 days of the due day",
        "Takes 3 min at each place.",
        "Needs a person qualified for height and lockout.",
        "Uses 3 strokes of EP 2 grease at each place.",
        "The entry holds a reading of temperature.",
        "Also counts as Look.",
        "In use from 2026-01-05.",
        "Side brush: Bearing top",
    ):
        assert said in text, said


def test_cautions_come_with_the_lockout_and_defer_to_the_maker():
    (caution,) = [block for block in page().blocks if isinstance(block, Caution)]

    assert caution.lines[0].startswith("Lock out, tag out and verify")
    assert list(caution.lines[1:]) == [
        "Block the arm.",
        "The maker's manual, the local code and licensed people come first.",
    ]


def test_steps_are_prose_as_typed():
    assert Prose("1. Wipe.\n2. Three strokes.") in page().blocks


def test_work_of_every_due_day_has_no_window_to_speak_of():
    bare = {key: TASK[key] for key in ("title", "on", "every", "steps")}

    text = terminal.render(page(bare))

    assert "Due weekly\n" in text
    assert "None" not in text


def test_a_task_that_selects_nothing_says_so():
    assert "It selects nothing on this site." in terminal.render(
        page(TASK | {"on": {"points": "seal"}})
    )


CITED = {"cite": "29 CFR 1910.157(e)(2)", "where": "United States", "cite_read": "2026-01-03"}


@pytest.mark.parametrize(
    ("keys", "said", "not_said"),
    [
        ({}, "this site's own rule", "By law"),
        ({"basis": "practice"}, "this site's own rule", "By law"),
        ({"basis": "insurer"}, "The interval is set by the insurer.", "By law"),
        ({"basis": "law"}, "Not counted as by law, since no citation is given", "By law:"),
        (
            {"basis": "law", **CITED},
            "By law: 29 CFR 1910.157(e)(2), United States; text read on 2026-01-03. Check your own",
            "Not counted",
        ),
        (
            {"state_basis": "code", **CITED},
            "The state it looks after is asked for by code.",
            "The interval is set by code",
        ),
    ],
)
def test_only_a_cited_law_counts_as_by_law(keys, said, not_said):
    text = " ".join(terminal.render(page(TASK | keys)).split())
    assert said in text
    assert not_said not in text

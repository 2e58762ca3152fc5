"""Who is qualified on a day, on what evidence, and whose training is due."""

from datetime import date

from example import EXAMPLE_DAY, example_pages
from small_site import LOOK, SITE, ledger_of, visit

from ledger.book import terminal
from ledger.upkeep.people.found import held
from ledger.upkeep.people.page import people_page

TRAINED = [
    {"for": "lockout", "from": "2026-01-05", "until": "2026-01-20", "supervised_by": "b-marsh"},
    {"for": "lockout", "from": "2026-02-01", "until": "2026-04-10", "evidence": "Binder 3"},
]


def ledger_with(*visits, **person):
    holt = {"name": "A. Holt", "qualified": ["lockout", "chemicals"], "training": TRAINED, **person}
    return ledger_of(visits, site={"people": {**SITE["people"], "a-holt": holt}})


def test_a_qualification_counts_on_the_days_of_its_training_and_beside_its_supervisor():
    holt = ledger_with().site.people["a-holt"]
    alone, beside = {"a-holt"}, {"a-holt", "b-marsh"}
    assert holt.qualified_on(date(2026, 1, 10), alone) == {"chemicals"}
    assert holt.qualified_on(date(2026, 1, 10), beside) == {"lockout", "chemicals"}
    assert holt.qualified_on(date(2026, 1, 25), beside) == {"chemicals"}
    assert holt.qualified_on(date(2026, 4, 10), alone) == {"lockout", "chemicals"}
    assert holt.qualified_on(date(2026, 4, 11), alone) == {"chemicals"}


def test_training_is_due_sixty_days_before_its_last_day():
    lockout = next(one for one in held(ledger_with(), date(2026, 2, 1)) if one.training)
    assert lockout.training.evidence == "Binder 3"
    assert lockout.due(date(2026, 2, 8)) is None
    assert lockout.due(date(2026, 2, 9)) == date(2026, 4, 10)
    gone = ledger_with(until="2026-01-31")
    assert not [one for one in held(gone, date(2026, 2, 1)) if one.person.ident == "a-holt"]


def test_the_page_says_overdue_and_who_returned_to_service_under_which_permit():
    day = visit(120, LOOK, permit="P-7", returned_by="b-marsh")
    said = " ".join(terminal.render(people_page(ledger_with(day)), 200).split())
    assert "overdue" in said
    assert "P-7 A. Holt, returned to service by B. Marsh" in said


def test_the_example_has_training_due_and_a_contractor():
    said = " ".join(terminal.render(example_pages(EXAMPLE_DAY)["people.md"], 300).split())
    assert "R. Askelund (contractor, electrician) Harrow Electric" in said
    assert "confined space 2024-12-02 2026-12-01" in said
    assert "training due" in said
    assert "P-2026-003" in said

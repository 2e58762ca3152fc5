"""The register says aloud where a setting rests on no second person."""

import pytest
from small_site import ELECTRIC, ledger_of, setpoint

from ledger.assess.register import register
from ledger.assess.speeds import speed_results
from ledger.report.pages.setpoints import setpoints_page
from ledger.write import terminal


def words_of(**people) -> str:
    ledger = ledger_of([], machines={"brush": ELECTRIC}, setpoints=[{**setpoint(0, 45), **people}])
    results = speed_results(ledger)
    page = setpoints_page(ledger, register(ledger, results), results)
    return " ".join(terminal.render(page, width=400).split())


@pytest.mark.parametrize(
    ("people", "said"),
    [
        ({"proposed_by": "b-marsh", "approved_by": "b-marsh"}, "B. Marsh: NO SECOND PERSON"),
        ({"proposed_by": "b-marsh", "approved_by": "a-holt"}, "A. Holt: NOT MARKED TO APPROVE"),
    ],
    ids=["own proposal", "not marked to approve"],
)
def test_an_approval_that_is_none_is_said_aloud(people, said):
    assert words_of(**people).count(said) == 2


def test_a_second_person_who_may_approve_stands_without_a_word():
    text = words_of(proposed_by="a-holt", approved_by="b-marsh")
    assert "B. Marsh" in text
    assert "NO SECOND" not in text
    assert "NOT MARKED" not in text

"""What was done year by year comes to the same as when all of it is asked at once."""

from datetime import date

import pytest
from example import EXAMPLE_DAY, example_ledger

from ledger.model.ledger import known_on
from ledger.site.parts import Parts
from ledger.site.served import Work
from ledger.upkeep.due.found import Schedule
from ledger.upkeep.grease.found import lubrication
from ledger.upkeep.grease.given import GreaseGiven
from ledger.upkeep.intime.found import in_time, rounds
from ledger.upkeep.lockout.found import sheets
from ledger.upkeep.parts.found import stock_lines


@pytest.mark.parametrize("as_of", [EXAMPLE_DAY, date(2026, 3, 9), date(2027, 2, 1)])
def test_years_add_up(as_of):
    ledger = known_on(example_ledger(), as_of)
    whole = Schedule(ledger, as_of)
    work = Work(ledger, Parts(ledger, as_of, None), as_of)
    assert {entry.day.year for entry in ledger.entries} == {2025, 2026}
    assert work.schedule.all_due() == whole.all_due()
    found = in_time(ledger, work.schedule, as_of, work.settled())
    assert found == in_time(ledger, whole, as_of)
    assert sum(len(one.months) for one in found) > 50
    assert sheets(ledger, work.inspected) == sheets(ledger)
    assert rounds(ledger, as_of, work.places) == rounds(ledger, as_of)
    greased = lubrication(ledger, work.using)
    assert greased == lubrication(ledger)
    assert any(isinstance(one.given, GreaseGiven) for one in greased) == (as_of.month > 1)
    lines = stock_lines(ledger, by_tasks=work.uses)
    assert lines == stock_lines(ledger)
    assert any(line.used_since_count for line in lines)

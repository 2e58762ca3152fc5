"""The reading that a setting asks for, as the walk, the front page, the register and JSON say it."""

from datetime import date

import pytest
from small_site import ledger_of, on, setpoint, visit

from ledger.book.terminal import render
from ledger.site.pages import Book
from ledger.upkeep.register.found import follow_ups
from ledger.upkeep.register.words import follow_up_rows
from ledger.upkeep.speeds.found import speed_results


def read(rpm, hz):
    return {"at": "brush", "turns": 40, "seconds": 2400 / rpm, "found_hz": hz}


def site(*later):
    """81 r/min at 45 Hz four times, 44 Hz from day 8, and readings (day, rpm) at it."""
    visits = [visit(day, read(81, 45)) for day in range(4)]
    visits += [visit(day, read(rpm, 44)) for day, rpm in later]
    return ledger_of(visits, setpoints=[setpoint(0, 45), setpoint(8, 44)])


def words_of(ledger, day: date) -> dict[str, str]:
    """Each page's words on one line, as a terminal shows them."""
    pages = Book(ledger, day).pages()
    return {page.path: " ".join(render(page, 120).split()) for page in pages}


def test_a_setting_nobody_read_at():
    pages = words_of(site(), on(18))
    assert "Confirm settings" in pages["due.md"]
    assert "[ ] Side brush: read the speed at 44 Hz, in force since 2026-01-13" in pages["due.md"]
    assert "by 2026-01-20; expect 79.2" in pages["due.md"]
    assert "Overdue by 3 days" in pages["due.md"]
    assert "read the speed of Side brush at 44 Hz by 2026-01-20." in pages["README.md"]
    assert "Not confirmed yet: no speed was read at this setting" in pages["tuning.md"]


def test_a_setting_that_was_confirmed():
    pages = words_of(site((10, 79.3)), on(18))
    assert "Confirm settings" not in pages["due.md"]
    assert "at 44 Hz" not in pages["README.md"]
    assert (
        "Confirmed by 2026-01-15T1000-a-holt#1: 79.30 ± 0.59 r/min, agrees with the prediction of "
        "79.20 ± 0.39 r/min made before it (E_n 0.14)."
    ) in pages["tuning.md"]


def test_a_setting_that_does_not_hold():
    pages = words_of(site((10, 70)), on(12))
    said = (
        "9.2 r/min below the prediction of 79.20 ± 0.39 r/min made before it, more than both "
        "uncertainties together (E_n -15.32)"
    )
    assert "The reading does not agree: 70.00" in pages["due.md"]
    assert said in pages["due.md"]
    assert "Side brush ran at another speed than predicted at 44 Hz." in pages["README.md"]
    assert "NOT CONFIRMED: 2026-01-15T1000-a-holt#1: 70.00" in pages["tuning.md"]
    assert said in pages["tuning.md"]
    assert "The reading that confirms it is due by 2026-01-20." in pages["tuning.md"]


def test_rows_for_other_programs():
    ledger = site((10, 70))
    (row,) = follow_up_rows(follow_ups(ledger, speed_results(ledger), on(18)))
    assert (row["place"], row["setting"], row["setting_unit"]) == ("brush", 44, "Hz")
    assert (row["state"], row["overdue_days"], row["due_on"]) == ("overdue", 3, "2026-01-20")
    assert row["does_not_hold"] is True
    assert row["last_e_number"] < -1
    # The newest reading has taught what to expect by now.
    assert 70 < row["expected_rpm"] < 79.2


@pytest.mark.parametrize("day", [on(9), on(18), on(300)])
def test_the_register_s_words_depend_on_no_day(day):
    assert words_of(site(), day)["setpoints.md"] == words_of(site(), on(8))["setpoints.md"]

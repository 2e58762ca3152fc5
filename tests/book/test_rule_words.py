import pytest

from ledger.book.words import format_rule
from ledger.compute.recurrence import parse_rule


@pytest.mark.parametrize(
    ("rule", "words"),
    [
        ("FREQ=WEEKLY;BYDAY=FR", "Friday"),
        ("FREQ=WEEKLY;BYDAY=MO,TH", "Monday and Thursday"),
        ("FREQ=WEEKLY;INTERVAL=2;BYDAY=TU", "2 weeks on Tuesday"),
        ("FREQ=MONTHLY;BYDAY=1MO", "first Monday of the month"),
        ("FREQ=MONTHLY;BYDAY=-1FR", "last Friday of the month"),
        ("FREQ=MONTHLY;INTERVAL=3;BYDAY=2WE", "3 months on the second Wednesday"),
        ("FREQ=MONTHLY;BYMONTHDAY=15", "day 15 of the month"),
        ("FREQ=YEARLY;BYMONTH=2;BYDAY=2MO", "second Monday of February"),
        ("FREQ=MONTHLY;BYDAY=MO", "rule FREQ=MONTHLY;BYDAY=MO"),
        ("FREQ=MONTHLY;BYMONTHDAY=1,15", "rule FREQ=MONTHLY;BYMONTHDAY=1,15"),
        ("FREQ=YEARLY;BYMONTH=2,8;BYDAY=2MO", "rule FREQ=YEARLY;BYMONTH=2,8;BYDAY=2MO"),
        ("FREQ=DAILY;COUNT=5", "rule FREQ=DAILY;COUNT=5"),
    ],
)
def test_common_rules_are_said_and_others_shown(rule, words):
    assert format_rule(parse_rule(rule)) == words

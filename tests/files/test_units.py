"""Which key takes a number that was typed with a unit."""

import pytest

from ledger.files.units import key_in, split_amount

KEYS = "vibration_in_s vibration_mm_s chain_speed_ft_per_min chain_speed_m_per_min seconds minutes".split()


@pytest.mark.parametrize(
    ("typed", "key", "meant"),
    [
        ("2.8 mm/s", "vibration_in_s", "vibration_mm_s"),
        ("2.8 in/s", "vibration_mm_s", "vibration_in_s"),
        ("38 ft / min", "chain_speed_m_per_min", "chain_speed_ft_per_min"),
        ("38 kPa", "chain_speed_m_per_min", ""),
        # These two are two quantities.
        ("1 min", "seconds", ""),
    ],
)
def test_the_key_in_the_unit_that_was_typed(typed, key, meant):
    amount, unit = split_amount(typed)
    assert float(amount) > 0
    assert key_in(unit, key, KEYS) == meant

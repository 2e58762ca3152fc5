"""What the exported tables say, before any form is given to them."""

from small_site import ledger_of, on, setpoint

from ledger.site.tables import flat_tables


def rows_of(name, ledger, day):
    (found,) = [table for table in flat_tables(ledger, day) if table.name == name]
    names = [column.name for column in found.columns]
    return [dict(zip(names, row, strict=True)) for row in found.rows]


def test_an_approval_that_does_not_count_says_so_beside_its_name():
    """Whoever counts the rows with an approver would take the claim for an approval."""
    changes = [setpoint(0, 44), setpoint(2, 45, approved_by="a-holt"), setpoint(3, 46)]
    rows = rows_of("setpoints", ledger_of(setpoints=changes), on(5))
    told = [(row["approved_by"], row["does_not_count"], row["in_force"]) for row in rows]
    assert told == [
        ("b-marsh", None, False),
        ("a-holt", "self-approved may-not-approve", False),
        ("b-marsh", None, True),
    ]

from small_site import ledger_of, on, visit

from ledger.upkeep.findings.found import findings, open_findings


def found(day, what="Noise.", **rest):
    return visit(day, {"finding": what, "at": "brush/motor", **rest})


def ref(day, number=1):
    return f"{on(day)}T1000-a-holt#{number}"


def test_a_finding_stays_open_until_an_entry_closes_it():
    ledger = ledger_of([found(1), found(2, "Smell."), visit(5, {"closes": ref(1), "note": "Ok."})])

    first, second = findings(ledger)

    assert not first.is_open
    assert str(first.closed_by.ref) == ref(5)
    assert first.days_open(on(30)) == 4
    assert second.is_open
    assert second.days_open(on(30)) == 28


def test_the_first_closing_counts():
    ledger = ledger_of(
        [
            found(1),
            visit(3, {"closes": ref(1), "note": "Mended."}),
            visit(8, {"closes": ref(1), "note": "Looked again."}),
        ]
    )

    (only,) = findings(ledger)

    assert only.closed_by.day == on(3)


def correction(day, of, what, **rest):
    return visit(
        day,
        {
            "corrects": of,
            "reason": "Wrong words.",
            "finding": what,
            "at": "brush/motor",
            **rest,
        },
    )


def test_a_corrected_finding_is_one_finding_in_its_last_words():
    ledger = ledger_of([found(1, "Nose."), correction(2, ref(1), "Noise.")])

    (only,) = findings(ledger)

    assert only.entry.finding == "Noise."
    assert only.entry.day == on(1)


def test_a_corrected_finding_is_closed_by_either_reference():
    for closed in (ref(1), ref(2)):
        ledger = ledger_of(
            [
                found(1, "Nose."),
                correction(2, ref(1), "Noise."),
                visit(5, {"closes": closed, "note": "Mended."}),
            ]
        )
        (only,) = findings(ledger)
        assert only.closed_by.day == on(5), closed


def test_a_void_finding_is_none():
    void = visit(2, {"corrects": ref(1), "reason": "Was another machine.", "void": True})

    assert findings(ledger_of([found(1), void])) == ()


def test_a_void_closing_leaves_the_finding_open():
    ledger = ledger_of(
        [
            found(1),
            visit(3, {"closes": ref(1), "note": "Mended."}),
            visit(4, {"corrects": ref(3), "reason": "Not mended.", "void": True}),
        ]
    )

    (only,) = findings(ledger)

    assert only.is_open


def test_open_findings_go_by_urgency_then_age():
    ledger = ledger_of(
        [
            found(1, "Planned.", urgency="planned"),
            found(2, "Soon, older."),
            found(3, "Soon, newer.", urgency="soon"),
            found(4, "Now.", urgency="now"),
        ]
    )

    said = [finding.entry.finding for finding in open_findings(ledger)]

    assert said == ["Now.", "Soon, older.", "Soon, newer.", "Planned."]


def test_what_is_open_is_asked_as_of_a_day():
    ledger = ledger_of([found(3), visit(7, {"closes": ref(3), "note": "Mended."})])

    open_on = {day for day in range(1, 12) if open_findings(ledger, on(day))}

    assert open_on == {3, 4, 5, 6}
    assert open_findings(ledger) == ()

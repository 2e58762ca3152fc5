"""How the reading that a new setting asks for is worded, with what was read so far."""

from ledger.assess.follow_up import FollowUp, FollowUpState, Proof
from ledger.assess.register import Confirmation
from ledger.compute.rounding import fixed
from ledger.model.ledger import Ledger
from ledger.report import words
from ledger.report.blocks import Span, Spans, Strong


def open_words(ledger: Ledger, one: FollowUp) -> Spans:
    """One line to tick: what to read, by when, what to expect, and what spoke against it."""
    said: list[str | Span] = [
        words.machine_link(one.machine),
        (
            f": read the speed at {words.change_words(one.change, ledger.site)}, in force since "
            f"{words.day_words(one.change.first_day)}, by {words.day_words(one.due_on)}"
        ),
    ]
    if one.expected is not None:
        said.append(f"; expect {words.speed_words(one.expected)} r/min")
    said.append(". ")
    if one.state is FollowUpState.OVERDUE:
        late = words.count_words(one.overdue_days, "day")
        said.extend((Strong(f"Overdue by {late}"), ". "))
    if one.proof.last is not None:
        said.extend(_last_words(one.proof.last))
    return tuple(said)


def _last_words(last: Confirmation) -> tuple[str | Span, ...]:
    """What the newest reading at the setting says, where nothing has confirmed it."""
    said = f"{_speed(last)} r/min was read on {words.day_words(last.result.entry.day)}"
    if last.predicted is None:
        return (f"{said}, {held_words(last)}: read once more.",)
    return (
        Strong("The reading does not agree"),
        f": {said}, {held_words(last, full=True)}. Find out why, then read again or propose anew.",
    )


def proof_words(proof: Proof) -> str:
    """For the register: confirmed by which reading, or that the setting is a prediction as yet."""
    if proof.confirmed is not None:
        return f"Confirmed by {_read(proof.confirmed)}"
    if proof.last is None:
        return "Not confirmed yet: no speed was read at this setting since it took effect"
    return f"{'NOT CONFIRMED' if proof.does_not_hold else 'Not confirmed yet'}: {_read(proof.last)}"


def _read(one: Confirmation) -> str:
    return f"{one.result.entry.ref}: {_speed(one)} r/min, {held_words(one, full=True)}"


def reading_words(one: Confirmation, *, full: bool = False) -> str:
    """For a cell: `80.0 ± 1.3 on 2026-11-18: agrees`, or how far off it is; in full with E_n."""
    said = f"{_speed(one)} on {words.day_words(one.result.entry.day)}"
    if one.e_number is None:
        return f"{said}: nothing to hold it against"
    verdict = "agrees" if one.holds else f"DIFFERS, {_apart(one)}"
    return f"{said}: {verdict}{f' ({e_number_words(one)})' if full else ''}"


def held_words(one: Confirmation, *, full: bool = False) -> str:
    """`agrees with the prediction (E_n 0.30)`; in full with the speed that was predicted.

    Where it does not: `4.1 r/min below the prediction, more than both uncertainties together`.
    """
    if one.predicted is None or one.result.speed is None:
        return "with nothing earlier to hold it against"
    made = f" of {words.speed_words(one.predicted)} r/min made before it" if full else ""
    number = e_number_words(one)
    if one.holds:
        return f"agrees with the prediction{made} ({number})"
    return f"{_apart(one)} the prediction{made}, more than both uncertainties together ({number})"


def _apart(one: Confirmation) -> str:
    """`4.1 r/min below`, the reading against the prediction."""
    if one.predicted is None or one.result.speed is None:
        return ""
    apart = one.result.speed.rpm - one.predicted.rpm
    return f"{fixed(abs(apart), 1)} r/min {'above' if apart > 0 else 'below'}"


def e_number_words(one: Confirmation) -> str:
    """`E_n -0.70`, with as many decimals as it takes to see on which side of 1 it lies."""
    number, places = one.e_number or 0.0, 2
    while abs(number) > 1 and abs(float(fixed(number, places))) <= 1:
        places += 1
    return f"E_n {fixed(number, places)}"


def _speed(one: Confirmation) -> str:
    return words.NONE if one.result.speed is None else words.speed_words(one.result.speed)

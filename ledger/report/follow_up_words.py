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
    said = f"read {_speed(last)} on {words.day_words(last.result.entry.day)}"
    if last.predicted is None or last.e_number is None:
        return (f"It was {said}, with nothing to hold that against: read once more.",)
    return (
        Strong("Does not hold"),
        (
            f": {said}, predicted {words.speed_words(last.predicted)} "
            f"(En {fixed(last.e_number, 1)}). Find out why, then read again or propose anew."
        ),
    )


def proof_words(proof: Proof) -> str:
    """For the register: `Confirmed by VISIT#N ...`, or that nothing confirmed the setting yet."""
    if proof.confirmed is not None:
        return (
            f"Confirmed by {proof.confirmed.result.entry.ref}: {_speed(proof.confirmed)} r/min "
            f"(En {fixed(proof.confirmed.e_number or 0.0, 1)})."
        )
    if proof.last is None:
        return "Not confirmed yet: no speed was read at this setting since it took effect."
    if proof.does_not_hold:
        return f"Not confirmed: {proof.last.result.entry.ref} does not agree with the prediction."
    return "Not confirmed yet: nothing was known to hold the first reading against."


def _speed(one: Confirmation) -> str:
    return words.NONE if one.result.speed is None else words.speed_words(one.result.speed)

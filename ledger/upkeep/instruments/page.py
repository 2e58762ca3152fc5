"""Instruments: limits of error, checks, and what was read with one that cannot be trusted."""

from collections.abc import Sequence

from ledger.book import words
from ledger.book.addresses import INSTRUMENTS_PAGE
from ledger.book.blocks import Block, Bullets, Heading, Page, Paragraph, Spans, Table, right
from ledger.model.ledger import Ledger
from ledger.model.site import Instrument, InstrumentCheck
from ledger.upkeep.instruments.found import InstrumentState, ReadWith, instrument_states


def instruments_page(ledger: Ledger, read: Sequence[ReadWith] | None = None) -> Page:
    """Depends on the sources only: whether a check is overdue stands on the front page.

    `read` as for `instrument_states`.
    """
    states = instrument_states(ledger, read=read)
    blocks: list[Block] = [
        Paragraph(
            "All readings taken with one instrument share its error, up to the maximum permissible "
            "error. More readings with it do not make that smaller. If an instrument is found "
            "outside its limits, every reading since its last good check is in doubt."
        ),
        Table.of(
            states,
            ("Instrument", lambda state: state.instrument.name),
            ("Kind", lambda state: state.instrument.kind.replace("-", " ")),
            (right("Maximum error"), lambda state: _max_error(state.instrument)),
            (right("Step"), lambda state: _in_unit(state.instrument, state.instrument.resolution)),
            ("Last check", lambda state: _last(state.instrument)),
            ("Next due", lambda state: _due(state.instrument)),
            (right("Readings"), lambda state: str(state.readings)),
        ),
    ]
    for state in states:
        blocks.extend(_own(ledger, state))
    return Page(path=INSTRUMENTS_PAGE, title="Instruments", blocks=blocks)


def _own(ledger: Ledger, state: InstrumentState) -> list[Block]:
    one = state.instrument
    facts: list[Spans] = [_format_check(check) for check in reversed(one.checks)]
    if one.serial:
        facts.insert(0, f"Serial number {one.serial}.")
    if one.notes:
        facts.append(" ".join(one.notes.split()))
    blocks: list[Block] = [Heading(2, one.name), Bullets(facts)] if facts else []
    if state.in_doubt:
        blocks.append(Paragraph("In doubt, for they were read since the last good check:"))
        blocks.append(Bullets([(words.entry_link(ledger, ref),) for ref in state.in_doubt]))
    return blocks


def _max_error(one: Instrument) -> str:
    parts = []
    if one.max_error_percent is not None:
        parts.append(f"{words.format_number(one.max_error_percent)} %")
    if one.max_error is not None:
        parts.append(_in_unit(one, one.max_error))
    return " + ".join(parts) or "not stated"


def _in_unit(one: Instrument, value: float | None) -> str:
    return words.NONE if value is None else f"{words.format_number(value)} {one.unit}".rstrip()


def _last(one: Instrument) -> str:
    if not one.checks:
        return "none on record"
    last = one.checks[-1]
    return f"{words.format_day(last.day)}: {_result(last)}"


def _due(one: Instrument) -> str:
    due = one.checks[-1].due if one.checks else None
    return words.or_dash(due, words.format_day)


def _result(check: InstrumentCheck) -> str:
    return "within its limits" if check.in_limits else "OUT OF ITS LIMITS"


def _format_check(check: InstrumentCheck) -> str:
    text = f"{words.format_day(check.day)}: {_result(check)}"
    if check.certificate:
        text += f", certificate {check.certificate}"
    if check.correction_percent is not None:
        text += (
            f", correction {words.format_number(check.correction_percent)} % "
            f"± {words.format_number(check.correction_u_percent)} %"
        )
    return f"{text}."

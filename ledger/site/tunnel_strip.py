"""The tunnel as a ruler: stations in walking order, each with what there is to say of it.

What is said is of the record, as of a day; nothing of it is a live state of a machine.
"""

import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from itertools import groupby

from ledger.book import words
from ledger.book.blocks import Align, Block, Column, Heading, Link, Paragraph, Spans, Table
from ledger.compute.schedule import State
from ledger.model.ledger import Ledger
from ledger.model.machines import Machine
from ledger.site.decisions import TIED_BACK, Decision
from ledger.upkeep.due.found import DueWork
from ledger.upkeep.findings.found import open_findings

_TUNNEL = "tunnel"


def tunnel_blocks(
    ledger: Ledger, work: Sequence[DueWork], asked: Sequence[Decision], as_of: date
) -> Iterator[Block]:
    """A heading and a strip for each area, the tunnel first."""
    states = _states(ledger, work, asked, as_of)
    in_order = sorted(
        ledger.machines.values(),
        key=lambda machine: (machine.area != _TUNNEL, machine.area, machine.station),
    )
    for area, grouped in groupby(in_order, key=lambda machine: machine.area):
        machines = list(grouped)
        if area == _TUNNEL:
            yield Heading(2, "The tunnel, entry to exit")
            yield _strip(("Driver side", "Passenger side"), _by_side(machines), states)
        else:
            yield Heading(2, area.replace("-", " ").capitalize())
            yield _strip(("Machine", "Machine beside it"), _two_by_two(machines), states)
    yield Paragraph("No mark beside a name: nothing to report.")


def _states(
    ledger: Ledger, work: Sequence[DueWork], asked: Sequence[Decision], as_of: date
) -> Mapping[str, Sequence[str]]:
    """What there is to say of each machine, the gravest first, each once."""
    found_states: dict[str, dict[str, None]] = {machine: {} for machine in ledger.machines}
    for machine, tied in ledger.tied_back(as_of).items():
        since = f"tied back since {words.format_day(tied.first_day)}"
        found_states[machine][words.marked("tied back", since)] = None
    overdue = Counter(one.place.machine for one in work if one.due.state is State.OVERDUE)
    for machine, count in overdue.items():
        found_states[machine][words.marked("overdue", f"{count} overdue")] = None
    for finding in open_findings(ledger, as_of):
        for place in finding.entry.places:
            state = f"finding, {finding.entry.urgency}"
            found_states[place.machine][words.marked("finding", state)] = None
    for decision in asked:
        if decision.place is not None and decision.matter not in {"Now", TIED_BACK}:
            found_states[decision.machine][words.marked(decision.matter.lower())] = None
    return {machine: list(state) for machine, state in found_states.items()}


_Pair = tuple[Machine | None, Machine | None]


def _by_side(machines: Sequence[Machine]) -> Iterator[_Pair]:
    """Driver side and passenger side; neighbours on both sides share a row."""
    rest = list(machines)
    while rest:
        first = rest.pop(0)
        if first.side == "driver":
            other = rest.pop(0) if rest and rest[0].side == "passenger" else None
            yield first, other
        elif first.side == "passenger" and rest and rest[0].side == "driver":
            yield rest.pop(0), first
        else:
            yield None, first


def _two_by_two(machines: Sequence[Machine]) -> Iterator[_Pair]:
    for at in range(0, len(machines), 2):
        yield machines[at], (machines[at + 1] if at + 1 < len(machines) else None)


def _strip(
    titles: tuple[str, str],
    pairs: Iterator[_Pair],
    states: Mapping[str, Sequence[str]],
) -> Table:
    def cell(machine: Machine | None) -> Spans:
        if machine is None:
            return ""
        text = "; ".join(states[machine.ident])
        # The column says which side.
        name = re.sub(rf", {machine.side}(?: side)?$", "", machine.name)
        return Link(name, words.machine_page(machine.ident)), f" {text}" if text else ""

    def stations(pair: _Pair) -> str:
        numbers = [words.format_number(one.station) for one in pair if one is not None]
        return " · ".join(numbers)

    columns = (Column(titles[0], Align.RIGHT), Column("Station"), Column(titles[1]))
    rows = [(cell(pair[0]), stations(pair), cell(pair[1])) for pair in pairs]
    return Table(columns, rows, is_strip=True)

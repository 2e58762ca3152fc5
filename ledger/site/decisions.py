"""What needs a decision: a line each, the worst first, each with the page that says more.

The front page shows those of its day; a machine's page shows its own, as of the last day on
which anything was filed, since it must not change with the calendar.
"""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from ledger.book import addresses, words
from ledger.book.blocks import Block, Bullets, Heading, Link, Spans, Strong
from ledger.book.marks import marked
from ledger.compute.band import Verdict
from ledger.compute.wear import DamperVerdict
from ledger.model.ledger import Ledger, last_day_filed
from ledger.model.references import Place
from ledger.upkeep.drift.found import Drift, DriftResult, drift, limit_reached
from ledger.upkeep.drift.outlook import Crossing
from ledger.upkeep.drift.series import SPEED
from ledger.upkeep.drift.words import format_limit, format_pace, view_of
from ledger.upkeep.due.words import format_tie_back
from ledger.upkeep.duty.found import duty
from ledger.upkeep.figures.found import Figure
from ledger.upkeep.figures.words import format_band, format_figure
from ledger.upkeep.findings.found import open_findings
from ledger.upkeep.instruments.found import instrument_states
from ledger.upkeep.parts.found import stock_lines
from ledger.upkeep.people.found import held
from ledger.upkeep.register.found import FollowUp, FollowUpState, RegisterLine, follow_ups, register
from ledger.upkeep.register.words import format_claim
from ledger.upkeep.reliability.found import Reliability, reliability
from ledger.upkeep.reliability.sisters import REPEATED
from ledger.upkeep.speeds.found import SpeedResult
from ledger.upkeep.water.found import water
from ledger.upkeep.wear.found import Wear, wear

SOON = timedelta(days=30)
"""A limit forecast to be reached within this time needs a decision now."""


MOST = 10
"""Lines shown; a longer list is not read."""


OUT_OF_BAND = "Out of band"

TIED_BACK = "Tied back"

_YEAR = timedelta(days=365)

_REGISTER = Link("Drive settings", addresses.REGISTER_PAGE)

_DUTY = Link("Pumps, worn cloth and energy", addresses.DUTY_PAGE)

_WATER = Link("Water and chemistry", addresses.WATER_PAGE)

_WEAR = Link("Wear", addresses.WEAR_PAGE)


@dataclass(frozen=True, slots=True, kw_only=True)
class Assessed:
    """All that was worked out of a ledger and may ask for a decision."""

    results: Sequence[SpeedResult]
    lines: Sequence[RegisterLine]
    follow_ups: Sequence[FollowUp]
    worn: Wear
    water: Sequence[Figure]
    duty: Sequence[Figure]
    drifting: Drift
    failing: Reliability


@dataclass(frozen=True, slots=True)
class Decision:
    """One line: what is the matter, where, and the page that says more.

    The first `{}` of `text` stands for the place, so that a machine's own page need not name the
    machine in every line. `place` is None where a line is about no one machine. `series` is what
    comes near its limit, where that is the matter.
    """

    matter: str
    place: Place | None
    text: str
    more: Link
    series: DriftResult | None = None

    def line(self, ledger: Ledger) -> Spans:
        """With the machine named."""
        return self._line("" if self.place is None else ledger.place_name(self.place))

    def line_on_machine_page(self, ledger: Ledger) -> Spans:
        """With the point alone named."""
        point = "" if self.place is None else words.format_point(ledger, self.place)
        return self._line(point or "this machine")

    def _line(self, where: str) -> Spans:
        text = self.text if self.place is None else self.text.replace("{}", where, 1)
        return Strong(marked(self.matter)), f": {text} ", self.more


def assessed(ledger: Ledger, results: Sequence[SpeedResult], day: date) -> Assessed:
    """Work out all that may ask for a decision on a day."""
    return Assessed(
        results=results,
        lines=register(ledger, results),
        follow_ups=follow_ups(ledger, results, day),
        worn=wear(ledger),
        water=water(ledger),
        duty=duty(ledger),
        drifting=drift(ledger, results),
        failing=reliability(ledger),
    )


def decisions(ledger: Ledger, found: Assessed, day: date) -> tuple[Decision, ...]:
    """All that needs a decision on a day, the worst first; each matter once."""
    return (*_urgent(ledger, day), *_but_findings(ledger, found, day))


def decisions_of_machines(ledger: Ledger, found: Assessed) -> dict[str, list[Decision]]:
    """What needs a decision at each machine, as of the last day filed, but for its findings.

    Open findings stand on a machine's page whatever their urgency, with who found them.
    """
    day = last_day_filed(ledger)
    known = replace(found, follow_ups=follow_ups(ledger, found.results, day))
    of_machine: dict[str, list[Decision]] = {}
    for decision in _but_findings(ledger, known, day):
        if decision.place is not None:
            of_machine.setdefault(decision.place.machine, []).append(decision)
    return of_machine


def _but_findings(ledger: Ledger, found: Assessed, day: date) -> Iterator[Decision]:
    yield from _tied_back(ledger, day)
    yield from _otherwise(found.lines)
    yield from _out_of_band(ledger, found)
    yield from _beyond(found.worn)
    yield from _figures(ledger, found.water, "Water out of band", _WATER)
    yield from _figures(ledger, found.duty, "Beyond its duty", _DUTY)
    yield from _instruments(ledger, day)
    yield from _training(ledger, day)
    yield from _repeated(found.failing, day)
    yield from _soon(ledger, found, day)
    yield from _to_confirm(ledger, found.follow_ups)
    yield from _waiting(ledger, found.lines)
    yield from _to_order(ledger)


def decision_blocks(ledger: Ledger, found: Assessed, as_of: date) -> list[Block]:
    """The heading and its lines; nothing where nothing needs a decision."""
    lines = [decision.line(ledger) for decision in decisions(ledger, found, as_of)]
    if not lines:
        return []
    shown = lines[:MOST]
    if len(lines) > MOST:
        shown.append(f"{len(lines) - MOST} more, of lesser weight, on the pages below.")
    return [Heading(2, "Needs a decision"), Bullets(shown)]


def last_judged(results: Sequence[SpeedResult]) -> dict[str, SpeedResult]:
    """The last speed of each machine that was held against a band."""
    return {result.machine: result for result in results if result.verdict is not None}


def _urgent(ledger: Ledger, day: date) -> Iterator[Decision]:
    for finding in open_findings(ledger, day):
        if finding.entry.urgency == "now":
            text = f"{{}}: {finding.entry.finding.rstrip('.')}."
            more = Link("Findings", addresses.FINDINGS_PAGE)
            yield Decision("Now", finding.entry.places[0], text, more)


def _figures(
    ledger: Ledger, found: Sequence[Figure], matter: str, more: Link
) -> Iterator[Decision]:
    for figure in found:
        if figure.verdict is Verdict.OUT_OF_BAND:
            name = figure.name[0].lower() + figure.name[1:]
            sentence = f"{name} {format_figure(figure, ledger)}"
            text = f"{{}}, {sentence}, wanted {format_band(figure, ledger)}."
            yield Decision(matter, figure.place, text, more)


def _tied_back(ledger: Ledger, day: date) -> Iterator[Decision]:
    for one in ledger.tied_back(day).values():
        text = f"{{}}, {format_tie_back(ledger, one)}"
        yield Decision(TIED_BACK, Place(one.machine), text, Link("Due work", addresses.DUE_PAGE))


def _instruments(ledger: Ledger, day: date) -> Iterator[Decision]:
    more = Link("Instruments", addresses.INSTRUMENTS_PAGE)
    for state in instrument_states(ledger, day):
        name = state.instrument.name
        if state.overdue_since is not None:
            text = f"{name}, its check was due by {words.format_day(state.overdue_since)}."
            yield Decision("Instrument overdue", None, text, more)
        if state.in_doubt:
            count = words.format_count(len(state.in_doubt), "reading")
            text = f"{name} was found out of its limits: {count} since its last good check."
            yield Decision("Readings in doubt", None, text, more)


def _training(ledger: Ledger, day: date) -> Iterator[Decision]:
    for one in held(ledger, day):
        due = one.due(day)
        if due is not None:
            what = one.qualification.replace("-", " ")
            text = f"{one.person.name}, {what}, by {words.format_day(due)}."
            yield Decision("Training due", None, text, Link("People", addresses.PEOPLE_PAGE))


def _otherwise(lines: Sequence[RegisterLine]) -> Iterator[Decision]:
    for line in lines:
        for how, seen in (("found", line.as_found), ("left", line.as_left)):
            if seen is not None and seen.agrees is False:
                text = f"the drive of {{}} was {how} at another setting."
                more = Link("Recommended settings", addresses.TUNING_PAGE)
                yield Decision("Not as approved", Place(line.machine.ident), text, more)


def _out_of_band(ledger: Ledger, found: Assessed) -> Iterator[Decision]:
    worn = {
        result.series.place.machine
        for result in found.drifting.results
        if result.efficiency is not None and result.efficiency.change.worn
    }
    pace = {
        result.series.place.machine: format_pace(
            result.outlook.line, view_of(result.series, ledger.site)
        )
        for result in found.drifting.results
        if result.series.kind == SPEED and isinstance(result.outlook, Crossing)
    }
    for machine, result in last_judged(found.results).items():
        if result.verdict is Verdict.OUT_OF_BAND and result.speed is not None and result.band:
            moves = f"; it {pace[machine]}" if machine in pace else ""
            band = words.format_range(result.band.low, result.band.high)
            text = f"{{}}, {words.format_speed(result.speed)} r/min for a band of {band}{moves}."
            more = Link("Recommended settings", addresses.TUNING_PAGE)
            if machine in worn:
                text += " Its oil motor is worn: look at it before giving it more oil."
                more = Link("Findings", addresses.FINDINGS_PAGE)
            yield Decision(OUT_OF_BAND, Place(machine), text, more)


def _beyond(worn: Wear) -> Iterator[Decision]:
    for item in worn.items:
        if item.needs_work:
            text = f"{{}}, read {words.format_day(item.last.entry.day)}."
            yield Decision(item.judgement.value.capitalize(), item.place, text, _WEAR)
    for damper in worn.dampers:
        if damper.verdict is DamperVerdict.BOUNCES:
            text = f"{{}}, checked {words.format_day(damper.last.day)}."
            yield Decision(damper.verdict.value.capitalize(), damper.place, text, _WEAR)


def _repeated(failing: Reliability, day: date) -> Iterator[Decision]:
    recent = [
        failure
        for machine in failing.failed
        for failure in machine.failures
        if day - _YEAR <= failure.entry.day <= day
    ]
    counts = Counter(failure.place for failure in recent)
    for place, count in sorted(counts.items(), key=lambda item: (-item[1], item[0])):
        if count >= REPEATED:
            last = max(failure.entry.day for failure in recent if failure.place == place)
            alone = any(
                repeat.place == place and repeat.stands_out
                for machine in failing.failed
                for repeat in machine.repeats
            )
            text = f"{{}}, {count} times in a year, last on {words.format_day(last)}" + (
                "; the same points on the other machines do not, so look for the cause."
                if alone
                else "."
            )
            more = Link("Reliability", addresses.RELIABILITY_PAGE)
            yield Decision("Fails again and again", place, text, more)


def _soon(ledger: Ledger, found: Assessed, day: date) -> Iterator[Decision]:
    worn = {item.result.series.ident: item for item in found.worn.items}
    out = {
        machine
        for machine, result in last_judged(found.results).items()
        if result.verdict is Verdict.OUT_OF_BAND
    }
    near: list[tuple[date, str, Decision]] = []
    every: list[tuple[DriftResult, Link]] = [
        *((item.result, _WEAR) for item in worn.values() if not item.needs_work),
        *(
            (result, Link("Drift", addresses.DRIFT_PAGE))
            for result in found.drifting.results
            if result.series.ident not in worn
            and not (result.series.kind == SPEED and result.series.place.machine in out)
        ),
    ]
    for result, link in every:
        reached = limit_reached(result)
        if reached is None or reached[1] > day + SOON:
            continue
        limit, on = reached
        series = result.series
        at = format_limit(limit, view_of(series, ledger.site))
        matter, reaches = "Near its limit", f"reaches {at} by about"
        if on <= day:
            matter, reaches = "At its limit", f"reached {at} by"
        text = f"{{}}: {series.kind.name} {reaches} {words.format_day(on)} at the present rate."
        decision = Decision(matter, series.place, text, link, result)
        near.append((on, f"{ledger.place_name(series.place)}: {series.kind.name}", decision))
    yield from (decision for _, _, decision in sorted(near, key=lambda one: one[:2]))


def _to_confirm(ledger: Ledger, unconfirmed: Sequence[FollowUp]) -> Iterator[Decision]:
    for one in unconfirmed:
        if not one.is_open:
            continue
        setting = words.format_change(one.change, ledger.site)
        matter = "To confirm"
        text = f"read the speed of {{}} at {setting} by {words.format_day(one.due_on)}."
        if one.state is FollowUpState.DOES_NOT_HOLD:
            matter = "Does not hold"
            text = f"{{}} ran at another speed than predicted at {setting}."
        yield Decision(matter, Place(one.machine.ident), text, Link("Due work", addresses.DUE_PAGE))


def _waiting(ledger: Ledger, lines: Sequence[RegisterLine]) -> Iterator[Decision]:
    for line in lines:
        place = Place(line.machine.ident)
        for claim in line.claims:
            text = f"{{}}, {format_claim(claim.change, ledger.site)}."
            yield Decision("To approve properly or put back", place, text, _REGISTER)
        for proposal in line.proposals:
            proposer = words.format_person(proposal.change.proposed_by, ledger.site)
            setting = words.format_change(proposal.change, ledger.site)
            text = f"{setting} for {{}}, proposed by {proposer}."
            yield Decision("To approve or refuse", place, text, _REGISTER)


def _to_order(ledger: Ledger) -> Iterator[Decision]:
    order = [line.part.name for line in stock_lines(ledger) if line.to_order]
    if order:
        yield Decision(
            "To order", None, f"{'; '.join(order)}.", Link("Parts", addresses.PARTS_PAGE)
        )

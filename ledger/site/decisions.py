"""What needs a decision: a line each, the worst first, each with the page that says more.

The front page shows those of its day; a machine's page shows its own, as of the last day on
which anything was filed, since it must not change with the calendar.
"""

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import date, timedelta
from itertools import chain

from ledger.book import addresses, words
from ledger.book.blocks import Block, Bullets, Heading, Link, Picture, Spans, Strong
from ledger.book.plain import kept
from ledger.compute.band import Verdict
from ledger.model.ledger import Ledger
from ledger.model.references import Place
from ledger.site.of_machine import OfMachine
from ledger.upkeep.drift.found import Drift, DriftResult, limit_reached
from ledger.upkeep.drift.outlook import Crossing
from ledger.upkeep.drift.series import SPEED
from ledger.upkeep.drift.words import format_limit, format_pace, view_of
from ledger.upkeep.due.words import format_tie_back
from ledger.upkeep.figures.found import Figure
from ledger.upkeep.figures.words import format_band, format_figure
from ledger.upkeep.findings.found import open_findings
from ledger.upkeep.instruments.found import ReadWith, instrument_states
from ledger.upkeep.parts.found import StockLine
from ledger.upkeep.people.found import held
from ledger.upkeep.register.found import FollowUp, FollowUpState, RegisterLine
from ledger.upkeep.register.words import format_claim
from ledger.upkeep.reliability.found import Reliability
from ledger.upkeep.reliability.sisters import REPEATED
from ledger.upkeep.speeds.found import SpeedResult
from ledger.upkeep.speeds.page import small_picture
from ledger.upkeep.wear.found import KINDS, Wear
from ledger.values import dataclass, replace

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


@kept
@dataclass(frozen=True, slots=True)
class Decision:
    """One line: what is the matter, where, and the page that says more.

    The first `{}` of `text` stands for the place, so that a machine's own page need not name the
    machine in every line; `machine` is "" where a line is about no one machine. `order` says where
    it stands among all of a site. `shown` is what moves, and its year, where that is the matter.
    """

    matter: str
    machine: str
    point: str
    text: str
    more: Link
    order: tuple[str | int | float, ...] = ()
    shown: tuple[str, Picture] | None = None

    @property
    def place(self) -> Place | None:
        return Place(self.machine, self.point) if self.machine else None

    def line(self, ledger: Ledger) -> Spans:
        """With the machine named."""
        return self._line("" if self.place is None else ledger.place_name(self.place))

    def line_on_machine_page(self, ledger: Ledger) -> Spans:
        """With the point alone named."""
        point = "" if self.place is None else words.format_point(ledger, self.place)
        return self._line(point or "this machine")

    def _line(self, where: str) -> Spans:
        text = self.text if self.place is None else self.text.replace("{}", where, 1)
        return Strong(words.marked(self.matter)), f": {text} ", self.more


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteFound:
    """What was worked out of the whole record and may ask for a decision."""

    water: Sequence[Figure]
    duty: Sequence[Figure]
    failing: Reliability
    read: Sequence[ReadWith] = ()
    stock: Sequence[StockLine] = ()


def in_order(
    of_site: Iterable[Decision], of_machines: Iterable[Sequence[Decision]]
) -> tuple[Decision, ...]:
    """All that needs a decision, the worst first; each matter once."""
    return tuple(sorted((*of_site, *chain(*of_machines)), key=lambda one: one.order))


def decisions_of_site(
    ledger: Ledger, found: SiteFound, day: date, *, in_full: bool
) -> tuple[Decision, ...]:
    """What the whole record asks for on a day; `in_full` also what no machine's page repeats.

    There open findings stand whatever their urgency, with who found them; and instruments, people
    and orders are about no machine.
    """
    kinds = (
        _urgent(ledger, day) if in_full else (),
        _tied_back(ledger, day),
        (),  # otherwise
        (),  # out of band
        (),  # beyond its limit
        _figures(ledger, found.water, "Water out of band", _WATER),
        _figures(ledger, found.duty, "Beyond its duty", _DUTY),
        _instruments(ledger, found.read, day) if in_full else (),
        _training(ledger, day) if in_full else (),
        _repeated(found.failing, day),
        (),  # soon
        (),  # to confirm
        (),  # waiting
        _to_order(found.stock) if in_full else (),
    )
    return _ranked(kinds)


def decisions_of_machine(
    found: OfMachine,
    drifting: Drift,
    follow_ups: Sequence[FollowUp],
    day: date,
    picture: Callable[[DriftResult], Picture] | None = None,
) -> tuple[Decision, ...]:
    """What is found of one machine asks for on a day; with its year where there is a `picture`."""
    ledger = found.ledger
    walk = list(ledger.machines).index(found.machine.ident)
    kinds = (
        (),
        (),
        _otherwise(found.lines),
        _out_of_band(ledger, found.results, drifting, None if picture is None else day.year),
        _beyond(found.worn),
        (),
        (),
        (),
        (),
        (),
        _soon(ledger, found, drifting, day, picture),
        _to_confirm(ledger, follow_ups),
        _waiting(ledger, found.lines),
    )
    return _ranked(kinds, walk)


def _ranked(kinds: Sequence[Iterable[Decision]], walk: int = 0) -> tuple[Decision, ...]:
    """By kind, then by what the kind says itself, then as found in walking order."""
    return tuple(
        replace(one, order=(rank, *one.order, walk, number))
        for rank, found in enumerate(kinds)
        for number, one in enumerate(found)
    )


def decision_blocks(ledger: Ledger, decisions: Sequence[Decision]) -> list[Block]:
    """The heading and its lines; nothing where nothing needs a decision."""
    lines = [decision.line(ledger) for decision in decisions]
    if not lines:
        return []
    shown = lines[:MOST]
    if len(lines) > MOST:
        shown.append(f"{len(lines) - MOST} more, of lesser weight, on the pages below.")
    return [Heading(2, "Needs a decision"), Bullets(shown)]


def _urgent(ledger: Ledger, day: date) -> Iterator[Decision]:
    for finding in open_findings(ledger, day):
        if finding.entry.urgency == "now":
            text = f"{{}}: {finding.entry.finding.rstrip('.')}."
            more = Link("Findings", addresses.FINDINGS_PAGE)
            yield Decision("Now", *finding.entry.places[0], text, more)


def _figures(
    ledger: Ledger, found: Sequence[Figure], matter: str, more: Link
) -> Iterator[Decision]:
    for figure in found:
        if figure.verdict is Verdict.OUT_OF_BAND:
            name = figure.name[0].lower() + figure.name[1:]
            sentence = f"{name} {format_figure(figure, ledger)}"
            text = f"{{}}, {sentence}, wanted {format_band(figure, ledger)}."
            yield Decision(matter, *(figure.place or ("", "")), text, more)


def _tied_back(ledger: Ledger, day: date) -> Iterator[Decision]:
    for one in ledger.tied_back(day).values():
        text = f"{{}}, {format_tie_back(ledger, one)}"
        yield Decision(TIED_BACK, one.machine, "", text, Link("Due work", addresses.DUE_PAGE))


def _instruments(ledger: Ledger, read: Sequence[ReadWith], day: date) -> Iterator[Decision]:
    more = Link("Instruments", addresses.INSTRUMENTS_PAGE)
    for state in instrument_states(ledger, day, read):
        name = state.instrument.name
        if state.overdue_since is not None:
            text = f"{name}, its check was due by {words.format_day(state.overdue_since)}."
            yield Decision("Instrument overdue", "", "", text, more)
        if state.in_doubt:
            count = words.format_count(len(state.in_doubt), "reading")
            text = f"{name} was found out of its limits: {count} since its last good check."
            yield Decision("Readings in doubt", "", "", text, more)


def _training(ledger: Ledger, day: date) -> Iterator[Decision]:
    for one in held(ledger, day):
        due = one.due(day)
        if due is not None:
            what = one.qualification.replace("-", " ")
            text = f"{one.person.name}, {what}, by {words.format_day(due)}."
            yield Decision("Training due", "", "", text, Link("People", addresses.PEOPLE_PAGE))


def _otherwise(lines: Sequence[RegisterLine]) -> Iterator[Decision]:
    for line in lines:
        for how, seen in (("found", line.as_found), ("left", line.as_left)):
            if seen is not None and seen.agrees is False:
                text = f"the drive of {{}} was {how} at another setting."
                more = Link("Recommended settings", addresses.TUNING_PAGE)
                yield Decision("Not as approved", line.machine.ident, "", text, more)


def _out_of_band(
    ledger: Ledger, results: Sequence[SpeedResult], drifting: Drift, year: int | None
) -> Iterator[Decision]:
    """In the order in which the machines were first held against a band."""
    is_worn = any(one.efficiency is not None and one.efficiency.worn for one in drifting.results)
    pace = ""
    for one in drifting.results:
        if one.series.kind == SPEED and isinstance(one.outlook, Crossing):
            pace = f"; it {format_pace(one.outlook.line, view_of(one.series, ledger.site))}"
    judged = [one for one in results if one.verdict is not None]
    result = judged[-1] if judged else None
    if (
        result is not None
        and result.verdict is Verdict.OUT_OF_BAND
        and result.speed is not None
        and result.band
    ):
        band = words.format_range(result.band.low, result.band.high)
        text = f"{{}}, {words.format_speed(result.speed)} r/min for a band of {band}{pace}."
        more = Link("Recommended settings", addresses.TUNING_PAGE)
        if is_worn:
            text += " Its oil motor is worn: look at it before giving it more oil."
            more = Link("Findings", addresses.FINDINGS_PAGE)
        first = judged[0].entry
        yield Decision(
            OUT_OF_BAND,
            result.machine,
            "",
            text,
            more,
            (first.when.timestamp(), *first.ref),
            None if year is None else (SPEED.name, small_picture(ledger, results, year)),
        )


def _beyond(worn: Wear) -> Iterator[Decision]:
    """By what wears, then in walking order."""
    for kind, verdict, place, how, day in worn.faults:
        text = f"{{}}, {how} {words.format_day(day)}."
        yield Decision(verdict.capitalize(), *place, text, _WEAR, (KINDS.index(kind),))


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
            yield Decision("Fails again and again", *place, text, more)


def _soon(
    ledger: Ledger,
    found: OfMachine,
    drifting: Drift,
    day: date,
    picture: Callable[[DriftResult], Picture] | None,
) -> Iterator[Decision]:
    """The first to be reached first."""
    worn = {item.result.series.ident: item for item in found.worn.items}
    verdicts = [one.verdict for one in found.results if one.verdict is not None]
    is_out = verdicts[-1:] == [Verdict.OUT_OF_BAND]
    every: list[tuple[DriftResult, Link]] = [
        *((item.result, _WEAR) for item in worn.values() if not item.needs_work),
        *(
            (result, Link("Drift", addresses.DRIFT_PAGE))
            for result in drifting.results
            if result.series.ident not in worn and not (result.series.kind == SPEED and is_out)
        ),
    ]
    for number, (result, link) in enumerate(every):
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
        name = f"{ledger.place_name(series.place)}: {series.kind.name}"
        order = (on.toordinal(), name, link is not _WEAR, number)
        shown = None if picture is None else (series.kind.name, picture(result))
        yield Decision(matter, *series.place, text, link, order, shown)


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
        yield Decision(matter, one.machine.ident, "", text, Link("Due work", addresses.DUE_PAGE))


def _waiting(ledger: Ledger, lines: Sequence[RegisterLine]) -> Iterator[Decision]:
    for line in lines:
        ident = line.machine.ident
        for claim in line.claims:
            text = f"{{}}, {format_claim(claim.change, ledger.site)}."
            yield Decision("To approve properly or put back", ident, "", text, _REGISTER)
        for proposal in line.proposals:
            proposer = words.format_person(proposal.change.proposed_by, ledger.site)
            setting = words.format_change(proposal.change, ledger.site)
            text = f"{setting} for {{}}, proposed by {proposer}."
            yield Decision("To approve or refuse", ident, "", text, _REGISTER)


def _to_order(lines: Sequence[StockLine]) -> Iterator[Decision]:
    order = [line.part.name for line in lines if line.to_order]
    if order:
        yield Decision(
            "To order", "", "", f"{'; '.join(order)}.", Link("Parts", addresses.PARTS_PAGE)
        )

"""What needs a decision today: a line each, the worst first, each with the page that says more."""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from ledger.assess.drift import Drift, DriftResult
from ledger.assess.drift_outlook import BeyondAlready, Crossing
from ledger.assess.drift_series import SPEED
from ledger.assess.findings import open_findings
from ledger.assess.follow_up import FollowUp, FollowUpState
from ledger.assess.register import RegisterLine
from ledger.assess.reliability import Reliability
from ledger.assess.speeds import SpeedResult
from ledger.assess.stock import stock_lines
from ledger.assess.wear import Wear
from ledger.compute.band import Verdict
from ledger.compute.strip_wear import StripForecast
from ledger.compute.wear import DamperVerdict
from ledger.model.ledger import Ledger
from ledger.report import words
from ledger.report.approval_words import claim_words
from ledger.report.blocks import Block, Bullets, Heading, Link, Spans, Strong
from ledger.report.pages import drift as drift_pages
from ledger.report.pages import due, findings, parts, reliability, setpoints, settings, wear
from ledger.report.pages.drift_words import limit_words, pace_words, view_of

SOON = timedelta(days=30)
"""A limit forecast to be reached within this time needs a decision now."""

REPEATED = 3
"""Failures of one place within a year from which its cause is worth a decision."""

MOST = 10
"""Lines shown; a longer list is not read."""

_YEAR = timedelta(days=365)


@dataclass(frozen=True, slots=True, kw_only=True)
class Assessed:
    """All that was worked out of a ledger and may ask for a decision."""

    results: Sequence[SpeedResult]
    lines: Sequence[RegisterLine]
    asked: Sequence[FollowUp]
    worn: Wear
    drifting: Drift
    failing: Reliability


def decision_blocks(ledger: Ledger, found: Assessed, as_of: date) -> list[Block]:
    """The heading and its lines; nothing where nothing needs a decision."""
    said: list[Spans] = [
        *_urgent(ledger, as_of),
        *_otherwise(found.lines),
        *_out_of_band(ledger, found),
        *_beyond(ledger, found.worn),
        *_repeated(ledger, found.failing, as_of),
        *_soon(ledger, found, as_of),
        *_to_confirm(ledger, found.asked),
        *_waiting(ledger, found.lines),
        *_to_order(ledger),
    ]
    if not said:
        return []
    shown = said[:MOST]
    if len(said) > MOST:
        shown.append(f"{len(said) - MOST} more, of lesser weight, on the pages below.")
    return [Heading(2, "Needs a decision"), Bullets(shown)]


def last_judged(results: Sequence[SpeedResult]) -> dict[str, SpeedResult]:
    """The last speed of each machine that was held against a band."""
    return {result.machine: result for result in results if result.verdict is not None}


def _urgent(ledger: Ledger, as_of: date) -> Iterator[Spans]:
    for finding in open_findings(ledger, as_of):
        if finding.entry.urgency == "now":
            place = ledger.place_name(finding.entry.places[0])
            yield (
                Strong("Now"),
                f": {place}: {finding.entry.finding.rstrip('.')}. ",
                Link("Findings", findings.PATH),
            )


def _otherwise(lines: Sequence[RegisterLine]) -> Iterator[Spans]:
    for line in lines:
        if line.as_found is not None and line.as_found.agrees is False:
            yield (
                Strong("Not as approved"),
                f": the drive of {line.machine.name} was found at another setting. ",
                Link("Drive settings", setpoints.PATH),
            )


def _out_of_band(ledger: Ledger, found: Assessed) -> Iterator[Spans]:
    pace = {
        result.series.place.machine: pace_words(
            result.outlook.slope, view_of(result.series, ledger.site)
        )
        for result in found.drifting.results
        if result.series.kind == SPEED and isinstance(result.outlook, Crossing)
    }
    for machine, result in last_judged(found.results).items():
        if result.verdict is Verdict.OUT_OF_BAND and result.speed is not None and result.band:
            moves = f"; it {pace[machine]}" if machine in pace else ""
            band = words.range_words(result.band.low, result.band.high)
            yield (
                Strong("Out of band"),
                (
                    f": {ledger.machines[machine].name}, {words.speed_words(result.speed)} r/min "
                    f"for a band of {band}{moves}. "
                ),
                Link("Recommended settings", settings.PATH),
            )


def _beyond(ledger: Ledger, worn: Wear) -> Iterator[Spans]:
    for item in worn.items:
        if item.needs_work:
            read = words.day_words(item.last.entry.day)
            yield (
                Strong(item.judgement.value.capitalize()),
                f": {ledger.place_name(item.place)}, read {read}. ",
                Link("Wear", wear.PATH),
            )
    for damper in worn.dampers:
        if damper.verdict is DamperVerdict.BOUNCES:
            checked = words.day_words(damper.last.day)
            yield (
                Strong(damper.verdict.value.capitalize()),
                f": {ledger.place_name(damper.place)}, checked {checked}. ",
                Link("Wear", wear.PATH),
            )


def _repeated(ledger: Ledger, failing: Reliability, as_of: date) -> Iterator[Spans]:
    recent = [
        failure
        for machine in failing.failed
        for failure in machine.failures
        if as_of - _YEAR <= failure.entry.day <= as_of
    ]
    counts = Counter(failure.place for failure in recent)
    for place, count in sorted(counts.items(), key=lambda item: (-item[1], item[0])):
        if count >= REPEATED:
            last = max(failure.entry.day for failure in recent if failure.place == place)
            yield (
                Strong("Fails again and again"),
                (
                    f": {ledger.place_name(place)}, {count} times in a year, last on "
                    f"{words.day_words(last)}. "
                ),
                Link("Reliability", reliability.PATH),
            )


def _soon(ledger: Ledger, found: Assessed, as_of: date) -> Iterator[Spans]:
    worn = {item.result.series.ident: item for item in found.worn.items}
    out = {
        machine
        for machine, result in last_judged(found.results).items()
        if result.verdict is Verdict.OUT_OF_BAND
    }
    told: list[tuple[date, str, str, Link]] = []
    every: list[tuple[DriftResult, Link]] = [
        *((item.result, Link("Wear", wear.PATH)) for item in worn.values() if not item.needs_work),
        *(
            (result, Link("Drift", drift_pages.PATH))
            for result in found.drifting.results
            if result.series.ident not in worn
            and not (result.series.kind == SPEED and result.series.place.machine in out)
        ),
    ]
    for result, link in every:
        reached = limit_reached(result)
        if reached is None or reached[1] > as_of + SOON:
            continue
        limit, on = reached
        view = view_of(result.series, ledger.site)
        told.append(
            (
                on,
                f"{ledger.place_name(result.series.place)}: {result.series.kind.name}",
                limit_words(limit, view),
                link,
            )
        )
    for on, what, at, link in sorted(told, key=lambda one: one[:2]):
        when = "by now" if on <= as_of else f"about {words.day_words(on)}"
        yield Strong("Near its limit"), f": {what} reaches {at} {when} at its pace. ", link


def limit_reached(result: DriftResult) -> tuple[float, date] | None:
    """The limit that a series reaches at its pace and the likeliest day; None where none shows.

    What is beyond its limit already counts as reached on the day of its last reading.
    """
    match result.outlook:
        case Crossing(limit=limit, on=date() as on):
            return limit, on
        case StripForecast(limit_mm=limit, reached_on=date() as on):
            return limit, on
        case BeyondAlready(limit=limit):
            return limit, result.trend_readings[-1].entry.day
        case _:
            return None


def _to_confirm(ledger: Ledger, asked: Sequence[FollowUp]) -> Iterator[Spans]:
    for one in asked:
        if not one.is_open:
            continue
        setting = words.change_words(one.change, ledger.site)
        if one.state is FollowUpState.DOES_NOT_HOLD:
            yield (
                Strong("Does not hold"),
                f": {one.machine.name} ran at another speed than predicted at {setting}. ",
                Link("Due work", due.PATH),
            )
        else:
            yield (
                Strong("To confirm"),
                (
                    f": read the speed of {one.machine.name} at {setting} by "
                    f"{words.day_words(one.due_on)}. "
                ),
                Link("Due work", due.PATH),
            )


def _waiting(ledger: Ledger, lines: Sequence[RegisterLine]) -> Iterator[Spans]:
    for line in lines:
        for claim in line.claims:
            yield (
                Strong("To approve properly or put back"),
                f": {line.machine.name}, {claim_words(claim.change, ledger.site)}. ",
                Link("Drive settings", setpoints.PATH),
            )
        for proposal in line.proposals:
            yield (
                Strong("To approve or refuse"),
                (
                    f": {words.change_words(proposal.change, ledger.site)} for "
                    f"{line.machine.name}, proposed by "
                    f"{words.person_words(proposal.change.proposed_by, ledger.site)}. "
                ),
                Link("Drive settings", setpoints.PATH),
            )


def _to_order(ledger: Ledger) -> Iterator[Spans]:
    order = [line.part.name for line in stock_lines(ledger) if line.to_order]
    if order:
        yield Strong("To order"), f": {'; '.join(order)}. ", Link("Parts", parts.PATH)

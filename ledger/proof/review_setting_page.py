"""One setting in a review: before and after, its evidence, and every rule of the site on it."""

from collections.abc import Iterator

from ledger.assess.register import Outlook
from ledger.assess.speeds import advice, raw_words
from ledger.compute.rounding import shown_probability
from ledger.model.ledger import Ledger
from ledger.proof.policy import Evidence
from ledger.proof.policy_people import PolicyPoint
from ledger.proof.records import Step
from ledger.proof.review_settings import SettingReview
from ledger.report import words
from ledger.report.blocks import Block, Bullets, Heading, Spans, Strong, Table, left, right
from ledger.report.entry_words import entry_words
from ledger.report.pages.settings_words import ratio_words

_RESULT = {True: "held", False: "BROKEN", None: "open"}


def setting_blocks(ledger: Ledger, one: SettingReview) -> Iterator[Block]:
    """All that a reviewer weighs of one setting."""
    site, change = ledger.site, one.change
    to = words.change_words(change, site)
    came = f"{words.change_words(one.previous, site)} → " if one.previous else ""
    yield Heading(2, f"{one.machine.name}: {came}{to} ({_state(one)})")
    rows = [("Now", one.before)] if one.before else []
    rows.append(("With this change", one.after))
    yield Table(
        (
            left(""),
            right("Setting"),
            left("From"),
            right("Vehicles/h"),
            right("Band r/min"),
            right("Predicted r/min ± U"),
            right("P(in band)"),
        ),
        [_outlook_row(ledger, name, expected) for name, expected in rows],
    )
    yield Bullets(list(_facts(ledger, one)))
    if one.evidence:
        yield Table(
            (
                left("Evidence"),
                left("Read"),
                right("At"),
                right("r/min ± U"),
                left("Verdict"),
            ),
            [_evidence_row(ledger, evidence) for evidence in one.evidence],
        )
    yield Table(
        (left("Policy"), left("Result"), left("Because")),
        [_point_row(point) for point in one.points],
    )


def _state(one: SettingReview) -> str:
    if one.is_only_claimed:
        return "claimed approved, does not count"
    said = "approved" if one.is_approved else "proposed, not in force"
    return f"first setting, {said}" if one.change.may_be_taken_over else said


def _outlook_row(ledger: Ledger, name: str, expected: Outlook) -> tuple[Spans, ...]:
    change, band, speed = expected.change, expected.band, expected.speed
    chance = expected.p_in_band
    return (
        name,
        Strong(words.change_words(change, ledger.site)),
        words.day_words(change.first_day),
        words.number_words(change.line_rate_per_h),
        words.NONE if band is None else words.range_words(band.low, band.high),
        words.NONE if speed is None else words.speed_words(speed),
        words.NONE if chance is None else shown_probability(chance),
    )


def _facts(ledger: Ledger, one: SettingReview) -> Iterator[Spans]:
    change, site = one.change, ledger.site
    proposed = f" on {words.day_words(change.proposed_on)}" if change.proposed_on else ""
    said = f"Proposed by {words.person_words(change.proposed_by, site)}{proposed}"
    if change.approved_by:
        on = f" on {words.day_words(change.approved_on)}" if change.approved_on else ""
        claimed = "claimed " if one.is_only_claimed else ""
        said += f", {claimed}approved by {words.person_words(change.approved_by, site)}{on}"
    yield f"{said}. Why: {change.why}"
    if one.step is Step.REWORDED or (one.step is Step.APPROVED and _more_than_approval(one)):
        yield f"The proposal itself changed: {'; '.join(one.values)}"
    yield ratio_words(one.ratio, site)


def _more_than_approval(one: SettingReview) -> bool:
    return any(not value.startswith("approved_") for value in one.values)


def _evidence_row(ledger: Ledger, one: Evidence) -> tuple[Spans, ...]:
    if one.entry is None:
        return (str(one.ref), "no such entry", *([words.NONE] * 3))
    who = words.person_words(one.entry.by, ledger.site)
    name = f"{one.ref}, {who}"
    if one.standing is None:
        return (name, "struck out by a correction", *([words.NONE] * 3))
    if one.standing is not one.entry:
        name += f", corrected by {one.standing.ref}"
    result = one.result
    if result is None or one.standing.speed is None:
        return (name, entry_words(ledger, one.standing), *([words.NONE] * 3))
    at = (
        words.NONE
        if result.setting is None
        else words.setting_words(result.setting, result.unit, ledger.site)
    )
    if result.speed is None:
        return (name, raw_words(one.standing.speed), at, words.NONE, result.flaw)
    verdict = words.NONE
    if result.verdict is not None and result.band is not None:
        band = words.range_words(result.band.low, result.band.high)
        verdict = f"{result.verdict.value} {band}"
        more = advice(result, timing_u_s=ledger.site.policy.timing_u_s)
        verdict += f"; {more}" if more else ""
    return (name, raw_words(one.standing.speed), at, words.speed_words(result.speed), verdict)


def _point_row(point: PolicyPoint) -> tuple[Spans, ...]:
    result: Spans = Strong(_RESULT[point.held]) if point.held is False else _RESULT[point.held]
    return (point.name, result, point.because)

"""A review as one page for a pull request's comment: what matters most comes first."""

from collections.abc import Iterator, Sequence

from ledger.assess.register import Outlook
from ledger.assess.speeds import SpeedResult, advice, raw_words, speed_results
from ledger.compute.rounding import shown_probability
from ledger.model.ledger import Ledger
from ledger.model.visits import Entry, Visit
from ledger.proof.plan import Concern, PlanChange
from ledger.proof.policy import Evidence, PolicyPoint
from ledger.proof.printed import compared_texts
from ledger.proof.records import SettingStep, Step
from ledger.proof.review import Breach, Review
from ledger.proof.review_settings import SettingReview
from ledger.report import words
from ledger.report.blocks import (
    Block,
    Bullets,
    Code,
    Heading,
    Page,
    Paragraph,
    Spans,
    Strong,
    Table,
    left,
    right,
)
from ledger.report.entry_words import entry_words
from ledger.report.pages.settings_words import ratio_words

_OTHER_FILES_NAMED = 10
_RESULT = {True: "held", False: "BROKEN", None: "open"}

WHAT_IT_SAYS = (
    "This page says what the files claim, what the readings predict and which rules of the site "
    "hold. It does not say that a machine may be run: that is for qualified people, with the "
    "line clear, inside the limits of the makers' manuals."
)


def review_page(found: Review) -> Page:
    """The same page for Markdown and the terminal; it links nowhere, so it reads anywhere."""
    blocks: list[Block] = [Paragraph(_verdict(found)), Paragraph(_compared(found))]
    if found.breaches:
        blocks.append(Heading(2, "Breaches"))
        blocks.append(Bullets([_breach_words(one) for one in found.breaches]))
    for setting in found.settings:
        blocks.extend(_setting(found.ledger, setting))
    blocks.extend(_touched(found))
    blocks.extend(_to_look_at(found))
    blocks.extend(_visits(found.ledger, found.visits))
    if found.errors:
        blocks.append(Heading(2, "Files at fault"))
        blocks.append(
            Bullets([(Code(str(one.position)), f": {one.message}") for one in found.errors])
        )
    blocks.extend(_rest(found))
    blocks.append(Paragraph(WHAT_IT_SAYS))
    return Page(path="review.md", title=f"Review for {found.ledger.site.name}", blocks=blocks)


def _breach_words(one: Breach) -> Spans:
    return (Strong(one.about), f": {one.words}. ", Strong("To do:"), f" {one.remedy}.")


def _verdict(found: Review) -> Spans:
    count = len(found.breaches)
    said = words.count_words(count, "breach", "breaches") if count else "No breach"
    approved = sum(one.is_approved for one in found.settings)
    claimed = sum(one.is_only_claimed for one in found.settings)
    proposed = len(found.settings) - approved - claimed
    parts = [
        (claimed, "setting only claimed approved", "settings only claimed approved"),
        (approved, "setting approved", "settings approved"),
        (proposed, "setting proposed", "settings proposed"),
        (len(found.visits), "visit added", "visits added"),
        (len(found.records), "old visit touched", "old visits touched"),
        (len(_look(found)), "more thing to look at", "more things to look at"),
    ]
    counted = [words.count_words(number, one, many) for number, one, many in parts if number]
    return (Strong(f"{said}."), f" {', '.join(counted) or 'Nothing of the record changes'}.")


def _compared(found: Review) -> Spans:
    moved = (
        " The base has moved on since; what it gained is not judged here."
        if found.base_moved
        else ""
    )
    return (
        "From ",
        Code(found.base[:12]),
        " (where the two histories part) to ",
        Code(found.head[:12]),
        f", by the policy and people of the first.{moved}",
    )


def _setting(ledger: Ledger, one: SettingReview) -> Iterator[Block]:
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


def _touched(found: Review) -> Iterator[Block]:
    if not found.records and not found.setting_breaches:
        return
    yield Heading(2, "Old records touched")
    yield Paragraph(
        (
            (
                "A filed record stays as it is. Take these back; put a mistake right by a new "
                "visit whose entry "
            ),
            Code("corrects"),
            " the old one, a setting by a new change at the end of its file.",
        )
    )
    for record in found.records:
        yield Heading(3, f"{record.path}: {record.touch.value}")
        yield compared_texts(record.old_text, record.new_text)
    for breach in found.setting_breaches:
        yield Heading(3, f"{breach.path}: approved changes touched")
        yield compared_texts(breach.old_text, breach.new_text)


def _look(found: Review) -> list[Spans]:
    site = found.ledger.site
    said: list[Spans] = [
        (
            Strong(one.machine.name),
            (
                f": left at {words.setting_words(one.left, one.approved.unit, site)} on "
                f"{words.day_words(one.entry.day)} ({one.entry.ref}), where "
                f"{words.change_words(one.approved, site)} is approved"
            ),
        )
        for one in found.left_otherwise
    ]
    said.extend(
        (Strong(path), f": {step.step.value}: {_proposal_words(step)}")
        for path, step in found.proposals
    )
    said.extend(_plan_words(one) for one in found.plan)
    return said


def _proposal_words(step: SettingStep) -> str:
    fields = step.new or step.old or {}
    value = next(
        (f"{key}: {fields[key]}" for key in ("hz", "flow_gpm", "flow_lpm") if key in fields), ""
    )
    return ", ".join(
        part for part in (value, f"from: {fields.get('from')}", fields.get("withdrawn", "")) if part
    )


def _plan_words(one: PlanChange) -> Spans:
    loud = one.concern in (Concern.LOOSENED, Concern.COVER_LOST)
    return (Strong(one.about), f" ({one.concern.value}): {one.words}" if loud else f": {one.words}")


def _to_look_at(found: Review) -> Iterator[Block]:
    said = _look(found)
    if said:
        yield Heading(2, "To look at")
        yield Bullets(said)


def _visits(ledger: Ledger, visits: Sequence[Visit]) -> Iterator[Block]:
    if not visits:
        return
    yield Heading(2, "Visits added")
    rows: list[tuple[Spans, ...]] = []
    for visit in visits:
        who = words.people_words((visit.by, *visit.helpers), ledger.site)
        when = words.time_words(visit.when, ledger.site)
        for number, entry in enumerate(visit.entries):
            rows.append(
                (
                    when if number == 0 else "",
                    who if number == 0 else "",
                    words.in_words([ledger.place_name(place) for place in entry.places[:3]])
                    + (f" and {len(entry.places) - 3} more" if len(entry.places) > 3 else ""),
                    _entry_line(ledger, entry),
                )
            )
    yield Table((left("When"), left("Who"), left("Where"), left("Entry")), rows)


def _entry_line(ledger: Ledger, entry: Entry) -> Spans:
    said = entry_words(ledger, entry)
    for result in speed_results(ledger, [entry]):
        said = "; ".join(part for part in (said, _read_words(result)) if part)
    return (Strong("correction"), f" {said}") if entry.corrects is not None else said


def _read_words(result: SpeedResult) -> str:
    raw = "" if result.entry.speed is None else raw_words(result.entry.speed)
    if result.speed is None:
        return f"{raw}: {result.flaw}"
    verdict = "" if result.verdict is None else f", {result.verdict.value}"
    return f"{raw} = {words.speed_words(result.speed)} r/min{verdict}"


def _rest(found: Review) -> Iterator[Block]:
    if found.pages:
        yield Paragraph(
            (
                (
                    f"{words.count_words(found.pages, 'file')} of the book changed as well; "
                    "whether they are right is told by "
                ),
                Code("tunnelbook build --check"),
                ".",
            )
        )
    if found.other_files:
        named = found.other_files[:_OTHER_FILES_NAMED]
        more = len(found.other_files) - len(named)
        spans: list[Spans] = [Code(path) for path in named]
        yield Paragraph("Other files changed, which this page does not judge:")
        yield Bullets([*spans, f"and {more} more"] if more else spans)

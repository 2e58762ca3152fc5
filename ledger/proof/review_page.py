"""A review as one page for a pull request's comment: what matters most comes first."""

import re
from collections.abc import Iterator, Sequence

from ledger.book import words
from ledger.book.blocks import (
    VERDICT,
    Block,
    Bullets,
    Code,
    Heading,
    Page,
    Paragraph,
    Spans,
    Strong,
    Table,
    right,
)
from ledger.book.entry_words import format_entry
from ledger.compute.numbers import shown_probability
from ledger.history.trial_merge import Method
from ledger.model.ledger import Ledger
from ledger.model.site import ApprovalProof
from ledger.model.visits import Entry, Visit
from ledger.proof.plan import Concern, PlanChange
from ledger.proof.policy_points import Evidence
from ledger.proof.records import SettingStep, Step, compared_texts, differing
from ledger.proof.review import Breach, Review, SettingReview
from ledger.upkeep.register.found import Outlook
from ledger.upkeep.register.words import TAKEN_OVER
from ledger.upkeep.speeds.found import advice, speed_results
from ledger.upkeep.speeds.words import format_count, format_with_doubt, ratio_facts
from ledger.values import replace

_OTHER_FILES_NAMED = 10

_OF_A_CORRECTION = frozenset({"corrects", "reason"})

WEAKER = frozenset({Concern.LOOSENED, Concern.COVER_LOST})

WHAT_IT_SAYS = (
    "This page says what the files claim, what the readings predict and whether the site's rules "
    "are kept; never that a machine may be run. That is for qualified people to say, within "
    "the makers' manuals. Who proposed a setting is what git's author line says, unless "
    "that commit is signed; the proof that a site asks for is of the approval alone."
)

ITS_OWN_CHECKS = "This branch changes what checks it, so its own green check proves nothing"

_RESULT: dict[bool | None, Spans] = {True: "held", False: Strong("BROKEN"), None: "open"}


_NO_WIDTH = "\u2060"

# A fence, an escaped sign or a span of code, in which nothing mentions; and what a host makes a
# mention of somebody or a link to something of.
_CODE_OR_MENTION = re.compile(
    r"^[ \t]*(?P<fence>`{3,})(?!`).*?(?:^[ \t]*(?P=fence)[ \t]*$|\Z)|\\[\\`]"
    r"|(?P<ticks>`+)(?:(?!(?P=ticks))[^\n])*(?P=ticks)|(?P<mention>(?<![\w&])[@#!$%~](?=\w))",
    re.MULTILINE | re.DOTALL,
)

CUT = "The rest is too long to show here; the summary of the check has all of it."


def markdown_alone(page: Page, *, at_most: int | None = None) -> str:
    """Markdown without the sentence that marks a file of the book, for a comment on a host.

    Nothing in it mentions or links. `at_most` so many bytes: then the last blocks are left out
    whole, so that no cut lands inside one, and the page says so.
    """
    from ledger.book.markdown import render  # noqa: PLC0415 - a terminal needs none of it
    from ledger.files.book_files import without_marker_line  # noqa: PLC0415

    text = _unlinked(without_marker_line(render(page)))
    blocks = page.blocks
    while at_most is not None and len(text.encode()) > at_most and blocks:
        blocks = blocks[: len(blocks) * at_most // (len(text.encode()) + 1)]
        cut = replace(page, blocks=[*blocks, Paragraph(CUT)])
        text = _unlinked(without_marker_line(render(cut)))
    return text


def _unlinked(markdown: str) -> str:
    """The text with a sign of no width behind what begins a mention, but not within code."""
    return _CODE_OR_MENTION.sub(lambda one: one[0] + _NO_WIDTH * bool(one["mention"]), markdown)


def review_page(found: Review) -> Page:
    """The same page for Markdown and the terminal; it links nowhere, so it reads anywhere."""
    title = f"Review for {found.ledger.site.name}"
    blocks: list[Block] = []
    if found.changed_checks:
        title = f"{ITS_OWN_CHECKS}. {title}"
        blocks.append(Paragraph("Read these first: whoever can change them can pass any check:"))
        blocks.append(Bullets([Code(path) for path in found.changed_checks]))
    blocks.append(Paragraph(_verdict(found)))
    effect = list(_effect(found))
    if effect:
        blocks.append(Bullets(effect))
    if found.breaches:
        blocks.append(Heading(2, "Breaches"))
        blocks.append(Bullets([_format_breach(one) for one in found.breaches]))
    for setting in found.settings:
        blocks.extend(_setting_blocks(found.ledger, setting))
    blocks.extend(_touched(found))
    look = _look(found)
    if look:
        blocks.extend((Heading(2, "To look at"), Bullets(look)))
    blocks.extend(_visits(found.ledger, found.visits))
    if found.errors:
        blocks.append(Heading(2, "Files at fault"))
        blocks.append(
            Bullets([(Code(str(one.position)), f": {one.message}") for one in found.errors])
        )
    blocks.extend(_rest(found))
    blocks.extend((Paragraph(_compared(found)), Paragraph(WHAT_IT_SAYS)))
    return Page(path="review.md", title=title, blocks=blocks)


def _format_breach(one: Breach) -> Spans:
    return (Strong(one.about), f": {one.words}. ", Strong("To do:"), f" {one.remedy}.")


def _verdict(found: Review) -> Spans:
    count = len(found.breaches)
    text = words.format_count(count, "breach", "breaches") if count else "No breach"
    approved = sum(one.is_approved for one in found.settings)
    claimed = sum(one.is_only_claimed for one in found.settings)
    proposed = len(found.settings) - approved - claimed
    parts = [
        (claimed, "setting only claimed approved", "settings only claimed approved"),
        (approved, "setting approved", "settings approved"),
        (proposed, "setting proposed", "settings proposed"),
        (len(found.visits), "visit added", "visits added"),
        (len(found.records), "old visit touched", "old visits touched"),
        (len(_look(found)), "thing to look at", "things to look at"),
    ]
    counted = [words.format_count(number, one, many) for number, one, many in parts if number]
    return (Strong(f"{text}."), f" {', '.join(counted) or 'Nothing of the record changes'}.")


def _effect(found: Review) -> Iterator[Spans]:
    """What merging it would do, one line each: what a reviewer answers for."""
    if found.breaches:
        yield (Strong("Do not merge this as it is"), f"{_by_whom(found)}: see the breaches.")
        return
    for one in found.settings:
        site = found.ledger.site
        setting = f"{one.machine.name} at {words.format_change(one.change, site)}"
        if one.is_approved:
            since = words.format_day(one.change.first_day)
            yield ("Merging puts in force: ", Strong(setting), f" from {since}{_expected(one)}.")
        else:
            yield f"Merging files a proposal only: {setting}, not in force before it is approved."
    for move in found.moves:
        yield f"Merging moves the site {move.words}."
    if found.lost_by:
        yield _methods(found)
    if found.is_turned:
        text = (
            "A fast-forward would swap the sides of the history, as the base was merged into the "
        )
        yield f"{text}branch: use a merge commit or a squash."
    weaker = [one for one in found.plan if one.concern in WEAKER]
    if weaker:
        named = words.in_words([f"{one.about} ({one.concern.value})" for one in weaker])
        yield ("Merging weakens the plan: ", Strong(named), ". If no reason is given, ask for one.")


def _methods(found: Review) -> Spans:
    """Which ways to merge keep the proof that the site asks for, and what that proof is worth."""
    rule = found.ruling.policy.approval_proof
    keep = [Method.MERGE, *(method for method, lost in found.lost_by.items() if not lost)]
    text = f"The proof that this site asks for ({rule.value}) is kept by "
    sentence = f"{text}{words.in_words([method.value for method in keep])}"
    for method, lost in found.lost_by.items():
        sentence += f"; lost by {method.value}: {lost}" if lost else ""
    if rule is ApprovalProof.COMMIT:
        sentence += (
            ". An address in a commit is only a claim of whoever made it; in a merge made on a "
            "git host's page, it is the host that vouches for an account"
        )
    return f"{sentence}."


def _by_whom(found: Review) -> str:
    """The one who may merge it all the same, where nothing but their own hand is missing."""
    if {breach.rule for breach in found.breaches} != {"policy-proof-of-approval"}:
        return ""
    site = found.ledger.site
    approvers = {one.change.approved_by for one in found.settings if one.is_only_claimed}
    if len(approvers) > 1:
        return ""
    return f", but by {words.format_person(approvers.pop(), site)} in person"


def _expected(one: SettingReview) -> str:
    """What to expect of the setting, in half a sentence; nothing where nothing is known."""
    speed, band, chance = one.after.speed, one.after.band, one.after.p_in_band
    if speed is None or band is None or chance is None:
        return ""
    return (
        f", expected {words.format_speed(speed)} r/min, {shown_probability(chance)} in band "
        f"{words.format_range(band.low, band.high)}"
    )


def _compared(found: Review) -> Spans:
    return (
        "Judged: ",
        Code(found.head[:12]),
        ", as if merged into ",
        Code(found.base[:12]),
        (
            f" on {words.format_day(found.landed_on)}, by the people that the base has, and by "
            "its rules and those that the branch was begun under."
        ),
    )


def _touched(found: Review) -> Iterator[Block]:
    if not found.records and not found.setting_breaches:
        return
    yield Heading(2, "Old records touched")
    for record in found.records:
        yield Heading(3, f"{record.path}: {record.touch.value}")
        yield compared_texts(record.old_text, record.new_text)
    for breach in found.setting_breaches:
        yield Heading(3, f"{breach.path}: approved changes touched")
        yield compared_texts(breach.old_text, breach.new_text)


def _look(found: Review) -> list[Spans]:
    site = found.ledger.site
    text: list[Spans] = [
        (
            Strong(one.machine.name),
            (
                f": left at {words.format_setting(one.left, one.approved.unit, site)} on "
                f"{words.format_day(one.entry.day)} ({one.entry.ref}), where "
                f"{words.format_change(one.approved, site)} is approved"
            ),
        )
        for one in found.left_otherwise
    ]
    text.extend(
        (Strong(path), f": {step.step.value}: {_format_proposal(step)}")
        for path, step in found.proposals
    )
    text.extend(_corrected(found))
    text.extend(_format_plan(one) for one in found.plan)
    return text


def _corrected(found: Review) -> Iterator[Spans]:
    """Each record that a correction replaces, with the values that differ and what rests on it."""
    ledger = found.ledger
    for visit in found.visits:
        for entry in visit.entries:
            if entry.corrects is None or entry.corrects not in ledger.entry:
                continue
            old = ledger.entry[entry.corrects]
            if entry.void:
                text = "struck out"
            else:
                values = differing(_recorded(old), _recorded(entry))
                text = "; ".join(values) or "no value differs"
                text += _turned(ledger, old, entry)
            rests = [
                f"{words.format_change(change, ledger.site)} of {ledger.machines[machine].name}"
                for machine, drive in ledger.setpoints.items()
                for change in drive.changes
                if {old.ref, ledger.origin(old).ref} & set(change.evidence)
            ]
            evidence = f". It is evidence for {words.in_words(rests)}" if rests else ""
            yield (Strong(f"{old.ref} corrected"), f" ({entry.reason}): {text}{evidence}")


def _turned(ledger: Ledger, old: Entry, new: Entry) -> str:
    """That a correction turns the verdict on a reading; nothing where it does not."""
    verdicts = [
        "" if one.verdict is None else one.verdict.value
        for entry in (old, new)
        for one in speed_results(ledger, [entry])
    ]
    is_turned = len(verdicts) == 2 and verdicts[0] != verdicts[1]
    return f"; it turns {verdicts[0]} into {verdicts[1]}" if is_turned else ""


def _recorded(entry: Entry) -> dict[str, object]:
    """The values of an entry, without those that make it a correction."""
    return {name: value for name, value in entry.raw.items() if name not in _OF_A_CORRECTION}


def _format_proposal(step: SettingStep) -> str:
    fields = step.new or step.old or {}
    value = next(
        (f"{key}: {fields[key]}" for key in ("hz", "flow_gpm", "flow_lpm") if key in fields), ""
    )
    return ", ".join(
        part for part in (value, f"from: {fields.get('from')}", fields.get("withdrawn", "")) if part
    )


def _format_plan(one: PlanChange) -> Spans:
    loud = one.concern in WEAKER
    return (Strong(one.about), f" ({one.concern.value}): {one.words}" if loud else f": {one.words}")


def _visits(ledger: Ledger, visits: Sequence[Visit]) -> Iterator[Block]:
    if not visits:
        return
    yield Heading(2, "Visits added")
    rows: list[tuple[Spans, ...]] = []
    for visit in visits:
        who = words.format_crew(visit, ledger.site)
        when = words.format_time(visit.when, ledger.site)
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
    yield Table(("When", "Who", "Where", "Entry"), rows)
    notes = [visit for visit in visits if visit.note]
    if notes:
        yield Bullets(
            [
                f"{words.format_person(one.by, ledger.site)} noted: {' '.join(one.note.split())}"
                for one in notes
            ]
        )


def _entry_line(ledger: Ledger, entry: Entry) -> Spans:
    text = format_entry(ledger, entry)
    for result in speed_results(ledger, [entry]):
        text = "; ".join(part for part in (text, format_count(result, ledger.site)) if part)
    return (Strong("correction"), f" {text}") if entry.corrects is not None else text


def _rest(found: Review) -> Iterator[Block]:
    if found.pages:
        files = words.format_count(found.pages, "file")
        text = f"{files} of the book changed as well; whether they are right is checked by "
        yield Paragraph((text, Code("tunnelbook build --check"), "."))
    if found.other_files:
        named = found.other_files[:_OTHER_FILES_NAMED]
        more = len(found.other_files) - len(named)
        spans: list[Spans] = [Code(path) for path in named]
        yield Paragraph("Other files changed, which this page does not judge:")
        yield Bullets([*spans, f"and {more} more"] if more else spans)


def _setting_blocks(ledger: Ledger, one: SettingReview) -> Iterator[Block]:
    """All that a reviewer weighs of one setting."""
    site, change = ledger.site, one.change
    to = words.format_change(change, site)
    came = f"{words.format_change(one.previous, site)} → " if one.previous else ""
    yield Heading(2, f"{one.machine.name}: {came}{to} ({_state(one)})")
    rows = [("Now", one.before)] if one.before else []
    rows.append(("With this change", one.after))
    yield Table(
        (
            "",
            right("Setting"),
            "From",
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
            ("Evidence", "Read", right("At"), right("r/min ± U"), VERDICT),
            [row for evidence in one.evidence for row in _evidence_rows(ledger, evidence)],
        )
    yield Table(
        ("Policy", "Result", "Because"),
        [(point.name, _RESULT[point.held], point.because) for point in one.points],
    )


def _state(one: SettingReview) -> str:
    if one.is_only_claimed:
        return "claimed approved, does not count"
    if one.change.taken_over and not one.is_approved:
        return TAKEN_OVER
    text = "approved" if one.is_approved else "proposed, not in force"
    return f"first setting, {text}" if one.change.may_be_taken_over else text


def _outlook_row(ledger: Ledger, name: str, expected: Outlook) -> tuple[Spans, ...]:
    change, band, speed = expected.change, expected.band, expected.speed
    chance = expected.p_in_band
    return (
        name,
        Strong(words.format_change(change, ledger.site)),
        words.format_day(change.first_day),
        words.format_number(change.line_rate_per_h),
        words.NONE if band is None else words.format_range(band.low, band.high),
        words.NONE if speed is None else words.format_speed(speed),
        words.NONE if chance is None else shown_probability(chance),
    )


def _facts(ledger: Ledger, one: SettingReview) -> Iterator[Spans]:
    change, site = one.change, ledger.site
    proposed = f" on {words.format_day(change.proposed_on)}" if change.proposed_on else ""
    text = f"Proposed by {words.format_person(change.proposed_by, site)}{proposed}"
    if change.approved_by:
        on = f" on {words.format_day(change.approved_on)}" if change.approved_on else ""
        claimed = "claimed " if one.is_only_claimed else ""
        text += f", {claimed}approved by {words.format_person(change.approved_by, site)}{on}"
    yield f"{text}. Why: {change.why}"
    beyond_approval = any(not value.startswith("approved_") for value in one.values)
    if one.step is Step.REWORDED or (one.step is Step.APPROVED and beyond_approval):
        yield f"The proposal itself was changed: {'; '.join(one.values)}"
    yield from ratio_facts(one.ratio, site)


def _evidence_rows(ledger: Ledger, one: Evidence) -> Iterator[tuple[Spans, ...]]:
    nothing = (words.NONE, words.NONE, words.NONE)
    if one.entry is None:
        yield (str(one.ref), "no such entry", *nothing)
        return
    name = f"{one.ref}, {words.format_person(one.entry.by, ledger.site)}"
    if one.standing is None:
        yield (name, "struck out by a correction", *nothing)
        return
    if one.standing is not one.entry:
        name += f", corrected by {one.standing.ref}"
    if not one.results:
        yield (name, format_entry(ledger, one.standing), *nothing)
    for result in one.results:
        raw = format_with_doubt(result)
        at = words.NONE
        if result.setting is not None:
            at = words.format_setting(result.setting, result.unit, ledger.site)
        if result.speed is None:
            yield (name, raw, at, words.NONE, result.flaw)
            continue
        verdict = words.NONE
        if result.verdict is not None and result.band is not None:
            band = words.format_range(result.band.low, result.band.high)
            verdict = f"{result.verdict.value} {band}"
            more = advice(result, timing_u_s=ledger.site.policy.timing_u_s)
            verdict += f"; {more}" if more else ""
        yield (name, raw, at, words.format_speed(result.speed), verdict)

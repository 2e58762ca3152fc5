"""A review as one page for a pull request's comment: what matters most comes first."""

from collections.abc import Iterator, Sequence

from ledger.assess.speeds import SpeedResult, raw_words, speed_results
from ledger.compute.rounding import shown_probability
from ledger.model.ledger import Ledger
from ledger.model.visits import Entry, Visit
from ledger.proof.on_the_way import TouchedOnTheWay
from ledger.proof.plan import Concern, PlanChange
from ledger.proof.printed import compared_texts
from ledger.proof.records import SettingStep, differing
from ledger.proof.review import Breach, Review
from ledger.proof.review_setting_page import setting_blocks
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
)
from ledger.report.entry_words import entry_words

_OTHER_FILES_NAMED = 10
_OF_A_CORRECTION = frozenset({"corrects", "reason"})
WEAKER = frozenset({Concern.LOOSENED, Concern.COVER_LOST})

WHAT_IT_SAYS = (
    "Said here is what the files claim, the readings predict and the site's rules hold; never that "
    "a machine may be run. That is for qualified people, inside the makers' manuals."
)

ITS_OWN_CHECKS = "This branch changes what checks it, so its own green check proves nothing"


def review_page(found: Review) -> Page:
    """The same page for Markdown and the terminal; it links nowhere, so it reads anywhere."""
    blocks: list[Block] = [*_own_checks(found), Paragraph(_verdict(found))]
    effect = list(_effect(found))
    if effect:
        blocks.append(Bullets(effect))
    if found.breaches:
        blocks.append(Heading(2, "Breaches"))
        blocks.append(Bullets([_breach_words(one) for one in found.breaches]))
    for setting in found.settings:
        blocks.extend(setting_blocks(found.ledger, setting))
    blocks.extend(_touched(found))
    blocks.extend(_to_look_at(found))
    blocks.extend(_visits(found.ledger, found.visits))
    if found.errors:
        blocks.append(Heading(2, "Files at fault"))
        blocks.append(
            Bullets([(Code(str(one.position)), f": {one.message}") for one in found.errors])
        )
    blocks.extend(_rest(found))
    blocks.extend((Paragraph(_compared(found)), Paragraph(WHAT_IT_SAYS)))
    title = f"Review for {found.ledger.site.name}"
    if found.changed_checks:
        title = f"{ITS_OWN_CHECKS}. {title}"
    return Page(path="review.md", title=title, blocks=blocks)


def _own_checks(found: Review) -> Iterator[Block]:
    if found.changed_checks:
        changed: list[Spans] = [Code(path) for path in found.changed_checks]
        yield Paragraph("Read first, as whoever may write these may pass any check:")
        yield Bullets(changed)


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
        (len(_look(found)), "thing to look at", "things to look at"),
    ]
    counted = [words.count_words(number, one, many) for number, one, many in parts if number]
    return (Strong(f"{said}."), f" {', '.join(counted) or 'Nothing of the record changes'}.")


def _effect(found: Review) -> Iterator[Spans]:
    """What merging it would do, one line each: what a reviewer answers for."""
    if found.breaches:
        yield (Strong("Not to be merged as it is"), f"{_by_whom(found)}: see the breaches.")
        return
    for one in found.settings:
        site = found.ledger.site
        setting = f"{one.machine.name} at {words.change_words(one.change, site)}"
        if one.is_approved:
            since = words.day_words(one.change.first_day)
            yield ("Merging puts in force: ", Strong(setting), f" from {since}{_expected(one)}.")
        else:
            yield f"Merging files a proposal only: {setting}, not in force before it is approved."
    for move in found.moves:
        yield f"Merging moves the site {move.words}."
    weaker = [one for one in found.plan if one.concern in WEAKER]
    if weaker:
        named = words.in_words([f"{one.about} ({one.concern.value})" for one in weaker])
        yield ("Merging weakens the plan: ", Strong(named), ". Ask why, if nothing says so.")


def _by_whom(found: Review) -> str:
    """The one who may merge it all the same, where nothing but their own hand is missing."""
    if {breach.rule for breach in found.breaches} != {"policy-proof-of-approval"}:
        return ""
    site = found.ledger.site
    approvers = {one.change.approved_by for one in found.settings if one.is_only_claimed}
    if len(approvers) > 1:
        return ""
    return f", but by {words.person_words(approvers.pop(), site)} in person"


def _expected(one: SettingReview) -> str:
    """What to expect of the setting, in half a sentence; nothing where nothing is known."""
    speed, band, chance = one.after.speed, one.after.band, one.after.p_in_band
    if speed is None or band is None or chance is None:
        return ""
    return (
        f", expected {words.speed_words(speed)} r/min, {shown_probability(chance)} in band "
        f"{words.range_words(band.low, band.high)}"
    )


def _compared(found: Review) -> Spans:
    moved = (
        " The base has moved on since; what it gained is not judged here."
        if found.base_moved
        else ""
    )
    return (
        "Compared: ",
        Code(found.base[:12]),
        " (where the two histories part) with ",
        Code(found.head[:12]),
        f", by the policy and people of the first.{moved}",
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
    said.extend(_amended(one) for one in found.on_the_way if one.is_own)
    said.extend(_corrected(found))
    said.extend(_plan_words(one) for one in found.plan)
    return said


def _amended(one: TouchedOnTheWay) -> Spans:
    return (
        Strong(one.path),
        (
            f": amended by its own author in commit {one.commit[:10]} of this branch: {one.words}. "
            "Merge it by a commit of its own: taken over commit by commit, it would be an old "
            "record touched"
        ),
    )


def _corrected(found: Review) -> Iterator[Spans]:
    """Each record that a correction replaces, with the values that differ and what rests on it."""
    ledger = found.ledger
    for visit in found.visits:
        for entry in visit.entries:
            if entry.corrects is None or entry.corrects not in ledger.entry:
                continue
            old = ledger.entry[entry.corrects]
            if entry.void:
                said = "struck out"
            else:
                values = differing(_recorded(old), _recorded(entry))
                said = "; ".join(values) or "no value differs"
            rests = [
                f"{words.change_words(change, ledger.site)} of {ledger.machines[machine].name}"
                for machine, drive in ledger.setpoints.items()
                for change in drive.changes
                if {old.ref, ledger.origin(old).ref} & set(change.evidence)
            ]
            evidence = f". It is evidence of {words.in_words(rests)}" if rests else ""
            yield (Strong(f"{old.ref} corrected"), f" ({entry.reason}): {said}{evidence}")


def _recorded(entry: Entry) -> dict[str, object]:
    """The values of an entry, without those that make it a correction."""
    return {name: value for name, value in entry.raw.items() if name not in _OF_A_CORRECTION}


def _proposal_words(step: SettingStep) -> str:
    fields = step.new or step.old or {}
    value = next(
        (f"{key}: {fields[key]}" for key in ("hz", "flow_gpm", "flow_lpm") if key in fields), ""
    )
    return ", ".join(
        part for part in (value, f"from: {fields.get('from')}", fields.get("withdrawn", "")) if part
    )


def _plan_words(one: PlanChange) -> Spans:
    loud = one.concern in WEAKER
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

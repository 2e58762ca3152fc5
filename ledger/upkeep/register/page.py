"""The register: every setting in force, its evidence and its people.

Apart from it, what was found and read since: whether each setting still holds.
"""

from collections.abc import Iterator, Mapping, Sequence

from ledger.book import words
from ledger.book.addresses import REGISTER_PAGE, TUNING_PAGE
from ledger.book.blocks import (
    Block,
    Bullets,
    Caution,
    Code,
    Heading,
    Link,
    Page,
    Paragraph,
    Spans,
    Strong,
    Table,
    right,
)
from ledger.book.plain import kept
from ledger.compute.numbers import shown_probability
from ledger.model.ledger import Ledger
from ledger.model.references import EntryRef
from ledger.model.setpoints import Change
from ledger.model.site import ApprovalProof
from ledger.upkeep.register.found import (
    AsSeen,
    Outlook,
    RegisterLine,
    is_same_setting,
    proof_of,
    reading_due_on,
)
from ledger.upkeep.register.words import (
    TAKEN_OVER,
    format_approval,
    format_approver,
    format_proof,
    format_reading,
)
from ledger.upkeep.speeds.found import SpeedResult, by_entry
from ledger.upkeep.speeds.words import format_with_doubt, ratio_facts
from ledger.values import dataclass

CAUTION = (
    (
        "A setting is changed by a person qualified for the drive, with the line clear, inside the "
        "limits of the drive's and the motor's makers. This page says what was agreed, not that a "
        "machine may be run."
    ),
)


CLAIMS = (
    "The file names an approver, but by the site's own rules that approval does not count, so what "
    "was approved before stays in force. Let a second person who may approve it do so, by the same "
    "change once more at the end of the file; until then the drive belongs at what is in force."
)


HOW_TO_READ: tuple[Spans, ...] = (
    (Strong("Predicted"), ": worked out from every reading of the drive that still counts."),
    (
        Strong("Read since"),
        (
            ": the last speed read at this setting since it took effect, and whether it agrees "
            "with what was predicted before it."
        ),
    ),
    (
        Strong("±"),
        (
            " holds for about 95 in 100 readings. A reading agrees where it is no further from "
            "what was predicted than both uncertainties together; the E_n in a drive's own section "
            "is that difference as a share of them, so from -1 to 1 the two agree (ISO 13528)."
        ),
    ),
)


@kept
@dataclass(frozen=True, slots=True)
class RegisterRows:
    """What the page says of some drives."""

    summary: Sequence[Sequence[Spans]]
    claims: Sequence[Spans]
    proposals: Sequence[Block]
    drives: Sequence[Block]


def register_rows(
    ledger: Ledger, lines: Sequence[RegisterLine], results: Sequence[SpeedResult]
) -> RegisterRows:
    """`results` tell what the readings named as evidence say."""
    of_entry = by_entry(results)
    return RegisterRows(
        [_summary_row(ledger, line) for line in lines],
        [_claim(ledger, line, outlook.change) for line in lines for outlook in line.claims],
        [_proposals(ledger, line) for line in lines if line.proposals],
        [block for line in lines for block in _drive(ledger, line, of_entry)],
    )


def setpoints_page(
    ledger: Ledger, lines: Sequence[RegisterLine], results: Sequence[SpeedResult]
) -> Page:
    """Depends on the settings alone, so that a change of it shows what a person changed."""
    return page_of_rows(ledger, [register_rows(ledger, lines, results)])


def page_of_rows(ledger: Ledger, of: Sequence[RegisterRows]) -> Page:
    """The page of all rows, which stand in walking order."""
    claims = [line for rows in of for line in rows.claims]
    blocks: list[Block] = [
        Paragraph(
            (
                (
                    "One section per drive, in walking order. A change without an approver is a "
                    "proposal: it is listed apart and is not in force. In force is the newest "
                    "approved change. Its start date may be in the future. What was found and read "
                    "since, and what the readings recommend, is on the page of "
                ),
                Link("recommended settings", TUNING_PAGE),
                ".",
            )
        ),
        *_what_approval_rests_on(ledger),
        words.pointer("Settings"),
        Caution(CAUTION),
        Heading(2, "In force"),
        Table(_SUMMARY, [row for rows in of for row in rows.summary]),
    ]
    if claims:
        blocks.extend(
            (Heading(2, "Claimed approved, not in force"), Paragraph(CLAIMS), Bullets(claims))
        )
    blocks.append(Heading(2, "Proposed, not in force"))
    blocks.extend([block for rows in of for block in rows.proposals] or [Paragraph("None.")])
    blocks.extend(block for rows in of for block in rows.drives)
    return Page(path=REGISTER_PAGE, title="Drive settings", blocks=blocks)


def _what_approval_rests_on(ledger: Ledger) -> Iterator[Block]:
    """That the page takes the files' word, where the site's own rule asks for more than that."""
    rule = ledger.site.policy.approval_proof
    if rule is not ApprovalProof.FILE:
        text = (
            f"The names under Approved by are those in the files. This site's rule ({rule.value}) "
            "asks for proof in git. This page does not look for it; "
        )
        yield Paragraph((text, Code("tunnelbook audit"), " does."))


def format_outlook(outlook: Outlook) -> str:
    """`predicted 79.3 ± 1.4 r/min, > 99 % in band`."""
    if outlook.speed is None:
        return "no reading or nameplate to predict from"
    text = f"predicted {words.format_speed(outlook.speed)} r/min"
    if outlook.p_in_band is not None:
        text += f", {shown_probability(outlook.p_in_band)} in band"
    return text


_SUMMARY = ("Machine", right("Setting"), "From", right("Vehicles/h"), "Approved by")


def _summary_row(ledger: Ledger, line: RegisterLine) -> tuple[Spans, ...]:
    link = words.machine_link(line.machine)
    taken_over = line.setpoints.only_taken_over if line.setpoints else None
    change = line.in_force.change if line.in_force else taken_over
    if change is None:
        return link, "no approved setting", *([words.NONE] * 3)
    setting = words.format_change(change, ledger.site)
    return (
        link,
        setting if change is taken_over else Strong(setting),
        words.format_day(change.first_day),
        words.format_number(change.line_rate_per_h),
        TAKEN_OVER if change is taken_over else format_approver(change, ledger.site),
    )


def found_since(ledger: Ledger, lines: Sequence[RegisterLine]) -> list[Block]:
    """What to expect of each setting in force, and what was found and read since."""
    return since_blocks([since_row(ledger, line) for line in lines])


def since_row(ledger: Ledger, line: RegisterLine) -> tuple[Spans, ...]:
    """That of one drive."""
    setting, expected = "no approved setting", [words.NONE] * 2
    if line.in_force is not None:
        setting = words.format_change(line.in_force.change, ledger.site)
        expected = _format_expected(line.in_force)
    return (
        words.machine_link(line.machine),
        setting,
        *expected,
        _format_found(ledger, line),
        "nothing yet" if line.confirmation is None else format_reading(line.confirmation),
    )


_SINCE = (
    "Machine",
    right("Setting"),
    right("Predicted r/min ± U"),
    right("In band"),
    "Last found",
    "Read since, r/min ± U",
)


def since_blocks(rows: Sequence[Sequence[Spans]]) -> list[Block]:
    """The rows of `since_row` with how to read them."""
    return [Heading(2, "Found and read since"), Bullets(HOW_TO_READ), Table(_SINCE, rows)]


def _format_expected(expected: Outlook) -> list[str]:
    """The speed predicted, and the chance that it is in the band: `> 99 % (85–97)`."""
    if expected.speed is None:
        return ["no reading or nameplate to predict from", words.NONE]
    chance = words.NONE
    if expected.band is not None and expected.p_in_band is not None:
        band = words.format_range(expected.band.low, expected.band.high)
        chance = f"{shown_probability(expected.p_in_band)} ({band})"
    return [words.format_speed(expected.speed), chance]


def found_facts(ledger: Ledger, line: RegisterLine, results: Sequence[SpeedResult]) -> list[Spans]:
    """What the readings say of one drive's settings."""
    site = ledger.site
    facts: list[Spans] = [
        f"{kind}: {words.format_change_from(outlook.change, site)}, {format_outlook(outlook)}."
        for kind, outlooks in (("Claimed approved", line.claims), ("Proposed", line.proposals))
        for outlook in outlooks
    ]
    if line.in_force is not None:
        facts.append(_proof(ledger, line, results, line.in_force.change))
    facts.extend(ratio_facts(line.ratio, site))
    facts.append(f"Last found on the drive: {_format_found(ledger, line)}.")
    return facts


def _format_found(ledger: Ledger, line: RegisterLine) -> str:
    if line.as_found is None and line.as_left is None:
        return "not noted yet"
    text = "" if line.as_found is None else _format_seen(ledger, line, line.as_found)
    if line.as_left is not None and line.as_left != line.as_found:
        left = f"left at {_format_seen(ledger, line, line.as_left)}"
        text = f"{text}; {left}" if text else left
    return text


def _format_seen(ledger: Ledger, line: RegisterLine, seen: AsSeen) -> str:
    value = words.format_setting(seen.value, line.ratio.unit, ledger.site)
    agrees = {True: "agrees", False: "DIFFERS", None: "nothing in force that day"}[seen.agrees]
    text = f"{value} on {words.format_day(seen.entry.day)}: {agrees}"
    newest = None if line.in_force is None else line.in_force.change
    if seen.agrees and newest and not is_same_setting(line.machine, seen.value, newest.value):
        text += " with the setting before this one"
    elif seen.agrees is False and seen.expected is not None and seen.expected is not newest:
        text += f" from {words.format_change(seen.expected, ledger.site)}, in force that day"
    if seen.claimed is not None:
        text += f", it is change {seen.claimed.number}, whose approval does not count"
    return text


def _claim(ledger: Ledger, line: RegisterLine, change: Change) -> Spans:
    text = f": {words.format_change_from(change, ledger.site)} (change {change.number}). "
    approver = format_approver(change, ledger.site)
    return words.machine_link(line.machine), text, Strong(f"{approver[0].upper()}{approver[1:]}.")


def _proposals(ledger: Ledger, line: RegisterLine) -> Bullets:
    items: list[Spans] = []
    for change in (outlook.change for outlook in line.proposals):
        text = (
            f": {words.format_change_from(change, ledger.site)} for "
            f"{words.format_number(change.line_rate_per_h)} vehicles an hour. "
            f"Proposed by {words.format_person(change.proposed_by, ledger.site)}: {change.why}"
        )
        items.append((words.machine_link(line.machine), text))
    return Bullets(items)


def _drive(
    ledger: Ledger, line: RegisterLine, of_entry: Mapping[EntryRef, Sequence[SpeedResult]]
) -> Iterator[Block]:
    site = ledger.site

    def evidence(change: Change) -> str:
        return "; ".join(_format_evidence(ref, of_entry) for ref in change.evidence) or words.NONE

    def proposed(change: Change) -> str:
        on = f", {words.format_day(change.proposed_on)}" if change.proposed_on else ""
        return words.format_person(change.proposed_by, site) + on

    def approved(change: Change) -> Spans:
        text = format_approval(change, site)
        return Strong(text) if change.is_only_claimed else text

    yield Heading(2, line.machine.name)
    if line.setpoints is None:
        yield Paragraph("No setting is on file.")
        return
    yield Table.of(
        reversed(line.setpoints.changes),
        (right("No."), lambda change: str(change.number)),
        ("From", lambda change: words.format_day(change.first_day)),
        (right("Setting"), lambda change: words.format_change(change, site)),
        (right("Vehicles/h"), lambda change: words.format_number(change.line_rate_per_h)),
        ("Why", lambda change: change.why),
        ("Evidence", evidence),
        ("Proposed", proposed),
        ("Approved", approved),
    )


def _proof(
    ledger: Ledger, line: RegisterLine, results: Sequence[SpeedResult], change: Change
) -> str:
    """What was read at the setting in force, or by when the reading is owed."""
    proof = proof_of(ledger, line.machine, results, change)
    text = format_proof(proof)
    if proof.confirmed is not None:
        last = line.confirmation
        if last is None or last.result is proof.confirmed.result:
            return f"{text}."
        return f"{text}. Last read at it: {format_reading(last, full=True)}."
    due_on = words.format_day(reading_due_on(ledger.site, change))
    return f"{text}. The reading that confirms it is due by {due_on}."


def _format_evidence(ref: EntryRef, of_entry: Mapping[EntryRef, Sequence[SpeedResult]]) -> str:
    read = [
        f"{format_with_doubt(result)} = {words.format_speed(result.speed)} r/min"
        for result in of_entry.get(ref, ())
        if result.speed is not None
    ]
    return f"{ref} ({', '.join(read)})" if read else str(ref)

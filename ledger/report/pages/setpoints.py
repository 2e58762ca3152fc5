"""The register: every setting in force, its evidence, its people, and whether it still holds."""

from collections.abc import Sequence

from ledger.assess.drift import Drift
from ledger.assess.follow_up import proof_of, reading_due_on
from ledger.assess.register import Outlook, RegisterLine, is_same_setting
from ledger.assess.speeds import SpeedResult, raw_words
from ledger.compute.rounding import shown_probability
from ledger.model.ledger import Ledger
from ledger.model.setpoints import Change
from ledger.model.site import ApprovalProof
from ledger.report import words
from ledger.report.approval_words import approval_words, approver_words
from ledger.report.blocks import (
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
    left,
    right,
)
from ledger.report.follow_up_words import proof_words, reading_words
from ledger.report.pages import settings
from ledger.report.pages.method import pointer
from ledger.report.pages.settings_moving import still_moving_words
from ledger.report.pages.settings_words import ratio_words

PATH = "setpoints.md"

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
            ": the last speed read at this very setting since it took effect, and whether it "
            "agrees with what was predicted before it."
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


def setpoints_page(
    ledger: Ledger,
    lines: Sequence[RegisterLine],
    results: Sequence[SpeedResult],
    drifting: Drift,
) -> Page:
    """Depends on the sources only, so that a change of it shows what a person changed.

    `drifting` tells which shaft still moves.
    """
    of_entry = {str(result.entry.ref): result for result in results}
    open_lines = [line for line in lines if line.proposals]
    claims = [_claim(ledger, line, outlook) for line in lines for outlook in line.claims]
    blocks: list[Block] = [
        Paragraph(
            (
                (
                    "One section a drive, in walking order. A change without an approver is a "
                    "proposal: it stands apart and is not in force. This page knows no day: in "
                    "force is the newest approved change, from the day stated, and that day may "
                    "still lie ahead. What the readings recommend stands on the page of "
                ),
                Link("recommended settings", settings.PATH),
                ".",
            )
        ),
        *_what_approval_rests_on(ledger),
        Bullets(HOW_TO_READ),
        pointer("Settings"),
        Caution(CAUTION),
        Heading(2, "In force"),
        _summary(ledger, lines),
    ]
    if claims:
        blocks.extend(
            (Heading(2, "Claimed approved, not in force"), Paragraph(CLAIMS), Bullets(claims))
        )
    blocks.append(Heading(2, "Proposed, not in force"))
    if open_lines:
        blocks.extend(_proposals(ledger, line) for line in open_lines)
    else:
        blocks.append(Paragraph("None."))
    for line in lines:
        blocks.extend(_drive(ledger, line, results, drifting, of_entry))
    return Page(path=PATH, title="Drive settings", blocks=blocks)


def _what_approval_rests_on(ledger: Ledger) -> list[Block]:
    """That the page takes the files' word, where the site's own rule asks for more than that."""
    rule = ledger.site.policy.approval_proof
    if rule is ApprovalProof.FILE:
        return []
    said = (
        f"Approved by is what the files say. By this site's rule ({rule.value}) git must bear it "
        "out, which this page does not look at: "
    )
    return [Paragraph((said, Code("tunnelbook audit"), " does."))]


def outlook_words(outlook: Outlook) -> str:
    """`predicted 79.3 ± 1.4 r/min, > 99 % in band`."""
    if outlook.speed is None:
        return "no reading or nameplate to predict from"
    said = f"predicted {words.speed_words(outlook.speed)} r/min"
    if outlook.p_in_band is not None:
        said += f", {shown_probability(outlook.p_in_band)} in band"
    return said


def _summary(ledger: Ledger, lines: Sequence[RegisterLine]) -> Table:
    rows: list[tuple[Spans, ...]] = []
    for line in lines:
        link = words.machine_link(line.machine)
        if line.in_force is None:
            rows.append((link, "no approved setting", *([words.NONE] * 6)))
            continue
        change = line.in_force.change
        rows.append(
            (
                link,
                Strong(words.change_words(change, ledger.site)),
                words.day_words(change.first_day),
                words.number_words(change.line_rate_per_h),
                words.NONE
                if line.in_force.speed is None
                else words.speed_words(line.in_force.speed),
                approver_words(change, ledger.site),
                _found_words(ledger, line),
                _read_words(line),
            )
        )
    return Table(
        (
            left("Machine"),
            right("Setting"),
            left("From"),
            right("Vehicles/h"),
            right("Predicted r/min ± U"),
            left("Approved by"),
            left("Last found"),
            left("Read since, r/min ± U"),
        ),
        rows,
    )


def _found_words(ledger: Ledger, line: RegisterLine) -> str:
    found = line.as_found
    if found is None:
        return "not noted yet"
    value = words.setting_words(found.value, line.ratio.unit, ledger.site)
    agrees = {True: "agrees", False: "DIFFERS", None: "nothing in force that day"}[found.agrees]
    said = f"{value} on {words.day_words(found.entry.day)}: {agrees}"
    newest = None if line.in_force is None else line.in_force.change
    if found.agrees and newest and not is_same_setting(line.machine, found.value, newest.value):
        said += " with the setting before this one"
    elif found.agrees is False and found.expected is not None and found.expected is not newest:
        said += f" from {words.change_words(found.expected, ledger.site)}, in force that day"
    if found.claimed is not None:
        said += f", it is change {found.claimed.number}, whose approval does not count"
    return said


def _read_words(line: RegisterLine) -> str:
    return "nothing yet" if line.confirmation is None else reading_words(line.confirmation)


def _claim(ledger: Ledger, line: RegisterLine, outlook: Outlook) -> Spans:
    change = outlook.change
    return (
        words.machine_link(line.machine),
        (
            f": {words.change_words(change, ledger.site)} from {words.day_words(change.first_day)} "
            f"(change {change.number}), {outlook_words(outlook)}. "
        ),
        Strong(_sentence(approver_words(change, ledger.site))),
    )


def _sentence(said: str) -> str:
    return f"{said[0].upper()}{said[1:]}."


def _proposals(ledger: Ledger, line: RegisterLine) -> Bullets:
    items: list[Spans] = [
        (
            words.machine_link(line.machine),
            (
                f": {words.change_words(outlook.change, ledger.site)} from "
                f"{words.day_words(outlook.change.first_day)} for "
                f"{words.number_words(outlook.change.line_rate_per_h)} vehicles an hour, "
                f"{outlook_words(outlook)}. Proposed by "
                f"{words.person_words(outlook.change.proposed_by, ledger.site)}: "
                f"{outlook.change.why}"
            ),
        )
        for outlook in line.proposals
    ]
    return Bullets(items)


def _drive(
    ledger: Ledger,
    line: RegisterLine,
    results: Sequence[SpeedResult],
    drifting: Drift,
    of_entry: dict[str, SpeedResult],
) -> list[Block]:
    blocks: list[Block] = [Heading(2, line.machine.name)]
    facts: list[Spans] = []
    if line.in_force is not None:
        band = line.in_force.band
        facts.append(
            (
                Strong(words.change_words(line.in_force.change, ledger.site)),
                f" in force from {words.day_words(line.in_force.change.first_day)}; "
                f"{outlook_words(line.in_force)}"
                + ("" if band is None else f" {words.range_words(band.low, band.high)} r/min"),
            )
        )
        facts.append(_proof(ledger, line, results, line.in_force.change))
    facts.append(ratio_words(line.ratio, ledger.site))
    facts.extend(still_moving_words(drifting, line.ratio, ledger.site))
    facts.append(_found_sentence(ledger, line))
    blocks.append(Bullets(facts))
    if line.setpoints is None:
        return blocks
    blocks.append(
        Table(
            (
                right("No."),
                left("From"),
                right("Setting"),
                right("Vehicles/h"),
                left("Why"),
                left("Evidence"),
                left("Proposed"),
                left("Approved"),
            ),
            [_change_row(ledger, change, of_entry) for change in reversed(line.setpoints.changes)],
        )
    )
    return blocks


def _proof(
    ledger: Ledger, line: RegisterLine, results: Sequence[SpeedResult], change: Change
) -> str:
    """What was read at the setting in force, or by when the reading is owed."""
    proof = proof_of(ledger, line.machine, results, change)
    said = proof_words(proof)
    if proof.confirmed is not None:
        last = line.confirmation
        if last is None or last.result is proof.confirmed.result:
            return f"{said}."
        return f"{said}. Last read at it: {reading_words(last, full=True)}."
    due_on = words.day_words(reading_due_on(ledger.site, change))
    return f"{said}. The reading that confirms it is due by {due_on}."


def _found_sentence(ledger: Ledger, line: RegisterLine) -> str:
    return f"Last found on the drive: {_found_words(ledger, line)}."


def _change_row(
    ledger: Ledger, change: Change, of_entry: dict[str, SpeedResult]
) -> tuple[Spans, ...]:
    site = ledger.site
    evidence = "; ".join(_evidence_words(str(ref), of_entry) for ref in change.evidence)
    approved = approval_words(change, site)
    proposed_on = f", {words.day_words(change.proposed_on)}" if change.proposed_on else ""
    return (
        str(change.number),
        words.day_words(change.first_day),
        words.change_words(change, site),
        words.number_words(change.line_rate_per_h),
        change.why,
        evidence or words.NONE,
        words.person_words(change.proposed_by, site) + proposed_on,
        Strong(approved) if change.is_only_claimed else approved,
    )


def _evidence_words(ref: str, of_entry: dict[str, SpeedResult]) -> str:
    result = of_entry.get(ref)
    if result is None or result.speed is None or result.entry.speed is None:
        return ref
    return f"{ref} ({raw_words(result.entry.speed)} = {words.speed_words(result.speed)} r/min)"

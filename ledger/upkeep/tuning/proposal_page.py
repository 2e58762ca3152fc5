"""What the evidence of a proposed setting supports, for the person who proposes it."""

from collections.abc import Iterator, Sequence

from ledger.book import words
from ledger.book.addresses import TUNING_PAGE
from ledger.book.blocks import (
    Block,
    Bullets,
    Caution,
    Heading,
    Page,
    Paragraph,
    Spans,
    Table,
    right,
)
from ledger.compute.band import Verdict
from ledger.compute.numbers import shown_probability
from ledger.model.ledger import Ledger
from ledger.model.site import Site
from ledger.upkeep.register.words import format_pending_claims
from ledger.upkeep.speeds.found import SpeedResult, advice, speed_results
from ledger.upkeep.speeds.ratios import DriveRatio, drive_ratio, fit_of
from ledger.upkeep.speeds.words import format_setting_of, format_with_doubt, ratio_facts
from ledger.upkeep.tuning.found import SettingOutlook, largest_step, outlook_at
from ledger.upkeep.tuning.proposal import Proposal, evidence_of
from ledger.upkeep.tuning.words import cautions_for, format_step
from ledger.values import replace

SURE_ENOUGH = 0.95
"""Chance of being in band below which the page says so; common practice, no source."""

_EVEN_CHANCE = 0.5


def proposal_page(ledger: Ledger, proposed: Proposal) -> Page:
    """The readings, the speed to expect by them and by all that count, and what to mind."""
    machine, evidence = proposed.machine, evidence_of(ledger, proposed)
    ratio = drive_ratio(ledger, machine, speed_results(ledger)).on(proposed.first_day)
    by_all = outlook_at(machine, ratio, proposed.value, proposed.line_rate_per_h)
    setting = words.format_setting(proposed.value, ratio.unit, ledger.site)
    supported: list[Spans] = []
    usable = tuple(result for result in evidence if result.setting and result.speed)
    alone = replace(ratio, used=usable, fit=fit_of(usable, ratio.prior), line=None)
    by_these = outlook_at(machine, alone, proposed.value, proposed.line_rate_per_h)
    if usable and by_these is not None:
        named = words.format_count(len(usable), "reading")
        supported.append(f"By the {named} named: {_format_outlook(by_these)}.")
    if by_all is not None:
        supported.append(f"By all that counts: {_format_outlook(by_all)}.")
    supported.extend(ratio_facts(ratio, ledger.site))
    blocks: list[Block] = [
        Paragraph(_step(ledger, proposed, ratio)),
        Heading(2, "Evidence"),
        _evidence_table(evidence, ledger.site) if evidence else Paragraph("No reading is named."),
        Heading(2, "What it supports"),
        Bullets(supported),
    ]
    if doubts := [*_doubts(ledger, proposed, evidence, ratio, by_all)]:
        blocks += [Heading(2, "To mind"), Bullets(doubts)]
    blocks.append(Caution(cautions_for(proposed.machine)))
    return Page(path=TUNING_PAGE, title=f"{machine.name}: {setting} proposed", blocks=blocks)


def _step(ledger: Ledger, proposed: Proposal, ratio: DriveRatio) -> str:
    site = ledger.site
    drive = ledger.setpoints.get(proposed.machine.ident)
    in_force = drive.in_force if drive else None
    text = (
        f"{words.format_setting(proposed.value, ratio.unit, site)} for "
        f"{words.format_number(proposed.line_rate_per_h)} vehicles an hour, from "
        f"{words.format_day(proposed.first_day)}. "
    )
    claims = "".join(f" {claim}" for claim in format_pending_claims(drive, site))
    if in_force is None:
        return f"{text}No setting is in force yet.{claims}"
    allowed = round(largest_step(site.policy, ratio.unit, in_force.value), 9)
    return (
        f"{text}In force is {words.format_change(in_force, site)} for "
        f"{words.format_number(in_force.line_rate_per_h)} vehicles an hour: a step of "
        f"{format_step(proposed.value - in_force.value, ratio.unit, site)}, where the site allows "
        f"{words.format_setting(allowed, ratio.unit, site)} at once.{claims}"
    )


def _evidence_table(evidence: Sequence[SpeedResult], site: Site) -> Table:
    return Table.of(
        evidence,
        ("Entry", lambda result: str(result.entry.ref)),
        ("Read", format_with_doubt),
        (right("At"), lambda result: format_setting_of(result, site)),
        (right("r/min ± U"), lambda result: words.or_dash(result.speed, words.format_speed)),
        ("Verdict then", lambda result: words.or_dash(result.verdict, str)),
    )


def _format_outlook(outlook: SettingOutlook) -> str:
    text = f"{words.format_speed(outlook.speed)} r/min"
    if outlook.band is None or outlook.p_in_band is None:
        return f"{text}; no band is stated"
    chance = shown_probability(outlook.p_in_band)
    return f"{text}, {chance} in band {words.format_band(outlook.band)}"


def _doubts(
    ledger: Ledger,
    proposed: Proposal,
    evidence: Sequence[SpeedResult],
    ratio: DriveRatio,
    by_all: SettingOutlook | None,
) -> Iterator[str]:
    if by_all is None:
        yield "Neither a reading nor a nameplate tells what speed this setting gives."
    elif by_all.p_in_band is not None and by_all.p_in_band < SURE_ENOUGH:
        chance = shown_probability(by_all.p_in_band)
        tune = f"tunnelbook tune {proposed.machine.ident}"
        yield (
            f"Out of band is likelier than in it: the chance of being in band is {chance}. "
            f"`{tune}` says which setting is in it."
            if by_all.p_in_band < _EVEN_CHANCE
            else f"The chance of being in band is only {chance}; "
            f"`{tune}` says what one more reading would buy."
        )
    timing = ledger.site.policy.timing_u_s
    outgrown = {result.entry.ref for result in ratio.outgrown}
    for result in evidence:
        ref = result.entry.ref
        if result.setting is None:
            yield f"{ref} does not tell the drive's setting, so it teaches no ratio."
        if ref in outgrown:
            yield f"{ref} no longer counts: the speed at one setting has moved since."
        if result.verdict is Verdict.CANNOT_TELL:
            yield (
                f"{ref} cannot tell whether it was in band: "
                f"{advice(result, timing_u_s=timing) or 'count for longer'}."
            )
    if by_all is not None:
        yield from (f"{caution.value.capitalize()}." for caution in by_all.cautions)

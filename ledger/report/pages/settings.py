"""Recommended settings: for every drive that can be set, what each line rate asks for."""

from collections.abc import Sequence

from ledger.assess.drift import Drift
from ledger.assess.tuning import RateSetting, SettingOutlook, Tuning
from ledger.compute.band import Verdict
from ledger.compute.rounding import fixed, shown_probability, shown_uncertainty
from ledger.compute.speed import Speed
from ledger.compute.tuning import NextReading
from ledger.model.ledger import Ledger
from ledger.report import words
from ledger.report.approval_words import pending_claims_words
from ledger.report.blocks import (
    Block,
    Bullets,
    Caution,
    Heading,
    Link,
    Page,
    Paragraph,
    Picture,
    Spans,
    Table,
    left,
    right,
)
from ledger.report.pages.method import pointer
from ledger.report.pages.settings_moving import still_moving_words
from ledger.report.pages.settings_plot import settings_plot
from ledger.report.pages.settings_tables import (
    asked_table,
    each_reading_table,
    rates_table,
    readings_table,
)
from ledger.report.pages.settings_words import (
    CAUTION,
    bracket_words,
    cautions_for,
    change_of_ratio_words,
    coming_words,
    count_first_words,
    no_need_words,
    rate_notes,
    ratio_words,
)

PATH = "settings.md"

METHOD = (
    "For each line rate: the setting that brings the shaft to its target speed, by the speeds that "
    "were read on this drive since its motor, belt, reduction or strips were last changed. "
    "Predicted is what the readings say to expect at a setting; confirmed is what was read at that "
    "very setting, and not yet means that nobody has counted there. In band is the chance of it. "
    "The exact setting for the target lies between the two named last. ± U holds the true value in "
    "about 95 of 100 cases."
)


def settings_page(ledger: Ledger, found: Sequence[Tuning], drifting: Drift) -> Page:
    """Depends on the sources only. `drifting` tells which shaft still moves."""
    blocks: list[Block] = [
        Paragraph(METHOD),
        pointer("Settings"),
        Paragraph(
            (
                "What is approved and in force stands in ",
                Link("the register of drive settings", "setpoints.md"),
                ". A setting named here is not approved by that.",
            )
        ),
        Caution(CAUTION),
    ]
    if not found:
        blocks.append(Paragraph("No machine has a drive with limits, so there is nothing to set."))
    for tuning in found:
        blocks.append(Heading(2, tuning.machine.name))
        blocks.append(
            Paragraph((words.machine_link(tuning.machine), ". ", _in_force(ledger, tuning)))
        )
        blocks.extend(_count_first(ledger, tuning))
        blocks.extend(drive_blocks(ledger, tuning, drifting))
    return Page(path=PATH, title="Recommended settings", blocks=blocks)


def drive_blocks(ledger: Ledger, tuning: Tuning, drifting: Drift) -> list[Block]:
    """The table of line rates, what to mind, the picture and the readings behind it."""
    site = ledger.site
    blocks: list[Block] = []
    if tuning.gap:
        blocks.append(Paragraph(f"No setting is recommended: {tuning.gap}."))
    elif tuning.rates:
        blocks.append(rates_table(ledger, tuning))
    notes: list[Spans] = []
    if tuning.count_first is None:
        notes.append(ratio_words(tuning.ratio, site))
        notes.extend(still_moving_words(drifting, tuning.ratio, site))
    for at in tuning.rates:
        notes.extend(rate_notes(tuning, at, site))
        notes.extend(no_need_words(tuning, at, site))
    if tuning.ratio_change is not None:
        notes.extend(change_of_ratio_words(tuning.ratio_change))
    notes.extend(_best_next_words(at) for at in _unsure(tuning))
    if notes:
        blocks.append(Bullets(notes))
    if tuning.ratio.used:
        blocks.append(
            Picture(f"plots/settings-{tuning.machine.ident}.svg", settings_plot(ledger, tuning))
        )
        blocks.append(
            readings_table(ledger, tuning)
            if tuning.count_first is None
            else each_reading_table(ledger, tuning)
        )
    return blocks


def tune_page(
    ledger: Ledger,
    tuning: Tuning,
    drifting: Drift,
    asked: Sequence[SettingOutlook],
    asked_setting: float | None,
) -> Page:
    """The answer of the command: one drive, with what one more reading would buy.

    `asked` is what to expect of `asked_setting` at each line rate, where that was asked.
    """
    site = ledger.site
    blocks: list[Block] = [*_count_first(ledger, tuning), Paragraph(_in_force(ledger, tuning))]
    if asked_setting is not None:
        setting = words.setting_words(asked_setting, tuning.ratio.unit, site)
        blocks.append(Heading(2, f"At {setting}"))
        blocks.append(asked_table(asked) if asked else Paragraph("Its ratio is not known."))
        cautions = [f"{caution.value}." for caution in (asked[0].cautions if asked else ())]
        if cautions:
            blocks.append(Bullets(cautions))
    blocks.append(
        Heading(2, "Recommended" if tuning.count_first is None else "What was read so far")
    )
    blocks.extend(drive_blocks(ledger, tuning, drifting))
    bracket = bracket_words(tuning, site)
    if bracket:
        blocks.append(Paragraph(bracket))
    unsure = _unsure(tuning)
    for at in unsure:
        blocks.extend(_next_blocks(ledger, tuning, at))
    if tuning.rates and not unsure:
        blocks.append(Paragraph("Enough is known: one more reading would change no setting."))
    blocks.append(Caution(cautions_for(tuning.machine)))
    return Page(path=PATH, title=f"{tuning.machine.name}: setting", blocks=blocks)


def _count_first(ledger: Ledger, tuning: Tuning) -> list[Block]:
    if tuning.count_first is None:
        return []
    return [Paragraph(count_first_words(tuning.count_first, tuning.ratio.unit, ledger.site))]


def _unsure(tuning: Tuning) -> list[RateSetting]:
    return [at for at in tuning.rates if at.verdict is Verdict.CANNOT_TELL]


def _in_force(ledger: Ledger, tuning: Tuning) -> str:
    claims = pending_claims_words(ledger.setpoints.get(tuning.machine.ident), ledger.site)
    return " ".join((_approved(ledger, tuning), *claims))


def _approved(ledger: Ledger, tuning: Tuning) -> str:
    change, coming = tuning.change_in_force, coming_words(tuning.coming, ledger.site)
    if change is None:
        return f"No approved setting is in force{coming}."
    said = (
        f"In force: {words.change_words(change, ledger.site)} from "
        f"{words.day_words(change.first_day)} for {words.number_words(change.line_rate_per_h)} "
        "vehicles an hour"
    )
    if tuning.count_first is not None:
        return f"{said}; the speed that it gives is in doubt{coming}."
    if tuning.in_force is None:
        return f"{said}{coming}."
    said += f"; predicted {words.speed_words(tuning.in_force.speed)} r/min"
    if tuning.in_force.p_in_band is not None:
        said += f", {shown_probability(tuning.in_force.p_in_band)} chance of being in band"
    return f"{said}{coming}."


def _best_next_words(at: RateSetting) -> str:
    chance = (
        f"At {words.number_words(at.line_rate_per_h)} vehicles an hour the chance of being in "
        f"band is {shown_probability(at.recommended.p_in_band)}. "
    )
    settling = _settling(at)
    if not settling:
        return chance + "The speed lies so near the end of the band that no one reading settles it."
    best = min(settling, key=lambda reading: reading.seconds)
    return (
        f"{chance}One more reading there, {best.way} ({fixed(best.seconds, 0)} s), would make it "
        f"{shown_probability(best.p_in_band)} if it comes out as predicted."
    )


def _settling(at: RateSetting) -> list[NextReading]:
    """The further readings that would tell whether the setting is in band."""
    return [one for one in at.next_readings if one.verdict is not Verdict.CANNOT_TELL]


def _next_blocks(ledger: Ledger, tuning: Tuning, at: RateSetting) -> list[Block]:
    settling = _settling(at)
    if not settling:
        return []
    setting = words.setting_words(at.recommended.setting, tuning.ratio.unit, ledger.site)
    return [
        Heading(
            3,
            f"One more reading at {setting} "
            f"({words.number_words(at.line_rate_per_h)} vehicles an hour)",
        ),
        Table(
            (
                left("Way"),
                right("Takes"),
                right("Its own U"),
                right("U of the prediction then"),
                right("In band"),
                left("Verdict"),
            ),
            [
                (
                    reading.way,
                    f"{fixed(reading.seconds, 0)} s",
                    shown_uncertainty(2 * reading.u_reading_rpm),
                    shown_uncertainty(
                        Speed(
                            rpm=at.recommended.speed.rpm,
                            u_rpm=reading.u_after_rpm,
                            dof=at.recommended.speed.dof,
                        ).expanded()
                    ),
                    shown_probability(reading.p_in_band),
                    reading.verdict.value,
                )
                for reading in settling
            ],
        ),
    ]

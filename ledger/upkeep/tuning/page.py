"""Recommended settings: for every drive that can be set, what each line rate asks for.

The tables of a drive's settings: what each line rate asks for, and the readings behind it.
"""

from collections.abc import Sequence

from ledger.book import words
from ledger.book.addresses import TUNING_PAGE
from ledger.book.blocks import (
    VERDICT,
    Block,
    Bullets,
    Caution,
    Heading,
    Link,
    Page,
    Paragraph,
    Picture,
    Spans,
    Strong,
    Table,
    left,
    right,
)
from ledger.book.method import pointer
from ledger.book.words import format_unit, in_shown_unit
from ledger.compute.band import Verdict
from ledger.compute.numbers import fixed, shown, shown_probability, shown_uncertainty
from ledger.compute.ratio import RatioFit
from ledger.compute.speed import Speed
from ledger.compute.tuning import NextReading
from ledger.model.ledger import Ledger
from ledger.upkeep.drift.found import Drift
from ledger.upkeep.register.words import format_pending_claims, format_still_moving
from ledger.upkeep.speeds.found import SpeedResult, fit_of, format_raw
from ledger.upkeep.speeds.page import format_ratio
from ledger.upkeep.tuning.found import RateSetting, SettingOutlook, Tuning
from ledger.upkeep.tuning.plot import settings_plot
from ledger.upkeep.tuning.words import (
    CAUTION,
    cautions_for,
    format_bracket,
    format_change_of_ratio,
    format_coming,
    format_count_first,
    format_no_need,
    format_step,
    range_of_setting,
    rate_notes,
)


def rates_table(ledger: Ledger, tuning: Tuning) -> Table:
    """What each line rate asks for, what to expect of it and what was read there."""
    site, unit = ledger.site, tuning.ratio.unit
    shown_unit = format_unit(unit, site)
    by_setting = _by_setting(tuning)
    return Table(
        (
            right("Vehicles/h"),
            right("Band, target"),
            right("Set to"),
            right("Change"),
            right("Predicted r/min ± U"),
            right("In band"),
            right("Confirmed r/min ± U (readings)"),
            right(f"Exact {shown_unit}"),
        ),
        [
            (
                words.format_number(at.line_rate_per_h),
                _format_band(at),
                Strong(words.format_setting(at.recommended.setting, unit, site)),
                words.NONE
                if at.step_in_force is None
                else format_step(at.step_in_force, unit, site),
                words.format_speed(at.recommended.speed),
                shown_probability(at.recommended.p_in_band),
                _format_confirmed(by_setting.get(round(at.recommended.setting, 6), ())),
                range_of_setting(at.range, unit, site),
            )
            for at in tuning.rates
        ],
    )


def _format_band(at: RateSetting) -> str:
    """`75–85, 80`: the band and the target."""
    target = words.format_number(round(at.recommended.target_rpm, 1))
    return f"{words.format_range(at.band.low, at.band.high)}, {target}"


def readings_table(ledger: Ledger, tuning: Tuning) -> Table:
    """The readings in use, gathered by setting: what the picture shows, in numbers."""
    site, unit = ledger.site, tuning.ratio.unit
    rows: list[tuple[Spans, ...]] = []
    for setting, results in sorted(_by_setting(tuning).items()):
        fit = fit_of(results)
        if fit is None:
            continue
        per = 1 / in_shown_unit(1.0, unit, site)
        rows.append(
            (
                words.format_setting(setting, unit, site),
                str(len(results)),
                words.format_speed(_mean_speed(fit, setting)),
                shown(fit.rpm_per_unit * per, fit.expanded() * per),
                words.format_day(results[0].entry.day),
                words.format_day(results[-1].entry.day),
                _last_raw(results),
            )
        )
    return Table(
        (
            right("Read at"),
            right("Readings"),
            right("Measured mean, r/min ± U"),
            right(f"r/min per {format_unit(unit, site)} ± U"),
            left("First read"),
            left("Last read"),
            left("The last reading"),
        ),
        rows,
    )


def each_reading_table(ledger: Ledger, tuning: Tuning) -> Table:
    """The readings one by one, newest first, for a person to tell which is wrong."""
    site, unit = ledger.site, tuning.ratio.unit
    return Table(
        (
            left("Date"),
            left("Read"),
            right("Read at"),
            right("r/min ± U"),
            right(f"r/min per {format_unit(unit, site)}"),
            left("Entry"),
        ),
        [
            (
                words.format_day(result.entry.day),
                words.NONE if result.entry.speed is None else format_raw(result.entry.speed),
                words.format_setting(result.setting, unit, site),
                words.format_speed(result.speed),
                shown(
                    result.speed.rpm / in_shown_unit(result.setting, unit, site),
                    result.speed.expanded() / in_shown_unit(result.setting, unit, site),
                ),
                words.entry_link(ledger, result.entry.ref),
            )
            for result in reversed(tuning.ratio.used)
            if result.speed is not None and result.setting
        ],
        newest_first=True,
    )


def _by_setting(tuning: Tuning) -> dict[float, list[SpeedResult]]:
    """The readings in use by the setting they were taken at."""
    found: dict[float, list[SpeedResult]] = {}
    for result in tuning.ratio.used:
        if result.setting is not None:
            found.setdefault(round(result.setting, 6), []).append(result)
    return found


def _mean_speed(fit: RatioFit, setting: float) -> Speed:
    return Speed(rpm=fit.rpm_per_unit * setting, u_rpm=fit.u_rpm_per_unit * setting, dof=fit.dof)


def _format_confirmed(results: Sequence[SpeedResult]) -> str:
    """What was read at a setting, or that nothing was."""
    fit = fit_of(results)
    if fit is None or not results:
        return "not yet"
    setting = results[0].setting
    if setting is None:
        return words.NONE
    return f"{words.format_speed(_mean_speed(fit, setting))} ({len(results)})"


def _last_raw(results: Sequence[SpeedResult]) -> str:
    reading = results[-1].entry.speed
    return words.NONE if reading is None else format_raw(reading)


def asked_table(asked: Sequence[SettingOutlook]) -> Table:
    """What to expect of one setting at each line rate."""
    return Table(
        (
            right("Vehicles/h"),
            right("Band, r/min"),
            right("Predicted r/min ± U"),
            right("In band"),
        ),
        [
            (
                words.format_number(at.line_rate_per_h),
                words.NONE if at.band is None else words.format_range(at.band.low, at.band.high),
                words.format_speed(at.speed),
                words.NONE if at.p_in_band is None else shown_probability(at.p_in_band),
            )
            for at in asked
        ],
    )


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
    return Page(path=TUNING_PAGE, title="Recommended settings", blocks=blocks)


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
        notes.append(format_ratio(tuning.ratio, site))
        notes.extend(format_still_moving(drifting, tuning.ratio, site))
    for at in tuning.rates:
        notes.extend(rate_notes(tuning, at, site))
        notes.extend(format_no_need(tuning, at, site))
    if tuning.ratio_change is not None:
        notes.extend(format_change_of_ratio(tuning.ratio_change))
    notes.extend(_format_best_next(at) for at in _unsure(tuning))
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
        setting = words.format_setting(asked_setting, tuning.ratio.unit, site)
        blocks.append(Heading(2, f"At {setting}"))
        blocks.append(asked_table(asked) if asked else Paragraph("Its ratio is not known."))
        cautions = [f"{caution.value}." for caution in (asked[0].cautions if asked else ())]
        if cautions:
            blocks.append(Bullets(cautions))
    blocks.append(
        Heading(2, "Recommended" if tuning.count_first is None else "What was read so far")
    )
    blocks.extend(drive_blocks(ledger, tuning, drifting))
    bracket = format_bracket(tuning, site)
    if bracket:
        blocks.append(Paragraph(bracket))
    unsure = _unsure(tuning)
    for at in unsure:
        blocks.extend(_next_blocks(ledger, tuning, at))
    if tuning.rates and not unsure:
        blocks.append(Paragraph("Enough is known: one more reading would change no setting."))
    blocks.append(Caution(cautions_for(tuning.machine)))
    return Page(path=TUNING_PAGE, title=f"{tuning.machine.name}: setting", blocks=blocks)


def _count_first(ledger: Ledger, tuning: Tuning) -> list[Block]:
    if tuning.count_first is None:
        return []
    return [Paragraph(format_count_first(tuning.count_first, tuning.ratio.unit, ledger.site))]


def _unsure(tuning: Tuning) -> list[RateSetting]:
    return [at for at in tuning.rates if at.verdict is Verdict.CANNOT_TELL]


def _in_force(ledger: Ledger, tuning: Tuning) -> str:
    claims = format_pending_claims(ledger.setpoints.get(tuning.machine.ident), ledger.site)
    return " ".join((_approved(ledger, tuning), *claims))


def _approved(ledger: Ledger, tuning: Tuning) -> str:
    change, coming = tuning.change_in_force, format_coming(tuning.coming, ledger.site)
    if change is None:
        return f"No approved setting is in force{coming}."
    said = (
        f"In force: {words.format_change(change, ledger.site)} from "
        f"{words.format_day(change.first_day)} for {words.format_number(change.line_rate_per_h)} "
        "vehicles an hour"
    )
    if tuning.count_first is not None:
        return f"{said}; the speed that it gives is in doubt{coming}."
    if tuning.in_force is None:
        return f"{said}{coming}."
    said += f"; predicted {words.format_speed(tuning.in_force.speed)} r/min"
    if tuning.in_force.p_in_band is not None:
        said += f", {shown_probability(tuning.in_force.p_in_band)} chance of being in band"
    return f"{said}{coming}."


def _format_best_next(at: RateSetting) -> str:
    chance = (
        f"At {words.format_number(at.line_rate_per_h)} vehicles an hour the chance of being in "
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
    setting = words.format_setting(at.recommended.setting, tuning.ratio.unit, ledger.site)
    return [
        Heading(
            3,
            f"One more reading at {setting} "
            f"({words.format_number(at.line_rate_per_h)} vehicles an hour)",
        ),
        Table(
            (
                left("Way"),
                right("Takes"),
                right("Its own U"),
                right("U of the prediction then"),
                right("In band"),
                VERDICT,
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

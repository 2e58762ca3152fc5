"""Recommended settings: for every drive that can be set, what each line rate asks for."""

from collections.abc import Sequence

from ledger.assess.ratios import fit_of
from ledger.assess.speeds import SpeedResult, raw_words
from ledger.assess.tuning import RateSetting, SettingOutlook, Tuning
from ledger.compute.band import Verdict
from ledger.compute.ratio import RatioFit
from ledger.compute.rounding import fixed, shown, shown_probability, shown_uncertainty
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
    Strong,
    Table,
    left,
    right,
)
from ledger.report.pages import methods
from ledger.report.pages.settings_plot import settings_plot
from ledger.report.pages.settings_words import (
    CAUTION,
    bracket_words,
    cautions_for,
    change_of_ratio_words,
    count_first_words,
    in_shown_unit,
    no_need_words,
    range_of_setting,
    rate_notes,
    ratio_words,
    step_words,
    unit_words,
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


def settings_page(ledger: Ledger, found: Sequence[Tuning]) -> Page:
    """Depends on the sources only."""
    blocks: list[Block] = [
        Paragraph(METHOD),
        methods.pointer("Settings"),
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
        blocks.extend(drive_blocks(ledger, tuning))
    return Page(path=PATH, title="Recommended settings", blocks=blocks)


def drive_blocks(ledger: Ledger, tuning: Tuning) -> list[Block]:
    """The table of line rates, what to mind, the picture and the readings behind it."""
    site = ledger.site
    blocks: list[Block] = []
    if tuning.gap:
        blocks.append(Paragraph(f"No setting is recommended: {tuning.gap}."))
    elif tuning.rates:
        blocks.append(_rates_table(ledger, tuning))
    notes: list[Spans] = []
    if tuning.count_first is None:
        notes.append(ratio_words(tuning.ratio, site))
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
            _readings_table(ledger, tuning)
            if tuning.count_first is None
            else _each_reading_table(ledger, tuning)
        )
    return blocks


def tune_page(
    ledger: Ledger, tuning: Tuning, asked: Sequence[SettingOutlook], asked_setting: float | None
) -> Page:
    """The answer of the command: one drive, with what one more reading would buy.

    `asked` is what to expect of `asked_setting` at each line rate, where that was asked.
    """
    site = ledger.site
    blocks: list[Block] = [*_count_first(ledger, tuning), Paragraph(_in_force(ledger, tuning))]
    if asked_setting is not None:
        setting = words.setting_words(asked_setting, tuning.ratio.unit, site)
        blocks.append(Heading(2, f"At {setting}"))
        blocks.append(_asked_table(asked) if asked else Paragraph("Its ratio is not known."))
        cautions = [f"{caution.value}." for caution in (asked[0].cautions if asked else ())]
        if cautions:
            blocks.append(Bullets(cautions))
    blocks.append(
        Heading(2, "Recommended" if tuning.count_first is None else "What was read so far")
    )
    blocks.extend(drive_blocks(ledger, tuning))
    bracket = bracket_words(tuning, site)
    if bracket:
        blocks.append(Paragraph(bracket))
    unsure = _unsure(tuning)
    for at in unsure:
        blocks.extend(_next_blocks(ledger, tuning, at))
    if tuning.rates and not unsure:
        blocks.append(Paragraph("Enough is known: one more reading would change no setting."))
    shown = cautions_for(tuning.machine)
    blocks.append(Caution(shown))
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
    change = tuning.change_in_force
    if change is None:
        return "No approved setting is in force."
    said = (
        f"In force: {words.change_words(change, ledger.site)} from "
        f"{words.day_words(change.first_day)} for {words.number_words(change.line_rate_per_h)} "
        "vehicles an hour"
    )
    if tuning.count_first is not None:
        return f"{said}; the speed that it gives is in doubt."
    if tuning.in_force is None:
        return f"{said}."
    said += f"; predicted {words.speed_words(tuning.in_force.speed)} r/min"
    if tuning.in_force.p_in_band is not None:
        said += f", {shown_probability(tuning.in_force.p_in_band)} chance of being in band"
    return f"{said}."


def _rates_table(ledger: Ledger, tuning: Tuning) -> Table:
    site, unit = ledger.site, tuning.ratio.unit
    shown_unit = unit_words(unit, site)
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
                words.number_words(at.line_rate_per_h),
                _band_words(at),
                Strong(words.setting_words(at.recommended.setting, unit, site)),
                words.NONE
                if at.step_in_force is None
                else step_words(at.step_in_force, unit, site),
                words.speed_words(at.recommended.speed),
                shown_probability(at.recommended.p_in_band),
                _confirmed_words(by_setting.get(round(at.recommended.setting, 6), ())),
                range_of_setting(at.range, unit, site),
            )
            for at in tuning.rates
        ],
    )


def _band_words(at: RateSetting) -> str:
    """`75–85, 80`: the band and the target."""
    target = words.number_words(round(at.recommended.target_rpm, 1))
    return f"{words.range_words(at.band.low, at.band.high)}, {target}"


def _readings_table(ledger: Ledger, tuning: Tuning) -> Table:
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
                words.setting_words(setting, unit, site),
                str(len(results)),
                words.speed_words(_mean_speed(fit, setting)),
                shown(fit.rpm_per_unit * per, fit.expanded() * per),
                words.day_words(results[0].entry.day),
                words.day_words(results[-1].entry.day),
                _last_raw(results),
            )
        )
    return Table(
        (
            right("Read at"),
            right("Readings"),
            right("Measured mean, r/min ± U"),
            right(f"r/min per {unit_words(unit, site)} ± U"),
            left("First read"),
            left("Last read"),
            left("The last reading"),
        ),
        rows,
    )


def _each_reading_table(ledger: Ledger, tuning: Tuning) -> Table:
    """The readings one by one, newest first, for a person to tell which is wrong."""
    site, unit = ledger.site, tuning.ratio.unit
    return Table(
        (
            left("Date"),
            left("Read"),
            right("Read at"),
            right("r/min ± U"),
            right(f"r/min per {unit_words(unit, site)}"),
            left("Entry"),
        ),
        [
            (
                words.day_words(result.entry.day),
                words.NONE if result.entry.speed is None else raw_words(result.entry.speed),
                words.setting_words(result.setting, unit, site),
                words.speed_words(result.speed),
                shown(
                    result.speed.rpm / in_shown_unit(result.setting, unit, site),
                    result.speed.expanded() / in_shown_unit(result.setting, unit, site),
                ),
                words.entry_link(ledger, result.entry.ref),
            )
            for result in reversed(tuning.ratio.used)
            if result.speed is not None and result.setting
        ],
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


def _confirmed_words(results: Sequence[SpeedResult]) -> str:
    """What was read at a setting, or that nothing was."""
    fit = fit_of(results)
    if fit is None or not results:
        return "not yet"
    setting = results[0].setting
    if setting is None:
        return words.NONE
    return f"{words.speed_words(_mean_speed(fit, setting))} ({len(results)})"


def _last_raw(results: Sequence[SpeedResult]) -> str:
    reading = results[-1].entry.speed
    return words.NONE if reading is None else raw_words(reading)


def _asked_table(asked: Sequence[SettingOutlook]) -> Table:
    return Table(
        (
            right("Vehicles/h"),
            right("Band, r/min"),
            right("Predicted r/min ± U"),
            right("In band"),
        ),
        [
            (
                words.number_words(at.line_rate_per_h),
                words.NONE if at.band is None else words.range_words(at.band.low, at.band.high),
                words.speed_words(at.speed),
                words.NONE if at.p_in_band is None else shown_probability(at.p_in_band),
            )
            for at in asked
        ],
    )


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

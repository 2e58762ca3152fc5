"""The tables of a drive's settings: what each line rate asks for, and the readings behind it."""

from collections.abc import Sequence

from ledger.assess.ratios import fit_of
from ledger.assess.speeds import SpeedResult, raw_words
from ledger.assess.tuning import RateSetting, SettingOutlook, Tuning
from ledger.compute.ratio import RatioFit
from ledger.compute.rounding import shown, shown_probability
from ledger.compute.speed import Speed
from ledger.model.ledger import Ledger
from ledger.report import words
from ledger.report.blocks import Spans, Strong, Table, left, right
from ledger.report.pages.settings_words import (
    in_shown_unit,
    range_of_setting,
    step_words,
    unit_words,
)


def rates_table(ledger: Ledger, tuning: Tuning) -> Table:
    """What each line rate asks for, what to expect of it and what was read there."""
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


def each_reading_table(ledger: Ledger, tuning: Tuning) -> Table:
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
                words.number_words(at.line_rate_per_h),
                words.NONE if at.band is None else words.range_words(at.band.low, at.band.high),
                words.speed_words(at.speed),
                words.NONE if at.p_in_band is None else shown_probability(at.p_in_band),
            )
            for at in asked
        ],
    )

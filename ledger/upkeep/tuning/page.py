"""Recommended settings: for each drive what each line rate asks for, and the readings behind it."""

from collections.abc import Iterator, Sequence

from ledger.book import words
from ledger.book.addresses import REGISTER_PAGE, TUNING_PAGE
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
    right,
)
from ledger.book.plain import kept
from ledger.compute.band import Verdict
from ledger.compute.numbers import fixed, shown, shown_probability, shown_uncertainty
from ledger.compute.ratio import RatioFit, predict
from ledger.compute.speed import Speed
from ledger.compute.tuning import NextReading
from ledger.model.ledger import Ledger
from ledger.upkeep.findings.found import open_findings
from ledger.upkeep.register.found import RegisterLine
from ledger.upkeep.register.page import found_facts, since_blocks, since_row
from ledger.upkeep.register.words import format_pending_claims
from ledger.upkeep.speeds.found import SpeedResult
from ledger.upkeep.speeds.ratios import fit_of, neighbours_of
from ledger.upkeep.speeds.words import format_beside, format_with_doubt, ratio_facts
from ledger.upkeep.tuning import words as tuning_words
from ledger.upkeep.tuning.found import RateSetting, SettingOutlook, Tuning
from ledger.upkeep.tuning.plot import settings_plot
from ledger.values import dataclass, grouped, replace

METHOD = (
    "For each line rate: the setting that brings the shaft to its target speed, by the speeds that "
    "were read on this drive since its motor, belt, reduction or strips were last changed. "
    "Predicted is the speed to expect at a setting. Confirmed is the speed that was read at that "
    "setting; not yet means that nobody has read it there. In band is the chance that the speed is "
    "in its band. The exact setting for the target lies between the two values in the last column. "
    "The true value is within ± U in about 95 of 100 cases."
)


@kept
@dataclass(frozen=True, slots=True)
class TuningRows:
    """What the page says of some drives."""

    since: Sequence[Sequence[Spans]]
    sections: Sequence[Block]


def tuning_rows(
    ledger: Ledger,
    found: Sequence[Tuning],
    lines: Sequence[RegisterLine],
    results: Sequence[SpeedResult],
) -> TuningRows:
    """Of the drives of a ledger, or of a part of it."""
    sections: list[Block] = []
    for tuning, line in zip(found, lines, strict=True):
        link = words.machine_link(tuning.machine)
        sections += [
            Heading(2, tuning.machine.name),
            Paragraph((link, ". ", _in_force(ledger, tuning))),
            *_count_first(ledger, tuning),
            *drive_blocks(ledger, tuning, found_facts(ledger, line, results)),
        ]
    return TuningRows([since_row(ledger, line) for line in lines], sections)


def settings_page(of: Sequence[TuningRows]) -> Page:
    """The page of all rows, which stand in walking order. Depends on the sources only."""
    blocks: list[Block] = [
        Paragraph(METHOD),
        words.pointer("Settings"),
        Paragraph(
            (
                "What is approved and in force is in ",
                Link("the register of drive settings", REGISTER_PAGE),
                ". A setting that is recommended here is not approved.",
            )
        ),
        Caution(tuning_words.CAUTION),
    ]
    since = [row for rows in of for row in rows.since]
    if not since:
        blocks.append(Paragraph("No machine has a drive with limits, so there is nothing to set."))
    else:
        blocks.extend(since_blocks(since))
    blocks.extend(block for rows in of for block in rows.sections)
    return Page(path=TUNING_PAGE, title="Recommended settings", blocks=blocks)


def tune_page(
    ledger: Ledger, tuning: Tuning, outlooks: Sequence[SettingOutlook], asked_setting: float | None
) -> Page:
    """The answer of the command: one drive, with what one more reading would buy.

    `outlooks` is what to expect of `asked_setting` at each line rate, where that was asked.
    """
    site = ledger.site
    blocks: list[Block] = [*_count_first(ledger, tuning), Paragraph(_in_force(ledger, tuning))]
    if asked_setting is not None:
        blocks.extend(_asked(ledger, tuning, outlooks, asked_setting))
    facts = ratio_facts(tuning.ratio, site) if tuning.count_first is None else []
    blocks += [
        Heading(2, "Recommended" if tuning.count_first is None else "What was read so far"),
        *drive_blocks(ledger, tuning, facts),
    ]
    if bracket := tuning_words.format_bracket(tuning, site):
        blocks.append(Paragraph(bracket))
    unsure = _unsure(tuning)
    for at in unsure:
        blocks.extend(_next_blocks(ledger, tuning, at))
    if tuning.rates and not unsure:
        blocks.append(Paragraph("Enough is known: one more reading would change no setting."))
    blocks.append(Caution(tuning_words.cautions_for(tuning.machine)))
    return Page(path=TUNING_PAGE, title=f"{tuning.machine.name}: setting", blocks=blocks)


def _asked(
    ledger: Ledger, tuning: Tuning, outlooks: Sequence[SettingOutlook], asked_setting: float
) -> Iterator[Block]:
    """What to expect of one setting at each line rate."""
    unit, limits = tuning.ratio.unit, tuning.limits
    yield Heading(2, f"At {words.format_setting(asked_setting, unit, ledger.site)}")
    if not outlooks:
        yield Paragraph("Its ratio is not known.")
        return
    yield Table.of(
        outlooks,
        (right("Vehicles/h"), lambda at: words.format_number(at.line_rate_per_h)),
        (right("Band, r/min"), lambda at: words.format_band(at.band)),
        (right("Predicted r/min ± U"), lambda at: words.format_speed(at.speed)),
        (right("In band"), lambda at: words.or_dash(at.p_in_band, shown_probability)),
    )
    notes = [f"{caution.value.capitalize()}." for caution in outlooks[0].cautions]
    if limits is not None and not limits.lowest <= asked_setting <= limits.highest:
        ends = (limits.lowest, limits.highest)
        between = " to ".join(words.format_setting(end, unit, ledger.site) for end in ends)
        notes.insert(0, f"The drive is limited to settings from {between}.")
    if notes:
        yield Bullets(notes)


def drive_blocks(ledger: Ledger, tuning: Tuning, facts: Sequence[Spans]) -> Iterator[Block]:
    """The table of line rates, `facts` and what to mind, the picture, the readings behind it."""
    yield from _worn_motor(ledger, tuning)
    if tuning.gap:
        yield Paragraph(f"No setting is recommended: {tuning.gap}.")
    elif tuning.rates:
        yield _rates_table(ledger, tuning)
    notes = [*facts]
    for at in tuning.rates:
        notes.extend(tuning_words.format_rate_notes(tuning, at, ledger.site))
    change = tuning.ratio_change
    if change is not None and (moved := tuning_words.format_change_of_ratio(change)):
        notes.append(moved)
    notes.extend(_format_best_next(at) for at in _unsure(tuning))
    if any(at.step_in_force for at in tuning.rates):
        beside = format_beside(neighbours_of(ledger, tuning.machine))
        notes.extend(f"After a change: {also}" for also in beside)
    if notes:
        yield Bullets(notes)
    if tuning.ratio.used:
        plot = settings_plot(ledger, tuning)
        yield Picture(f"plots/settings-{tuning.machine.ident}.svg", plot)
        table = _readings_table if tuning.count_first is None else _each_reading_table
        yield table(ledger, tuning)


def _worn_motor(ledger: Ledger, tuning: Tuning) -> Iterator[Block]:
    """The finding that a worn oil motor leads to: more oil would only hide the wear."""
    change = tuning.ratio_change
    if change is None or change.oil_motor is None or not change.oil_motor.is_worn:
        return
    ident = tuning.machine.ident
    reports = (one.entry for one in open_findings(ledger) if one.entry.places[0].machine == ident)
    report, worn = next(reports, None), Strong("The oil motor is worn")
    if report is None:
        yield Paragraph((worn, ": file a finding of it before the flow is raised."))
        return
    first = f". Before a higher flow, settle the finding of {words.format_day(report.day)} at "
    finding = f": {report.finding.rstrip('.')}."
    yield Paragraph((worn, first, words.machine_link(tuning.machine), finding))


def _count_first(ledger: Ledger, tuning: Tuning) -> Iterator[Block]:
    first = tuning.count_first
    if first is not None:
        unit = tuning.ratio.unit
        yield Paragraph(tuning_words.format_count_first(first, unit, ledger.site))


def _in_force(ledger: Ledger, tuning: Tuning) -> str:
    claims = format_pending_claims(ledger.setpoints.get(tuning.machine.ident), ledger.site)
    return " ".join((_approved(ledger, tuning), *claims))


def _approved(ledger: Ledger, tuning: Tuning) -> str:
    change = tuning.change_in_force
    coming = tuning_words.format_coming(tuning.coming, ledger.site)
    if change is None:
        return f"No approved setting is in force{coming}."
    rate = words.format_number(change.line_rate_per_h)
    held = words.format_change_from(change, ledger.site)
    text = f"In force: {held} for {rate} vehicles an hour"
    if tuning.count_first is not None:
        text += "; the speed that it gives is in doubt"
    elif tuning.in_force is not None:
        text += f"; predicted {words.format_speed(tuning.in_force.speed)} r/min"
        if tuning.in_force.p_in_band is not None:
            text += f", {shown_probability(tuning.in_force.p_in_band)} chance of being in band"
    return f"{text}{coming}."


def _rates_table(ledger: Ledger, tuning: Tuning) -> Table:
    """What each line rate asks for, what to expect of it and what was read there."""
    site, unit = ledger.site, tuning.ratio.unit
    read = _by_setting(tuning)

    def band(at: RateSetting) -> str:
        target = words.format_number(round(at.recommended.target_rpm, 1))
        return f"{words.format_range(at.band.low, at.band.high)}, {target}"

    def change(at: RateSetting) -> str:
        step = at.step_in_force
        return words.NONE if step is None else tuning_words.format_step(step, unit, site)

    def confirmed(at: RateSetting) -> str:
        setting = round(at.recommended.setting, 6)
        results = read.get(setting, ())
        fit = fit_of(results)
        return "not yet" if fit is None else f"{_speed_at(fit, setting)} ({len(results)})"

    return Table.of(
        tuning.rates,
        (right("Vehicles/h"), lambda at: words.format_number(at.line_rate_per_h)),
        (right("Band, target"), band),
        (
            right("Set to"),
            lambda at: Strong(words.format_setting(at.recommended.setting, unit, site)),
        ),
        (right("Change"), change),
        (right("Predicted r/min ± U"), lambda at: words.format_speed(at.recommended.speed)),
        (right("In band"), lambda at: shown_probability(at.recommended.p_in_band)),
        (right("Confirmed r/min ± U (readings)"), confirmed),
        (
            right(f"Exact {words.format_unit(unit, site)}"),
            lambda at: tuning_words.format_setting_range(at.range, unit, site),
        ),
    )


def _readings_table(ledger: Ledger, tuning: Tuning) -> Table:
    """The readings in use, gathered by setting: what the picture shows, in numbers."""
    site, unit = ledger.site, tuning.ratio.unit
    per = 1 / words.in_shown_unit(1.0, unit, site)
    fits = [
        (setting, fit, results)
        for setting, results in sorted(_by_setting(tuning).items())
        if (fit := fit_of(results)) is not None
    ]
    return Table.of(
        fits,
        (right("Read at"), lambda row: words.format_setting(row[0], unit, site)),
        (right("Readings"), lambda row: str(len(row[2]))),
        (right("Measured mean, r/min ± U"), lambda row: _speed_at(row[1], row[0])),
        (
            right(f"r/min per {words.format_unit(unit, site)} ± U"),
            lambda row: shown(row[1].rpm_per_unit * per, row[1].expanded() * per),
        ),
        ("First read", lambda row: words.format_day(row[2][0].entry.day)),
        ("Last read", lambda row: words.format_day(row[2][-1].entry.day)),
        ("The last reading", lambda row: format_with_doubt(row[2][-1])),
    )


def _each_reading_table(ledger: Ledger, tuning: Tuning) -> Table:
    """The readings one by one, newest first, for a person to tell which is wrong."""
    site, unit = ledger.site, tuning.ratio.unit
    rows = [
        (result, result.setting, result.speed)
        for result in reversed(tuning.ratio.used)
        if result.speed is not None and result.setting
    ]

    def ratio(setting: float, speed: Speed) -> str:
        at = words.in_shown_unit(setting, unit, site)
        return shown(speed.rpm / at, speed.expanded() / at)

    return Table.of(
        rows,
        ("Date", lambda row: words.format_day(row[0].entry.day)),
        ("Read", lambda row: format_with_doubt(row[0])),
        (right("Read at"), lambda row: words.format_setting(row[1], unit, site)),
        (right("r/min ± U"), lambda row: words.format_speed(row[2])),
        (right(f"r/min per {words.format_unit(unit, site)}"), lambda row: ratio(row[1], row[2])),
        ("Entry", lambda row: words.entry_link(ledger, row[0].entry.ref)),
        newest_first=True,
    )


def _speed_at(fit: RatioFit, setting: float) -> str:
    return words.format_speed(predict(fit, setting))


def _by_setting(tuning: Tuning) -> dict[float, list[SpeedResult]]:
    """The readings in use by the setting they were taken at."""
    at = (result for result in tuning.ratio.used if result.setting is not None)
    return grouped(at, lambda result: round(result.setting or 0.0, 6))


def _unsure(tuning: Tuning) -> list[RateSetting]:
    return [at for at in tuning.rates if at.verdict is Verdict.CANNOT_TELL]


def _format_best_next(at: RateSetting) -> str:
    chance = (
        f"At {words.format_number(at.line_rate_per_h)} vehicles an hour the chance of being in "
        f"band is {shown_probability(at.recommended.p_in_band)}. "
    )
    best = min(_settling(at), key=lambda reading: reading.seconds, default=None)
    if best is None:
        return chance + "The speed lies so near the end of the band that no one reading settles it."
    return (
        f"{chance}One more reading there, {best.way} ({fixed(best.seconds, 0)} s), would make it "
        f"{shown_probability(best.p_in_band)} if it comes out as predicted."
    )


def _next_blocks(ledger: Ledger, tuning: Tuning, at: RateSetting) -> Iterator[Block]:
    def after(reading: NextReading) -> str:
        speed = replace(at.recommended.speed, u_rpm=reading.u_after_rpm)
        return shown_uncertainty(speed.expanded())

    settling = _settling(at)
    if settling:
        setting = words.format_setting(at.recommended.setting, tuning.ratio.unit, ledger.site)
        rate = words.format_number(at.line_rate_per_h)
        yield Heading(3, f"One more reading at {setting} ({rate} vehicles an hour)")
        yield Table.of(
            settling,
            ("Way", lambda reading: reading.way),
            (right("Takes"), lambda reading: f"{fixed(reading.seconds, 0)} s"),
            (right("Its own U"), lambda reading: shown_uncertainty(2 * reading.u_reading_rpm)),
            (right("U of the prediction then"), after),
            (right("In band"), lambda reading: shown_probability(reading.p_in_band)),
            (VERDICT, lambda reading: words.marked(reading.verdict.value)),
        )


def _settling(at: RateSetting) -> list[NextReading]:
    """The further readings that would tell whether the setting is in band."""
    return [one for one in at.next_readings if one.verdict is not Verdict.CANNOT_TELL]

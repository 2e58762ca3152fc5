"""Shaft speeds: the last reading of every brush, then all of them, with uncertainty and verdict."""

from collections.abc import Mapping, Sequence

from ledger.assess.speeds import SpeedResult, advice, band_of, raw_words
from ledger.compute.band import Verdict
from ledger.compute.rounding import shown_probability
from ledger.model.ledger import Ledger
from ledger.model.machines import Machine
from ledger.report import words
from ledger.report.anchor import anchor_of
from ledger.report.blocks import (
    Block,
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
from ledger.report.pages.method import pointer
from ledger.report.plot import Axis, AxisKind, Event, Mark, Plot, Sample, Samples, Zone

PATH = "speeds.md"

METHOD = (
    "Each speed is shown with ± U: the true speed lies inside it in about 95 of 100 readings. A "
    "verdict is given where the chance of being on one side is at least 95 %; otherwise the "
    "reading cannot tell, and To tell says what count would."
)

_MARKS = {
    Verdict.IN_BAND: ("in band", Mark.DISC),
    Verdict.OUT_OF_BAND: ("out of band", Mark.CROSS),
    Verdict.CANNOT_TELL: ("cannot tell", Mark.RING),
    None: ("no band stated", Mark.DIAMOND),
}


def speeds_page(ledger: Ledger, results: Sequence[SpeedResult]) -> Page:
    """Depends on the sources only: the last reading of each machine, then all, newest first."""
    by_machine: dict[str, list[SpeedResult]] = {}
    for result in results:
        by_machine.setdefault(result.machine, []).append(result)
    blocks: list[Block] = [Paragraph(METHOD), pointer("Speeds")]
    if not by_machine:
        blocks.append(Paragraph("No speed has been read yet."))
    else:
        blocks.extend((Heading(2, "Last readings"), _last_readings(ledger, by_machine)))
    for machine in ledger.machines.values():
        if machine.ident in by_machine:
            blocks.extend(_machine(ledger, machine, by_machine[machine.ident]))
    return Page(path=PATH, title="Shaft speeds", blocks=blocks)


def speed_table(ledger: Ledger, results: Sequence[SpeedResult]) -> Table:
    """The readings of one machine, newest first."""
    return Table(
        (
            left("Date"),
            right("r/min ± U"),
            left("Verdict"),
            right("Band"),
            right("In band"),
            left("To tell"),
            left("Read"),
            right("Set at"),
            left("Entry"),
        ),
        [_row(ledger, result) for result in reversed(results)],
    )


def speed_plot(ledger: Ledger, machine: Machine, results: Sequence[SpeedResult]) -> Plot:
    """Speeds over time with the band in force at the site's line rate."""
    by_verdict: dict[Verdict | None, list[Sample]] = {}
    for result in results:
        if result.speed is not None:
            by_verdict.setdefault(result.verdict, []).append(
                Sample(
                    x=result.entry.day.toordinal(),
                    y=result.speed.rpm,
                    half_width=result.speed.expanded(),
                )
            )
    band, _ = band_of(machine, ledger.site.line.line_rate_per_h)
    zones = [Zone(name="band", low=band.low, high=band.high)] if band else []
    drive = ledger.setpoints.get(machine.ident)
    events = [
        Event(x=change.first_day.toordinal(), label=words.change_words(change, ledger.site))
        for change in (drive.changes if drive else ())
        if change.is_approved
    ]
    events.extend(
        Event(x=entry.day.toordinal(), label=f"new {entry.changed.replace('-', ' ')}")
        for entry in ledger.standing_at(machine.ident)
        if entry.changed in {"motor", "belt", "reduction", "gearbox", "hydraulic-motor"}
    )
    return Plot(
        title=f"{machine.name}: shaft speed",
        summary=(
            f"{words.count_words(len(results), 'reading')} with expanded uncertainty"
            + (f", band {words.range_words(band.low, band.high)} r/min" if band else "")
        ),
        x=Axis(label="date", kind=AxisKind.DAY),
        y=Axis(label="shaft speed, r/min"),
        samples=[
            Samples(name=name, mark=mark, points=by_verdict[verdict])
            for verdict, (name, mark) in _MARKS.items()
            if verdict in by_verdict
        ],
        zones=zones,
        events=sorted(events, key=lambda event: (event.x, event.label)),
    )


def last_reading_words(results: Sequence[SpeedResult]) -> str:
    """The newest reading of one machine in a sentence; nothing where none was read."""
    if not results:
        return ""
    last = results[-1]
    band = "" if last.band is None else f" ({_band_words(last)})"
    verdict = "" if last.verdict is None else f", {last.verdict.value}"
    said = _speed_words(last) if last.speed is None else f"{_speed_words(last)} r/min"
    return f"Last read on {words.day_words(last.entry.day)}: {said}{verdict}{band}."


def _last_readings(ledger: Ledger, by_machine: Mapping[str, Sequence[SpeedResult]]) -> Table:
    return Table(
        (
            left("Machine"),
            right("r/min ± U"),
            left("Verdict"),
            right("Band"),
            left("Read on"),
            left("To tell"),
        ),
        [
            (
                Link(machine.name, f"{PATH}#{anchor_of(machine.name)}"),
                _speed_words(last),
                _verdict_words(last),
                _band_words(last),
                words.day_words(last.entry.day),
                _advice_words(ledger, last),
            )
            for machine in ledger.machines.values()
            if machine.ident in by_machine
            for last in by_machine[machine.ident][-1:]
        ],
    )


def _machine(ledger: Ledger, machine: Machine, results: Sequence[SpeedResult]) -> list[Block]:
    band, clamped = band_of(machine, ledger.site.line.line_rate_per_h)
    rate = words.number_words(ledger.site.line.line_rate_per_h)
    if band is None:
        sentence = "No band is stated for it."
    else:
        sentence = (
            f"Band at {rate} vehicles an hour: {words.range_words(band.low, band.high)} r/min."
            + (" The rate lies outside the rates stated; the nearest is used." if clamped else "")
        )
    return [
        Heading(2, machine.name),
        Paragraph((words.machine_link(machine), ". ", sentence)),
        Picture(f"plots/speed-{machine.ident}.svg", speed_plot(ledger, machine, results)),
        speed_table(ledger, results),
    ]


def _row(ledger: Ledger, result: SpeedResult) -> tuple[Spans, ...]:
    site = ledger.site
    reading = result.entry.speed
    return (
        words.day_words(result.entry.day),
        _speed_words(result),
        _verdict_words(result),
        _band_words(result),
        words.NONE if result.p_in_band is None else shown_probability(result.p_in_band),
        _advice_words(ledger, result),
        words.NONE if reading is None else raw_words(reading),
        words.NONE
        if result.setting is None
        else words.setting_words(result.setting, result.unit, site),
        str(result.entry.ref) + (" (corrects)" if result.entry.corrects else ""),
    )


def _speed_words(result: SpeedResult) -> str:
    return f"no speed: {result.flaw}" if result.speed is None else words.speed_words(result.speed)


def _verdict_words(result: SpeedResult) -> Spans:
    if result.verdict is None:
        return words.NONE
    said = result.verdict.value
    return Strong(said) if result.verdict is Verdict.OUT_OF_BAND else said


def _band_words(result: SpeedResult) -> str:
    return (
        words.NONE if result.band is None else words.range_words(result.band.low, result.band.high)
    )


def _advice_words(ledger: Ledger, result: SpeedResult) -> str:
    return advice(result, timing_u_s=ledger.site.policy.timing_u_s) or words.NONE

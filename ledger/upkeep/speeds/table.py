"""Readings as one long table: what was measured where, in SI units, speeds with uncertainty."""

from collections.abc import Iterator, Mapping, Sequence

from ledger.book.entry_words import format_raw
from ledger.book.flat import (
    Field,
    FlatTable,
    JsonRow,
    day,
    instant,
    json_rows,
    number,
    table,
    text,
    yes_no,
)
from ledger.model.ledger import Ledger
from ledger.model.readings import READINGS
from ledger.model.references import EntryRef
from ledger.model.visits import Entry
from ledger.upkeep.instruments.found import doubt_of
from ledger.upkeep.speeds.found import SpeedResult, by_entry
from ledger.values import dataclass

_OF_SPEED: tuple[Field[SpeedResult], ...] = (
    number("standard_uncertainty_rpm", "r/min",
           "Combined standard uncertainty of a speed (GUM 5.1.2).",
           lambda r: r.speed.u_rpm if r.speed else None),
    number("expanded_uncertainty_rpm", "r/min",
           "Expanded uncertainty of a speed, coverage about 95 %.",
           lambda r: r.speed.expanded() if r.speed else None),
    number("setting", "", "The drive's value during the reading.", lambda r: r.setting),
    text("setting_unit", "Hz, or L/min.", lambda r: r.unit),
    number("line_rate_per_h", "1/h", "Vehicles an hour during a speed reading.",
           lambda r: r.line_rate_per_h),
    number("band_low_rpm", "r/min", "Lower limit at that line rate.",
           lambda r: r.band.low if r.band else None),
    number("band_high_rpm", "r/min", "Upper limit at that line rate.",
           lambda r: r.band.high if r.band else None),
    yes_no("band_clamped", "Whether the line rate lies outside the rates stated.",
           lambda r: r.band_clamped),
    text("verdict", "In band, out of band, or cannot tell.",
         lambda r: r.verdict.value if r.verdict else None),
    number("p_in_band", "1", "Probability that the speed is within the limits (JCGM 106).",
           lambda r: r.p_in_band),
    text("flaw", "Why the raw numbers give no speed.", lambda r: r.flaw),
)  # fmt: skip
"""What is said of a speed, in JSON and in the export of all readings."""


def speed_rows(results: Sequence[SpeedResult]) -> list[JsonRow]:
    """One row a speed reading; speeds in r/min, settings in their own unit."""
    return json_rows(
        table(
            "speeds",
            "One reading of a speed.",
            results,
            (
                text("entry", "The entry.", lambda r: str(r.entry.ref)),
                day("day", "Its day at the site.", lambda r: r.entry.day),
                text("machine", "Id of the machine.", lambda r: r.machine),
                text("read", "Raw numbers of the speed.", lambda r: format_raw(r.entry.speed)),
                number("rpm", "r/min", "The speed.", lambda r: r.speed.rpm if r.speed else None),
                *_OF_SPEED,
                text("doubt", "Reasons to doubt the instrument.", lambda r: r.doubt),
            ),
        )
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Reading:
    entry: Entry
    quantity: str
    value: float | None
    unit: str
    speed: SpeedResult | None = None


def reading_table(ledger: Ledger, results: Sequence[SpeedResult]) -> FlatTable:
    """One row a quantity of a standing entry, by time."""
    speeds = by_entry(results)
    readings = [one for entry in ledger.standing for one in _of(entry, speeds)]
    return table(
        "readings",
        "One measured quantity of an entry that stands.",
        readings,
        (
            text("entry", "The entry.", lambda r: str(r.entry.ref.whole)),
            number("step", "", "Number of the count in a tuning session.",
                   lambda r: r.speed.entry.ref.step or None if r.speed else None),
            instant("at", "When it was read.", lambda r: r.entry.when),
            day("day", "That day at the site.", lambda r: r.entry.day),
            text("person", "Id of the person.", lambda r: r.entry.by),
            text("place", "Machine, or machine and point.", lambda r: str(r.entry.place or "")),
            text("task", "Id of the task it was read for.", lambda r: r.entry.task),
            text("quantity", "What was measured; a catch flow and a mean chain pitch are computed "
                 "from raw numbers, as a speed is.", lambda r: r.quantity),
            number("value", "", "The value, in `unit`.", lambda r: r.value),
            text("unit", "The unit of the value.", lambda r: r.unit),
            text("raw", "Raw numbers of a speed.",
                 lambda r: format_raw(r.entry.speed) if r.speed else None),
            text("instrument", "Id of the instrument.", lambda r: r.entry.instrument),
            text("doubt", "Reasons to doubt the instrument.",
                 lambda r: doubt_of(ledger, r.entry.instrument, r.entry.day)),
            *map(_of_its_speed, _OF_SPEED),
        ),
        refers="entry task",
        dated="day",
    )  # fmt: skip


def _of(entry: Entry, speeds: Mapping[EntryRef, Sequence[SpeedResult]]) -> Iterator[_Reading]:
    for result in speeds.get(entry.ref, ()):
        rpm = None if result.speed is None else result.speed.rpm
        yield _Reading(entry=result.entry, quantity="speed", value=rpm, unit="r/min", speed=result)
    setting = entry.setting
    if setting is not None and setting.stands_at is not None and not entry.reads_speed:
        yield _Reading(entry=entry, quantity="setting", value=setting.stands_at, unit=setting.unit)
    for kind in READINGS:
        if (reading := entry.readings[kind]) is None:
            continue
        for quantity, unit, value_of in kind.exported:
            value = value_of(reading)
            if value is not None:
                yield _Reading(entry=entry, quantity=quantity, value=value, unit=unit)


def _of_its_speed(field: Field[SpeedResult]) -> Field[_Reading]:
    return Field(field.column, lambda r: None if r.speed is None else field.value(r.speed))

"""The tables of the wear page."""

from ledger.assess.drift_series import BELT, STRIP_LENGTH
from ledger.assess.wear import ALLOWED_BOUNCES, FAULTS, NozzleGroup, Wear, WearItem
from ledger.compute.meter import MeterLog, total_on
from ledger.compute.rounding import fixed
from ledger.compute.wear import DamperVerdict
from ledger.model.ledger import Ledger
from ledger.model.machines import NozzleRating
from ledger.report import words
from ledger.report.blocks import Block, Spans, Strong, Table, left, right
from ledger.report.entry_words import reading_words
from ledger.report.pages.drift_words import (
    measured_words,
    read_words,
)
from ledger.report.pages.wear_words import (
    flow_shown,
    limit_words,
    outlook_shown,
    rating_words,
    reached_shown,
    view_of_item,
)

_LATEST = 6


def last_readings_table(ledger: Ledger, found: Wear) -> Table:
    """One row a point: verdict, last reading, limit, and when the limit is reached."""
    rows: list[tuple[Spans, ...]] = []
    for item in found.items:
        view = view_of_item(item, ledger.site)
        rows.append(
            (
                words.place_link(ledger, item.place),
                _verdict_words(item.judgement.value),
                f"{measured_words(item.last.measured, view)} {view.unit}",
                limit_words(item, ledger.site),
                reached_shown(item.result),
                words.day_words(item.last.entry.day),
            )
        )
    rows.extend(
        (
            words.place_link(ledger, damper.place),
            _damper_words(damper.verdict),
            words.count_words(damper.last.readings.bounces or 0, "bounce"),
            f"at most {ALLOWED_BOUNCES}",
            words.NONE,
            words.day_words(damper.last.day),
        )
        for damper in found.dampers
    )
    return Table(
        (
            left("Where"),
            left("Verdict"),
            right("Last ± U"),
            left("Limit"),
            left("Limit reached"),
            left("Read on"),
        ),
        rows,
    )


def _damper_words(verdict: DamperVerdict | None) -> Spans:
    match verdict:
        case None:
            return "renewed since, not checked yet"
        case DamperVerdict.GOOD:
            return "good"
        case DamperVerdict.BOUNCES:
            return Strong(verdict.value)


def _verdict_words(said: str) -> Spans:
    return Strong(said) if said in FAULTS else said


def catch_table(ledger: Ledger, group: NozzleGroup) -> Table:
    """The last catch of each nozzle of a machine."""
    rows: list[tuple[Spans, ...]] = []
    for item in group.items:
        view = view_of_item(item, ledger.site)
        point = ledger.point(item.place)
        rating = point.rating if point else None
        rows.append(
            (
                words.point_words(ledger, item.place),
                words.day_words(item.last.entry.day),
                ", ".join(reading_words(item.last.entry.readings, ledger.site)),
                flow_shown(item, ledger.site),
                rating_words(rating, ledger.site)
                if isinstance(rating, NozzleRating)
                else words.NONE,
                f"{measured_words(item.last.measured, view)} %",
                item.judgement.value,
                outlook_shown(item, ledger.site),
            )
        )
    return Table(
        (
            left("Nozzle"),
            left("Read"),
            left("Caught"),
            right("Flow at rated ± U"),
            left("New"),
            right("Share of new ± U"),
            left("Verdict"),
            left("Outlook"),
        ),
        rows,
    )


def share_table(ledger: Ledger, group: NozzleGroup) -> Block:
    """The shares of new flow of the newest rounds, in percent, a column a day."""
    days = sorted(
        {reading.entry.day for item in group.items for reading in item.result.series.readings}
    )[-_LATEST:]
    rows: list[tuple[Spans, ...]] = []
    for item in group.items:
        by_day = {r.entry.day: r.measured.value for r in item.result.series.readings}
        rows.append(
            (
                words.point_words(ledger, item.place),
                *(fixed(by_day[day], 0) if day in by_day else words.NONE for day in days),
            )
        )
    return Table(
        (left("Share of new, %"), *(right(words.day_words(day)) for day in days)),
        rows,
    )


def latest_table(ledger: Ledger, item: WearItem, vehicles: MeterLog | None) -> Table:
    """The newest readings of one series; with a meter, by the vehicles washed until then."""
    view = view_of_item(item, ledger.site)
    # A length is read off as it is shown; of other readings the raw numbers are worth a column.
    is_raw = item.result.series.kind in {BELT, STRIP_LENGTH}
    rows: list[tuple[Spans, ...]] = []
    for reading in reversed(item.result.series.readings[-_LATEST:]):
        cells: list[Spans] = [words.day_words(reading.entry.day)]
        if vehicles is not None:
            total = total_on(vehicles, reading.entry.day)
            cells.append(words.NONE if total is None else fixed(total / 1000, 1))
        if not is_raw:
            cells.append(read_words(reading, ledger.site))
        cells.append(measured_words(reading.measured, view))
        cells.append(words.entry_link(ledger, reading.entry.ref))
        rows.append(tuple(cells))
    return Table(
        (
            left("Date"),
            *(() if vehicles is None else (right("Thousand vehicles"),)),
            *(() if is_raw else (left("Read"),)),
            right(f"{view.unit} ± U"),
            left("Entry"),
        ),
        rows,
    )

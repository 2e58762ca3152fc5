"""What was filed, as flat tables: visits, meters, entries, their places, findings."""

from collections.abc import Callable
from datetime import date

from ledger.assess.findings import Finding, findings
from ledger.model.ledger import Ledger
from ledger.model.references import Place
from ledger.model.visits import Entry, StockMove, Visit
from ledger.report.flat import FlatTable, day, instant, number, table, text, yes_no


def visit_table(ledger: Ledger) -> FlatTable:
    return table(
        "visits",
        "One visit, by time.",
        ledger.visits,
        (
            text("visit", "Id of the visit.", lambda v: v.ident),
            instant("at", "When it began.", lambda v: v.when),
            text("by", "Id of the person.", lambda v: v.by),
            text("with", "Ids of those who helped.", lambda v: " ".join(v.helpers)),
            instant("entered_at", "When it was written down, if later.", lambda v: v.entered_at),
            text("note", "Note on the visit.", lambda v: v.note),
            text("path", "The file, below the site's folder.", lambda v: v.path),
        ),
    )


def meter_table(ledger: Ledger) -> FlatTable:
    read: list[tuple[Visit, str, float]] = [
        (visit, name, value) for visit in ledger.visits for name, value in visit.meters.items()
    ]
    meters = ledger.site.meters
    return table(
        "meters",
        "What one counter showed at one visit.",
        read,
        (
            text("visit", "Id of the visit.", lambda r: r[0].ident),
            instant("at", "When it was read.", lambda r: r[0].when),
            text("meter", "Id of the meter.", lambda r: r[1]),
            number("reading", "", "What it showed; its unit is in `counts`.", lambda r: r[2]),
            text(
                "counts",
                "What it counts: vehicles or hours.",
                lambda r: meters[r[1]].counts if r[1] in meters else None,
            ),
        ),
    )


def entry_table(ledger: Ledger) -> FlatTable:
    standing = {entry.ref for entry in ledger.standing}
    return table(
        "entries",
        "One entry as filed, corrected or not.",
        ledger.entries,
        (
            text("entry", "The visit, and the number of the entry in it.", lambda e: str(e.ref)),
            text("visit", "Id of the visit.", lambda e: e.ref.visit),
            instant("at", "When the visit began.", lambda e: e.when),
            day("day", "That day at the site.", lambda e: e.day),
            text("by", "Id of the person.", lambda e: e.by),
            text("places", "Where, by walking order.", lambda e: " ".join(map(str, e.places))),
            text("task", "Id of the task.", lambda e: e.task),
            text("outcome", "Whether the task was done.", _outcome),
            text("reason", "Why not done, or why corrected.", lambda e: e.reason),
            number("strokes", "", "Strokes of the grease gun at each place.", lambda e: e.strokes),
            number("minutes", "min", "Time it took.", lambda e: e.minutes),
            text("turning", "Sense of turning that was seen.", lambda e: e.readings.turning),
            text("finding", "What was found wrong.", lambda e: e.finding),
            text("closes", "The finding it puts right.", lambda e: str(e.closes or "")),
            text("changed", "The part replaced or altered.", lambda e: e.changed),
            text("part", "Id of the part moved.", lambda e: e.stock.part if e.stock else None),
            number(
                "part_used", "", "Used, in the part's unit.", _moved(lambda stock: stock.used)
            ),
            number(
                "part_received",
                "",
                "Received, in the part's unit.",
                _moved(lambda stock: stock.received),
            ),
            number(
                "part_on_hand",
                "",
                "Counted on the shelf, in the part's unit.",
                _moved(lambda stock: stock.on_hand),
            ),
            text("note", "Note.", lambda e: e.note),
            text("corrects", "The entry it takes the place of.", lambda e: str(e.corrects or "")),
            text("corrected_by", "The entry that takes its place.", _corrected_by(ledger)),
            yes_no("void", "Whether it strikes out what it corrects.", lambda e: e.void),
            yes_no("stands", "Whether it holds, being neither corrected nor struck out.",
                   lambda e: e.ref in standing),
        ),
    )  # fmt: skip


def _outcome(entry: Entry) -> str:
    return entry.outcome.value if entry.task else ""


def _moved(amount: Callable[[StockMove], float | None]) -> Callable[[Entry], float | None]:
    return lambda entry: None if entry.stock is None else amount(entry.stock)


def _corrected_by(ledger: Ledger) -> Callable[[Entry], str]:
    def found(entry: Entry) -> str:
        later = ledger.corrections.get(entry.ref)
        return str(later.ref) if later else ""

    return found


def entry_place_table(ledger: Ledger) -> FlatTable:
    pairs: list[tuple[Entry, Place]] = [
        (entry, place) for entry in ledger.entries for place in entry.places
    ]
    return table(
        "entry_places",
        "One place of one entry.",
        pairs,
        (
            text("entry", "The entry.", lambda pair: str(pair[0].ref)),
            text("place", "Machine, or machine and point.", lambda pair: str(pair[1])),
            text("machine", "Id of the machine.", lambda pair: pair[1].machine),
            text("point", "Id of the point; none for a whole machine.", lambda pair: pair[1].point),
        ),
    )


def finding_table(ledger: Ledger) -> FlatTable:
    def closing_day(finding: Finding) -> date | None:
        return finding.closed_by.day if finding.closed_by else None

    return table(
        "findings",
        "One finding that stands.",
        findings(ledger),
        (
            text("entry", "The entry that holds it.", lambda f: str(f.entry.ref)),
            day("day", "When it was found.", lambda f: f.entry.day),
            text("by", "Id of the person.", lambda f: f.entry.by),
            text("place", "Machine, or machine and point.", lambda f: str(f.entry.place or "")),
            text("finding", "What is wrong.", lambda f: f.entry.finding),
            text("urgency", "Now, soon or planned.", lambda f: f.entry.urgency.value),
            yes_no("failed", "Whether function was lost.", lambda f: f.entry.failed),
            number("stopped_minutes", "min", "Down time.", lambda f: f.entry.stopped_minutes),
            yes_no("open", "Whether no entry has closed it.", lambda f: f.is_open),
            text("closed_by", "The entry that closed it.",
                 lambda f: str(f.closed_by.ref) if f.closed_by else None),
            day("closed_on", "When it was closed.", closing_day),
        ),
    )  # fmt: skip

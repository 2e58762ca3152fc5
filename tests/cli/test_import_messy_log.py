"""An invented shop log of 200 rows comes in by two commands: a draft of the map, and the import.

Each row is drawn together with what is true of it: the truth first, and the cells from it, so that
nothing here is read back by the importer. It is as messy as people write: four forms of a date,
units and words in the cells, ticks and noes of all kinds, titles merged over the width, headings
repeated, and a few cells that say nothing possible.
"""

import random
import re
import shutil
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, time, timedelta
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from pinned_clock import pinned_clock
from sound_site import SOUND

from ledger.cli.command import open_folder

ROWS = 200
HEADINGS = (
    "Date", "Time", "Tech", "Machine", "Greased", "Strokes", "Looked over", "Turns in 30 s", "Hz",
    "Bearing temp", "Cars", "Remarks", "Foreman",
)  # fmt: skip
YES = ("x", "X", "yes", "Y", "done", "Done", "ok", "OK", 1, True, "✓")
NO = (None, None, "no", "No", "n", "N", "-", "—", 0, False, "n/a", "not done")
UNKNOWN = ("later", "?", "half", "2", "see remarks")
PEOPLE = {"m-tarrow": ("MT", "M. Tarrow", "Tarrow"), "d-fenwold": ("DF", "D. Fenwold", "d-fenwold")}
MACHINES = {
    "brush-p2": ("Brush P2", "P2", "brush-p2"),
    "low-brush": ("Low brush", "low brush"),
    "conveyor": ("Conveyor", "conveyor"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """One row: its cells, the entries that it should become, and the columns at fault.

    With the faults put right it has the cells `mended` and, beside its entries, those `missing`.
    """

    day: date
    cells: tuple[Any, ...]
    entries: tuple[Mapping[str, Any], ...]
    faults: tuple[str, ...]
    mended: tuple[Any, ...]
    missing: tuple[Mapping[str, Any], ...]

    def is_filed(self) -> bool:
        return bool(self.entries) and not {"Date", "Tech"} & set(self.faults)


def drawn_row(draw: random.Random, number: int) -> Truth:
    day = date(2026, 3, 2) + timedelta(days=number)
    machine = draw.choice(list(MACHINES))
    person = draw.choice(list(PEOPLE))
    row: dict[str, Any] = dict.fromkeys(HEADINGS)
    mended: dict[str, Any] = {}
    entries: list[Mapping[str, Any]] = []
    missing: list[Mapping[str, Any]] = []

    def is_at_fault() -> bool:
        return draw.random() < 0.008

    def enter(column: str, entry: Mapping[str, Any], good: Any, bad: Any) -> None:
        row[column] = good
        if is_at_fault():
            mended[column], row[column] = good, bad
            missing.append(entry)
        else:
            entries.append(entry)

    if draw.random() < 0.4:
        strokes = draw.randint(2, 4)
        row["Strokes"] = draw.choice([strokes, f"{strokes} strokes", f"{strokes} shots"])
        greased = {"task": "grease-bearings", "at": machine, "strokes": strokes}
        enter("Greased", greased, draw.choice(YES), draw.choice(UNKNOWN))
    else:
        row["Greased"] = draw.choice(NO)
    if machine != "low-brush" and draw.random() < 0.4:
        looked = {"task": "look-over", "at": machine}
        enter("Looked over", looked, draw.choice(YES), draw.choice(UNKNOWN))
    else:
        row["Looked over"] = draw.choice(NO)
    if machine == "brush-p2" and draw.random() < 0.6:
        turns, hz = draw.randint(36, 40), draw.choice([43, 43.5, 44])
        row["Hz"] = draw.choice([hz, f"{hz} Hz", f"{hz}hz"])
        count = {
            "task": "check-speed",
            "at": machine,
            "counted": turns,
            "found_hz": hz,
            "seconds": 30,
        }
        enter("Turns in 30 s", count, draw.choice([turns, f"{turns} turns"]), "38 or 39")
    if draw.random() < 0.3:
        celsius = draw.choice([45, 50, 55])
        fahrenheit = {45: 113, 50: 122, 55: 131}[celsius]
        warm = {"at": machine, "temperature_f": fahrenheit}
        written = draw.choice([f"{fahrenheit} °F", f"{fahrenheit} F", f"{celsius} °C"])
        enter("Bearing temp", warm, written, "warm")
    cars = 183_000 + 410 * number
    row["Date"] = draw.choice(
        [day, f"{day:%m/%d/%Y}", f"{day.day}.{day.month}.{day:%y}", f"{day.day} {day:%b %Y}"]
    )
    row["Time"] = draw.choice([time(6, 40), "6:40", "06:40", "6:40 am"])
    row["Tech"] = draw.choice(PEOPLE[person])
    row["Machine"] = draw.choice(MACHINES[machine])
    row["Cars"] = draw.choice([cars, f"{cars:,}"])
    row["Remarks"] = draw.choice([None, None, "Cold morning", "grease gun empty, no spare"])
    row["Foreman"] = "initials"
    if entries or missing:
        # A row of which nothing is filed is not held to its date or its name.
        for column, bad in (("Tech", "Bo"), ("Date", "Tuesday"), ("Date", "45.3.26")):
            if is_at_fault() and column not in mended:
                mended[column], row[column] = row[column], bad
    right = row | mended
    return Truth(
        day=day,
        cells=tuple(row.values()),
        entries=tuple(entries),
        faults=tuple(mended),
        mended=tuple(right.values()),
        missing=tuple(missing),
    )


@pytest.fixture(scope="module")
def log() -> tuple[Truth, ...]:
    draw = random.Random(20261130)
    return tuple(drawn_row(draw, number) for number in range(ROWS))


def laid_out(log, cells) -> list[tuple[Any, ...]]:
    """The lines of the sheet: titles, headings, and the rows under a title for each month."""
    width = len(HEADINGS)
    lines = [
        ("Brackenford Wash: what was done",),
        (),
        ("All times by the clock in the shop",),
        HEADINGS,
    ]
    for row in log:
        if row.day.day == 1:
            lines += [(f"{row.day:%B}",), HEADINGS]
        lines.append(cells(row))
    return [(*line, *[None] * (width - len(line))) for line in lines]


def write(path: Path, lines: list[tuple[Any, ...]]) -> None:
    if path.suffix == ".csv":
        texts = (["" if cell is None else str(cell) for cell in line] for line in lines)
        path.write_text("".join(";".join(cells) + "\r\n" for cells in texts), "utf-8")
        return
    book = openpyxl.Workbook()
    sheet = book.active
    for number, line in enumerate(lines, 1):
        sheet.append(line)
        if line[0] and not any(line[1:]):
            sheet.merge_cells(
                start_row=number, end_row=number, start_column=1, end_column=len(line)
            )
    book.create_sheet("Notes")
    book.save(path)


@pytest.fixture
def wash(tmp_path) -> Path:
    root = tmp_path / "wash"
    shutil.copytree(SOUND, root)
    return root


def filed(wash: Path) -> dict[int, list[Mapping[str, Any]]]:
    """The entries of all visits of the record, by the line of the log that they came from."""
    found: dict[int, list[Mapping[str, Any]]] = {}
    for visit in open_folder(wash, None, pinned_clock).ledger.visits:
        line = re.search(r"Imported from .*, line (\d+),", visit.note)
        if line is None:
            continue
        found.setdefault(int(line[1]), []).extend(dict(entry.raw) for entry in visit.entries)
    return found


def in_any_order(entries) -> list[str]:
    return sorted(str(sorted(entry.items())) for entry in entries)


@pytest.mark.parametrize("form", ["xlsx", "csv"])
def test_a_messy_log_comes_in_by_two_commands(tunnelbook, wash, tmp_path, log, form):
    path, by_map = tmp_path / f"log.{form}", tmp_path / "map.yaml"
    lines = laid_out(log, lambda row: row.cells)
    write(path, lines)
    rows = {lines.index(row.cells) + 1: row for row in log}
    assert len(rows) == ROWS
    faults = [row for row in log if row.faults]
    assert 5 < len(faults) <= 10
    assert {row.is_filed() for row in faults} == {True, False}

    assert tunnelbook("import", path, "--draft", by_map, "--site", wash) == 0
    assert tunnelbook("import", path, "--map", by_map, "--site", wash) == 1
    # At least 190 rows are right, none is wrong, and what is not there is named by row and column.
    assert {n: in_any_order(entries) for n, entries in filed(wash).items()} == {
        n: in_any_order(row.entries) for n, row in rows.items() if row.is_filed()
    }
    named = Counter()
    for told in re.finditer(
        r"lines? ([\d, ]+): (one entry left out|refused): columns? `(.+?)`[^:]*: .*\n",
        tunnelbook.err,
    ):
        named.update((int(line), told[2], told[3]) for line in told[1].split(", "))
    assert named == Counter(
        (n, "one entry left out" if row.is_filed() else "refused", column)
        for n, row in rows.items()
        for column in row.faults
    )
    assert tunnelbook.err.endswith("not in the map, so not filed: `Foreman`\n")

    # With its cells put right, what was left out is filed, and nothing else.
    write(path, laid_out(log, lambda row: row.mended))
    assert tunnelbook("import", path, "--map", by_map, "--site", wash) == 0
    assert f": {len(faults)} filed, " in tunnelbook.out
    assert {n: in_any_order(entries) for n, entries in filed(wash).items()} == {
        n: in_any_order((*row.entries, *row.missing))
        for n, row in rows.items()
        if row.entries or row.missing
    }
    assert tunnelbook("check", wash, "--errors-only") == 0

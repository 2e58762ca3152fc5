"""An invented shop log of 200 rows, drawn from a seed together with what is true of each row.

Its ticks are written as people write them: `x`, `done`, `no`, `-`, `0`, `later`. The truth is
drawn first and the row is written from it, so that nothing here is read back by the importer.
"""

import random
import re
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from pinned_clock import pinned_clock

from ledger.cli.command import open_site

ROWS = 200
HEADINGS = "Day,Who,Greased,Cloth,Turns,Strip cm,Cars,Remarks,Foreman"
MAP = """\
when: {columns: [Day], written: "%m/%d/%Y", time: "06:00"}
by: {column: Who, words: {AT: ada-tarrowby}}
meters: {vehicles: Cars}
note: Remarks
entries:
  - only_if: {column: Greased, yes: [lubed], no: [dry]}
    fields: {task: {always: grease-shaft-bearings}, at: {always: side-brush}}
  - only_if: Cloth
    fields: {task: {always: look-at-cloth}, at: {always: side-brush}}
  - only_if: Turns
    fields: {at: {always: side-brush}, counted: Turns, seconds: {always: 30}}
  - only_if: Strip cm
    fields: {at: {always: side-brush/cloth}, strip_length_mm: {column: Strip cm, unit: cm}}
"""
YES = ("x", "X", "yes", "Y", "done", "Done", "ok", "OK", "1", "1.0", "TRUE", "✓")
NO = ("", "", "no", "No", "n", "N", "-", "—", "0", "0.0", "false", "n/a", "not done")
UNKNOWN = ("later", "?", "half", "2", "see remarks")


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """One row: its cells, the entries that it should become, and the columns at fault."""

    cells: tuple[str, ...]
    entries: tuple[Mapping[str, Any], ...]
    faults: tuple[str, ...]


def drawn_row(draw: random.Random, day: date) -> Truth:
    entries: list[Mapping[str, Any]] = []
    faults: list[str] = []

    def ticked(column: str, entry: Mapping[str, Any], yes: str, no: str) -> str:
        kind = draw.choices(("yes", "no", "unknown"), (40, 52, 8))[0]
        if kind == "yes":
            entries.append(entry)
            return draw.choice((*YES, yes))
        if kind == "unknown":
            faults.append(column)
            return draw.choice(UNKNOWN)
        return draw.choice((*NO, no))

    def read(column: str, of: int, good: str, entry: Mapping[str, Any], bad: str) -> str:
        kind = draw.choices(("good", "none", "bad"), (of, 97 - of, 3))[0]
        if kind == "good":
            entries.append(entry)
            return good
        if kind == "bad":
            faults.append(column)
            return bad
        return draw.choice(("", "-", "n/a"))

    greased = ticked(
        "Greased", {"task": "grease-shaft-bearings", "at": "side-brush"}, "lubed", "dry"
    )
    cloth = ticked("Cloth", {"task": "look-at-cloth", "at": "side-brush"}, "y", "none")
    turns = draw.randint(36, 40)
    counted = read(
        "Turns", 30, str(turns), {"at": "side-brush", "counted": turns, "seconds": 30}, "38 or 39"
    )
    millimetres = draw.randint(450, 480)
    strip = read(
        "Strip cm", 10, f"{millimetres / 10:g}",
        {"at": "side-brush/cloth", "strip_length_mm": millimetres}, "47-48",
    )  # fmt: skip
    who, when = "AT", f"{day:%m/%d/%Y}"
    if entries or faults:
        # A row of which nothing is filed is not held to its date or its name.
        if draw.random() < 0.02:
            who = "Bo"
            faults.append("Who")
        if draw.random() < 0.02:
            when = f"{day:%d.%m.%y}"
            faults.append("Day")
    remark = draw.choice(("", "", "Cold morning", "grease gun empty, no spare"))
    cells = (when, who, greased, cloth, counted, strip, "", f'"{remark}"', "initials")
    return Truth(cells=cells, entries=tuple(entries), faults=tuple(faults))


@pytest.fixture(scope="module")
def shop_log() -> tuple[Truth, ...]:
    draw = random.Random(20261125)
    return tuple(drawn_row(draw, date(2026, 3, 2) + timedelta(days=n)) for n in range(ROWS))


@pytest.fixture
def wash(tunnelbook, tmp_path) -> Path:
    root = tmp_path / "wash"
    tunnelbook("init", root, "--with", "side-brush", "--time-zone", "UTC")
    site = root / "site.yaml"
    site.write_text(re.sub(r"in_service: .*", "in_service: 2026-01-05", site.read_text()))
    return root


def test_every_row_is_filed_as_it_was_meant_or_named(tunnelbook, wash, tmp_path, shop_log):
    log, by_map = tmp_path / "shop.csv", tmp_path / "map.yaml"
    log.write_text("\n".join([HEADINGS, *(",".join(row.cells) for row in shop_log), ""]))
    by_map.write_text(MAP)
    words = ("import", log, "--map", by_map, "--site", wash)
    good = {n: row for n, row in enumerate(shop_log, 2) if row.entries and not row.faults}
    bad = {n: row for n, row in enumerate(shop_log, 2) if row.faults}
    empty = [n for n, row in enumerate(shop_log, 2) if not row.entries and not row.faults]
    assert min(len(good), len(bad), len(empty)) > 15
    assert len(good) + len(bad) + len(empty) == ROWS

    assert tunnelbook(*words) == 1
    assert tunnelbook.out == (
        f"{ROWS} rows: {len(good)} filed, 0 there already, {len(bad)} refused, "
        f"{len(empty)} with nothing to file\n"
    )
    ledger = open_site(str(wash), None, pinned_clock).ledger
    filed = {}
    for visit in ledger.visits:
        line = re.search(r"line (\d+), mark", visit.note)
        assert line is not None
        filed[int(line[1])] = tuple(dict(entry.raw) for entry in visit.entries)
    assert filed == {n: row.entries for n, row in good.items()}

    named = Counter()
    for told in re.finditer(r"lines? ([\d, ]+): refused: column `(.+?)`: .*\n", tunnelbook.err):
        named.update((int(line), told[2]) for line in told[1].split(", "))
    assert named == Counter((n, column) for n, row in bad.items() for column in row.faults)
    assert f"lines {', '.join(map(str, empty))}: nothing to file" in tunnelbook.err
    assert tunnelbook.err.endswith("not in the map, so not filed: `Foreman`\n")

    assert tunnelbook(*words) == 1
    assert tunnelbook.out == (
        f"{ROWS} rows: 0 filed, {len(good)} there already, {len(bad)} refused, "
        f"{len(empty)} with nothing to file\n"
    )
    assert len(open_site(str(wash), None, pinned_clock).ledger.visits) == len(good)
    assert tunnelbook("check", wash, "--errors-only") == 0

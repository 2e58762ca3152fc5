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

from ledger.cli.command import open_folder

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
    """One row: its cells, the entries that it should become, and the columns at fault.

    With the faults put right it has the cells `mended` and, beside its entries, those `missing`.
    """

    cells: tuple[str, ...]
    entries: tuple[Mapping[str, Any], ...]
    faults: tuple[str, ...]
    mended: tuple[str, ...]
    missing: tuple[Mapping[str, Any], ...]

    def is_filed(self) -> bool:
        return bool(self.entries) and not {"Day", "Who"} & set(self.faults)


def drawn_row(draw: random.Random, day: date) -> Truth:
    entries: list[Mapping[str, Any]] = []
    missing: list[Mapping[str, Any]] = []
    mended: dict[str, str] = {}

    def ticked(column: str, entry: Mapping[str, Any], yes: str, no: str) -> str:
        kind = draw.choices(("yes", "no", "unknown"), (40, 52, 8))[0]
        if kind == "yes":
            entries.append(entry)
            return draw.choice((*YES, yes))
        if kind == "unknown":
            mended[column] = yes
            missing.append(entry)
            return draw.choice(UNKNOWN)
        return draw.choice((*NO, no))

    def read(column: str, of: int, good: str, entry: Mapping[str, Any], bad: str) -> str:
        kind = draw.choices(("good", "none", "bad"), (of, 97 - of, 3))[0]
        if kind == "good":
            entries.append(entry)
            return good
        if kind == "bad":
            mended[column] = good
            missing.append(entry)
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
    if entries or missing:
        # A row of which nothing is filed is not held to its date or its name.
        if draw.random() < 0.02:
            mended["Who"], who = who, "Bo"
        if draw.random() < 0.02:
            mended["Day"], when = when, f"{day:%d.%m.%y}"
    remark = draw.choice(("", "", "Cold morning", "grease gun empty, no spare"))
    cells = (when, who, greased, cloth, counted, strip, "", f'"{remark}"', "initials")
    return Truth(
        cells=cells,
        entries=tuple(entries),
        faults=tuple(mended),
        mended=tuple(
            mended.get(name, cell) for name, cell in zip(HEADINGS.split(","), cells, strict=True)
        ),
        missing=tuple(missing),
    )


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


def filed(wash: Path) -> dict[int, list[tuple[Mapping[str, Any], ...]]]:
    """The entries of each visit of the record, by the line of the log that it came from."""
    found: dict[int, list[tuple[Mapping[str, Any], ...]]] = {}
    for visit in open_folder(wash, None, pinned_clock).ledger.visits:
        line = re.search(r"line (\d+),", visit.note)
        assert line is not None
        entries = tuple(dict(entry.raw) for entry in visit.entries)
        found.setdefault(int(line[1]), []).append(entries)
    return found


def test_every_entry_is_filed_as_it_was_meant_or_named(tunnelbook, wash, tmp_path, shop_log):
    log, by_map = tmp_path / "shop.csv", tmp_path / "map.yaml"
    log.write_text("\n".join([HEADINGS, *(",".join(row.cells) for row in shop_log), ""]))
    by_map.write_text(MAP)
    words = ("import", log, "--map", by_map, "--site", wash)
    rows = dict(enumerate(shop_log, 2))
    whole = [n for n, row in rows.items() if row.is_filed() and not row.faults]
    in_part = [n for n, row in rows.items() if row.is_filed() and row.faults]
    refused = [n for n, row in rows.items() if not row.is_filed() and row.faults]
    empty = [n for n, row in rows.items() if not row.entries and not row.faults]
    assert min(map(len, (whole, in_part, refused, empty))) > 9
    assert len(whole) + len(in_part) + len(refused) + len(empty) == ROWS

    assert tunnelbook(*words) == 1
    assert tunnelbook.out == (
        f"{ROWS} rows: {len(whole) + len(in_part)} filed, {len(in_part)} of them in part, "
        f"0 there already, {len(refused)} refused, {len(empty)} with nothing to file\n"
    )
    assert filed(wash) == {n: [row.entries] for n, row in rows.items() if row.is_filed()}
    named = Counter()
    for told in re.finditer(
        r"lines? ([\d, ]+): (one entry left out|refused): column `(.+?)`: .*\n", tunnelbook.err
    ):
        named.update((int(line), told[2], told[3]) for line in told[1].split(", "))
    assert named == Counter(
        (n, "one entry left out" if n in in_part else "refused", column)
        for n, row in rows.items()
        for column in row.faults
    )
    assert f"lines {', '.join(map(str, empty))}: nothing to file" in tunnelbook.err
    assert tunnelbook.err.endswith("not in the map, so not filed: `Foreman`\n")
    assert tunnelbook("check", wash, "--errors-only") == 0


def test_what_was_left_out_is_filed_once_its_cell_is_right(tunnelbook, wash, tmp_path, shop_log):
    log, by_map = tmp_path / "shop.csv", tmp_path / "map.yaml"
    by_map.write_text(MAP)
    words = ("import", log, "--map", by_map, "--site", wash)
    log.write_text("\n".join([HEADINGS, *(",".join(row.cells) for row in shop_log), ""]))
    assert tunnelbook(*words) == 1
    before = filed(wash)
    assert tunnelbook(*words) == 1
    assert ": 0 filed, " in tunnelbook.out
    assert filed(wash) == before

    log.write_text("\n".join([HEADINGS, *(",".join(row.mended) for row in shop_log), ""]))
    assert tunnelbook(*words) == 0
    empty = sum(not row.entries and not row.faults for row in shop_log)
    again = sum(bool(row.faults) for row in shop_log)
    assert tunnelbook.out == (
        f"{ROWS} rows: {again} filed, {ROWS - again - empty} there already, 0 refused, "
        f"{empty} with nothing to file\n"
    )
    after = filed(wash)
    for n, row in enumerate(shop_log, 2):
        entries = [entry for visit in after.get(n, []) for entry in visit]
        assert sorted(map(str, entries)) == sorted(map(str, (*row.entries, *row.missing))), n
    assert tunnelbook(*words) == 0
    assert ": 0 filed, " in tunnelbook.out
    assert tunnelbook("check", wash, "--errors-only") == 0

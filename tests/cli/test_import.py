"""`tunnelbook import`: rows become visits once, and what cannot is told by line and reason."""

import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pinned_clock import pinned_clock

from ledger.cli.command import open_folder
from ledger.filing.import_map import read_map
from ledger.filing.import_rows import read_log

MAP = """\
when: {columns: [Date, Time], written: "%m/%d/%Y %H:%M"}
by: {column: Tech, words: {AT: ada-tarrowby}}
meters: {vehicles: Cars}
note: Remarks
entries:
  - only_if: Passes
    fields:
      task: {always: check-brush-speed}
      at: {column: Machine, words: {Brush: side-brush}}
      counted: Passes
      seconds: {always: 30}
      found_hz: Hz
  - only_if: Strip cm
    fields: {at: {always: side-brush/cloth}, strip_length_mm: {column: Strip cm, unit: cm}}
"""
HEAD = "Date,Time,Tech,Machine,Passes,Hz,Strip cm,Cars,Remarks\n"
LOG = HEAD + (
    "11/02/2026,06:40,AT,Brush,38,44,,184233,Frost\n"
    "11/09/2026,06:45,AT,Brush,39,44.5,47.3,185100,\n"
)


@pytest.fixture
def wash(tunnelbook, tmp_path) -> Path:
    root = tmp_path / "wash"
    tunnelbook("init", root, "--with", "side-brush", "--time-zone", "America/Chicago")
    site = root / "site.yaml"
    site.write_text(re.sub(r"in_service: .*", "in_service: 2026-01-05", site.read_text()))
    return root


@pytest.fixture
def imported(tunnelbook, wash, tmp_path):
    """Imports a log, given as text, through a map; the exit status."""

    def run(log: str | bytes, by_map: str = MAP, *words: str) -> int:
        (tmp_path / "map.yaml").write_text(by_map)
        content = log if isinstance(log, bytes) else log.encode()
        (tmp_path / "log.csv").write_bytes(content)
        return tunnelbook(
            "import", tmp_path / "log.csv", "--map", tmp_path / "map.yaml", "--site", wash, *words
        )

    return run


def visits(root):
    return open_folder(root, None, pinned_clock).ledger.visits


def test_each_row_is_a_visit(imported, tunnelbook, wash):
    assert imported(LOG) == 0
    assert tunnelbook.out == "2 rows: 2 filed, 0 there already, 0 refused, 0 with nothing to file\n"
    first, second = visits(wash)
    assert first.ident == "2026-11-02T0640-ada-tarrowby"
    assert first.meters == {"vehicles": 184233}
    assert first.note.startswith("Frost\n\nImported from log.csv, line 2, mark ")
    assert [dict(entry.raw) for entry in first.entries] == [
        {
            "task": "check-brush-speed",
            "at": "side-brush",
            "counted": 38,
            "seconds": 30,
            "found_hz": 44,
        }
    ]
    assert second.entries[1].raw == {"at": "side-brush/cloth", "strip_length_mm": 473}
    assert tunnelbook("check", wash, "--errors-only") == 0


def test_a_second_run_adds_nothing(imported, tunnelbook, wash, files_of):
    imported(LOG)
    before = files_of(wash)
    assert imported(LOG) == 0
    assert tunnelbook.out == "2 rows: 0 filed, 2 there already, 0 refused, 0 with nothing to file\n"
    assert files_of(wash) == before


def test_rows_put_in_above_do_not_file_the_others_again(imported, tunnelbook, wash):
    imported(LOG)
    new = "10/26/2026,06:30,AT,Brush,37,44,,183000,\n"
    assert imported(HEAD + new + LOG.removeprefix(HEAD)) == 0
    assert tunnelbook.out == "3 rows: 1 filed, 2 there already, 0 refused, 0 with nothing to file\n"
    assert len(visits(wash)) == 3


def test_a_visit_renamed_or_moved_by_hand_is_still_known(imported, tunnelbook, wash):
    imported(LOG)
    path = wash / "observations/2026/11/2026-11-02T0640-ada-tarrowby.yaml"
    path.rename(path.with_name("2026-11-02T0640-ada-tarrowby~2.yaml"))
    imported(LOG)
    assert tunnelbook.out == "2 rows: 0 filed, 2 there already, 0 refused, 0 with nothing to file\n"


def test_rows_that_say_the_very_same_are_each_filed_once(imported, tunnelbook, wash):
    twice = LOG + LOG.splitlines(keepends=True)[1]
    assert imported(twice) == 0
    assert tunnelbook.out == "3 rows: 3 filed, 0 there already, 0 refused, 0 with nothing to file\n"
    assert [visit.ident for visit in visits(wash)][:2] == [
        "2026-11-02T0640-ada-tarrowby",
        "2026-11-02T0640-ada-tarrowby~2",
    ]
    assert imported(twice) == 0
    assert "3 there already" in tunnelbook.out


def test_a_log_that_gained_a_column_is_not_filed_again(imported, tunnelbook, wash):
    """A spreadsheet saved anew: every row has another mark, and says the same."""
    twice = LOG + LOG.splitlines(keepends=True)[1]
    assert imported(twice) == 0
    head, *rows = twice.splitlines()
    assert (
        imported("\n".join([f"{head},Hours", *(f"{row},{n}" for n, row in enumerate(rows))])) == 0
    )
    assert tunnelbook.out == (
        "3 rows: 0 filed, 3 there already, 0 refused, 0 with nothing to file\n"
    )
    assert len(visits(wash)) == 3


@pytest.mark.parametrize(("old", "new"), [(",38,", ",39,"), ("Frost", "Ice"), ("184233", "184234")])
def test_a_row_that_was_changed_since_is_not_filed_again(imported, tunnelbook, wash, old, new):
    imported(LOG)
    assert imported(LOG.replace(old, new)) == 1
    assert tunnelbook.err.endswith(
        "line 2: refused: 2026-11-02T0640-ada-tarrowby came from a row of the same time and "
        "person that this log does not have; if it was this row, now changed, use "
        "`tunnelbook correct`; if this is other work, use `tunnelbook record`\n"
    )
    assert tunnelbook.out == (
        "2 rows: 0 filed, 1 there already, 1 refused, 0 with nothing to file\n"
    )
    assert len(visits(wash)) == 2


def test_another_log_is_filed_but_not_the_same_work_again(imported, tunnelbook, wash, tmp_path):
    imported(LOG)
    other = tmp_path / "other.csv"
    words = ("import", other, "--map", tmp_path / "map.yaml", "--site", wash)
    other.write_text(LOG.replace(",38,", ",36,").replace("Frost", "Ice"))
    assert tunnelbook(*words) == 0
    assert tunnelbook.out.startswith("2 rows: 1 filed, 1 there already, 0 refused")
    other.write_text(LOG.replace("Frost", "Ice"))
    assert tunnelbook(*words) == 1
    assert "line 2: refused: 2026-11-02T0640-ada-tarrowby came from a row" in tunnelbook.err
    assert len(visits(wash)) == 3


@pytest.mark.parametrize(
    ("row", "why"),
    [
        (
            "31/02/2026,06:40,AT,Brush,38,44,,,",
            "columns `Date` and `Time`: `31/02/2026 06:40` is no day",
        ),
        (
            "11/16/2026,,AT,Brush,38,44,,,",
            "is no day or time of the form %m/%d/%Y %H:%M, such as 11/25/2026 06:40",
        ),
        ("11/31/2026,06:40,AT,Brush,38,44,,,", "`11/31/2026 06:40` is no day"),
        (
            "11/16/2026,06:40,AT,Brush 3,38,44,,,",
            "column `Machine`: `Brush 3` is no id of the site; say under `words` in the map",
        ),
        (
            '11/16/2026,06:40,AT,Brush,38,44,,"184,300",',
            "column `Cars`: `184,300` has a comma; say in the map `thousands: comma`",
        ),
        ("11/16/2026,06:40,,Brush,38,44,,,", "column `Tech`: the cell is empty: nobody did it"),
        ("11/16/2026,06:40,ada-tarowby,Brush,38,44,,,", "did you mean `ada-tarrowby`?"),
        ("11/16/2026,06:40,AT,side-brsh,38,44,,,", "expected a machine of this site: side-brush"),
        ("11/16/2026,06:40,AT,Brush,many,44,,,", "column `Passes`: `many` is not a whole number"),
        ("11/16/2026,06:40,AT,Brush,38,444,,,", "444"),
        (
            "11/16/2026,06:40,AT,,38,44,,,",
            "column `Machine`: the cell is empty: nobody knows where",
        ),
        ("11/16/2026,06:40,AT,Brush,38,44,,lots,", "column `Cars`: `lots` is not a number"),
        ("11/16/2026,06:40,AT,Brush,38", "5 cells under 9 headings"),
        ("11/16/2026,06:40,../../../etc/x,Brush,38,44,,,", "../../../etc/x"),
    ],
)
def test_a_row_that_cannot_be_filed_is_refused_with_its_reason(
    imported, tunnelbook, wash, row, why
):
    assert imported(LOG + row + "\n") == 1
    assert tunnelbook.out == "3 rows: 2 filed, 0 there already, 1 refused, 0 with nothing to file\n"
    assert tunnelbook.err.startswith(f"{wash.parent}/log.csv: line 4: refused: ")
    assert why in tunnelbook.err
    assert len(visits(wash)) == 2


def test_a_dry_run_shows_the_visits_reports_the_same_and_writes_nothing(imported, tunnelbook, wash):
    assert imported(LOG + "x\n", MAP, "--dry-run") == 1
    *shown, total = tunnelbook.out.splitlines(keepends=True)
    assert total == (
        "3 rows: 2 would be filed, 0 there already, 1 refused, 0 with nothing to file\n"
    )
    assert not visits(wash)
    imported(LOG + "x\n")
    filed = sorted((wash / "observations").rglob("*.yaml"))
    assert "".join(shown) == "".join(
        f"# {path.relative_to(wash)}\n{path.read_text()}\n" for path in filed
    )


TICKS = """\
when: {columns: [Date], written: "%Y-%m-%d", time: "06:00"}
by: {always: ada-tarrowby}
entries:
  - only_if: Greased
    fields: {task: {always: grease-shaft-bearings}, at: {always: side-brush}, strokes: Strokes}
  - only_if: Turns
    fields: {at: {always: side-brush}, counted: Turns, seconds: {always: 30}}
"""


def ticked(*rows: str) -> str:
    return "Date,Greased,Strokes,Turns\n" + "".join(f"2026-11-02,{row}\n" for row in rows)


def test_a_tick_that_says_no_is_no_work(imported, tunnelbook, wash):
    assert imported(ticked("no,,38", "-,,", "x,3,-"), TICKS) == 0
    assert tunnelbook.out == (
        "3 rows: 2 filed, 0 there already, 0 refused, 1 with nothing to file\n"
    )
    assert "log.csv: line 3: nothing to file" in tunnelbook.err
    assert [[dict(entry.raw) for entry in visit.entries] for visit in visits(wash)] == [
        [{"at": "side-brush", "counted": 38, "seconds": 30}],
        [{"task": "grease-shaft-bearings", "at": "side-brush", "strokes": 3}],
    ]


def test_refusals_of_one_cause_are_one_line(imported, tunnelbook, wash):
    log = ticked("later,,", "x,some,many", "later,,38", "x,2,", "?,,")
    assert imported(log, TICKS) == 1
    name = wash.parent / "log.csv"
    words = (
        "column `Greased`: `later` says neither yes nor no; "
        "say in the map which it is, as in only_if: {column: Greased, yes: [word]}; likewise `?`"
    )
    assert tunnelbook.err.splitlines() == [
        f"{name}: lines 2, 6: refused: {words}",
        f"{name}: line 3: refused: column `Strokes`: `some` is not a number; write it like 44.5",
        f"{name}: line 3: refused: column `Turns`: `many` is not a whole number",
        f"{name}: line 4: one entry left out: {words.removesuffix('; likewise `?`')}",
    ]
    assert tunnelbook.out == (
        "5 rows: 2 filed, 1 of them in part, 0 there already, 3 refused, 0 with nothing to file\n"
    )


def test_an_entry_with_a_cell_that_the_site_does_not_know_is_left_out(imported, tunnelbook, wash):
    by_map = TICKS.replace("at: {always: side-brush}, counted", "at: Where, counted")
    log = "Date,Greased,Strokes,Turns,Where\n2026-11-02,x,3,38,side-brsh\n"
    assert imported(log, by_map) == 1
    assert "line 2: one entry left out: column `Where`: " in tunnelbook.err
    assert "there is no machine `side-brsh`" in tunnelbook.err
    assert imported(log, by_map) == 1
    assert imported(log.replace("brsh", "brush"), by_map) == 0
    assert [[dict(entry.raw) for entry in visit.entries] for visit in visits(wash)] == [
        [{"task": "grease-shaft-bearings", "at": "side-brush", "strokes": 3}],
        [{"at": "side-brush", "counted": 38, "seconds": 30}],
    ]


def test_a_task_without_its_place_is_not_done_everywhere(imported, tunnelbook, wash):
    by_map = TICKS.replace("at: {always: side-brush}, strokes: Strokes", "at: Strokes")
    assert imported(ticked("x,,"), by_map) == 1
    assert "line 2: refused: column `Strokes`: the cell is empty: nobody" in tunnelbook.err
    assert not visits(wash)


def test_a_tick_with_no_cell_to_file_is_refused(imported, tunnelbook):
    by_map = TICKS.replace(
        "{task: {always: grease-shaft-bearings}, at: {always: side-brush}, strokes: Strokes}",
        "{finding: Strokes}",
    )
    assert imported(ticked("x,,"), by_map) == 1
    assert "column `Greased`: the cell says yes, but" in tunnelbook.err


def test_the_map_says_what_the_words_of_a_log_mean(imported, tunnelbook, wash):
    by_map = TICKS.replace(
        "only_if: Greased", "only_if: {column: Greased, yes: [Lubed, -], no: [x, 2]}"
    )
    assert imported(ticked("lubed,,", "-,,", "X,,", "2,,", "?,,"), by_map) == 1
    assert tunnelbook.out == (
        "5 rows: 2 filed, 0 there already, 1 refused, 2 with nothing to file\n"
    )
    other_day = ticked("?,,").replace("-02,", "-03,")
    assert imported(other_day, by_map.replace("[x, 2]", "[x, 2], others: no")) == 0
    assert len(visits(wash)) == 2
    assert imported(other_day, by_map.replace("[x, 2]", "[x, 2], others: yes")) == 0
    assert len(visits(wash)) == 3


def test_one_column_may_name_the_task_of_each_row(imported, wash):
    """What the map translates is a value, even where it looks like a no."""
    by_map = (
        'when: {columns: [Date], written: "%Y-%m-%d", time: "06:00"}\n'
        "by: {always: ada-tarrowby}\n"
        "entries:\n"
        "  - only_if: {column: Job, others: no}\n"
        "    fields:\n"
        "      task: {column: Job, words: {N: look-at-nozzles, Grease: grease-shaft-bearings}}\n"
        "      at: {always: side-brush}\n"
    )
    assert imported("Date,Job\n2026-11-02,Grease\n2026-11-03,Sweep\n", by_map) == 0
    (visit,) = visits(wash)
    assert visit.entries[0].raw["task"] == "grease-shaft-bearings"


def test_a_column_that_the_map_does_not_name_is_named(imported, tunnelbook):
    log = "Date,Greased,Strokes,Turns,Hours,,\n2026-11-02,x,2,,7,,late\n"
    assert imported(log, TICKS) == 0
    assert tunnelbook.err.endswith(
        "log.csv: not in the map, so not filed: `Hours`, column 7, which has no heading\n"
    )


@pytest.mark.parametrize(
    ("signs", "cell", "reading"),
    [
        ("", "184301", 184301),
        ("", "184301.5", 184301.5),
        ("thousands: comma", "184,301.5", 184301.5),
        ("thousands: comma", "184301", 184301),
        ("decimal: comma\nthousands: point", "184.301", 184301),
        ("decimal: comma\nthousands: point", "184.301,5", 184301.5),
        ("decimal: comma\nthousands: space", "1\N{NARROW NO-BREAK SPACE}184 301,5", 1184301.5),
        ("thousands: comma", "184 301", 184301),
        ("decimal: point", "184301 1/2", 184301.5),
        ("thousands: apostrophe", "184\N{RIGHT SINGLE QUOTATION MARK}301", 184301),
        # Never a reading a thousand times too small.
        ("decimal: comma", "184.301", "has a point"),
        ("decimal: comma\nthousands: point", "184.30", "not in groups of three"),
        ("thousands: comma", "18,43,01", "not in groups of three"),
        ("thousands: comma", "184301,5", "not in groups of three"),
        ("thousands: point", "184.301", "same sign"),
    ],
)
def test_the_signs_of_a_number_are_those_of_the_map(
    imported, tunnelbook, wash, signs, cell, reading
):
    row = f'11/16/2026,06:40,AT,Brush,38,44,,"{cell}",\n'
    status = imported(HEAD + row, f"{signs}\n{MAP}")
    if isinstance(reading, str):
        assert status in (1, 2)
        assert reading in tunnelbook.err
        return
    (visit,) = open_folder(wash, None, pinned_clock).loaded.ledger.visits
    assert visit.meters == {"vehicles": reading}


@pytest.mark.parametrize(
    ("cell", "reading"),
    [
        ("44 Hz", 44),
        ("44.5hz", 44.5),
        ("44 kPa", "`44 kPa` is in kPa, and `found_hz` is in hz"),
        ("44 or so", "is not a number"),
    ],
)
def test_a_number_may_have_its_unit_behind_it(imported, tunnelbook, wash, cell, reading):
    status = imported(f"{HEAD}11/16/2026,06:40,AT,Brush,38 passes,{cell},,,\n")
    if isinstance(reading, str):
        assert status == 1
        assert reading in tunnelbook.err
        return
    (visit,) = visits(wash)
    assert visit.entries[0].raw["counted"] == 38
    assert visit.entries[0].raw["found_hz"] == reading


@pytest.mark.parametrize(
    ("cell", "millimetres"), [("47.3", 473), ("47.3 cm", 473), ("473 mm", 473), ("18.5 in", 469.9)]
)
def test_the_unit_of_a_cell_is_believed_before_that_of_the_map(imported, wash, cell, millimetres):
    assert imported(f"{HEAD}11/16/2026,06:40,AT,,,,{cell},,\n") == 0
    (visit,) = visits(wash)
    assert visit.entries[0].raw["strip_length_mm"] == millimetres


ANY_DATE = MAP.replace('written: "%m/%d/%Y %H:%M"', "order: {slash: month-first}")


@pytest.mark.parametrize(
    ("day", "time", "ident"),
    [
        ("11/02/2026", "06:40", "2026-11-02T0640"),
        ("16 Nov 2026", "6:40 pm", "2026-11-16T1840"),
        ("16.11.26", "06:40", "2026-11-16T0640"),
        ("2026-11-16T06:40", "", "2026-11-16T0640"),
        ("16/11/2026", "06:40", "is no day if it is month-first, as the map says of a slash"),
        ("2.11.26", "06:40", "can be read month-first or day-first; say in the map which it is"),
        ("16.11.26", "", "`16.11.26` has no time of day; give `time` in the map"),
        ("Monday", "06:40", "is no day or time; write it like 2026-11-25 06:40"),
    ],
)
def test_without_a_form_any_date_is_read_that_can_mean_one_day(
    imported, tunnelbook, wash, day, time, ident
):
    row = f"{HEAD}{day},{time},AT,Brush,38,44,,,\n"
    if re.match(r"\d{4}-", ident):
        assert imported(row, ANY_DATE) == 0, tunnelbook.err
        assert visits(wash)[0].ident == f"{ident}-ada-tarrowby"
    else:
        assert imported(row, ANY_DATE) == 1
        assert ident in tunnelbook.err


def test_titles_and_headings_repeated_are_passed_over(imported, tunnelbook):
    log = f"What was done,,,,,,,,\n\n{LOG}{HEAD}11/16/2026,06:40,AT,Brush,38,44,,,\n"
    assert imported(log, f"headings: 3\n{MAP}") == 0
    assert tunnelbook.out.startswith("3 rows: 3 filed")


def test_a_remark_of_several_lines_keeps_them(imported, wash, files_of):
    """As a spreadsheet saves them: a quoted cell with its own line ends, blank rows between."""
    row = '11/16/2026,06:40,AT,Brush,38,44,,,"Rough.\r\nLooked again."\r\n'
    log = (HEAD.replace("\n", "\r\n") + row + "\r\n,,,,,,,,\r\n").encode("utf-8-sig")
    assert imported(log) == 0
    (visit,) = open_folder(wash, None, pinned_clock).loaded.ledger.visits
    assert visit.note.startswith("Rough.\nLooked again.\n\nImported from log.csv, line 3, mark ")
    before = files_of(wash)
    assert imported(log) == 0
    assert files_of(wash) == before


def test_a_log_of_another_land(imported, wash):
    """Semicolons, decimal commas, another encoding, one date column without a time."""
    by_map = (
        "delimiter: semicolon\nencoding: windows-1252\ndecimal: comma\n"
        'when: {columns: [Tag], written: "%d.%m.%Y", time: "06:00"}\n'
        "by: {always: ada-tarrowby}\n"
        "entries:\n"
        "  - fields:\n"
        "      at: {always: side-brush}\n"
        "      temperature_f: {column: Wärme °C, unit: c}\n"
        "  - only_if: Strom\n"
        "    fields: {at: {always: side-brush}, current_a: {column: Strom, times: 1000, plus: 0.5}}\n"
    )
    log = "Tag;Wärme °C;Strom\r\n23.11.2026;52,5;0,0036\r\n".encode("windows-1252")
    assert imported(log, by_map) == 0
    (visit,) = visits(wash)
    assert visit.ident == "2026-11-23T0600-ada-tarrowby"
    assert [entry.raw for entry in visit.entries] == [
        {"at": "side-brush", "temperature_f": 126.5},
        {"at": "side-brush", "current_a": 4.1},
    ]


@pytest.mark.parametrize(
    ("log", "complaint"),
    [
        (b"Date,Time\n", "the log has no column `Tech`"),
        (b"\xff\xfeD", "byte 1 is not utf-8"),
        (HEAD.replace("Hz", "Hertz").encode(), "it has Date, Time"),
        (HEAD.replace("Machine", "Machines").encode(), "did you mean `Machines`?"),
        (HEAD.replace("Hz", "Cars").encode(), "is over two columns"),
        (HEAD.encode() + b'1,"2', "line 2: unexpected end of data"),
        (b"", "the log has no column `Date`"),
    ],
)
def test_a_log_that_cannot_be_read(imported, tunnelbook, wash, log, complaint):
    assert imported(log) == 2
    assert complaint in tunnelbook.err
    assert not visits(wash)


@pytest.mark.parametrize(
    ("old", "new", "line", "complaint"),
    [
        ("counted:", "count:", 10, "did you mean: counted?"),
        ("unit: cm", "unit: bar", 14, "cannot be converted into the unit of `strip_length_mm`"),
        ("seconds: {always: 30}", "seconds: {always: 30, column: Hz}", 11, "always by itself"),
        ("%m/%d/%Y %H:%M", "%m/%d %H:%M", 1, "has no year"),
        ("%m/%d/%Y %H:%M", "%m/%d/%Y", 1, "has no hour"),
        ('%m/%d/%Y %H:%M"', '%m/%d/%Y %H:%M", order: {dot: day-first}', 1, "written or order"),
        ("seconds: {always: 30}", "seconds: {column: Hz, only_if: Hz}", 11, "`only_if` does not"),
        ("meters:", "metres:", 3, "did you mean: meters?"),
        ("only_if: Passes", "only_if: {column: P, yes: [A], no: [a]}", 6, "under both `yes` and"),
        ("only_if: Passes", "only_if: {yes: [a]}", 6, "column"),
        ("only_if: Passes", "only_if: {column: P, yes: a}", 6, "expected: a list"),
        ("only_if: Passes", "only_if: {column: P, other: no}", 6, "did you mean: others?"),
    ],
)
def test_a_map_is_explained_by_line(imported, tunnelbook, old, new, line, complaint):
    assert imported(LOG, MAP.replace(old, new)) == 1
    assert re.search(rf"map.yaml:{line}:\d+: error", tunnelbook.err)
    assert complaint in tunnelbook.err


def test_the_map_in_the_help_is_a_good_one(tunnelbook, capsys):
    with pytest.raises(SystemExit) as ended:
        tunnelbook("import", "--help")
    assert ended.value.code == 0
    shown = capsys.readouterr().out.partition("Read the map before you import by it:\n")[2]
    by_map, found = read_map(
        "map.yaml", shown.partition("Words such as")[0].replace("\n  ", "\n").encode()
    )
    assert found == ()
    assert by_map is not None
    assert by_map.columns() == (
        "Date",
        "Time",
        "Tech",
        "Cars",
        "Passes",
        "Machine",
        "Strip cm",
        "Greased",
    )


@given(st.binary(max_size=200))
def test_no_log_breaks_the_reader(content):
    """Any bytes are rows or a reason."""
    by_map, _ = read_map(
        "m",
        b'when: {columns: [D], written: "%Y", time: "06:00"}\nby: D\nentries: [{fields: {at: D}}]\n',
    )
    assert by_map is not None
    try:
        rows = read_log(b"D,E\n" + content, by_map).rows
    except ValueError:
        rows = ()
    assert all(row.flaw or row.cells.keys() == {"D", "E"} for row in rows)


@given(st.permutations(["a,1", "b,2", "a,1", "c,3"]))
def test_the_order_of_rows_changes_no_mark(lines):
    by_map, _ = read_map(
        "m",
        b'when: {columns: [D], written: "%Y", time: "06:00"}\nby: D\nentries: [{fields: {at: E}}]\n',
    )
    assert by_map is not None
    log = read_log(("D,E\n" + "\n".join(lines)).encode(), by_map)
    marks = set(log.marks().values())
    usual = read_log(b"D,E\na,1\nb,2\na,1\nc,3", by_map)
    assert marks == set(usual.marks().values())
    assert len(marks) == 4

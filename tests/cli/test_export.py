"""`tunnelbook export`: other programs read what it writes, and each reader here is not ours."""

import csv
import json
import sqlite3
import subprocess
import sys
from contextlib import closing
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import duckdb
import icalendar
import pyarrow.parquet as pq
import pytest
import vobject
from example import EXAMPLE, EXAMPLE_DAY, example_ledger
from hypothesis import given
from hypothesis import strategies as st
from pinned_clock import pinned_clock

from ledger.book.flat import ColumnKind
from ledger.book.flat_forms import cell_text, guarded
from ledger.cli.command import open_folder
from ledger.compute.speed import from_pass_count
from ledger.site.tables import flat_tables

REPOSITORY = Path(__file__).parents[2]
DAY = "2026-11-25"
COUNT = "2026-11-23T0640-ada-tarrowby"


@pytest.fixture
def wash(tunnelbook, tmp_path):
    """A site with a count, a formula for a finding, and work done on two days."""
    root = tmp_path / "wash"
    tunnelbook("init", root, "--with", "side-brush", "conveyor", "--time-zone", "America/Chicago")
    site = root / "site.yaml"
    text = site.read_text()
    first = next(line for line in text.splitlines() if line.startswith("in_service"))
    site.write_text(text.replace(first, "in_service: 2026-11-01"))
    tunnelbook(
        "record", "--site", root, "--at", "2026-11-23T06:40", "--speed", "side-brush=23/15@44",
        "--finding", "side-brush=@SUM(1+1)|cmd", "--done", "grease-shaft-bearings",
        "--entry", "{at: side-brush, temperature_f: -13}", "--note", '=HYPERLINK("http://x")',
    )  # fmt: skip
    assert tunnelbook("check", root, "--as-of", DAY, "--errors-only") == 0
    return root


@pytest.fixture
def export(tunnelbook, wash, tmp_path):
    def run(form: str, out: str, as_of: str = DAY) -> Path:
        target = tmp_path / out
        status = tunnelbook("export", wash, "--to", form, "--out", target, "--as-of", as_of)
        assert status == 0, tunnelbook.err
        return target

    return run


def read_csv(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as opened:
        return list(csv.DictReader(opened, strict=True))


def test_csv_holds_every_table_and_the_meaning_of_every_column(export):
    folder = export("csv", "out")
    told = {(row["table_name"], row["column_name"]) for row in read_csv(folder / "dictionary.csv")}
    found = set()
    for path in folder.glob("*.csv"):
        with path.open(encoding="utf-8", newline="") as opened:
            found |= {(path.stem, name) for name in next(csv.reader(opened))}
    assert {t for t, _ in told} >= {
        "machines", "points", "tasks", "due", "entries", "readings", "findings", "setpoints", "parts_use",
    }  # fmt: skip
    assert told == {pair for pair in found if pair[0] != "dictionary"}
    assert all(row["meaning"] and row["rows_are"] for row in read_csv(folder / "dictionary.csv"))


def test_a_speed_comes_with_its_uncertainty(export):
    """23 passes in 15 s, random start, 0.10 s, half of it alike in all counts of a hand.

    u = hypot(4/√6, 92 * 0.10/15, half of that) = 1.77113, by hand.
    """
    rows = read_csv(export("csv", "out") / "readings.csv")
    speed = next(row for row in rows if row["quantity"] == "speed")
    assert float(speed["value"]) == 92
    assert float(speed["expanded_uncertainty_rpm"]) == pytest.approx(3.54225, abs=5e-6)
    assert float(speed["standard_uncertainty_rpm"]) == pytest.approx(
        from_pass_count(23, 15).u_rpm, rel=1e-9
    )
    assert (speed["entry"], speed["raw"]) == (f"{COUNT}#2", "23 passes in 15 s")
    assert (speed["setting"], speed["setting_unit"], speed["verdict"]) == (
        "44",
        "Hz",
        "in band",
    )
    assert speed["at"] == "2026-11-23T06:40:00-06:00"


def test_numbers_stay_numbers_and_formulas_become_text(export):
    folder = export("csv", "out")
    cold = next(r for r in read_csv(folder / "readings.csv") if r["quantity"] == "temperature")
    assert cold["value"] == "-25"
    finding = read_csv(folder / "findings.csv")[0]
    assert finding["finding"] == "'@SUM(1+1)|cmd"
    assert read_csv(folder / "visits.csv")[0]["note"] == '\'=HYPERLINK("http://x")'


@given(st.text())
def test_no_text_begins_as_a_formula_and_all_can_be_had_back(text):
    shown = guarded(text)
    assert not shown.startswith(("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠"))
    assert (shown.removeprefix("'")) == text


@pytest.mark.parametrize(
    ("value", "cell"),
    [
        (None, ""), (True, "true"), (False, "false"), (-3, "-3"), (-3.5, "-3.5"), (2.0, "2"),
        (0.1, "0.1"), (0.1 + 0.2, "0.3"), (793120.5, "793120.5"), (12345678901.0, "12345678901"),
        (250 / 3, "83.33333333"), (date(2026, 11, 25), "2026-11-25"), ("-3", "'-3"), ("'a", "''a"), ("a", "a"),
        (datetime(2026, 11, 25, 6, tzinfo=UTC), "2026-11-25T06:00:00+00:00"),
    ],
)  # fmt: skip
def test_a_cell(value, cell):
    assert cell_text(value) == cell


def test_sqlite_answers_a_query(export):
    with closing(sqlite3.connect(export("sqlite", "wash.sqlite"))) as database:
        assert database.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        rows = database.execute(
            "SELECT m.name, r.value FROM readings r JOIN machines m ON r.place = m.machine "
            "WHERE r.quantity = 'speed'"
        ).fetchall()
        assert rows == [("Side brush", 92.0)]
        assert database.execute(
            "SELECT typeof(lockout), lockout FROM tasks WHERE task = 'grease-shaft-bearings'"
        ).fetchall() == [("integer", 1)]
        (unit,) = database.execute(
            "SELECT unit FROM dictionary WHERE table_name = 'tasks' AND column_name = 'minutes'"
        ).fetchone()
        assert unit == "min"


def test_the_same_record_and_day_give_the_same_bytes(export, files_of):
    for form, one, two in (
        ("sqlite", "a.sqlite", "b.sqlite"),
        ("ics", "a.ics", "b.ics"),
    ):
        assert export(form, one).read_bytes() == export(form, two).read_bytes()
    for form in ("csv", "parquet"):
        assert files_of(export(form, f"{form}-a")) == files_of(export(form, f"{form}-b"))


def test_parquet_keeps_kinds_units_and_meanings(export, wash):
    folder = export("parquet", "out")
    table = pq.read_table(folder / "readings.parquet")
    speed = next(row for row in table.to_pylist() if row["quantity"] == "speed")
    assert speed["value"] == 92
    assert speed["at"] == datetime(2026, 11, 23, 12, 40, tzinfo=UTC)
    assert speed["day"] == date(2026, 11, 23)
    field = table.schema.field("expanded_uncertainty_rpm")
    assert field.metadata[b"unit"] == b"r/min"
    assert b"95 %" in field.metadata[b"meaning"]
    site = open_folder(wash, date.fromisoformat(DAY), pinned_clock)
    for made in flat_tables(site.ledger, site.as_of):
        read = pq.read_table(folder / f"{made.name}.parquet")
        assert read.num_rows == len(made.rows)
        assert read.column_names == [column.name for column in made.columns]


def test_duckdb_reads_what_was_exported(export):
    """A database of others joins two forms: kinds and numbers arrive as they were."""
    csv_files, parquet = export("csv", "csv"), export("parquet", "parquet")
    ((name, value, day),) = duckdb.sql(
        f"SELECT m.name, r.value, r.day FROM '{parquet}/readings.parquet' r "
        f"JOIN '{csv_files}/machines.csv' m ON r.place = m.machine WHERE r.quantity = 'speed'"
    ).fetchall()
    assert (name, value, day) == ("Side brush", 92.0, date(2026, 11, 23))
    for path in csv_files.glob("*.csv"):
        rows = duckdb.sql(f"SELECT * FROM read_csv('{path}', header=true)").fetchall()
        assert len(rows) == len(read_csv(path)), path


def test_datasette_opens_the_database(export):
    path = export("sqlite", "wash.sqlite")
    ran = subprocess.run(
        [sys.executable, "-m", "datasette", str(path), "--get", "/wash/readings.json?quantity=speed&_shape=array"],
        capture_output=True,
        text=True,
        check=False,
    )  # fmt: skip
    assert ran.returncode == 0, ran.stderr
    ((row,),) = [json.loads(ran.stdout)]
    assert (row["place"], row["value"]) == ("side-brush", 92.0)


def test_parquet_without_its_library_says_what_to_install(tunnelbook, wash, monkeypatch):
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    assert tunnelbook("export", wash, "--to", "parquet") == 2
    assert "parquet needs pyarrow; install it with: " in tunnelbook.err
    assert tunnelbook.err.endswith(" 'pyarrow>=17'\n")


def events_of(path: Path) -> dict[str, icalendar.Event]:
    calendar = icalendar.Calendar.from_ical(path.read_bytes())
    events = list(calendar.walk("VEVENT"))
    by_uid = {str(event["UID"]): event for event in events}
    assert len(by_uid) == len(events)
    return by_uid


def test_due_work_is_one_all_day_event_a_task_and_day(export, wash):
    events = events_of(export("ics", "due.ics"))
    site = open_folder(wash, date.fromisoformat(DAY), pinned_clock)
    due = next(table for table in flat_tables(site.ledger, site.as_of) if table.name == "due")
    column = [one.name for one in due.columns].index
    days = {
        (row[column("task")], max(row[column("due_on")], site.as_of))
        for row in due.rows
        if row[column("due_on")]
    }
    readings = [event for event in events.values() if event["SUMMARY"].startswith("Read the speed")]
    assert len(events) - len(readings) == len(days) < len(due.rows)
    (greasing,) = [e for e in events.values() if "Grease the turning shaft" in e["SUMMARY"]]
    assert greasing["SUMMARY"] == "Grease the turning shaft bearings: Side brush (2 places)"
    assert greasing.decoded("DTSTART") == date(2026, 11, 30)
    assert greasing.decoded("DTEND") - greasing.decoded("DTSTART") == timedelta(days=1)
    assert greasing.decoded("DTSTAMP") == datetime(2026, 11, 25, tzinfo=UTC)
    assert greasing["TRANSP"] == "TRANSPARENT"


def test_a_second_parser_reads_the_same_events(export):
    path = export("ics", "due.ics")
    calendar = vobject.readOne(path.read_text(encoding="utf-8"))
    read = {
        one.uid.value: (
            one.summary.value,
            one.description.value,
            one.dtstart.value,
            one.dtend.value,
        )
        for one in calendar.vevent_list
    }
    assert read == {
        uid: (
            str(one["SUMMARY"]),
            str(one["DESCRIPTION"]),
            one.decoded("DTSTART"),
            one.decoded("DTEND"),
        )
        for uid, one in events_of(path).items()
    }


def test_what_is_overdue_stands_on_the_day_itself(export):
    late = [
        event
        for event in events_of(export("ics", "due.ics")).values()
        if "overdue by" in event["DESCRIPTION"].lower()
    ]
    assert late
    assert {event.decoded("DTSTART") for event in late} == {date(2026, 11, 25)}


def test_a_subscription_moves_events_and_adds_none(export, tunnelbook, wash):
    before = events_of(export("ics", "due.ics"))
    tunnelbook(
        "record", "--site", wash, "--at", "2026-11-25T06:40", "--done", "grease-shaft-bearings"
    )
    after = events_of(export("ics", "due.ics", as_of="2026-11-26"))
    assert after.keys() == before.keys()
    moved = {
        (before[uid].decoded("DTSTART"), after[uid].decoded("DTSTART"))
        for uid in before
        if "Grease the turning shaft" in before[uid]["SUMMARY"]
    }
    assert moved == {(date(2026, 11, 30), date(2026, 12, 2))}
    assert all(after[uid]["SEQUENCE"] > before[uid]["SEQUENCE"] for uid in before)


def test_the_example_site_is_exported_whole(tmp_path, tunnelbook, example_read_once):
    out = tmp_path / "example.sqlite"
    assert tunnelbook("export", EXAMPLE, "--to", "sqlite", "--out", out, "--as-of", DAY) == 0
    ledger = example_ledger()
    with closing(sqlite3.connect(out)) as database:
        for table, count in (
            ("machines", len(ledger.machines)),
            ("entries", len(ledger.entries)),
            ("visits", len(ledger.visits)),
        ):
            assert database.execute(f"SELECT count(*) FROM {table}").fetchone() == (count,)
        (standing,) = database.execute("SELECT count(*) FROM entries WHERE stands").fetchone()
        assert standing == len(_last_words(ledger))


def _last_words(ledger):
    """Entries that are their own last word, or the last of a chain that does not end in void."""
    return [
        entry for entry in ledger.entries if entry.ref not in ledger.corrections and not entry.void
    ]


def test_every_value_is_of_its_columns_kind():
    kinds = {
        ColumnKind.TEXT: str,
        ColumnKind.NUMBER: float,
        ColumnKind.WHOLE: int,
        ColumnKind.DAY: date,
        ColumnKind.INSTANT: datetime,
        ColumnKind.YES_NO: bool,
    }
    for table in flat_tables(example_ledger(), EXAMPLE_DAY):
        for number, column in enumerate(table.columns):
            found = {type(row[number]) for row in table.rows} - {type(None)}
            assert found <= {kinds[column.kind]}, f"{table.name}.{column.name}"


@pytest.mark.parametrize("form", ["ics", "sqlite"])
def test_a_file_of_another_kind_is_not_written_over(tunnelbook, wash, form):
    target = wash / "site.yaml"
    before = target.read_bytes()
    assert tunnelbook("export", wash, "--to", form, "--out", target) == 2
    assert "another kind of file" in tunnelbook.err
    assert target.read_bytes() == before


def test_without_a_name_it_lies_below_export(wash):
    done = subprocess.run(
        [sys.executable, "-m", "ledger", "export", "--to", "ics"],
        cwd=wash, env={"PYTHONPATH": str(REPOSITORY), "PATH": ""}, check=False, capture_output=True, text=True,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert (wash / "export/due.ics").read_bytes().startswith(b"BEGIN:VCALENDAR\r\n")


@given(st.floats(allow_nan=False, allow_infinity=False, min_value=-1e12, max_value=1e12))
def test_a_number_in_a_cell_keeps_ten_digits_and_shows_no_more(value):
    shown = cell_text(value)
    assert float(shown) == pytest.approx(value, rel=1e-9)
    assert value.is_integer() or sum(c.isdigit() for c in shown.split("e")[0].lstrip("-0.")) <= 10


def test_a_spreadsheet_that_wants_a_byte_order_mark_gets_one_and_no_text_changes(
    tunnelbook, wash, tmp_path
):
    for out, words in (("plain", ()), ("marked", ("--bom",))):
        assert tunnelbook("export", wash, "--to", "csv", "--out", tmp_path / out, *words) == 0
    for plain in (tmp_path / "plain").iterdir():
        marked = (tmp_path / "marked" / plain.name).read_bytes()
        assert marked == b"\xef\xbb\xbf" + plain.read_bytes()


def test_an_event_opens_its_page_and_one_persons_calendar_holds_what_they_may_do(
    tunnelbook, wash, tmp_path
):
    site = wash / "site.yaml"
    site.write_text(site.read_text() + "address: https://wash.example/book/\n")
    calendars = {}
    for out, words in (("all", ()), ("one", ("--for", "ada-tarrowby"))):
        target = tmp_path / f"{out}.ics"
        call = ("export", wash, "--to", "ics", "--out", target, *words, "--as-of", DAY)
        assert tunnelbook(*call) == 0, tunnelbook.err
        calendars[out] = icalendar.Calendar.from_ical(target.read_bytes())
    events = {out: list(one.walk("VEVENT")) for out, one in calendars.items()}
    pages = {str(event["url"]) for event in events["all"]}
    assert "https://wash.example/book/machines/side-brush.html" in pages
    assert pages <= {f"https://wash.example/book/{one}.html" for one in ("due", "machines/side-brush", "machines/conveyor")}  # fmt: skip
    assert {str(e["uid"]) for e in events["one"]} < {str(e["uid"]) for e in events["all"]}
    assert str(calendars["one"]["name"]).endswith("due work for Ada Tarrowby")
    assert tunnelbook("export", wash, "--to", "ics", "--for", "nobody") == 2


def test_a_roll_up_is_written_once_and_takes_parquet_and_the_files_as_they_are(
    tunnelbook, wash, tmp_path
):
    words = (
        "export",
        wash,
        "--to",
        "parquet",
        "--roll-up",
        "--out",
        tmp_path / "o",
        "--as-of",
        DAY,
    )
    assert tunnelbook(*words, "--dry-run") == 0
    assert "would be renewed" in tunnelbook.out
    assert not (tmp_path / "o").exists()
    assert tunnelbook(*words) == 0
    assert (tmp_path / "o/site=wash/year=2026/visits.parquet").exists()
    assert tunnelbook(*words) == 0
    assert tunnelbook.out.startswith("0 files written")
    for wrong in (
        ("--to", "csv", "--roll-up"),
        ("--to", "parquet", "--without-people"),
        ("--to", "parquet", "--roll-up", "--at-commit", "HEAD"),
    ):
        assert tunnelbook("export", wash, *wrong) == 2
    (wash / "tasks/broken.yaml").write_text("title: [\n")
    assert tunnelbook(*words) == 1
    assert "tasks/broken.yaml:1" in tunnelbook.err

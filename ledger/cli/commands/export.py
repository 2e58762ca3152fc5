"""`tunnelbook export`: the record as flat tables, and due work as a calendar."""

import argparse
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from ledger.cli.command import OpenSite, add_as_of, add_site_position, open_site
from ledger.cli.extras import require

if TYPE_CHECKING:
    from ledger.report.flat import FlatTable

DESCRIPTION = "Write the record in a form that other programs read."
EXAMPLES = """\
examples:
  tunnelbook export --to csv                      tables in export/csv/, one file each
  tunnelbook export --to sqlite --out wash.db     one database for any query tool
  tunnelbook export --to ics --out /srv/due.ics   due work, to subscribe to
  tunnelbook export --to parquet                  needs the extra `parquet`

`dictionary` says what every column means and in which unit. Amounts are in SI
units. In CSV a text that a spreadsheet would take for a formula (it begins with
= + - @, a tab or a line end) has an apostrophe before it; numbers are numbers,
with ten digits.
The calendar has one event for each task and day, with its places, and one for
each reading that a new setting asks for. An event keeps its id, so a subscribed
calendar moves it instead of adding one. To renew it, export again, as every
night by cron; what was filed or approved after --as-of counts for nothing.
"""

_DEFAULTS = {
    "csv": "export/csv",
    "ics": "export/due.ics",
    "sqlite": "export/ledger.sqlite",
    "parquet": "export/parquet",
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_site_position(parser)
    add_as_of(parser)
    parser.add_argument("--to", choices=tuple(_DEFAULTS), required=True, help="the form")
    parser.add_argument(
        "--out",
        metavar="PATH",
        help="folder for csv and parquet, file for ics and sqlite; by default below export/ here",
    )


def run(parsed: argparse.Namespace) -> int:
    if parsed.to == "parquet":
        require("pyarrow", "parquet")
    site = open_site(parsed.site, parsed.as_of, parsed.clock)
    out = Path(parsed.out or _DEFAULTS[parsed.to])
    write = {"csv": _csv, "ics": _ics, "sqlite": _sqlite, "parquet": _parquet}[parsed.to]
    print(write(site, out))
    return 0


def _tables(site: OpenSite) -> "Sequence[FlatTable]":
    from ledger.report.flat_tables import flat_tables  # noqa: PLC0415

    return flat_tables(site.ledger, site.as_of)


def _csv(site: OpenSite, out: Path) -> str:
    from ledger.write import exported, flat_csv  # noqa: PLC0415

    return _folder(
        _tables(site), out, "csv", exported.CSV, lambda table: flat_csv.render(table).encode()
    )


def _parquet(site: OpenSite, out: Path) -> str:
    from ledger.write import exported, flat_parquet  # noqa: PLC0415

    return _folder(_tables(site), out, "parquet", exported.PARQUET, flat_parquet.render)


def _folder(
    tables: "Sequence[FlatTable]",
    out: Path,
    extension: str,
    begins: bytes,
    render: "Callable[[FlatTable], bytes]",
) -> str:
    from ledger.write.exported import write_exported  # noqa: PLC0415

    for table in tables:
        write_exported(out / f"{table.name}.{extension}", render(table), begins)
    rows = sum(len(table.rows) for table in tables)
    return f"{len(tables)} tables, {rows} rows in {out}; dictionary.{extension} explains them"


def _sqlite(site: OpenSite, out: Path) -> str:
    from ledger.write import exported, flat_sqlite  # noqa: PLC0415

    tables = _tables(site)
    exported.write_exported(out, flat_sqlite.render(tables), exported.SQLITE)
    rows = sum(len(table.rows) for table in tables)
    return f"{len(tables)} tables, {rows} rows in {out}; the table `dictionary` explains them"


def _ics(site: OpenSite, out: Path) -> str:
    from ledger.assess.due import Schedule  # noqa: PLC0415
    from ledger.assess.follow_up import follow_ups  # noqa: PLC0415
    from ledger.assess.speeds import speed_results  # noqa: PLC0415
    from ledger.report.due_events import due_events  # noqa: PLC0415
    from ledger.write import due_calendar, exported  # noqa: PLC0415

    work = Schedule(site.ledger, site.as_of).all_due()
    asked = follow_ups(site.ledger, speed_results(site.ledger), site.as_of)
    events = due_events(site.ledger, work, asked, site.as_of)
    name = f"{site.ledger.site.name}: due work"
    content = due_calendar.render(events, name=name, as_of=site.as_of)
    exported.write_exported(out, content, exported.ICS)
    return f"{len(events)} events in {out}, as of {site.as_of}"

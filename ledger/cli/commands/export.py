"""`tunnelbook export`: the record as flat tables, and due work as a calendar."""

import argparse
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from ledger.cli.command import OpenSite, add_as_of, add_site_position, open_site, require

if TYPE_CHECKING:
    from ledger.book.flat import FlatTable


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
    from ledger.site.tables import flat_tables  # noqa: PLC0415

    return flat_tables(site.ledger, site.as_of)


def _csv(site: OpenSite, out: Path) -> str:
    from ledger.book import flat_forms  # noqa: PLC0415
    from ledger.files import save  # noqa: PLC0415

    return _folder(
        _tables(site), out, "csv", save.CSV, lambda table: flat_forms.render_csv(table).encode()
    )


def _parquet(site: OpenSite, out: Path) -> str:
    from ledger.book import flat_parquet  # noqa: PLC0415
    from ledger.files import save  # noqa: PLC0415

    return _folder(_tables(site), out, "parquet", save.PARQUET, flat_parquet.render_parquet)


def _folder(
    tables: "Sequence[FlatTable]",
    out: Path,
    extension: str,
    begins: bytes,
    render: "Callable[[FlatTable], bytes]",
) -> str:
    from ledger.files.save import write_exported  # noqa: PLC0415

    for table in tables:
        write_exported(out / f"{table.name}.{extension}", render(table), begins)
    rows = sum(len(table.rows) for table in tables)
    return f"{len(tables)} tables, {rows} rows in {out}; dictionary.{extension} explains them"


def _sqlite(site: OpenSite, out: Path) -> str:
    from ledger.book import flat_forms  # noqa: PLC0415
    from ledger.files import save  # noqa: PLC0415

    tables = _tables(site)
    save.write_exported(out, flat_forms.render_sqlite(tables), save.SQLITE)
    rows = sum(len(table.rows) for table in tables)
    return f"{len(tables)} tables, {rows} rows in {out}; the table `dictionary` explains them"


def _ics(site: OpenSite, out: Path) -> str:
    from ledger.files import save  # noqa: PLC0415
    from ledger.upkeep.due import calendar as due_calendar  # noqa: PLC0415
    from ledger.upkeep.due.calendar import due_events  # noqa: PLC0415
    from ledger.upkeep.due.found import Schedule  # noqa: PLC0415
    from ledger.upkeep.register.found import follow_ups  # noqa: PLC0415
    from ledger.upkeep.speeds.found import speed_results  # noqa: PLC0415

    work = Schedule(site.ledger, site.as_of).all_due()
    asked = follow_ups(site.ledger, speed_results(site.ledger), site.as_of)
    events = due_events(site.ledger, work, asked, site.as_of)
    name = f"{site.ledger.site.name}: due work"
    content = due_calendar.render_calendar(events, name=name, as_of=site.as_of)
    save.write_exported(out, content, save.ICS)
    return f"{len(events)} events in {out}, as of {site.as_of}"

"""`tunnelbook export`, `group` and `cards`: files to take away.

Tables, a calendar, cards to print; and the exports of many sites with one book of what stands out.
"""

import sys
from argparse import Namespace
from collections.abc import Callable, Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from ledger.book.flat import FlatTable
from ledger.book.flat_forms import render_csv, render_parquet, render_sqlite
from ledger.cli.arguments import WITHOUT_PEOPLE, arg, command, flag
from ledger.cli.command import Failure, FaultyFiles, known, open_site, say_written, site_root
from ledger.cli.environment import orders_of, require
from ledger.files.book_files import has_marker, write_files
from ledger.files.names import BOOK, SITE_FILE
from ledger.files.save import remove_leftovers, replace_file, write_exported

if TYPE_CHECKING:
    from ledger.model.ledger import Ledger
    from ledger.site.roll_up import Order
    from ledger.upkeep.register.found import RegisterLine


def _csv(table: FlatTable, parsed: Namespace) -> bytes:
    return render_csv(table).encode("utf-8-sig" if parsed.bom else "utf-8")


_FORMS: Mapping[str, tuple[str, bytes, Callable[[FlatTable, Namespace], bytes] | None]] = {
    "csv": ("export/csv", b"", _csv),
    "ics": ("export/due.ics", b"BEGIN:VCALENDAR", None),
    "sqlite": ("export/ledger.sqlite", b"SQLite format 3\0", None),
    "parquet": ("export/parquet", b"PAR1", lambda table, _: render_parquet(table)),
}
"""Where each lies by default, how its files begin, and how a table becomes one where it does.

A file that begins otherwise is somebody else's, and is not written over; CSV has no sign."""


def _export(parsed: Namespace) -> int:
    from ledger.site.tables import flat_tables

    form = parsed.to or (parsed.format if parsed.format in _FORMS else None)
    if form is None:
        raise Failure(f"say the form with --to: {', '.join(_FORMS)}")
    if form == "parquet":
        require("pyarrow", "parquet")
    if parsed.roll_up or parsed.without_people:
        return _roll_up(parsed, form)
    site = open_site(parsed)
    usual_out, begins, _ = _FORMS[form]
    out = Path(parsed.out or usual_out)
    if form == "ics":
        number, calendar = _calendar(site.ledger, site.as_of, parsed.person)
        files = {out: calendar}
        summary = f"{number} events in {out}, as of {site.as_of}"
    else:
        tables = flat_tables(site.ledger, site.as_of)
        files, dictionary = _table_files(tables, form, out, parsed)
        rows = sum(len(table.rows) for table in tables)
        summary = f"{len(tables)} tables, {rows} rows in {out}; {dictionary}"
    for path, content in files.items():
        if not parsed.dry_run:
            write_exported(path, content, begins)
        parsed.answer.written.append(str(path))
    print(f"would be written: {summary}" if parsed.dry_run else summary)
    return 0


def _roll_up(parsed: Namespace, form: str) -> int:
    """The tables of a site as `group` lays them beside those of others."""
    from ledger.site.roll_up import UnusableSiteError, is_current, write_export

    if form != "parquet" or not parsed.roll_up:
        raise Failure("`--roll-up` goes with `--to parquet`, and `--without-people` with both")
    if parsed.at_commit is not None:
        raise Failure("`--roll-up` takes the files as they are; leave `--at-commit` out")
    root = site_root(parsed.site).resolve()
    (order,) = orders_of(parsed, [root], Path(parsed.out or _SITES).resolve())
    parsed.answer.site, parsed.answer.day = root, parsed.as_of
    if parsed.dry_run:
        print(f"{order.folder} {'is current' if is_current(order) else 'would be renewed'}")
        return 0
    try:
        written = () if is_current(order) else write_export(order).written
    except UnusableSiteError as wrong:
        raise FaultyFiles(f"{wrong}; see all with `tunnelbook check {root}`") from wrong
    parsed.answer.written += [str(order.folder / path) for path in written]
    print(f"{len(written)} files written in {order.folder}, the others are as they were")
    return 0


_SITES = "export/sites"


def _table_files(
    tables: Sequence[FlatTable], form: str, out: Path, parsed: Namespace
) -> tuple[dict[Path, bytes], str]:
    """The files of some tables, and where their columns are explained."""
    *_, file_of = _FORMS[form]
    if file_of is None:
        from ledger.site.tables import VIEWS

        return {out: render_sqlite(tables, VIEWS)}, "the table `dictionary` explains them"
    files = {out / f"{table.name}.{form}": file_of(table, parsed) for table in tables}
    return files, f"dictionary.{form} explains them"


def _calendar(ledger: "Ledger", as_of: date, who: str | None) -> tuple[int, bytes]:
    """How many events there are of due work, or of what a person may do, and the calendar."""
    from ledger.upkeep.due.calendar import due_events, render_calendar
    from ledger.upkeep.due.found import Schedule, may_do
    from ledger.upkeep.register.found import follow_ups
    from ledger.upkeep.speeds.found import speed_results

    readings_due = follow_ups(ledger, speed_results(ledger), as_of)
    work = Schedule(ledger, as_of).all_due()
    name = f"{ledger.site.name}: due work"
    if who is not None:
        person = ledger.site.people[known(who, ledger.site.people, "person")]
        work = tuple(one for one in work if may_do(person, one.task))
        name += f" for {person.name}"
    events = due_events(ledger, work, readings_due, as_of)
    return len(events), render_calendar(events, name=name, as_of=as_of)


def _cards(parsed: Namespace) -> int:
    from ledger.files.tree import DiskTree
    from ledger.upkeep.register import cards as register_cards
    from ledger.upkeep.register.found import register
    from ledger.upkeep.speeds.found import speed_results

    site = open_site(parsed)
    ledger = site.ledger
    with_setting = [machine.ident for machine in ledger.machines.values() if machine.has_setpoint]
    only = {known(word, with_setting, "drive with a setting") for word in parsed.only}
    tree = DiskTree(site.root)
    file_bytes = {drive.path: tree.read(drive.path) for drive in ledger.setpoints.values()}
    lines = [
        line
        for line in register(ledger, speed_results(ledger))
        if not only or line.machine.ident in only
    ]
    cards = register_cards.drive_cards(ledger, lines, file_bytes)
    for line in lines:
        _say_what_is_pending(ledger, line)
    files = {Path(parsed.out): register_cards.render_page(cards, site_name=ledger.site.name)}
    if parsed.svg is not None:
        folder = Path(parsed.svg)
        files |= {folder / f"{card.machine}.svg": register_cards.render(card) for card in cards}
    _write(parsed, files)
    return 0


def _say_what_is_pending(ledger: "Ledger", line: "RegisterLine") -> None:
    from ledger.book.words import format_change
    from ledger.upkeep.register.words import format_pending_claims

    ident, in_force = line.machine.ident, line.in_force
    if in_force is None:
        shown = "no card"
        sys.stderr.write(f"no card: {ident} has no approved setting\n")
    else:
        shown = f"card shows {format_change(in_force.change, ledger.site)}"
    for claim in format_pending_claims(line.setpoints, ledger.site):
        sys.stderr.write(f"{shown}: {ident}: {claim}\n")


def _write(parsed: Namespace, files: dict[Path, str]) -> None:
    for path in files:
        if path.exists() and not (
            path.is_file() and has_marker(path.read_text("utf-8", "replace"))
        ):
            raise Failure(
                f"{path} is there already and was not made by this program; "
                "nothing was written; move it away, or name another with --out"
            )
    for folder in {path.parent for path in files}:
        if not parsed.dry_run:
            remove_leftovers(folder, below=False)
    for path, text in files.items():
        if not parsed.dry_run:
            replace_file(path, text.encode())
        say_written(parsed, path)


_EXPORT, _MERGED = "export", "_merged"


def _group(parsed: Namespace) -> int:
    from ledger.book.words import format_count
    from ledger.group.exports import renew_all
    from ledger.site.roll_up import is_current

    for library in ("pyarrow", "duckdb", *(("distributed",) if parsed.scheduler else ())):
        require(library, "group")
    named, out, orders, troubles = _ordered(parsed)
    if parsed.dry_run:
        for order in orders:
            print(f"{order.ident}: {'current' if is_current(order) else 'would be renewed'}")
    else:
        try:
            faults = renew_all(orders, parsed.scheduler or "")
        except OSError as wrong:
            if not parsed.scheduler:
                raise
            raise Failure(f"no Dask cluster answers at {parsed.scheduler}: {wrong}") from wrong
        troubles |= {ident: why for ident, why in faults.items() if why}
        _write_book(parsed, named, out, orders, troubles)
        renewed = sum(not why for why in faults.values())
        print(f"{format_count(len(orders), 'site')}, {renewed} renewed, in {out}")
    for ident, why in sorted(troubles.items()):
        sys.stderr.write(f"not renewed: {ident}: {why}\n")
    return 1 if troubles else 0


def _ordered(parsed: Namespace) -> "tuple[Path, Path, list[Order], dict[str, str]]":
    """The group's place, where its exports and book go, what to renew, and why not the others."""
    from ledger.group.exports import sites_named

    named = Path(parsed.sites).resolve()
    if not named.exists():
        raise Failure(f"there is no folder or list `{parsed.sites}`")
    try:
        roots = sites_named(named)
    except UnicodeDecodeError:
        raise Failure(f"`{parsed.sites}` is not UTF-8 text; a list has one folder a line") from None
    folder = named if named.is_dir() else named.parent
    out = Path(parsed.out).resolve() if parsed.out else folder
    if not roots:
        raise Failure(f"`{parsed.sites}` names no site: no folder with {SITE_FILE} just below it")
    if (out / SITE_FILE).exists():
        raise Failure(
            f"{out} is the folder of a site, whose book is there; name another with --out"
        )
    orders: dict[str, Order] = {}
    troubles: dict[str, str] = {}
    for order in orders_of(parsed, roots, out / _EXPORT):
        if not (order.root / SITE_FILE).is_file():
            troubles[str(order.root)] = f"holds no {SITE_FILE}"
        elif orders.setdefault(order.ident, order) is not order:
            troubles[str(order.root)] = (
                f"has the id `{order.ident}` of {orders[order.ident].root}; "
                f"give it its own with `group: {{id: …}}` in {SITE_FILE}"
            )
    return folder, out, [orders[ident] for ident in sorted(orders)], troubles


def _write_book(
    parsed: Namespace, folder: Path, out: Path, orders: "list[Order]", troubles: dict[str, str]
) -> None:
    from ledger.group.book import group_files
    from ledger.group.exports import ask, merged_tables
    from ledger.site.roll_up import read_manifest

    there = {
        order.ident: (order.folder, manifest)
        for order in orders
        if (manifest := read_manifest(order.folder)) is not None
    }
    merged = out / _EXPORT / _MERGED
    answers = ask(merged_tables(merged, list(there.values()))) if there else {}
    days = {ident: manifest.day for ident, (_, manifest) in there.items()}
    not_current = [(ident, why, days.get(ident, "")) for ident, why in sorted(troubles.items())]
    files = group_files(folder.name, answers, not_current, html=parsed.html)
    written = write_files(out / BOOK, files, leave=() if parsed.html else ("html",))
    if written.refused:
        first = written.refused[0]
        raise Failure(f"nothing was written: {BOOK}/{first.path} {first.why}")
    parsed.answer.written += [str(out / BOOK / path) for path in written.written]


COMMANDS = {
    "export": command(
        _export,
        "Write the record in a form that other programs read.",
        """\
  tunnelbook export --to csv                      tables in export/csv/, one file each
  tunnelbook export --to sqlite --out wash.db     one database for any query tool
  tunnelbook export --to ics --out /srv/due.ics   due work, to subscribe to
  tunnelbook export --to ics --for m-osterby      what one person may do
  tunnelbook export --to parquet                  needs the extra `parquet`
  tunnelbook export --to parquet --roll-up --out /srv/sites    beside those of other sites

`dictionary` says what every column means and in which unit. Amounts are in SI
units. In CSV a text that a spreadsheet would take for a formula (it begins with
= + - @, a tab or a line end) has an apostrophe before it; numbers are numbers,
with ten digits.
With --roll-up the folder may hold many sites: site=ID/TABLE.parquet says how things
stand, site=ID/year=YYYY/TABLE.parquet what happened in that year. A file is written
again only where it would differ. `tunnelbook group` does so for all sites of a folder.
The calendar has one event for each task and day, with its places, and one for
each reading that a new setting asks for. An event keeps its id, so a subscribed
calendar moves it instead of adding one. To renew it, export again, as every
night by cron; what was filed or approved after --as-of is left out.
""",
        arg("--to", None, "the form", choices=tuple(_FORMS)),
        arg(
            "--out",
            "PATH",
            "folder for csv and parquet, file for ics and sqlite; by default below export/ here",
        ),
        arg("--for", "PERSON", "of due work only what this person may do", dest="person"),
        flag(
            "--roll-up",
            "with parquet: each table with the site's id, in files by site and year",
        ),
        WITHOUT_PEOPLE,
        flag("--bom", "begin each CSV file with a byte order mark, as some spreadsheets want it"),
        takes="site-here day commit dry-run",
        forms=tuple(_FORMS),
    ),
    "cards": command(
        _cards,
        "Make one printable page of cards to fix on the drives' enclosures: approved "
        "setting, band, date, approver, register revision and, where site.yaml gives an address, a "
        "code that opens the machine's page.",
        """\
  tunnelbook cards                                  drive-cards.html, two across and four down
  tunnelbook cards --out cards.html --svg cards     also one SVG a card in the folder cards/
  tunnelbook cards --only brush-p2                  the one that has changed

Print at full size on A4 or Letter. A drive without an approved setting has no
card. The register revision is the beginning of the SHA-256 of the drive's
file in setpoints/, as sha256sum prints it.
""",
        arg("--out", "FILE", "default: drive-cards.html", default="drive-cards.html"),
        arg("--svg", "DIR", "also one SVG a card in this folder"),
        arg("--only", "MACHINE", "cards of these machines alone", nargs="+", default=[]),
        takes="site-here day dry-run",
    ),
    "group": command(
        _group,
        "Renew the exports of many sites, and render one book of what stands out in them.",
        """\
  tunnelbook group washes                 every site just below the folder washes
  tunnelbook group washes/sites.txt       those of a list, one folder a line
  tunnelbook group washes --out /srv/group --html --without-people
  tunnelbook group washes --scheduler tcp://10.0.0.5:8786    on a Dask cluster that is there

The exports go to export/ and the book to book/, in the folder itself or --out. A site
is renewed only where its files, the day or this program have changed. One that cannot
be is named on the front page and here, with the day of its last export; the others are
not held up. Exit status 1 where there is one. It needs the extra `group`; the workers of
a cluster need this program too, and have to see the same folders by the same paths.
Queries are answered by DuckDB from the files; no extension of it is ever fetched.
""",
        arg("sites", "FOLDER|LIST", "the folder that holds the sites, or a file that lists them"),
        arg("--out", "DIR", "where export/ and book/ go; by default beside the sites"),
        flag("--html", "also render book/html/"),
        WITHOUT_PEOPLE,
        arg("--scheduler", "ADDRESS", "renew on this Dask cluster; else by processes here"),
        takes="day dry-run",
    ),
}

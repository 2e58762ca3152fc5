"""`tunnelbook export` and `cards`: files to take away, as tables, a calendar, or cards to print."""

import sys
from argparse import Namespace
from collections.abc import Callable, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from ledger.book.flat import FlatTable
from ledger.book.flat_forms import render_csv, render_parquet, render_sqlite
from ledger.cli.arguments import WITHOUT_PEOPLE, arg, command, flag
from ledger.cli.command import Failure, FaultyFiles, known, open_site, say_written, site_root
from ledger.cli.environment import orders_of, require
from ledger.files.book_files import has_marker
from ledger.files.save import remove_leftovers, replace_file, write_exported

if TYPE_CHECKING:
    from ledger.model.ledger import Ledger
    from ledger.upkeep.register.found import RegisterLine


class _Form(NamedTuple):
    """Where it lies by default, how its files begin, and how a table becomes one where it does.

    A file that begins otherwise is somebody else's, and is not written over; CSV has no sign.
    """

    out: str
    begins: bytes = b""
    file_of: Callable[[FlatTable, Namespace], bytes] | None = None


def _csv(table: FlatTable, parsed: Namespace) -> bytes:
    return render_csv(table).encode("utf-8-sig" if parsed.bom else "utf-8")


_FORMS = {
    "csv": _Form("export/csv", file_of=_csv),
    "ics": _Form("export/due.ics", b"BEGIN:VCALENDAR"),
    "sqlite": _Form("export/ledger.sqlite", b"SQLite format 3\0"),
    "parquet": _Form("export/parquet", b"PAR1", lambda table, _: render_parquet(table)),
}


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
    out = Path(parsed.out or _FORMS[form].out)
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
            write_exported(path, content, _FORMS[form].begins)
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
    file_of = _FORMS[form].file_of
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
}

"""`tunnelbook group`: the exports of many sites renewed, and one book of what stands out."""

import sys
from argparse import Namespace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from ledger.cli.arguments import WITHOUT_PEOPLE, arg, command, flag
from ledger.cli.command import Failure
from ledger.cli.environment import orders_of, require
from ledger.files.names import BOOK, SITE_FILE

if TYPE_CHECKING:
    from ledger.site.roll_up import Order

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
    from ledger.files.book_files import write_files
    from ledger.group.book import Trouble, group_files
    from ledger.group.exports import ask, merged_tables
    from ledger.site.roll_up import read_manifest

    there = {
        order.ident: (order.folder, manifest)
        for order in orders
        if (manifest := read_manifest(order.folder)) is not None
    }
    merged = out / _EXPORT / _MERGED
    answers = ask(merged_tables(merged, list(there.values()))) if there else {}
    not_current = [
        Trouble(
            site=ident,
            why=why,
            day=date.fromisoformat(there[ident][1].day) if ident in there else None,
        )
        for ident, why in sorted(troubles.items())
    ]
    files = group_files(folder.name, answers, not_current, html=parsed.html)
    written = write_files(out / BOOK, files, leave=() if parsed.html else ("html",))
    if written.refused:
        first = written.refused[0]
        raise Failure(f"nothing was written: {BOOK}/{first.path} {first.why}")
    parsed.answer.written += [str(out / BOOK / path) for path in written.written]


COMMANDS = {
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

"""Filing a visit: held against the whole site first, shown, and never over another file."""

import argparse
import sys
from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

from ledger.cli.asking import agrees, someone_is_there
from ledger.cli.command import Failure, OpenSite, known

if TYPE_CHECKING:
    from ledger.edit.visit_file import VisitFile
    from ledger.model.ledger import Ledger
    from ledger.model.site import Person, Site

_WRITTEN_LATER = timedelta(hours=1)


def add_filing_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--by", metavar="PERSON", help="who did it; by default whom git knows")
    parser.add_argument(
        "--at", metavar="TIME", help="when, such as 06:40 or 2026-11-23T06:40; by default now"
    )
    parser.add_argument(
        "--with", dest="helpers", metavar="PERSON", action="append", default=[], help="who helped"
    )
    parser.add_argument("--dry-run", action="store_true", help="show the file and write nothing")
    parser.add_argument(
        "--yes", action="store_true", help="file it although a foreman would ask about it"
    )


def ledger_of(site: OpenSite) -> "Ledger":
    """The ledger as far as the files allow: a fault elsewhere keeps no work from being filed."""
    ledger = site.loaded.ledger
    if ledger is None:
        raise Failure(f"site.yaml cannot be used; see `tunnelbook check {site.root}`")
    if site.loaded.has_errors:
        sys.stderr.write(
            f"other files of the site have errors; see `tunnelbook check {site.root}`\n"
        )
    return ledger


def person_who(parsed: argparse.Namespace, site: OpenSite, ledger: "Ledger") -> "Person":
    """The person named, or else known to git; Failure, naming those of the site, where none is."""
    from ledger.cli.surroundings import git_user, person_of  # noqa: PLC0415

    people = ledger.site.people
    if parsed.by is not None:
        return people[known(parsed.by, people, "person")]
    user = git_user(site.root)
    ident = person_of(ledger.site, user)
    if not ident:
        who = f"`{user.email}`" if user.email else "nobody"
        raise Failure(
            f"git knows {who} here, and no person of the site has that address or name; "
            f"say --by PERSON: {', '.join(people)}"
        )
    return people[ident]


def time_of(parsed: argparse.Namespace, site: "Site", now: datetime) -> datetime:
    """When the work was done, on the site's clock."""
    if parsed.at is None:
        return now
    text = f"{now:%Y-%m-%d}T{parsed.at}" if len(parsed.at) == len("06:40") else parsed.at
    try:
        told = datetime.fromisoformat(text)
    except ValueError:
        told = None
    if told is None or "T" not in text:
        raise Failure(f"`{parsed.at}` is no time; write 06:40 for today, or 2026-11-23T06:40")
    return told.astimezone(site.zone) if told.tzinfo else told.replace(tzinfo=site.zone)


def visit_of(
    parsed: argparse.Namespace, person: str, when: datetime, now: datetime, **told: Any
) -> dict[str, Any]:
    """The visit as its file holds it; `told` are note, meters and entries, left out where empty."""
    from ledger.edit.visit_file import instant_text  # noqa: PLC0415

    visit: dict[str, Any] = {"at": instant_text(when), "by": person}
    if parsed.helpers:
        visit["with"] = list(dict.fromkeys(parsed.helpers))
    if now - when >= _WRITTEN_LATER:
        visit["entered_at"] = instant_text(now)
    return visit | {key: value for key, value in told.items() if value}


def file_visit(
    parsed: argparse.Namespace, site: OpenSite, visit: Mapping[str, Any], when: datetime
) -> int:
    """Check the site with the visit in it, show the file, and write it; the exit status."""
    from ledger.edit.visit_file import visit_file, write_new  # noqa: PLC0415

    made = visit_file(site.root, visit, when)
    errors, warnings = _found(site, made)
    print(f"# {made.path}\n{made.text}", end="")
    sys.stdout.flush()
    _complain(errors + warnings)
    if errors:
        sys.stderr.write("nothing was filed\n")
        return 1
    if parsed.dry_run:
        return 1 if warnings else 0
    if warnings and not parsed.yes:
        if not someone_is_there():
            sys.stderr.write("nothing was filed; if it is right as it stands, say --yes\n")
            return 1
        if not agrees("A foreman would ask about this. File it as it stands?"):
            sys.stderr.write("nothing was filed\n")
            return 1
    try:
        written = write_new(site.root, made.path, made.text)
    except OSError as wrong:
        raise Failure(f"nothing was filed: {wrong}") from None
    print(f"filed {written}")
    return 0


def _found(site: OpenSite, made: "VisitFile") -> tuple[list[Any], list[Any]]:
    """Errors and warnings about the new file, as a check of the whole site finds them."""
    from ledger.edit.overlay import WithNewFiles  # noqa: PLC0415
    from ledger.pipeline import check, load  # noqa: PLC0415
    from ledger.source.tree import DiskTree  # noqa: PLC0415

    if made.diagnostics:
        return list(made.diagnostics), []
    loaded = load(WithNewFiles(tree=DiskTree(site.root), new={made.path: made.text}))
    about = [d for d in check(loaded, site.as_of) if d.position.path == made.path]
    return [d for d in about if d.is_error], [d for d in about if not d.is_error]


def _complain(diagnostics: list[Any]) -> None:
    from ledger.write import diagnostics_formats  # noqa: PLC0415

    sys.stderr.write(diagnostics_formats.render(diagnostics, "text"))
    sys.stderr.flush()

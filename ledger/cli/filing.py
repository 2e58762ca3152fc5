"""Filing a visit: checked within the whole site first, shown, and never over another file."""

import re
import sys
from argparse import Namespace
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ledger.book.escape import terminal_text
from ledger.cli import command as cli
from ledger.cli.calls import FAILED
from ledger.cli.command import Failure, FaultyFiles, OpenSite
from ledger.cli.conversation import ask, ask_until, someone_is_there
from ledger.cli.environment import filed_by, git_user, person_of
from ledger.cli.into_git import commit_filed, commit_left_over, end_filing, way_of
from ledger.files.save import UnconfirmedError, remove_leftovers
from ledger.files.tree import DiskTree
from ledger.values import dataclass, field

if TYPE_CHECKING:
    from ledger.cli.clock import Clock
    from ledger.cli.keeper import KeptRecord
    from ledger.files.diagnostics import Diagnostic
    from ledger.filing.visit_file import VisitFile
    from ledger.model.ledger import Ledger
    from ledger.model.site import Person, Site


@dataclass(frozen=True, slots=True, kw_only=True)
class Filing:
    """Who files a visit of when, at which site, and how far to go without asking.

    `photos` are the pictures that go with it, by their paths in the site.
    """

    site: OpenSite
    ledger: "Ledger"
    person: "Person"
    helpers: tuple[str, ...]
    when: datetime
    now: datetime
    dry_run: bool
    yes: bool
    way: str
    filer: dict[str, str]
    clock: "Clock"
    written: list[str]
    photos: dict[str, bytes] = field(default_factory=dict)

    def visit(self, **parts: Any) -> dict[str, Any]:
        """The visit as its file holds it; of `note`, `meters` and `entries` what is not empty."""
        from ledger.filing.visit_file import entered_at, instant_text

        visit: dict[str, Any] = {"at": instant_text(self.when), "by": self.person.ident}
        if self.helpers:
            visit["with"] = list(self.helpers)
        return (
            visit
            | self.filer
            | entered_at(self.when, self.now)
            | {key: value for key, value in parts.items() if value}
        )


def start_filing(parsed: Namespace, *, names_entries: bool) -> Filing:
    """What `record` and `correct` begin with: the site, the person and the time."""
    # Of what was filed the excerpt in the store knows no entry by name, and today's state alone.
    record = None if names_entries or parsed.at is not None else _kept_record(parsed.site)
    site = cli.open_excerpt(parsed, record) or cli.open_site(parsed)
    ledger = ledger_of(site)
    person = person_who(parsed, site, ledger)
    crew = (person.ident, *parsed.helpers)
    for helper in parsed.helpers:
        cli.known(helper, ledger.site.people, "person")
    now = parsed.clock(ledger.site.zone).replace(second=0, microsecond=0)
    return Filing(
        site=site,
        ledger=ledger,
        person=person,
        helpers=tuple(dict.fromkeys(parsed.helpers)),
        when=time_of(parsed, ledger.site, now),
        now=now,
        dry_run=parsed.dry_run,
        yes=parsed.yes,
        way=way_of(parsed, ledger.site),
        # With --by git may know another here, whose commit it will be.
        filer=filed_by(ledger.site, site.root, crew) if parsed.by else {},
        clock=parsed.clock,
        written=parsed.answer.written,
    )


def _kept_record(folder: str | None) -> "KeptRecord | None":
    try:
        from ledger.cli.keeper import kept_record
    except ImportError:  # a Python without SQLite
        return None
    return kept_record(folder)


def ledger_of(site: OpenSite) -> "Ledger":
    """The ledger as far as the files allow: a fault elsewhere keeps no work from being filed."""
    ledger = site.loaded.ledger or site.known
    if ledger is None:
        raise FaultyFiles(f"site.yaml cannot be used; see `tunnelbook check {site.root}`")
    if site.loaded.has_errors:
        sys.stderr.write(
            f"other files of the site have errors; see `tunnelbook check {site.root}`\n"
        )
    return ledger


def person_who(parsed: Namespace, site: OpenSite, ledger: "Ledger") -> "Person":
    """The person named, or else known to git, or else who says so at a terminal.

    Without a terminal Failure, naming those of the site.
    """
    people = ledger.site.people
    if parsed.by is not None:
        return people[cli.known(parsed.by, people, "person")]
    user = git_user(site.root)
    ident = person_of(ledger.site, user)
    if ident:
        return people[ident]
    here = [person for person in people.values() if person.is_here(site.as_of)]
    if someone_is_there() and here:
        return _person_at_the_terminal(here)
    names = ", ".join(person.ident for person in here)
    if sum(person.has_address(user.email) for person in people.values()) > 1:
        raise Failure(
            f"git knows `{user.email}` here, which several people of the site have; "
            f"say --by PERSON: {names}"
        )
    lasting = "\nto be known from now on: put that address under `emails` of your id in site.yaml"
    raise Failure(
        f"git knows {f'`{user.email}`' if user.email else 'nobody'} here, and no person of the "
        f"site has that address or name; say --by PERSON: {names}{lasting if user.email else ''}"
    )


def time_of(parsed: Namespace, site: "Site", now: datetime) -> datetime:
    """When the work was done, on the site's clock."""
    if parsed.at is None:
        return now
    spoken = re.fullmatch(r"(?:(today|yesterday)[ ,T]+)?(\d?\d:\d\d)", parsed.at.strip())
    text = parsed.at.strip().replace(" ", "T", 1)
    if spoken:
        ago = timedelta(days=spoken[1] == "yesterday")
        text = f"{now - ago:%Y-%m-%d}T{spoken[2]:0>5}"
    try:
        given = datetime.fromisoformat(text)
    except ValueError:
        given = None
    if given is None or "T" not in text:
        raise Failure(
            f"`{parsed.at}` is not a time; write 06:40 for today, `yesterday 06:40`, "
            "or 2026-11-23T06:40"
        )
    return given.astimezone(site.zone) if given.tzinfo else given.replace(tzinfo=site.zone)


def _person_at_the_terminal(people: "Sequence[Person]") -> "Person":
    """Whoever picks their own number; the answer stands for this visit only."""
    for number, person in enumerate(people, 1):
        print(f"{number:>2}  {terminal_text(person.name)}")

    def picked(text: str) -> "Person":
        if not text.isdecimal() or not 1 <= int(text) <= len(people):
            raise ValueError(f"write a number, 1 to {len(people)}")
        return people[int(text) - 1]

    found = ask_until("Who are you? ", picked)
    print(
        "So as not to be asked: put the address that `git config user.email` prints under "
        f"`emails` of {found.ident} in site.yaml."
    )
    return found


def checked(filing: Filing, visit: Mapping[str, Any]) -> "list[Diagnostic]":
    """What a check of the whole site finds about a visit, which is shown; nothing is written.

    Errors come before warnings.
    """
    made = named(filing, visit)
    found: Iterable[Diagnostic] = made.diagnostics
    if not found:
        found = cli.faults_with(filing.site, made.path, made.text, filing.photos)
    in_order = sorted(found, key=lambda one: not one.is_error)
    print(f"# {made.path}\n{made.text}", end="", flush=True)
    cli.print_faults(in_order)
    _say_before_it_runs_again(filing.ledger, visit)
    return in_order


def file_visit(filing: Filing, visit: Mapping[str, Any]) -> int:
    """Check the site with the visit in it, show the file, and write it; the exit status.

    A visit that a file holds already is not filed again.
    """
    from ledger.filing.visit_file import filed_already

    there = filed_already(DiskTree(filing.site.root), visit, filing.when)
    if there:
        remove_leftovers(filing.site.root)
        print(f"filed already: {filing.site.root / there}")
        if filing.way != "files" and not filing.dry_run:
            commit_left_over(filing.site.root, [there], _message(filing), filing.clock)
            return _end(filing)
        return 0
    return settle(filing, visit, checked(filing, visit))


def settle(filing: Filing, visit: Mapping[str, Any], found: "Sequence[Diagnostic]") -> int:
    """Write a visit that was shown, unless something speaks against it; the exit status."""
    if has_errors(found):
        sys.stderr.write("nothing was filed\n")
        return FAILED
    if filing.dry_run:
        return 1 if found else 0
    if found and not filing.yes:
        if not someone_is_there():
            sys.stderr.write("nothing was filed; if it is right as it stands, say --yes\n")
            return 1
        if not _agrees("A foreman would ask about this. File it as it stands?"):
            sys.stderr.write("nothing was filed\n")
            return 1
    return write(filing, visit)


def has_errors(found: "Iterable[Diagnostic]") -> bool:
    return any(one.is_error for one in found)


def write(filing: Filing, visit: Mapping[str, Any]) -> int:
    """Write a visit under a name that is free now; the exit status."""
    from ledger.filing.visit_file import photos_beside, write_new

    root = filing.site.root
    remove_leftovers(root)
    while True:
        made = named(filing, visit)
        try:
            with photos_beside(root, filing.photos):
                written = write_new(root, made.path, made.text)
        except FileExistsError:
            # Another visit of this minute took the name since it was found free.
            continue
        except UnconfirmedError as error:
            raise Failure(f"filed, but look whether it is there: {cli.fault_text(error)}") from None
        except OSError as error:
            raise Failure(f"nothing was filed: {cli.fault_text(error)}") from None
        break
    print(f"filed {written}")
    filing.written.append(made.path)
    _look_at_what_it_changes(root, visit, made.ident)
    if filing.way != "files":
        files = {**filing.photos, made.path: made.text.encode()}
        commit_filed(root, files, _message(filing), filing.clock)
    return _end(filing)


def _look_at_what_it_changes(root: Path, visit: Mapping[str, Any], ident: str) -> None:
    """Say how to propose what the visit left a drive at; renew what an editor knows of findings."""
    from ledger.model.readings import KEYS_OF_READING, STEPS
    from ledger.site.pipeline import load
    from ledger.upkeep.tuning.session import propose_command

    moved = {key for key in KEYS_OF_READING["setting"] if key.startswith(("left_", STEPS))}
    keys = {key for entry in visit["entries"] for key in entry}
    if not keys & (moved | _FINDING):
        return
    ledger = load(DiskTree(root)).ledger
    if ledger is None:
        return
    for entry in ledger.entries if keys & moved else ():
        if entry.ref.visit == ident and (command := propose_command(ledger, entry)):
            print(f"not approved yet; to propose it:\n  {command}")
    if keys & _FINDING:
        cli.renew_editor_schemas(root, ledger)


_FINDING = {"finding", "closes", "corrects"}


def _end(filing: Filing) -> int:
    return end_filing(filing.site.root, filing.way, filing.ledger.site.zone)


def _message(filing: Filing) -> str:
    return f"File a visit of {filing.person.name}, {filing.when:%Y-%m-%d %H:%M}\n"


def _say_before_it_runs_again(ledger: "Ledger", visit: Mapping[str, Any]) -> None:
    """What is for safety at each machine that the visit says is no longer tied back."""
    from ledger.upkeep.due.words import first_of_all

    closed = {entry.get("closes") for entry in visit["entries"]}
    for one in ledger.tie_backs:
        if closed & {str(one.ref), str(one.entry.ref)}:
            name = ledger.machines[one.machine].name
            first = "; ".join(first_of_all(ledger, one.machine))
            print(f"! Before {name} runs again: {first}.")


def named(filing: Filing, visit: Mapping[str, Any]) -> "VisitFile":
    """The visit under a name that no file of the site has yet; Failure where none is left."""
    from ledger.filing.visit_file import visit_file

    try:
        return visit_file(filing.site.root, visit, filing.when)
    except FileExistsError as taken:
        raise Failure(
            f"nothing was filed: {taken}; wait a minute, or say another with --at"
        ) from None


def _agrees(question: str) -> bool:
    try:
        return ask(f"{question} (y/n) ").lower() in ("y", "yes")
    except KeyboardInterrupt:
        sys.stderr.write("\nnothing was filed\n")
        raise

"""Filing a visit: held against the whole site first, shown, and never over another file.

Questions to the person at the terminal, or to whatever feeds standard input.

Questions whose answers are kept, so that any of them can be taken back before the end.

The questions are asked by a plain run from first to last. To take an answer back it is forgotten
and the run begins anew: what was answered already is not asked again, and what would be said about
it is not said again.
"""

import argparse
import shutil
import sys
import textwrap
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any, TypeVar

from ledger.book.escape import terminal_text
from ledger.cli.command import Failure, OpenSite, fault_text, known, open_site

if TYPE_CHECKING:
    from ledger.files.diagnostics import Diagnostic
    from ledger.filing.visit_file import VisitFile
    from ledger.model.ledger import Ledger
    from ledger.model.site import Person, Site


_T = TypeVar("_T")

_WIDEST = 100


class InputEnded(Failure):
    """Whatever fed standard input has no more to say."""


def ask(question: str) -> str:
    """One line as typed, without blanks around it; InputEnded where there is none."""
    sys.stdout.flush()
    try:
        return input(question).strip()
    except EOFError:
        print()
        raise InputEnded("the input ended; nothing was filed") from None


def ask_until(question: str, parse: Callable[[str], _T]) -> _T:
    """What the answer means; says why and asks again where it means nothing."""
    while True:
        try:
            return parse(ask(question))
        except ValueError as wrong:
            say(f"  {wrong}")


def agrees(question: str) -> bool:
    """Whether the answer is yes; anything else is no."""
    return ask(f"{question} (y/n) ").lower() in ("y", "yes")


def someone_is_there() -> bool:
    return sys.stdin.isatty()


def say(text: str) -> None:
    print("\n".join(wrapped(text)))


def wrapped(text: str) -> list[str]:
    """The lines of a text as wide as a page is, those after the first set in."""
    columns = min(_WIDEST, shutil.get_terminal_size((_WIDEST, 24)).columns)
    indent = " " * (len(text) - len(text.lstrip()))
    return textwrap.wrap(
        terminal_text(text), columns, subsequent_indent=f"{indent}    ", break_on_hyphens=False
    ) or [""]


_WRITTEN_LATER = timedelta(hours=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Filing:
    """Who files a visit of when, at which site, and how far to go without asking."""

    site: OpenSite
    ledger: "Ledger"
    person: "Person"
    helpers: tuple[str, ...]
    when: datetime
    now: datetime
    dry_run: bool
    yes: bool

    def visit(self, **told: Any) -> dict[str, Any]:
        """The visit as its file holds it; of `note`, `meters` and `entries` what is not empty."""
        from ledger.filing.visit_file import instant_text  # noqa: PLC0415

        visit: dict[str, Any] = {"at": instant_text(self.when), "by": self.person.ident}
        if self.helpers:
            visit["with"] = list(self.helpers)
        if self.now - self.when >= _WRITTEN_LATER:
            visit["entered_at"] = instant_text(self.now)
        return visit | {key: value for key, value in told.items() if value}


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
        "--yes",
        action="store_true",
        help="file it without asking, also what a foreman would ask about",
    )


def start_filing(parsed: argparse.Namespace) -> Filing:
    """What `record` and `correct` begin with: the site, the person and the time."""
    from ledger.files.save import remove_leftovers  # noqa: PLC0415

    site = open_site(parsed.site, None, parsed.clock)
    remove_leftovers(site.root)
    ledger = ledger_of(site)
    person = person_who(parsed, site, ledger)
    for helper in parsed.helpers:
        known(helper, ledger.site.people, "person")
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
    """The person named, or else known to git, or else who says so at a terminal.

    Without a terminal Failure, naming those of the site.
    """
    from ledger.cli.command import git_user, person_of  # noqa: PLC0415

    people = ledger.site.people
    if parsed.by is not None:
        return people[known(parsed.by, people, "person")]
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
    who = f"`{user.email}`" if user.email else "nobody"
    lasting = "\nto be known from now on: put that address under `emails` of your id in site.yaml"
    raise Failure(
        f"git knows {who} here, and no person of the site has that address or name; "
        f"say --by PERSON: {names}"
        f"{lasting if user.email else ''}"
    )


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


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked:
    """A visit as a file, and what a check of the site with it finds about it."""

    file: "VisitFile"
    errors: tuple["Diagnostic", ...]
    warnings: tuple["Diagnostic", ...]


def checked(filing: Filing, visit: Mapping[str, Any]) -> Checked:
    """The site held against its rules with the visit in it; nothing is written."""
    from ledger.files.tree import (  # noqa: PLC0415
        DiskTree,
        WithNewFiles,
    )
    from ledger.site.pipeline import check, load  # noqa: PLC0415

    made = named(filing, visit)
    if made.diagnostics:
        return Checked(file=made, errors=made.diagnostics, warnings=())
    root = filing.site.root
    loaded = load(WithNewFiles(tree=DiskTree(root), new={made.path: made.text}))
    about = [d for d in check(loaded, filing.site.as_of) if d.position.path == made.path]
    return Checked(
        file=made,
        errors=tuple(d for d in about if d.is_error),
        warnings=tuple(d for d in about if not d.is_error),
    )


def show(found: Checked) -> None:
    from ledger.cli import diagnostics_forms  # noqa: PLC0415

    print(f"# {found.file.path}\n{found.file.text}", end="")
    sys.stdout.flush()
    sys.stderr.write(diagnostics_forms.render([*found.errors, *found.warnings], "text"))
    sys.stderr.flush()


def file_visit(filing: Filing, visit: Mapping[str, Any]) -> int:
    """Check the site with the visit in it, show the file, and write it; the exit status.

    A visit that a file holds already is not filed again.
    """
    from ledger.filing.visit_file import filed_already  # noqa: PLC0415

    there = filed_already(filing.site.root, visit, filing.when)
    if there:
        print(f"filed already: {filing.site.root / there}")
        return 0
    found = checked(filing, visit)
    show(found)
    return settle(filing, visit, found)


def settle(filing: Filing, visit: Mapping[str, Any], found: Checked) -> int:
    """Write a visit that was shown, unless something speaks against it; the exit status."""
    if found.errors:
        sys.stderr.write("nothing was filed\n")
        return 1
    if filing.dry_run:
        return 1 if found.warnings else 0
    if found.warnings and not filing.yes:
        if not someone_is_there():
            sys.stderr.write("nothing was filed; if it is right as it stands, say --yes\n")
            return 1
        if not _agrees("A foreman would ask about this. File it as it stands?"):
            sys.stderr.write("nothing was filed\n")
            return 1
    return write(filing, visit)


def write(filing: Filing, visit: Mapping[str, Any]) -> int:
    """Write a visit under a name that is free now; the exit status."""
    from ledger.files.save import UnconfirmedError  # noqa: PLC0415
    from ledger.filing.visit_file import write_new  # noqa: PLC0415

    while True:
        made = named(filing, visit)
        try:
            written = write_new(filing.site.root, made.path, made.text)
        except FileExistsError:
            # Another visit of this minute took the name since it was found free.
            continue
        except UnconfirmedError as wrong:
            raise Failure(f"filed, but look whether it is there: {fault_text(wrong)}") from None
        except OSError as wrong:
            raise Failure(f"nothing was filed: {fault_text(wrong)}") from None
        print(f"filed {written}")
        return 0


def named(filing: Filing, visit: Mapping[str, Any]) -> "VisitFile":
    """The visit under a name that no file of the site has yet; Failure where none is left."""
    from ledger.filing.visit_file import visit_file  # noqa: PLC0415

    try:
        return visit_file(filing.site.root, visit, filing.when)
    except FileExistsError as taken:
        raise Failure(
            f"nothing was filed: {taken}; wait a minute, or say another with --at"
        ) from None


def _agrees(question: str) -> bool:
    try:
        return agrees(question)
    except KeyboardInterrupt:
        sys.stderr.write("\nnothing was filed\n")
        raise


Key = tuple[str | int, ...]
"""Names a question: first the part of the conversation that it belongs to."""


BACK = "back"

EMPTY = "-"


class Back(Exception):  # noqa: N818 - it steers, nothing is wrong
    """The person wants to answer an earlier question again."""


class Unanswered(Exception):  # noqa: N818 - it steers, nothing is wrong
    """A conversation that is over came to a question that has no answer."""


class Note(Exception):  # noqa: N818 - it steers, nothing is wrong
    """The answer asked for something to be shown, and the question stands as before."""


class Conversation:
    def __init__(self) -> None:
        self._answers: dict[Key, Any] = {}
        self._typed: dict[Key, str] = {}
        self._forgotten: dict[Key, Any] = {}
        self._passed: list[Key] = []
        self._pending: list[tuple[str, bool]] = []
        self._warned: set[str] = set()
        self._is_over = False

    def begin(self) -> None:
        """Start the run from its first question."""
        self._passed.clear()
        self._pending = [one for one in self._pending if one[1]]

    def tell(self, text: str) -> None:
        """Say something before the next question, if that is asked."""
        self._pending.append((text, False))

    def warn(self, text: str) -> None:
        """Say something once, whatever is asked next."""
        if text not in self._warned:
            self._warned.add(text)
            self._pending.append((text, True))

    def say_the_rest(self) -> None:
        for text, _ in self._pending:
            say(text)
        self._pending.clear()

    def ask(self, key: Key, question: str, parse: Callable[[str], _T]) -> _T:
        """The meaning of the answer, given now or before.

        `parse` also gets an empty answer. It raises ValueError for one that means nothing, and
        Note to show something; the question is asked again after either.

        Raises Back where the person wants to go back, and Unanswered once the conversation is over.
        """
        if key not in self._answers:
            if self._is_over:
                raise Unanswered
            self.say_the_rest()
            self._answers[key] = self._answer(key, question, parse)
            self._forgotten.pop(key, None)
        else:
            self._pending = [one for one in self._pending if one[1]]
        self._passed.append(key)
        found: _T = self._answers[key]
        return found

    def go_back(self) -> None:
        """Forget the last answer before the question that stands."""
        if self._passed:
            self._forget(self._passed[-1])
        else:
            self._pending.append(("That is the first question.", True))

    def forget_part(self, part: str) -> None:
        """Forget every answer of a part of the conversation."""
        for key in [key for key in self._answers if key[0] == part]:
            self._forget(key)

    def end(self) -> None:
        """Ask nothing more, and hold answers that were to be given again as they were."""
        self._is_over = True
        self._answers = {**self._forgotten, **self._answers}

    def _forget(self, key: Key) -> None:
        self._forgotten[key] = self._answers.pop(key)

    def _answer(self, key: Key, question: str, parse: Callable[[str], _T]) -> _T:
        before = self._typed.get(key, "")
        if before:
            question = f"{question}[{before}; Enter keeps it, {EMPTY} empties it] "
        while True:
            typed = ask(question)
            if typed.lower() == BACK:
                raise Back
            if before and not typed and key in self._forgotten:
                kept: _T = self._forgotten[key]
                return kept
            try:
                answer = parse("" if before and typed == EMPTY else typed)
            except Note as note:
                for line in str(note).splitlines():
                    say(line)
            except ValueError as wrong:
                say(f"  {wrong}")
            else:
                self._typed[key] = typed
                return answer

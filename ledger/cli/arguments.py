"""How a command is described: its sentence, its examples and its arguments.

The options that commands have in common stand in one table, `FRAME`; a command gets them by
saying what it takes.
"""

import argparse
from collections.abc import Callable
from contextlib import suppress
from datetime import date
from typing import Any, TypeAlias

from ledger.cli.calls import KEPT_COMMANDS, NO_STORE, SITE_OPTIONS, SITE_VARIABLE
from ledger.values import dataclass

Argument: TypeAlias = Callable[[Any], object]
"""Adds an argument, or a group of them, to a parser or to a group of one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Command:
    """A command as `tunnelbook NAME --help` describes it; `run` gives the exit status.

    `takes` names the options of the frame that it has beside those of every
    command, `forms` its forms of output beside text and JSON.
    """

    description: str
    examples: str
    arguments: tuple[Argument, ...]
    run: Callable[[argparse.Namespace], int]
    takes: frozenset[str] = frozenset()
    forms: tuple[str, ...] = ()


def command(
    run: Callable[[argparse.Namespace], int],
    description: str,
    examples: str,
    *arguments: Argument,
    takes: str = "",
    forms: tuple[str, ...] = (),
) -> Command:
    return Command(
        run=run,
        description=description,
        examples=f"examples:\n{examples}",
        arguments=arguments,
        takes=frozenset(takes.split()),
        forms=forms,
    )


def arg(
    names: str, metavar: str | tuple[str, ...] | None = None, about: str = "", **options: Any
) -> Argument:
    """An argument: its names, what stands for its value, and its help, as argparse takes them.

    A second name, after a bar, is one that it had before.
    """
    return lambda parser: parser.add_argument(
        *names.split("|"), metavar=metavar, help=about or None, **options
    )


def flag(name: str, about: str) -> Argument:
    return lambda parser: parser.add_argument(name, help=about, action="store_true")


def number(names: str, metavar: str, about: str, **options: Any) -> Argument:
    return arg(names, metavar, about, type=real, **options)


def several(names: str, metavar: str, about: str, **options: Any) -> Argument:
    """An option that may be given more than once."""
    return arg(names, metavar, about, action="append", default=[], **options)


def one_of(*arguments: Argument, required: bool = False) -> Argument:
    """Arguments of which at most one may be given, or exactly one."""

    def add(parser: argparse.ArgumentParser) -> None:
        group = parser.add_mutually_exclusive_group(required=required)
        for argument in arguments:
            argument(group)

    return add


WHY = "--why|--reason"

WITHOUT_PEOPLE = flag(
    "--without-people",
    "codes in place of people's ids and names; also where site.yaml has `group: {people: codes}`",
)

PUSH = flag("--push", "commit it, and push the branch")


def real(text: str) -> float:
    with suppress(ValueError):
        return float(text)
    raise argparse.ArgumentTypeError(f"`{text}` is not a number; write it like 44.5")


def whole(text: str) -> int:
    with suppress(ValueError):
        return int(text)
    raise argparse.ArgumentTypeError(f"`{text}` is not a whole number; write it like 460")


def moment(text: str) -> str:
    """A time of a day at the site, as visits write it."""
    from ledger.files.schemas import is_site_instant

    written = text.strip().replace(" ", "T")
    if not is_site_instant(written):
        raise argparse.ArgumentTypeError(f"`{text}` is not a time; write it like 2026-11-25T14:30")
    return written


def day(text: str) -> date:
    from ledger.files.schemas import is_date

    if not is_date(text):
        raise argparse.ArgumentTypeError(f"`{text}` is not a day; write it like 2026-11-25")
    return date.fromisoformat(text)


@dataclass(frozen=True, slots=True, kw_only=True)
class Option:
    """An option of the frame; with a `word`, for the commands that take it by that word."""

    names: tuple[str, ...]
    word: str
    rest: dict[str, Any]

    def is_of(self, name: str, command: Command) -> bool:
        if self.names[0] == NO_STORE:
            return name in KEPT_COMMANDS
        return not self.word or self.word in command.takes


def _option(names: str, about: str, word: str = "", **rest: Any) -> Option:
    return Option(names=tuple(names.split("|")), word=word, rest={"help": about, **rest})


def _flag(names: str, about: str, word: str = "") -> Option:
    return _option(names, about, word, action="store_true")


def _day_or_hint(text: str) -> date:
    try:
        return day(text)
    except argparse.ArgumentTypeError as error:
        hint = ", or name a tag, branch or commit with --at-commit"
        raise argparse.ArgumentTypeError(f"{error}{hint}") from None


FRAME = (
    _option("site_here", "the same as --site", "site-here", metavar="SITE", nargs="?"),
    _option(
        "|".join(reversed(SITE_OPTIONS)),
        f"folder that holds site.yaml; by default that of {SITE_VARIABLE}, else this folder or "
        "one above it; may come before the command",
        metavar="DIR",
        dest="site",
    ),
    _option(
        "--as-of",
        "the day to look from, such as 2026-11-25; by default today at the site; what was "
        "filed, corrected or approved later is left out",
        "day",
        metavar="DAY",
        type=day,
    ),
    _option(
        "--at-commit",
        "what git held at a commit, tag or branch, or at the end of a day",
        "commit",
        metavar="REV|DAY",
    ),
    _flag("--dry-run", "show it and write nothing", "dry-run"),
    _flag("--exit-code", "exit 1 if what is printed asks for work", "exit-code"),
    _option("--format", "default: text", default="text"),
    _option(
        "--json", "the same as --format json", action="store_const", const="json", dest="format"
    ),
    _flag("-q|--quiet", "print nothing if the exit status is 0; errors are still printed"),
    _flag(NO_STORE, "compute again instead of using the stored answer"),
)


def add_frame(parser: argparse.ArgumentParser, name: str, command: Command) -> None:
    """Give a command's parser the options of the frame that it takes."""
    parser.set_defaults(site_here=None, as_of=None, at_commit=None, exit_code=False, next_time=None)
    for option in FRAME:
        if not option.is_of(name, command):
            continue
        rest = dict(option.rest)
        if option.names == ("--format",):
            rest["choices"] = ("text", "json", *command.forms)
        if option.names == ("--as-of",) and "commit" in command.takes:
            rest["type"] = _day_or_hint
        parser.add_argument(*option.names, **rest)

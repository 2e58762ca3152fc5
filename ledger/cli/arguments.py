"""How a command is described: its sentence, its examples and its arguments."""

import argparse
from collections.abc import Callable
from contextlib import suppress
from datetime import date
from typing import Any, TypeAlias

from ledger.values import dataclass

Argument: TypeAlias = Callable[[Any], object]
"""Adds an argument, or a group of them, to a parser or to a group of one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Command:
    """A command as `tunnelbook NAME --help` describes it; `run` gives the exit status.

    `takes` names the options of the frame (`cli/frame.py`) that it has beside those of every
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

"""How a command is described: its sentence, its examples and its arguments."""

import argparse
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import Any, TypeAlias

Argument: TypeAlias = Callable[[Any], object]
"""Adds an argument, or a group of them, to a parser or to a group of one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Command:
    """A command as `tunnelbook NAME --help` describes it; `run` gives the exit status."""

    description: str
    examples: str
    arguments: tuple[Argument, ...]
    run: Callable[[argparse.Namespace], int]


def command(
    run: Callable[[argparse.Namespace], int],
    description: str,
    examples: str,
    *arguments: Argument,
) -> Command:
    return Command(
        run=run,
        description=description,
        examples=f"examples:\n{examples}",
        arguments=arguments,
    )


def arg(
    name: str, metavar: str | tuple[str, ...] | None = None, about: str = "", **options: Any
) -> Argument:
    """An argument: its name, what stands for its value, and its help, as argparse takes them."""
    return lambda parser: parser.add_argument(name, metavar=metavar, help=about or None, **options)


def flag(name: str, about: str) -> Argument:
    return lambda parser: parser.add_argument(name, help=about, action="store_true")


def number(name: str, metavar: str, about: str) -> Argument:
    return arg(name, metavar, about, type=float)


def several(name: str, metavar: str, about: str, **options: Any) -> Argument:
    """An option that may be given more than once."""
    return arg(name, metavar, about, action="append", default=[], **options)


def one_of(*arguments: Argument, required: bool = False) -> Argument:
    """Arguments of which at most one may be given, or exactly one."""

    def add(parser: argparse.ArgumentParser) -> None:
        group = parser.add_mutually_exclusive_group(required=required)
        for argument in arguments:
            argument(group)

    return add


_SITE_HELP = "folder that holds site.yaml; by default this folder or one above it"

SITE = arg("site", "SITE", _SITE_HELP, nargs="?")
SITE_OPTION = arg("--site", "DIR", _SITE_HELP)
JSON = flag("--json", "print JSON instead of text")


def day(text: str) -> date:
    from ledger.files.schemas import is_date

    if not is_date(text):
        raise argparse.ArgumentTypeError(f"`{text}` is no day; write it like 2026-11-25")
    return date.fromisoformat(text)


AS_OF = arg(
    "--as-of",
    "DATE",
    "the day to look from, such as 2026-11-25; by default today at the site; what was filed, "
    "corrected or approved later is left out",
    type=day,
)

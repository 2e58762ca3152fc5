"""What all commands have in common: one table of options, one answer as JSON, one exit status.

A command gets the options by saying what it takes; what it prints becomes JSON, or is held back
by `--quiet`, without its doing.
"""

import os
from argparse import ArgumentParser, ArgumentTypeError, Namespace
from collections.abc import Callable
from contextlib import redirect_stdout
from datetime import date
from typing import Any

from ledger.cli.arguments import Command, day
from ledger.cli.calls import KEPT_COMMANDS, NO_STORE, SITE_OPTIONS, SITE_VARIABLE
from ledger.cli.command import Answer, Failure, Held, output_is_utf8
from ledger.values import dataclass, replace

SCHEMA = "tunnelbook-answer-1"


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
    except ArgumentTypeError as error:
        hint = ", or name a tag, branch or commit with --at-commit"
        raise ArgumentTypeError(f"{error}{hint}") from None


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


def add_frame(parser: ArgumentParser, name: str, command: Command) -> None:
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


def fit_frame(parsed: Namespace) -> None:
    """Settle which site is meant, and give the command an answer to fill in."""
    here = parsed.site_here
    if here is not None and parsed.site not in (None, here):
        raise Failure(f"the site is named twice; name it once, with --site {parsed.site}")
    parsed.site = parsed.site or here or os.environ.get(SITE_VARIABLE) or None
    parsed.answer = Answer()


def run_framed(name: str, parsed: Namespace, run: Callable[[Namespace], int]) -> int:
    """Run a command, or a part of it that prints an answer of its own; its exit status."""
    if parsed.format != "json" and not parsed.quiet:
        return run(parsed)
    with redirect_stdout(Held()) as held:
        status = run(parsed)

    def formed(text: str, data: object) -> str:
        if parsed.format == "json":
            return _envelope(name, parsed.answer, status, text, data)
        return text if status else ""

    next_time = parsed.next_time
    if next_time is not None:
        text = formed(next_time.output, next_time.data)
        parsed.next_time = replace(next_time, output=text)
    print(formed(held.getvalue(), parsed.answer.data), end="", flush=True)
    return status


def _envelope(name: str, answer: Answer, status: int, text: str, data: object) -> str:
    from ledger.book.escape import json_text

    whole = {
        "schema": SCHEMA,
        "command": name,
        "site": None if answer.site is None else answer.site.as_posix(),
        "day": None if answer.day is None else answer.day.isoformat(),
        "commit": answer.commit,
        "units": answer.units,
        "status": status,
        "written": answer.written,
        "data": {"text": text.splitlines()} if data is None else data,
    }
    return json_text(whole, ascii_only=not output_is_utf8())

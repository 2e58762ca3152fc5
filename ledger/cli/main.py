"""Finds the command, lets it parse and run, and turns every ending into an exit code.

Only the command that was asked for is imported, so that help answers at once.
"""

import argparse
import difflib
import gc
import importlib
import io
import os
import sys
import textwrap
from collections.abc import Sequence
from typing import NoReturn

from ledger import __version__
from ledger.cli.call_parser import FAILED, CallParser
from ledger.cli.clock import Clock, system_clock
from ledger.cli.command import CommandModule, Failure

COMMANDS = {
    "init": "start a small working site, or add machines of a kind to one",
    "check": "say everything that is wrong with a site's files, with file and line",
    "build": "render the book from the files",
    "watch": "render the book again whenever a file changes",
    "due": "print what is due, in walking order",
    "record": "file a visit, asking only what cannot be known",
    "correct": "put an entry right by a later one; the original stays",
    "speed": "turn one count into r/min with its uncertainty and a verdict",
    "tune": "say which drive setting puts a brush in its band, and how sure that is",
    "propose": "write a proposed setting into the drive's file, for a second person",
    "cards": "make printable cards of the approved settings for drive enclosures",
    "line": "hold the line rate against chain and pitch, and match brushes to it",
    "load": "print panel loads, conversions between oil and electricity, other speeds",
    "register": "print the settings in force, now or as they stood at a commit or on a day",
    "show": "print what is known of one machine",
    "grease": "print what each bearing needs and got, and how far the grease goes",
    "wear": "print nozzles, chain, belts, cloth and dampers against their limits",
    "drift": "print what drifts or wears, and when it leaves its limits",
    "reliability": "print what fails, how often, and what the record says of intervals",
    "import": "turn an existing log into visits, row by row",
    "export": "write the record as tables, and due work as a calendar",
    "review": "say what a branch would change, for the second person who approves it",
    "audit": "say whether the record was kept as its rules say, from all of history",
    "migrate": "move a site to the format that this version reads, in one commit",
    "completion": "print a completion script for a shell",
}

# `import` is a word of the language and cannot name a module.
_MODULES = {"import": "import_log"}

_INTERRUPTED = 130
_VALUES_BETWEEN_COLLECTIONS = 50_000

EPILOG = """\
Start here:
  tunnelbook init mysite            a small site that passes check
  tunnelbook check mysite           what is wrong, by file and line
  tunnelbook build mysite           the book, in mysite/book/
  tunnelbook COMMAND --help         options and examples of one command

Exit status: 0 nothing wrong; 1 something was found wrong, or pages are stale
under --check; 2 the call or a file could not be used.

The maker's manual, the local code and licensed people come before anything
this program prints. It never says that a machine is safe.
"""


def entry_point(clock: Clock = system_clock) -> NoReturn:
    """Run as a program."""
    # A command makes many small values and keeps them: to look for garbage often finds none.
    gc.set_threshold(_VALUES_BETWEEN_COLLECTIONS)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            # A terminal of an older encoding shows a sign it lacks as an escape.
            stream.reconfigure(errors="backslashreplace")
    try:
        status = _ending_of(sys.argv[1:], clock)
        sys.stdout.flush()
    except BrokenPipeError:
        # Whoever read the output has had enough; nothing is left to say to them.
        _drop_output()
        status = 0
    except OSError as error:
        sys.stderr.write(f"tunnelbook: the output cannot be written: {error.strerror or error}\n")
        _drop_output()
        status = FAILED
    except KeyboardInterrupt:
        sys.stderr.write("\n")
        status = _INTERRUPTED
    # The end of the program gives everything back; to look for garbage first would only take time.
    gc.freeze()
    sys.exit(status)


def _ending_of(arguments: Sequence[str], clock: Clock) -> int | str | None:
    """The exit status, also where argparse ends the program itself after help or a wrong call."""
    try:
        return main(arguments, clock)
    except SystemExit as ended:
        return ended.code


def _drop_output() -> None:
    """Send what is still held back nowhere, so that the end of the program does not fail on it."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def main(arguments: Sequence[str], clock: Clock = system_clock) -> int:
    """Parse, run and return the exit status; every command takes the time from `clock`."""
    name, rest = _command_of(arguments)
    if name is None:
        return _without_command(arguments)
    if name not in COMMANDS:
        return _unknown(name)
    module = command_module(name)
    parser = command_parser(name, module)
    try:
        parsed = parser.parse_call(rest)
        parsed.clock = clock
        return module.run(parsed)
    except Failure as failure:
        sys.stderr.write(f"tunnelbook {name}: {failure}\n")
        return FAILED
    except BrokenPipeError:
        raise
    except OSError as error:
        where = f"{error.filename}: " if error.filename else ""
        sys.stderr.write(f"tunnelbook {name}: {where}{error.strerror or error}\n")
        return FAILED


def command_module(name: str) -> CommandModule:
    """The module of a command, imported now."""
    module: CommandModule = importlib.import_module(
        f"ledger.cli.commands.{_MODULES.get(name, name)}"
    )
    return module


def command_parser(name: str, module: CommandModule) -> CallParser:
    parser = CallParser(
        prog=f"tunnelbook {name}",
        description=textwrap.fill(module.DESCRIPTION, 79),
        epilog=module.EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.examples = module.EXAMPLES
    module.add_arguments(parser)
    return parser


def whole_parser() -> argparse.ArgumentParser:
    """Every command in one parser, for shell completion."""
    parser = argparse.ArgumentParser(prog="tunnelbook")
    of_commands = parser.add_subparsers()
    for name, what in COMMANDS.items():
        module = command_module(name)
        module.add_arguments(of_commands.add_parser(name, help=what))
    return parser


def top_parser() -> CallParser:
    parser = CallParser(
        prog="tunnelbook",
        description="A plain-text maintenance ledger for conveyor vehicle washes, kept in git.",
        epilog="commands:\n"
        + "\n".join(f"  {name:<12} {what}" for name, what in COMMANDS.items())
        + "\n\n"
        + EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        usage="tunnelbook COMMAND [option ...]",
        allow_abbrev=False,
    )
    parser.add_argument("--version", action="version", version=f"tunnelbook {__version__}")
    return parser


def _command_of(arguments: Sequence[str]) -> tuple[str | None, Sequence[str]]:
    if not arguments or arguments[0].startswith("-"):
        return None, arguments
    return arguments[0], arguments[1:]


def _without_command(arguments: Sequence[str]) -> int:
    parser = top_parser()
    if arguments:
        parser.parse_call(arguments)
    parser.print_help()
    return FAILED if arguments else 0


def _unknown(name: str) -> int:
    near = difflib.get_close_matches(name, COMMANDS, n=1)
    hint = f"; did you mean `{near[0]}`?" if near else ""
    sys.stderr.write(
        f"tunnelbook: there is no command `{name}`{hint}\n"
        f"Commands: {', '.join(COMMANDS)}. See `tunnelbook --help`.\n"
    )
    return FAILED

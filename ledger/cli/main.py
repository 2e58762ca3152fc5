"""Finds the command, lets it parse and run, and turns every ending into an exit code.

Only the command that was asked for is imported, so that help answers at once.

The parser of a command's call; a wrong call is told in three lines, not with the whole usage.
"""

import argparse
import errno
import importlib
import os
import re
import sys
import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, NoReturn

from ledger import __version__
from ledger.cli.calls import FAILED, KEPT_COMMANDS, NO_STORE
from ledger.cli.clock import Clock, system_clock

if TYPE_CHECKING:
    from ledger.cli.command import CommandModule
    from ledger.cli.keeper import Keeper


_OPTION = re.compile(r"--?[A-Za-z]")


class _WrongUse(argparse.ArgumentError):
    """Its message goes on after the argument's name, without a colon."""


class CallParser(argparse.ArgumentParser):
    """Says of a wrong call what is wrong with it, a call that is right, and where the help is."""

    examples: str = ""

    def __init__(self, **options: Any) -> None:
        super().__init__(
            formatter_class=argparse.RawDescriptionHelpFormatter,
            allow_abbrev=False,
            exit_on_error=False,
            **options,
        )

    def parse_call(self, words: Sequence[str]) -> argparse.Namespace:
        parsed = argparse.Namespace()
        try:
            _, left = self.parse_known_args(words, parsed)
        except argparse.ArgumentError as error:
            about = (error.argument_name or "").partition("/")[0]
            colon = "" if isinstance(error, _WrongUse) else ":"
            wrong = f"{about}{colon} {error.message}"
            if not about:
                # A required option that was misspelt is missing only because it is not known.
                wrong, about = self._no_such_option(words) or self._missing(parsed)
        else:
            if not left:
                return parsed
            too_much = f"`{' '.join(left)}` is more than it takes"
            wrong, about = self._no_such_option(words) or (too_much, "")
        return self._refuse(wrong, about)

    def error(self, message: str) -> NoReturn:
        """Called by argparse where something required is missing."""
        raise argparse.ArgumentError(None, message)

    def _refuse(self, wrong: str, about: str) -> NoReturn:
        example = self._example(about)
        such_as = f"such as: {example}\n" if example else ""
        self.exit(FAILED, f"{self.prog}: {wrong}\n{such_as}more: {self.prog} --help\n")

    def _match_argument(self, action: argparse.Action, arg_strings_pattern: str) -> int:
        try:
            return super()._match_argument(action, arg_strings_pattern)
        except argparse.ArgumentError:
            wanted = _format_call(action).partition(" ")[2]
            raise _WrongUse(action, f"wants {wanted}{_format_help(action)}") from None

    def _check_value(self, action: argparse.Action, value: object) -> None:
        if action.choices is not None and value not in action.choices:
            choices = ", ".join(map(str, action.choices))
            raise _WrongUse(action, f"cannot be `{value}`; it is one of {choices}")

    def _missing(self, parsed: argparse.Namespace) -> tuple[str, str]:
        """What is missing, and the first argument of it."""

        def is_left_out(action: argparse.Action) -> bool:
            return getattr(parsed, action.dest, None) is action.default

        missing = [one for one in self._actions if one.required and is_left_out(one)]
        if missing:
            told = _format_help(missing[0]) if len(missing) == 1 else ""
            return f"missing: {_format_calls(missing)}{told}", _name_of(missing[0])
        # argparse has no public name for the arguments of a group.
        groups = [one._group_actions for one in self._mutually_exclusive_groups if one.required]  # noqa: SLF001
        one_of = next(group for group in groups if all(map(is_left_out, group)))
        return f"say one of {_format_calls(one_of)}", _name_of(one_of[0])

    def _no_such_option(self, words: Sequence[str]) -> tuple[str, str] | None:
        """The first option among the words that the command does not have, and the one meant."""
        import difflib  # noqa: PLC0415 - only after a slip

        before_rest = words[: words.index("--")] if "--" in words else words
        options = [word.partition("=")[0] for word in before_rest if _OPTION.match(word)]
        known = self._option_string_actions
        for option in options:
            if option not in known:
                near = "".join(difflib.get_close_matches(option, known, n=1))
                hint = f"; did you mean `{near}`?" if near else ""
                return f"there is no option `{option}`{hint}", near
        return None

    def _example(self, option: str) -> str:
        """The first call of the examples with the option in it, else the first call of all."""
        joined = re.sub(r"\s*\\\n\s*", " ", self.examples)
        calls = [
            re.split(r"\s{2,}", line.strip())[0]
            for line in joined.splitlines()
            if line.strip().startswith(self.prog) and "..." not in line
        ]
        with_it = [call for call in calls if option.startswith("--") and option in call.split()]
        return (with_it or calls or [""])[0]


def _name_of(action: argparse.Action) -> str:
    return str(next(iter(action.option_strings), action.metavar or action.dest))


def _format_call(action: argparse.Action) -> str:
    """An option with what stands behind it, `--band LOW HIGH`; another argument as it is."""
    name = _name_of(action)
    if not action.option_strings or action.nargs == 0:
        return name
    if action.choices is not None:
        return f"{name} {'|'.join(map(str, action.choices))}"
    shown = action.metavar or action.dest.upper()
    return f"{name} {shown if isinstance(shown, str) else ' '.join(shown)}"


def _format_calls(actions: Sequence[argparse.Action]) -> str:
    return ", ".join(map(_format_call, actions))


def _format_help(action: argparse.Action) -> str:
    """The help of an argument as far as its first semicolon; the rest is for the whole help."""
    return f" ({action.help.partition(';')[0]})" if action.help else ""


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


def main(
    arguments: Sequence[str], clock: Clock = system_clock, keeper: "Keeper | None" = None
) -> int:
    """Parse, run and return the exit status; every command takes the time from `clock`.

    A `keeper` watches the command run and keeps its answer.
    """
    name, rest = _command_of(arguments)
    if name is None:
        return _without_command(arguments)
    if name not in COMMANDS:
        return _unknown(name)
    from ledger.cli.command import Failure  # noqa: PLC0415 - help needs none of it

    module = command_module(name)
    parser = command_parser(name, module)
    try:
        _require_text(rest)
        parsed = parser.parse_call(rest)
        parsed.clock = clock
        return module.run(parsed) if keeper is None else keeper.run(parsed, module.run)
    except Failure as failure:
        sys.stderr.write(f"tunnelbook {name}: {failure}\n")
        return FAILED
    except BrokenPipeError:
        raise
    except OSError as error:
        if error.errno == errno.EBADF:
            # The output is closed, which is told where the program ends.
            raise
        where = f"{error.filename}: " if error.filename else ""
        sys.stderr.write(f"tunnelbook {name}: {where}{error.strerror or error}\n")
        return FAILED


def _require_text(words: Sequence[str]) -> None:
    """Failure for a word that is not UTF-8, unless it names what is there."""
    for word in words:
        try:
            word.encode()
        except UnicodeEncodeError:
            if os.path.lexists(word):
                continue
            shown = os.fsencode(word).decode("utf-8", "backslashreplace")
            from ledger.cli.command import Failure  # noqa: PLC0415

            raise Failure(
                f"`{shown}` is not UTF-8 text and names nothing that is there; "
                "set the terminal to UTF-8 and write it again"
            ) from None


def command_module(name: str) -> "CommandModule":
    """The module of a command, imported now."""
    module: CommandModule = importlib.import_module(
        f"ledger.cli.commands.{_MODULES.get(name, name)}"
    )
    return module


def command_parser(name: str, module: "CommandModule") -> CallParser:
    parser = CallParser(
        prog=f"tunnelbook {name}",
        description=textwrap.fill(module.DESCRIPTION, 79),
        epilog=module.EXAMPLES,
    )
    parser.examples = module.EXAMPLES
    _add_arguments(name, module, parser)
    return parser


def _add_arguments(name: str, module: "CommandModule", parser: argparse.ArgumentParser) -> None:
    module.add_arguments(parser)
    if name in KEPT_COMMANDS:
        parser.add_argument(
            NO_STORE, action="store_true", help="work it out again, whatever is kept of last time"
        )


def whole_parser() -> argparse.ArgumentParser:
    """Every command in one parser, for shell completion."""
    parser = argparse.ArgumentParser(prog="tunnelbook")
    of_commands = parser.add_subparsers()
    for name, what in COMMANDS.items():
        module = command_module(name)
        _add_arguments(name, module, of_commands.add_parser(name, help=what))
    return parser


def top_parser() -> CallParser:
    parser = CallParser(
        prog="tunnelbook",
        description="A plain-text maintenance ledger for conveyor vehicle washes, kept in git.",
        epilog="commands:\n"
        + "\n".join(f"  {name:<12} {what}" for name, what in COMMANDS.items())
        + "\n\n"
        + EPILOG,
        usage="tunnelbook COMMAND [option ...]",
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
    import difflib  # noqa: PLC0415 - only after a slip

    near = difflib.get_close_matches(name, COMMANDS, n=1)
    hint = f"; did you mean `{near[0]}`?" if near else ""
    sys.stderr.write(
        f"tunnelbook: there is no command `{name}`{hint}\n"
        f"Commands: {', '.join(COMMANDS)}. See `tunnelbook --help`.\n"
    )
    return FAILED

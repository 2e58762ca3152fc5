"""Finds the command, lets it parse and run, and turns every ending into an exit code.

Only the command that was asked for is imported, so that help answers at once.

The parser of a command's call; a wrong call is told in three lines, not with the whole usage.
"""

import argparse
import difflib
import importlib
import re
import sys
import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING, NoReturn

from ledger import __version__
from ledger.cli.calls import FAILED, KEPT_COMMANDS, NO_STORE
from ledger.cli.clock import Clock, system_clock
from ledger.cli.command import CommandModule, Failure

if TYPE_CHECKING:
    from ledger.cli.keeper import Keeper


_TOO_FEW = re.compile(r"argument (\S+): expected (?:one|\d+|at least one) arguments?")

_MISSING = re.compile(r"the following arguments are required: (.+)")

_ONE_OF = re.compile(r"one of the arguments (.+) is required")

_UNKNOWN = re.compile(r"unrecognized arguments: (.+)")

_CHOICE = re.compile(r"argument (\S+): invalid choice: '(.*)' \(choose from .*\)", re.DOTALL)

_OPTION = re.compile(r"--?[A-Za-z]")

_OTHER = re.compile(r"argument (\S+?)(?:/\S+)?: (.+)", re.DOTALL)


class CallParser(argparse.ArgumentParser):
    """Says of a wrong call what is wrong with it, a call that is right, and where the help is."""

    examples: str = ""
    _words: Sequence[str] = ()

    def parse_call(self, words: Sequence[str]) -> argparse.Namespace:
        """The words parsed; they are kept, since an error of argparse does not hold them."""
        self._words = words
        return self.parse_args(words)

    def error(self, message: str) -> NoReturn:
        wrong, option = self._in_words(message)
        example = self._example(option)
        such_as = f"such as: {example}\n" if example else ""
        self.exit(FAILED, f"{self.prog}: {wrong}\n{such_as}more: {self.prog} --help\n")

    def _in_words(self, message: str) -> tuple[str, str]:
        """What is wrong, and the argument it is about; what argparse says where it is not known."""
        if found := _TOO_FEW.match(message):
            given, _, wanted = self._call_of(found[1]).partition(" ")
            return f"{given} wants {wanted}{self._help_of(found[1])}", found[1]
        if (found := _MISSING.match(message) or _ONE_OF.match(message)) and self._strangers():
            # A required option that was misspelt is missing only because it is not known.
            return self._no_such_option()
        if found := _MISSING.match(message):
            names = found[1].split(", ")
            told = self._help_of(names[0]) if len(names) == 1 else ""
            return f"missing: {', '.join(map(self._call_of, names))}{told}", names[0]
        if found := _ONE_OF.match(message):
            names = found[1].split()
            return f"say one of {', '.join(map(self._call_of, names))}", names[0]
        if found := _UNKNOWN.match(message):
            if self._strangers():
                return self._no_such_option()
            return f"`{found[1]}` is more than it takes", ""
        if found := _CHOICE.match(message):
            action = self._action(found[1])
            choices = ", ".join(map(str, (action and action.choices) or ()))
            return f"{found[1]} cannot be `{found[2]}`; it is one of {choices}", found[1]
        if found := _OTHER.match(message):
            return f"{found[1]}: {found[2]}", found[1]
        return message, ""

    def _strangers(self) -> list[str]:
        """The options among the words that the command does not have."""
        before_rest = self._words[: self._words.index("--")] if "--" in self._words else self._words
        options = [word.partition("=")[0] for word in before_rest if _OPTION.match(word)]
        return [option for option in options if self._action(option) is None]

    def _no_such_option(self) -> tuple[str, str]:
        option = self._strangers()[0]
        known = [name for action in self._actions for name in action.option_strings]
        near = "".join(difflib.get_close_matches(option, known, n=1))
        hint = f"; did you mean `{near}`?" if near else ""
        return f"there is no option `{option}`{hint}", near

    def _action(self, name: str) -> argparse.Action | None:
        for action in self._actions:
            if name in {*action.option_strings, action.metavar, action.dest}:
                return action
        return None

    def _call_of(self, name: str) -> str:
        """An option with what stands behind it, `--band LOW HIGH`; another argument as it is."""
        action = self._action(name)
        if action is None or not action.option_strings or action.nargs == 0:
            return name
        if action.choices is not None:
            return f"{name} {'|'.join(map(str, action.choices))}"
        shown = action.metavar or action.dest.upper()
        return f"{name} {shown if isinstance(shown, str) else ' '.join(shown)}"

    def _help_of(self, name: str) -> str:
        """The help of an argument as far as its first semicolon; the rest is for the whole help."""
        action = self._action(name)
        if action is None or not action.help:
            return ""
        return f" ({action.help.partition(';')[0]})"

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
    module = command_module(name)
    parser = command_parser(name, module)
    try:
        parsed = parser.parse_call(rest)
        parsed.clock = clock
        return module.run(parsed) if keeper is None else keeper.run(parsed, module.run)
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
    if name in KEPT_COMMANDS:
        parser.add_argument(
            NO_STORE, action="store_true", help="work it out again, whatever is kept of last time"
        )
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

"""Finds the command, lets it parse and run, and turns every ending into an exit status.

Only the command that was asked for is imported, so that help answers at once.
"""

import argparse
import importlib
import os
import re
import sys
import textwrap
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, NoReturn

from ledger import __version__
from ledger.cli.arguments import FRAME, Command, add_frame
from ledger.cli.calls import FAILED, SITE_OPTIONS, command_first
from ledger.cli.clock import Clock, system_clock
from ledger.cli.command import Failure, ending_of, fit_frame, run_framed

if TYPE_CHECKING:
    from ledger.cli.keeper import Keeper

GROUPS: Mapping[str, Mapping[str, tuple[str, str]]] = {
    "every day": {
        "due": ("views", "print what is due, in walking order"),
        "record": ("record", "file a visit; asks only for what it cannot know"),
        "receive": ("record", "file the visits that a phone sent, from mail, messages or a folder"),
        "correct": ("record", "correct an entry by a later one; the original stays"),
        "photo": ("record", "put a picture into the site, small and without its camera's data"),
        "speed": ("speed", "turn one count into r/min with its uncertainty and a verdict"),
    },
    "settings": {
        "tune": ("planning", "recommend the drive setting that puts a brush in its band"),
        "propose": ("propose", "propose a setting of a drive, for a second person to approve"),
        "approve": ("proof", "show the review of a change, then write and sign its approval"),
        "setpoints": ("views", "print the settings in force, now or on an earlier day"),
        "cards": ("export", "make printable cards of the approved settings for drive enclosures"),
        "line": ("planning", "check the line rate against the chain, and match brushes to it"),
        "load": ("planning", "print panel loads, oil against electricity, other speeds"),
    },
    "look": {
        "show": ("views", "print everything on record about one machine"),
        "ahead": ("views", "print the coming weeks against people's hours, or the plan of a day"),
        "lockout": ("views", "print what to lock out for work at a machine, or on this walk"),
        "grease": ("views", "print the grease each bearing needs and got, and cartridges left"),
        "parts": ("views", "print what is on the shelf and on order, and the order list"),
        "water": ("views", "print readings and use of water and chemistry, with their bands"),
        "wear": ("views", "print nozzles, chain, belts, cloth and dampers against their limits"),
        "drift": ("views", "print what drifts or wears, and when it leaves its limits"),
        "reliability": ("views", "print what fails and how often, and whether intervals fit"),
    },
    "files": {
        "init": ("init", "start a site, by questions or options, or add machines to one"),
        "check": ("build", "list everything wrong in a site's files, with file and line"),
        "build": ("build", "render the book from the files"),
        "watch": ("build", "render the book again whenever a file changes"),
        "import": ("import_log", "turn an existing log into visits, row by row"),
        "export": ("export", "write the record as tables, and due work as a calendar"),
        "group": ("export", "renew the exports of many sites, and render one book of them"),
        "migrate": ("init", "move a site to the format that this version reads, in one commit"),
    },
    "git": {
        "review": ("proof", "show what a branch would change, for the second person"),
        "audit": ("proof", "check the whole history against the rules of the record"),
    },
    "this program": {
        "guide": ("explain", "print a short guide: a visit, a pull request, an audit and more"),
        "explain": ("explain", "explain a rule of check, or a key of a file"),
        "completion": ("completion", "print a completion script for a shell"),
    },
}
"""Every command by the group that `tunnelbook --help` lists it in: its module in
`ledger.cli.commands`, and what it does."""

_MODULES = {name: module for group in GROUPS.values() for name, (module, _) in group.items()}
SUMMARIES = {name: does for group in GROUPS.values() for name, (_, does) in group.items()}

_FORMER_NAMES = {"register": "setpoints"}

EPILOG = """\
Start here:
  tunnelbook init mysite            a small site that passes check
  tunnelbook check mysite           what is wrong, by file and line
  tunnelbook build mysite           the book, in mysite/book/
  tunnelbook COMMAND --help         options and examples of one command

Every command takes --site DIR (or -C DIR, also before the command, or the
variable TUNNELBOOK_SITE), --format json and --quiet.

Exit status: 0 nothing wrong; 1 something was found wrong in files or in the
work, or pages are stale under --check; 2 the call could not be used, or the
system refused.

The maker's manual, the local code and licensed people come before anything
this program prints. It never says that a machine is safe.
"""


def main(
    arguments: Sequence[str], clock: Clock = system_clock, keeper: "Keeper | None" = None
) -> int:
    """Parse, run and return the exit status; every command takes the time from `clock`.

    A `keeper` watches the command run and keeps its answer.
    """
    arguments = command_first([*arguments])
    if not arguments or arguments[0].startswith("-"):
        return _without_command(arguments)
    name, *rest = arguments
    name = _FORMER_NAMES.get(name, name)
    if name == "help":
        topic = [word for word in rest if not word.startswith("-")][:1]
        return main([*topic, "--help"], clock)
    if name == "complete":
        from ledger.cli.commands.completion import print_candidates

        return print_candidates(rest)
    if name not in SUMMARIES:
        import difflib

        near = difflib.get_close_matches(name, SUMMARIES, n=1)
        hint = f"; did you mean `{near[0]}`?" if near else ""
        sys.stderr.write(
            f"tunnelbook: there is no command `{name}`{hint}\n"
            f"Commands: {', '.join(SUMMARIES)}. See `tunnelbook --help`.\n"
        )
        return FAILED
    found = find_command(name)
    try:
        _require_text(rest)
        parsed = command_parser(name, found).parse_call(rest)
        parsed.clock = clock
        fit_frame(parsed)

        def run(parsed: argparse.Namespace) -> int:
            if "streams" in found.takes:
                return found.run(parsed)
            return run_framed(name, parsed, found.run)

        return run(parsed) if keeper is None else keeper.run(parsed, run)
    except Exception as error:
        ending = ending_of(error)
        if ending is None:
            raise
        wrong, status = ending
    sys.stderr.write(f"tunnelbook {name}: {wrong}\n")
    return status


def find_command(name: str) -> Command:
    """A command, imported now."""
    module = importlib.import_module(f"ledger.cli.commands.{_MODULES[name]}")
    found: Command = module.COMMANDS[name]
    return found


def _without_command(arguments: Sequence[str]) -> int:
    listed = "\n\n".join(
        "\n".join([f"{group}:", *(f"  {name:<12} {SUMMARIES[name]}" for name in names)])
        for group, names in GROUPS.items()
    )
    parser = CallParser(
        prog="tunnelbook",
        description="A plain-text maintenance ledger for conveyor vehicle washes, kept in git.",
        epilog=f"{listed}\n\n{EPILOG}",
        usage="tunnelbook COMMAND [option ...]",
    )
    version = f"tunnelbook {__version__}"
    parser.add_argument("-V", "--version", action="version", version=version)
    if arguments:
        if arguments[0].startswith(SITE_OPTIONS):
            parser.add_argument("command", metavar="COMMAND")
            arguments = ()
        parser.parse_call(arguments)
    parser.print_help()
    return FAILED if arguments else 0


def _require_text(words: Sequence[str]) -> None:
    """Failure for a word that is not UTF-8, unless it names what is there."""
    for word in words:
        try:
            word.encode()
        except UnicodeEncodeError:
            if os.path.lexists(word):
                continue
            shown = os.fsencode(word).decode("utf-8", "backslashreplace")
            raise Failure(
                f"`{shown}` is not UTF-8 text and names nothing that is there; "
                "set the terminal to UTF-8 and write it again"
            ) from None


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
        example = self._example(about)
        such_as = f"such as: {example}\n" if example else ""
        sys.stderr.write(f"{self.prog}: {wrong}\n{such_as}more: {self.prog} --help\n")
        sys.exit(FAILED)

    def error(self, message: str) -> NoReturn:
        """Called by argparse where something required is missing."""
        raise argparse.ArgumentError(None, message)

    def _match_argument(self, action: argparse.Action, arg_strings_pattern: str) -> int:
        try:
            return super()._match_argument(action, arg_strings_pattern)
        except argparse.ArgumentError:
            values = _format_call(action).partition(" ")[2]
            raise _WrongUse(action, f"wants {values}{_format_help(action)}") from None

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
            about = _format_help(missing[0]) if len(missing) == 1 else ""
            return f"missing: {_format_calls(missing)}{about}", _name_of(missing[0])
        # argparse has no public name for the arguments of a group.
        groups = [one._group_actions for one in self._mutually_exclusive_groups if one.required]  # noqa: SLF001
        one_of = next(group for group in groups if all(map(is_left_out, group)))
        return f"say one of {_format_calls(one_of)}", _name_of(one_of[0])

    def _no_such_option(self, words: Sequence[str]) -> tuple[str, str] | None:
        """The first option among the words that the command does not have, and the one meant."""
        before_rest = words[: words.index("--")] if "--" in words else words
        options = [word.partition("=")[0] for word in before_rest if _OPTION.match(word)]
        known = self._option_string_actions
        for option in options:
            if option not in known:
                of_others = self._of_others(option)
                if of_others:
                    return of_others, ""
                import difflib

                near = "".join(difflib.get_close_matches(option, known, n=1))
                hint = f"; did you mean `{near}`?" if near else ""
                return f"there is no option `{option}`{hint}", near
        return None

    def _of_others(self, option: str) -> str:
        """What to say of an option of the frame that this command does not take."""
        found = [one for one in FRAME if option in one.names]
        takers = [
            name for name in SUMMARIES if any(o.is_of(name, find_command(name)) for o in found)
        ]
        return f"`{option}` is an option of {', '.join(takers)}" if found else ""

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


def command_parser(name: str, command: Command) -> CallParser:
    parser = CallParser(
        prog=f"tunnelbook {name}",
        description=textwrap.fill(command.description, 79),
        epilog=command.examples,
    )
    parser.examples = command.examples
    for argument in command.arguments:
        argument(parser)
    add_frame(parser, name, command)
    return parser

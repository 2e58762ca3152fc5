"""`tunnelbook completion`: a script by which a shell completes commands, options and ids.

A shell asks at every press of its key what may stand next. Ids are names of files; those of people
are read off `site.yaml` by a pattern. Nothing else is read, so that the answer is there at once.
What it does not know it leaves out: this proposes, and refuses nothing.
"""

import argparse
import math
import os
import re
from collections.abc import Callable, Iterable, Sequence
from importlib import import_module
from pathlib import Path
from types import FunctionType
from typing import Any, TypeAlias

from ledger.cli.arguments import arg, command
from ledger.cli.calls import SITE_OPTIONS, SITE_VARIABLE, command_first

# Each asks `tunnelbook complete` what may stand next.
_SCRIPTS = {
    "bash": """\
_tunnelbook() {
    local cur=${COMP_WORDS[COMP_CWORD]} found IFS=$'\\n'
    [ "$cur" = "=" ] && cur=""
    found=$(tunnelbook complete "${COMP_WORDS[@]:1:COMP_CWORD-1}" "$cur" 2>/dev/null | cut -f1)
    if [ "$found" = ":files" ]; then
        compopt -o filenames
        COMPREPLY=($(compgen -f -- "$cur"))
    else
        COMPREPLY=($found)
    fi
}
complete -F _tunnelbook tunnelbook
""",
    "zsh": """\
#compdef tunnelbook
_tunnelbook() {
    local -a found named
    found=("${(@f)$(tunnelbook complete "${(@)words[2,CURRENT]}" 2>/dev/null)}")
    if [[ $found[1] == ":files" ]]; then
        _files
        return
    fi
    local line
    for line in $found; do
        named+=("${${line%%$'\\t'*}//:/\\\\:}:${${line#*$'\\t'}}")
    done
    _describe tunnelbook named
}
compdef _tunnelbook tunnelbook
""",
    "fish": """\
function __tunnelbook
    set -l words (commandline -opc)
    set -l found (tunnelbook complete $words[2..] (commandline -ct) 2>/dev/null)
    if test "$found" = ":files"
        __fish_complete_path (commandline -ct)
    else
        printf '%s\\n' $found
    end
end
complete -c tunnelbook -f -a '(__tunnelbook)'
""",
}


FILES = ":files"
"""Says that the shell itself knows what may stand here: names of files."""

_MOST_VISITS = 200


def print_candidates(words: Sequence[str]) -> int:
    """Print what may stand in place of the last word, one a line, a tab before what it means."""
    # A shell that parts words at an equals sign gives it as a word of its own.
    *before, last = [word for word in words if word != "="] or [""]
    joined = ""
    if last.startswith("--") and "=" in last:
        option, _, last = last.partition("=")
        before.append(option)
        joined = f"{option}="
    found = _candidates(before, last)
    if found is None:
        print(FILES)
        return 0
    for word, about in found:
        if word.startswith(last):
            print(f"{joined}{word}\t{about}" if about else f"{joined}{word}")
    return 0


_Found: TypeAlias = Iterable[tuple[str, str]] | None
"""Words with what they mean; None where the names of files stand."""


def _candidates(before: list[str], last: str) -> _Found:
    from ledger.cli.main import SUMMARIES, command_parser, find_command

    if before[-1:] and before[-1] in SITE_OPTIONS:
        return None
    name, *rest = command_first(before) or [""]
    if name == "help" or name in SITE_OPTIONS or not name:
        return [*SUMMARIES.items(), ("help", "print the help of a command")]
    if name not in SUMMARIES:
        return ()
    parser = command_parser(name, find_command(name))
    action = _expected(parser, rest)
    is_free = action is None or not action.option_strings or action.nargs in _ANY_NUMBER
    if is_free and last.startswith("-"):
        options = parser._option_string_actions.items()  # noqa: SLF001
        return [(spelt, (one.help or "").partition(";")[0]) for spelt, one in options]
    return () if action is None else _values(action, _site(before))


_ANY_NUMBER = ("*", "+")


def _expected(parser: argparse.ArgumentParser, words: Sequence[str]) -> argparse.Action | None:
    """The option whose value comes next, if one wants more; else the argument without a name."""
    options = parser._option_string_actions  # noqa: SLF001
    option: argparse.Action | None = None
    wanted, given = 0.0, 0
    for word in words:
        if word in options:
            option = options[word]
            wanted = math.inf if option.nargs in _ANY_NUMBER else 1
            wanted = option.nargs if isinstance(option.nargs, int) else wanted
        elif wanted:
            wanted -= 1
        elif not word.startswith("-"):
            given += 1
    if wanted:
        return option
    free = [one for one in parser._actions if not one.option_strings]  # noqa: SLF001
    if given < len(free):
        return free[given]
    return free[-1] if free and free[-1].nargs in _ANY_NUMBER else None


def _values(action: argparse.Action, site: Path | None) -> _Found:
    words: Iterable[str] = ()
    shown = action.metavar if isinstance(action.metavar, str) else ""
    kinds = re.split(r"[|@=\[{]", shown)
    if action.choices is not None:
        words = map(str, action.choices)
    elif kinds[0] in _OF_SITE:
        words = () if site is None else _OF_SITE[kinds[0]](site)
    elif kinds[0] in _OF_PROGRAM:
        module, name = _OF_PROGRAM[kinds[0]]
        found: Any = getattr(import_module(module), name)
        words = found() if isinstance(found, FunctionType) else map(str, found)
    elif _NAMES_FILES.search(shown):
        return None
    return [(word, "") for word in words]


_NAMES_FILES = re.compile(r"FILE|DIR|PATH|SITE|LOG|MAP|FOLDER")


def _site(words: Sequence[str]) -> Path | None:
    """The site that a call names, or that it is made in."""
    from ledger.files.names import site_above

    named = os.environ.get(SITE_VARIABLE, "")
    for at, word in enumerate(words[:-1]):
        if word in SITE_OPTIONS:
            named = words[at + 1]
    found = named or site_above(str(Path.cwd()))
    return None if found is None else Path(found).expanduser()


def _names(folder: str) -> Callable[[Path], list[str]]:
    return lambda site: sorted(path.stem for path in (site / folder).glob("*.yaml"))


def _people(site: Path) -> list[str]:
    """The ids below `people:`, those that are set in no further than the first."""
    text = (site / "site.yaml").read_text(encoding="utf-8", errors="replace")
    _, _, below = text.partition("\npeople:\n")
    block = re.split(r"^(?=\S)", below, maxsplit=1, flags=re.MULTILINE)[0]
    indent = re.match(r" *", block)
    depth = len(indent.group()) if indent else 0
    found = re.findall(rf"^ {{{depth}}}([\w-]+):", block, re.MULTILINE)
    return sorted(found)


def _visits(site: Path) -> list[str]:
    """The entries' visits, newest first, as far as one looks back for a slip."""
    names = (path.stem for path in (site / "observations").glob("*/*/*.yaml"))
    return [f"{name}#" for name in sorted(names, reverse=True)[:_MOST_VISITS]]


_OF_SITE: dict[str, Callable[[Path], list[str]]] = {
    "MACHINE": _names("equipment"),
    "DRIVE": _names("equipment"),
    "PLACE": _names("equipment"),
    "TASK": _names("tasks"),
    "PERSON": _people,
    "VISIT#N": _visits,
}
_OF_PROGRAM = {
    "KIND": ("ledger.filing.starter", "starter_kinds"),
    "PASS": ("ledger.model.tasks", "When"),
    "RULE": ("ledger.rules.questions", "QUESTIONS"),
    "CAUSE": ("ledger.model.visits", "STOP_CAUSES"),
}
"""Where the words of the program stand, or the function that gives them."""


def _complete(parsed: argparse.Namespace) -> int:
    print(_SCRIPTS[parsed.shell], end="")
    return 0


COMMANDS = {
    "completion": command(
        _complete,
        "Print a completion script for a shell. It completes commands, options and what the site "
        "calls its machines, tasks, people and visits.",
        """\
  tunnelbook completion bash > ~/.local/share/bash-completion/completions/tunnelbook
  tunnelbook completion zsh > ~/.zfunc/_tunnelbook
  tunnelbook completion fish > ~/.config/fish/completions/tunnelbook.fish
""",
        arg("shell", None, ", ".join(_SCRIPTS), choices=tuple(_SCRIPTS)),
    )
}

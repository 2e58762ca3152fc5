"""The parser of a command's call; a wrong call is told in three lines, not with the whole usage."""

import argparse
import difflib
import re
from collections.abc import Sequence
from typing import NoReturn

FAILED = 2

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

"""Questions at a terminal, or to whatever feeds standard input, and answers taken back."""

import shutil
import sys
import textwrap
from collections.abc import Callable, Mapping
from typing import Any, TypeVar

from ledger.book.escape import terminal_text
from ledger.cli.command import Failure, Held

_T = TypeVar("_T")

_WIDEST = 100


class InputEnded(Failure):
    """Whatever fed standard input has no more to say."""


def ask(question: str) -> str:
    """One line as typed, without blanks around it; InputEnded where there is none."""
    if isinstance(sys.stdout, Held):
        raise Failure(
            "questions cannot be asked with --quiet or --format json; give the answers as "
            "options, or leave that out"
        )
    sys.stdout.flush()
    try:
        return input(question).strip()
    except EOFError:
        print()
        raise InputEnded("the input ended; nothing was filed") from None


def ask_until(question: str, parse: Callable[[str], _T]) -> _T:
    """What the answer means; says why and asks again where it means nothing."""
    while True:
        try:
            return parse(ask(question))
        except ValueError as error:
            say(f"  {error}")


def someone_is_there() -> bool:
    return sys.stdin.isatty()


def say(text: str) -> None:
    print("\n".join(wrapped(text)))


def wrapped(text: str) -> list[str]:
    """The lines of a text as wide as a page is, those after the first set in."""
    columns = min(_WIDEST, shutil.get_terminal_size((_WIDEST, 24)).columns)
    indent = " " * (len(text) - len(text.lstrip()))
    return textwrap.wrap(
        terminal_text(text), columns, subsequent_indent=f"{indent}    ", break_on_hyphens=False
    ) or [""]


Key = tuple[str | int, ...]
"""Names a question: first the part of the conversation that it belongs to."""


BACK = "back"

EMPTY = "-"


class Back(Exception):  # noqa: N818 - it steers, nothing is wrong
    """The person wants to answer an earlier question again."""


class Unanswered(Exception):  # noqa: N818 - it steers, nothing is wrong
    """A conversation that is over came to a question that has no answer."""


class Note(Exception):  # noqa: N818 - it steers, nothing is wrong
    """The answer asked for something to be shown, and the question stands as before."""


class Conversation:
    """Questions whose answers are kept, so that any of them can be taken back before the end.

    The questions are asked by a plain run from first to last. To take an answer back it is
    forgotten and the run begins anew: what was answered already is not asked again, and what would
    be said about it is not said again.

    `given` are answers typed in an earlier conversation, which are not asked for again; `keep` is
    called with everything typed so far after each answer.
    """

    def __init__(
        self,
        given: Mapping[Key, str] | None = None,
        keep: Callable[[Mapping[Key, str]], None] | None = None,
    ) -> None:
        self._given = dict(given or {})
        self._keep = keep
        self._answers: dict[Key, Any] = {}
        self._typed: dict[Key, str] = {}
        self._forgotten: dict[Key, Any] = {}
        self._passed: list[Key] = []
        self._pending: list[tuple[str, bool]] = []
        self._warned: set[str] = set()
        self._is_over = False

    def begin(self) -> None:
        """Start the run from its first question."""
        self._passed.clear()
        self._drop_all_but_warnings()

    def run(self, questions: Callable[[], _T]) -> _T:
        """What the questions come to, going back as often as the person wants to."""
        while True:
            self.begin()
            try:
                return questions()
            except Back:
                self.go_back()

    def tell(self, text: str) -> None:
        """Say something before the next question, if that is asked."""
        self._pending.append((text, False))

    def warn(self, text: str) -> None:
        """Say something once, whatever is asked next."""
        if text not in self._warned:
            self._warned.add(text)
            self._pending.append((text, True))

    def say_the_rest(self) -> None:
        for text, _ in self._pending:
            say(text)
        self._pending.clear()

    def ask(self, key: Key, question: str, parse: Callable[[str], _T], default: str = "") -> _T:
        """The meaning of the answer, given now or before.

        `parse` also gets an empty answer, unless there is a default. It raises ValueError for one
        that means nothing, and Note to show something; the question is asked again after either.

        Raises Back where the person wants to go back, and Unanswered once the conversation is over.
        """
        if key not in self._answers:
            if self._is_over:
                raise Unanswered
            if key in self._given:
                self._drop_all_but_warnings()
            else:
                self.say_the_rest()
            self._answers[key] = self._answer(key, question, parse, default)
            self._forgotten.pop(key, None)
            if self._keep is not None:
                self._keep({one: self._typed[one] for one in self._answers if self._typed[one]})
        else:
            self._drop_all_but_warnings()
        self._passed.append(key)
        found: _T = self._answers[key]
        return found

    def go_back(self) -> None:
        """Forget the last answer before the question that stands."""
        if self._passed:
            self._forget(self._passed[-1])
        else:
            self._pending.append(("That is the first question.", True))

    def forget_part(self, part: str) -> None:
        """Forget every answer of a part of the conversation."""
        for key in [key for key in self._answers if key[0] == part]:
            self._forget(key)

    def end(self) -> None:
        """Ask nothing more, and hold answers that were to be given again as they were."""
        self._is_over = True
        self._answers = {**self._forgotten, **self._answers}

    def _drop_all_but_warnings(self) -> None:
        """Keep only the warnings of what was to be said before a question."""
        self._pending = [one for one in self._pending if one[1]]

    def _forget(self, key: Key) -> None:
        self._forgotten[key] = self._answers.pop(key)

    def _answer(self, key: Key, question: str, parse: Callable[[str], _T], default: str) -> _T:
        before = self._typed.get(key, "")
        if before:
            question = f"{question}[{before}; Enter keeps it, {EMPTY} empties it] "
        while True:
            typed = self._given.pop(key) if key in self._given else ask(question)
            if typed.lower() == BACK:
                raise Back
            if before and not typed and key in self._forgotten:
                kept: _T = self._forgotten[key]
                return kept
            try:
                typed = "" if before and typed == EMPTY else typed
                answer = parse(typed or default)
            except Note as note:
                for line in str(note).splitlines():
                    say(line)
            except ValueError as error:
                say(f"  {error}")
            else:
                self._typed[key] = typed or default
                return answer

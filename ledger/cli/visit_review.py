"""A visit by questions to its end: shown, changed as often as wanted, filed or given up.

Whatever ends it early, what was gathered is printed as a visit's file.
"""

import sys
from collections.abc import Mapping
from typing import Any

from ledger.cli.asking import InputEnded, ask_until, someone_is_there
from ledger.cli.command import Failure
from ledger.cli.conversation import BACK
from ledger.cli.filing import Checked, Filing, checked, settle, show, write
from ledger.cli.record_dialogue import PARTS, Dialogue
from ledger.edit.visit_file import visit_file

_FILE, _STOP = ("y", "yes"), ("n", "no", "stop")


class VisitByQuestions:
    """The visit of one dialogue; meters and note told as options are not asked for."""

    def __init__(self, filing: Filing, meters: Mapping[str, int | float], note: str) -> None:
        self._filing = filing
        self._meters = meters
        self._note = note
        self._dialogue = Dialogue(
            filing.ledger, filing.person, filing.when, told_meters=meters, asks_note=not note
        )

    def file(self) -> int:
        """The exit status, once the visit is filed or given up."""
        try:
            visit, found = self._agreed()
        except (KeyboardInterrupt, InputEnded):
            self._dialogue.stop()
            self._print_draft()
            raise
        if found is not None:
            return settle(self._filing, visit, found)
        if visit:
            return write(self._filing, visit)
        sys.stderr.write("nothing was filed\n")
        return 1

    def _agreed(self) -> tuple[dict[str, Any], Checked | None]:
        """The visit to file, and what was found about it where nobody was asked; or nothing."""
        while True:
            self._dialogue.run()
            visit = self._visit()
            found = None
            if "entries" in visit:
                found = checked(self._filing, visit)
                show(found)
                if not self._is_reviewed():
                    return visit, found
            elif not self._is_reviewed():
                raise Failure("a visit needs at least one entry; nothing was filed")
            else:
                print("Nothing was answered that could be filed.")
            answer = self._reviewed(found)
            if answer in _FILE:
                return visit, None
            if answer in _STOP:
                return {}, None
            if answer == BACK:
                self._dialogue.go_back()
            else:
                self._dialogue.answer_again(PARTS[int(answer) - 1])

    def _is_reviewed(self) -> bool:
        return someone_is_there() and not self._filing.yes and not self._filing.dry_run

    def _reviewed(self, found: Checked | None) -> str:
        """What to do with the visit that was shown."""
        may_file = found is not None and not found.errors
        if found is not None and found.warnings:
            print("A foreman would ask about the above.")
        parts = ", ".join(f"{number} {part}" for number, part in enumerate(PARTS, 1))
        print(f"To change an answer: `{BACK}`, or the number of a part: {parts}.")
        question = (
            "File it? (y/n) " if may_file else "It cannot be filed so. Change what? (n: stop) "
        )

        def meant(text: str) -> str:
            word = text.lower()
            is_part = word.isdecimal() and 1 <= int(word) <= len(PARTS)
            if is_part or word == BACK or word in _STOP or (may_file and word in _FILE):
                return word
            ways = "y to file it, n to stop" if may_file else "n to stop"
            raise ValueError(f"write {ways}, {BACK}, or a number, 1 to {len(PARTS)}")

        return ask_until(question, meant)

    def _visit(self) -> dict[str, Any]:
        return self._filing.visit(
            meters={**self._meters, **self._dialogue.meters},
            note=self._note or self._dialogue.note,
            entries=self._dialogue.entries,
        )

    def _print_draft(self) -> None:
        """What was gathered, as the file that would hold it."""
        sys.stdout.flush()
        visit = self._visit()
        if "entries" not in visit:
            sys.stderr.write("\nNothing was filed: no work, reading or finding was answered yet.\n")
            return
        draft = visit_file(self._filing.site.root, visit, self._filing.when)
        sys.stderr.write(
            "\nNothing was filed. What was answered so far would be this file; to keep it, "
            f"save it as\n{self._filing.site.root / draft.path}\n\n{draft.text}"
        )

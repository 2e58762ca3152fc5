"""The questions of a tuning session: count, set, count again, until nothing more is to be set."""

from collections.abc import Callable
from datetime import date
from typing import Any, TypeAlias

from ledger.cli.conversation import Conversation, Key
from ledger.compute.band import Band, Verdict, verdict_of
from ledger.compute.speed import Speed
from ledger.filing import fields
from ledger.model.build_visit import speed_reading_of
from ledger.model.ledger import Ledger
from ledger.model.machines import ElectricDrive, Machine
from ledger.model.readings import STEPS, WAYS_OF_SPEED
from ledger.upkeep.register.found import is_same_setting, standing_of
from ledger.upkeep.speeds.found import speed_of
from ledger.upkeep.speeds.ratios import neighbours_of
from ledger.upkeep.tuning import session as tuning
from ledger.upkeep.tuning.words import from_shown_unit

_YES = ("y", "yes")

Keys: TypeAlias = dict[str, Any]
"""Some keys of an entry."""

Aim: TypeAlias = tuple[Band, float]
"""The band of a shaft, and the speed to aim at."""

Count = Callable[[str, Band | None], Keys]
"""Reads a typed count, or counts taps, and gives its keys of an entry."""


class SessionQuestions:
    def __init__(self, ledger: Ledger, conversation: Conversation, count: Count, day: date) -> None:
        self._ledger = ledger
        self._conversation = conversation
        self._count = count
        self._day = day

    def ask(self, key: Key, machine: Machine, entry: Keys, *, only_if_out: bool) -> list[Keys]:
        """Tune a drive from the count and the setting in `entry`, which becomes a session.

        With `only_if_out` only where that count is out of band, or the drive was moved already.
        Gives the counts of the shafts beside it, as entries.
        """
        drive = tuning.session_drive(self._ledger, machine, self._day)
        aim = tuning.aim_of(machine, self._ledger.site.line.line_rate_per_h)
        ending = fields.setting_unit_key(machine, self._ledger.site.units)
        found = entry.get(f"found_{ending}")
        counted = {k: v for k, v in entry.items() if k in _OF_COUNT}
        if drive is None or aim is None or found is None or not counted:
            return []
        band, _ = aim
        steps = [{ending: found, **counted}]
        left = entry.get(f"left_{ending}")
        is_out = verdict_of(self._speed(steps[0]), band) is Verdict.OUT_OF_BAND
        if only_if_out and left is None and not is_out:
            return []
        setting = left
        while True:
            if setting is None:
                setting = self._next(key, drive, aim, steps, ending)
            if setting is None:
                break
            if len(steps) == 1:
                for line in tuning.practice_of(self._ledger, machine):
                    self._conversation.warn(f"! {line}")
            # At once, so that nothing is lost to whatever ends the questions here.
            left = setting
            _put(entry, steps, ending, left)
            question = (
                f"  Passes and seconds at {setting:.10g} {drive.unit}, before the next vehicle "
                "(43 30; 20 14.1 turns; Enter: not counted there): "
            )
            again = self._counted((*key, "count", len(steps)), question, band)
            if again is None:
                break
            steps.append({ending: setting, **again})
            left = setting = None
            _put(entry, steps, ending, left)
        if STEPS not in entry:
            return []
        stands = steps[-1][ending] if left is None else left
        self._say_what_it_becomes(machine, drive, stands)
        if isinstance(machine.drive, ElectricDrive):
            keypad = self._conversation.ask(
                (*key, "keypad"), "  Keypad locked again? (y/n; Enter: it has no lock): ", _lock
            )
            entry |= {"keypad": keypad} if keypad else {}
        return self._beside(key, machine)

    def _speed(self, step: Keys) -> Speed:
        reading: Any = speed_reading_of(step)
        return speed_of(reading, timing_u_s=self._ledger.site.policy.timing_u_s)

    def _next(
        self, key: Key, drive: tuning.SessionDrive, aim: Aim, steps: list[Keys], ending: str
    ) -> float | None:
        """The setting to count at next, None to leave the drive as it is."""
        counts = [(float(step[ending]), self._speed(step)) for step in steps]
        advice = tuning.advice_after(drive, *aim, counts)
        here = f"{steps[-1][ending]:.10g} {drive.unit}"
        self._conversation.tell(f"  {advice.words}")
        ways = f"another value, or Enter to leave it at {here}"
        question = f"  Set to ({ways}): "
        if advice.setting is not None:
            question = f"  Set to {advice.setting:.10g} {drive.unit}? (y, {ways}): "

        def parse(text: str) -> float | None:
            if not text:
                return None
            if text.lower() in _YES and advice.setting is not None:
                return fields.as_written(advice.setting)
            value = fields.number(text.lower().removesuffix(drive.unit.lower()).strip())
            if not drive.low <= value <= drive.high:
                raise ValueError(
                    f"from {drive.low:.10g} to {drive.high:.10g} {drive.unit} is what the drive "
                    "or the site allows at once"
                )
            return value

        return self._conversation.ask((*key, "set", len(steps)), question, parse)

    def _counted(self, key: Key, question: str, band: Band | None) -> Keys | None:
        """The keys of a count; None for an empty answer."""

        def parse(text: str) -> Keys | None:
            return self._count(text, band) if text else None

        return self._conversation.ask(key, question, parse)

    def _say_what_it_becomes(
        self, machine: Machine, drive: tuning.SessionDrive, stands: float
    ) -> None:
        change = standing_of(self._ledger, machine.ident, self._day).change
        if change is not None:
            kept = from_shown_unit(stands, change.unit, self._ledger.site)
            if is_same_setting(machine, kept, change.value):
                self._conversation.tell("  Left as approved.")
                return
        self._conversation.tell(
            f"  Left at {stands:.10g} {drive.unit}, which nobody has approved: once the visit is "
            "filed, the command that proposes it is printed."
        )

    def _beside(self, key: Key, machine: Machine) -> list[Keys]:
        read = []
        for one in neighbours_of(self._ledger, machine):
            aim = tuning.aim_of(one, self._ledger.site.line.line_rate_per_h)
            question = f"  {one.name}, perhaps on the same pump: passes and seconds (Enter: no): "
            found = self._counted((*key, "beside", one.ident), question, aim and aim[0])
            if found is not None:
                read.append({"at": one.ident, **found})
        return read


_OF_COUNT = (*WAYS_OF_SPEED, "seconds", "start", "passes_per_turn")


def _put(entry: Keys, steps: list[Keys], ending: str, left: float | None) -> None:
    """Make the session what the entry says of the speed and the drive."""
    for name in (*_OF_COUNT, f"left_{ending}"):
        entry.pop(name, None)
    entry[STEPS] = list(steps)
    if left is not None:
        entry[f"left_{ending}"] = left


def _lock(text: str) -> str:
    word = text.lower()
    if word in (*_YES, "n", "no"):
        return "locked" if word in _YES else "unlocked"
    if word:
        raise ValueError("y, n, or Enter where it has no lock")
    return ""

"""The questions about readings: a speed counted or tapped, a drive's setting, any other field."""

from collections.abc import Callable
from typing import Any

from ledger.assess.due import DueWork
from ledger.assess.readings_asked import KEYS_OF_READING
from ledger.assess.speeds import band_of, speed_of
from ledger.cli.asking import say
from ledger.cli.conversation import Conversation, Key
from ledger.cli.tap_tachometer import can_tap, tapped_times
from ledger.compute.band import Band, verdict_of
from ledger.compute.rounding import shown
from ledger.compute.taps import LEAST_TAPS, from_taps
from ledger.edit.drive_setting import setting_values, setting_words
from ledger.edit.fields import (
    FieldGroup,
    choices_of,
    label_of,
    number,
    parse_value,
    reading_groups,
    whole_number,
)
from ledger.model.ledger import Ledger
from ledger.model.visits import PassCount, SpeedReading, TappedPasses
from ledger.report import words

SKIP = "skip"
_TAP = ("t", "tap")
_SUCH_AS = "write the passes and the seconds, such as 38 30"


class ReadingQuestions:
    def __init__(self, ledger: Ledger, conversation: Conversation) -> None:
        self._ledger = ledger
        self._conversation = conversation

    def ask(self, part: str, work: DueWork, entry: dict[str, Any]) -> bool:
        """Put what a task reads at a place into `entry`; False where some of it was skipped."""
        machine = self._ledger.machines[work.place.machine]
        station = words.number_words(machine.station)
        self._conversation.tell(
            f"{station} {self._ledger.place_name(work.place)}: {work.task.title}"
        )
        key: Key = (part, work.task.ident, str(work.place))
        is_whole = True
        if "speed" in work.task.reads:
            is_whole = self._speed(key, work, entry)
        for group in reading_groups(work.task.reads, machine, self._ledger.site.units):
            if group.kind == "setting":
                is_whole &= self._setting(key, work, entry)
            else:
                is_whole &= self._group(key, work, group, entry)
        return is_whole

    def _speed(self, key: Key, work: DueWork, entry: dict[str, Any]) -> bool:
        machine = self._ledger.machines[work.place.machine]
        unit = setting_words(machine, self._ledger.site.units)
        behind = f", or 38 30 @{'44' if unit == 'Hz' else '3.8'} with the {unit}" if unit else ""
        tap = "; t: tap with the space bar" if can_tap() else ""
        band, _ = band_of(machine, self._ledger.site.line.line_rate_per_h)

        def parse(text: str) -> dict[str, Any]:
            count, _, setting = text.partition("@")
            reading = self._counted(count.strip(), band)
            return reading | (
                setting_values(setting, machine, self._ledger.site.units) if setting else {}
            )

        found = self._needed((*key, "speed"), f"  Passes and seconds (38 30{behind}{tap}): ", parse)
        entry |= found or {}
        return found is not None

    def _counted(self, text: str, band: Band | None) -> dict[str, Any]:
        if text.lower() in _TAP:
            return {"taps_s": list(self._tapped(band))}
        typed = text.replace("/", " ").split()
        if len(typed) != 2:
            raise ValueError(_SUCH_AS)
        passes, seconds = whole_number(typed[0]), number(typed[1])
        reading = PassCount(passes=passes, seconds=float(seconds))
        say(f"  {self._said(reading, band)}")
        return {"counted": passes, "seconds": seconds}

    def _tapped(self, band: Band | None) -> tuple[float, ...]:
        if not can_tap():
            raise ValueError("taps need a terminal; type a count")
        times = tapped_times(lambda so_far: self._live(so_far, band))
        from_taps(times)
        return times

    def _live(self, times: tuple[float, ...], band: Band | None) -> str:
        taps = words.count_words(len(times), "tap")
        if len(times) < LEAST_TAPS:
            return f"  {taps}"
        try:
            return f"  {taps}  {self._said(TappedPasses(times_s=times), band)}{_repaired(times)}"
        except ValueError as wrong:
            return f"  {taps}  {wrong}"

    def _said(self, reading: SpeedReading, band: Band | None) -> str:
        """The speed in words; ValueError where the numbers give none."""
        speed = speed_of(reading, timing_u_s=self._ledger.site.policy.timing_u_s)
        said = f"{shown(speed.rpm, speed.expanded())} r/min"
        if band is None:
            return said
        limits = words.range_words(band.low, band.high)
        return f"{said}  {verdict_of(speed, band).value} {limits}"

    def _setting(self, key: Key, work: DueWork, entry: dict[str, Any]) -> bool:
        """The drive's setting, where it was not typed behind the count."""
        machine = self._ledger.machines[work.place.machine]
        if not machine.has_setpoint or any(name.startswith("found_") for name in entry):
            return True
        unit = setting_words(machine, self._ledger.site.units)

        def parse(text: str) -> dict[str, Any]:
            return setting_values(text, machine, self._ledger.site.units)

        question = f"  Drive found at, {unit} (behind it what you left it at, if another): "
        wanted = (*key, "setting")
        if "setting" in work.task.reads:
            found = self._needed(wanted, question, parse)
        else:
            found = self._conversation.ask(wanted, question, _or_nothing(parse)) or {}
        entry |= found or {}
        return found is not None

    def _group(self, key: Key, work: DueWork, group: FieldGroup, entry: dict[str, Any]) -> bool:
        for name in (*group.required, *group.optional):
            parse = _parser_of(name)
            if name in group.required or _is_needed(name, work):
                value = self._needed((*key, name), f"  {_label(name)}: ", parse)
                if value is None:
                    # Part of such a reading is none.
                    for told in group.required:
                        entry.pop(told, None)
                    return False
            else:
                value = self._conversation.ask(
                    (*key, name), f"  {_label(name)} (Enter: not read): ", _or_nothing(parse)
                )
            if value is not None:
                entry[name] = value
        return True

    def _needed(self, key: Key, question: str, parse: Callable[[str], Any]) -> Any:
        """The meaning of the answer; None where it was skipped in so many words."""

        def parse_or_skip(text: str) -> Any:
            if text.lower() == SKIP:
                return None
            if not text:
                raise ValueError(f"without it the work stays due: type it, or `{SKIP}`")
            return parse(text)

        return self._conversation.ask(key, question, parse_or_skip)


def _parser_of(name: str) -> Callable[[str], Any]:
    return lambda text: parse_value(name, text)


def _or_nothing(parse: Callable[[str], Any]) -> Callable[[str], Any]:
    return lambda text: parse(text) if text else None


def _is_needed(name: str, work: DueWork) -> bool:
    return any(name in KEYS_OF_READING[reads] for reads in work.task.reads)


def _label(name: str) -> str:
    choices = choices_of(name)
    return f"{label_of(name)} ({', '.join(choices)})" if choices else label_of(name)


def _repaired(times: tuple[float, ...]) -> str:
    """How many passes had no tap and how many taps were one too many, where any."""
    found = from_taps(times)
    counts = ((found.missed, "missed"), (found.doubled, "doubled"))
    said = [f"{count} {what}" for count, what in counts if count]
    return f"  ({', '.join(said)})" if said else ""

"""Raw readings of a speed in words."""

from collections.abc import Sequence

from ledger.book import words
from ledger.model.machines import Machine
from ledger.model.visits import (
    PassCount,
    SpeedReading,
    Tachometer,
    TappedPasses,
    TimedTurns,
    VideoTurns,
)


def format_raw(reading: SpeedReading) -> str:
    """The raw numbers of a reading in words: `43 passes in 30 s`."""
    match reading:
        case PassCount():
            start = ", started on a pass" if reading.start == "on-pass" else ""
            return f"{reading.passes} passes in {reading.seconds:g} s{start}" + _marks(reading)
        case TimedTurns():
            return f"{reading.turns} turns in {reading.seconds:g} s"
        case TappedPasses():
            return f"{len(reading.times_s)} taps" + _marks(reading)
        case Tachometer():
            stated = ""
            if reading.accuracy_percent is not None:
                stated = f" (accuracy {reading.accuracy_percent:g} %)"
            elif reading.accuracy_rpm is not None:
                stated = f" (accuracy {reading.accuracy_rpm:g} r/min)"
            return f"tachometer {reading.rpm:g} r/min{stated}"
        case VideoTurns():
            return f"{reading.turns} turns in {reading.frames} frames at {reading.fps:g}/s"


def _marks(reading: PassCount | TappedPasses) -> str:
    many = reading.passes_per_turn
    return "" if many == 1 else f", {many} passes a turn"


def format_beside(neighbours: Sequence[Machine]) -> list[str]:
    """What to read again after a change of a drive whose pump may turn others too."""
    names = words.in_words([one.name for one in neighbours])
    return [f"Read {names} again: the pump may be the same."] if neighbours else []

"""An entry in one sentence, as the history shows it."""

from ledger.book import words
from ledger.compute.numbers import convert, fixed
from ledger.files.units import UNITS
from ledger.model import visits
from ledger.model.ledger import Ledger
from ledger.model.quantities import UNIT_OF_ENDING
from ledger.model.readings import (
    NO_METER,
    NO_READINGS,
    PRESSURE_AMOUNT,
    READINGS,
    Amount,
    Readings,
    written,
)
from ledger.model.site import Site, Units
from ledger.model.tasks import When
from ledger.model.visits import Claim, Entry, Outcome, SpeedReading


def format_entry(ledger: Ledger, entry: Entry) -> str:
    """What was done, read, found, changed or corrected; the speed and the people are left out."""
    parts = []
    if entry.corrects is not None:
        what = "strikes out" if entry.void else "corrects"
        parts.append(f"{what} {entry.corrects} ({entry.reason})")
    if entry.task:
        task = ledger.tasks.get(entry.task)
        title = task.title if task else entry.task
        parts.append(title if entry.outcome is Outcome.DONE else f"not done: {title}")
        if entry.outcome is Outcome.NOT_DONE:
            parts.append(f"reason: {entry.reason}")
    if entry.claim is not None:
        parts.append(format_claim(entry, entry.claim))
    if entry.strokes is not None:
        parts.append(format_strokes(entry.strokes))
    parts.extend(format_reading(entry.readings, ledger.site))
    if entry.instrument:
        parts.append(f"with {entry.instrument}")
    parts.extend(_format_setting(entry, ledger.site))
    if NO_METER in entry.raw:
        parts.append("no meter: turned as before")
    if entry.keypad:
        parts.append(f"keypad {entry.keypad}")
    if entry.finding:
        failed = ", a failure" if entry.failed else ""
        parts.append(f"found ({entry.urgency.value}{failed}): {entry.finding}")
    if entry.stopped_minutes:
        by = f" ({entry.stop})" if entry.stop else ""
        parts.append(f"stopped for {words.format_minutes(entry.stopped_minutes)}{by}")
    if entry.tied_back:
        since = entry.content.since
        from_when = "" if since is None else f", since {words.format_time(since, ledger.site)}"
        parts.append(f"tied back{from_when}: {entry.tied_back}")
    if entry.changed:
        parts.append(f"changed: {entry.changed.replace('-', ' ')}")
    if entry.closes is not None:
        parts.append(f"closes {entry.closes}")
    parts.extend(_format_stock(ledger, entry))
    if entry.note:
        parts.append(" ".join(entry.note.split()))
    return "; ".join(parts)


_ROUNDS = {
    When.BEFORE_OPENING: "before opening",
    When.RUNNING: "while the line runs",
    When.CLOSED: "when the line is closed",
}


def format_round(claim: Claim) -> str:
    """What the history says of a place that a round found in order, never as if answered alone."""
    return f"In order, by the round {_ROUNDS[claim.of_pass]}"


def format_claim(entry: Entry, claim: Claim) -> str:
    """`in order, by the round before opening: 28 places asked, 14 min, 2 drawn, 95 s apart`."""
    left_out = entry.raw.get("except", ())
    places = words.format_count(claim.asked, "place")
    text = f"in order, by the round {_ROUNDS[claim.of_pass]}: {places} asked"
    if claim.commit:
        text += f" (commit {claim.commit})"
    if left_out:
        text += f", but not {', '.join(left_out)}"
    if entry.minutes is not None:
        text += f", {words.format_minutes(entry.minutes)}"
    if claim.drawn:
        seen = f" ({'; '.join(claim.seen)})" if claim.seen else ""
        text += f", {len(claim.drawn)} drawn{seen}"
    if claim.drawn_apart_s is not None:
        text += f", {claim.drawn_apart_s} s apart"
    return text


def format_strokes(strokes: float) -> str:
    """`1 stroke each`, `2.5 strokes each`: the grease that every point got."""
    noun = "stroke" if strokes == 1 else "strokes"
    return f"{words.format_number(strokes)} {noun} each"


def format_reading(readings: Readings, site: Site) -> list[str]:
    """Each reading with its unit, in the units of the site."""
    if readings == NO_READINGS:
        return []
    return [
        kind.sentence.format_map(
            {
                amount.stem: format_amount(amount, value, site)
                for amount, value in kind.amounts_of(reading)
            }
        )
        for kind in READINGS
        if (reading := readings[kind]) is not None
    ]


_DECIMALS = {one.ending: one.decimals for one in UNITS if one.decimals is not None}
"""By the ending of a key; numbers in other units have as many as they need."""


def format_amount(amount: Amount, value: float | str, site: Site) -> str:
    """A number, converted from the unit that the ledger keeps it in, and its unit; or a word."""
    if isinstance(value, str):
        return value
    if amount.noun:
        return words.format_count(int(value), amount.noun)
    ending = amount.ending(us=site.units is Units.US)
    shown = value
    if ending != amount.unit:
        shown = convert(value, amount.unit, UNIT_OF_ENDING[ending])
    decimals = _DECIMALS.get(ending)
    number = words.format_number(shown) if decimals is None else fixed(shown, decimals)
    return f"{number} {written(ending)}".rstrip()


def format_pressure(pressure_kpa: float, site: Site) -> str:
    return format_amount(PRESSURE_AMOUNT, pressure_kpa, site)


def format_raw(reading: SpeedReading | None) -> str:
    """The raw numbers of a reading in words: `43 passes in 30 s`; a dash without one."""
    match reading:
        case None:
            return words.NONE
        case visits.PassCount():
            start = ", started on a pass" if reading.start == "on-pass" else ""
            return f"{reading.passes} passes in {reading.seconds:g} s{start}" + _marks(reading)
        case visits.TimedTurns():
            return f"{reading.turns} turns in {reading.seconds:g} s"
        case visits.TappedPasses():
            return f"{len(reading.times_s)} taps" + _marks(reading)
        case visits.Tachometer():
            stated = ""
            if reading.accuracy_percent is not None:
                stated = f" (accuracy {reading.accuracy_percent:g} %)"
            elif reading.accuracy_rpm is not None:
                stated = f" (accuracy {reading.accuracy_rpm:g} r/min)"
            return f"tachometer {reading.rpm:g} r/min{stated}"
        case visits.VideoTurns():
            return f"{reading.turns} turns in {reading.frames} frames at {reading.fps:g}/s"


def _marks(reading: visits.PassCount | visits.TappedPasses) -> str:
    many = reading.passes_per_turn
    return "" if many == 1 else f", {many} passes a turn"


def _format_setting(entry: Entry, site: Site) -> list[str]:
    setting = entry.setting
    if setting is None:
        return []
    return [
        f"{word} at {words.format_setting(value, setting.unit, site)}"
        for word, value in (("found", setting.found), ("left", setting.left))
        if value is not None
    ]


def _format_stock(ledger: Ledger, entry: Entry) -> list[str]:
    stock = entry.stock
    if stock is None:
        return []
    part = ledger.parts.get(stock.part)
    name, unit = (part.name, part.unit) if part else (stock.part, "")
    moves = {
        "used": stock.used,
        "ordered": stock.ordered,
        "received": stock.received,
        "counted on the shelf": stock.on_hand,
    }
    return [
        f"{word}: {words.format_number(amount)} {unit} of {name}".replace("  ", " ")
        for word, amount in moves.items()
        if amount is not None
    ]

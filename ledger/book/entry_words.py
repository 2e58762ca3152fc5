"""An entry in one sentence, as the history shows it."""

from ledger.book import words
from ledger.compute.numbers import convert, fahrenheit_from_celsius, fixed
from ledger.model.ledger import Ledger
from ledger.model.site import Site, Units
from ledger.model.visits import Entry, Outcome, Readings


def format_entry(ledger: Ledger, entry: Entry) -> str:
    """What was done, read, found, changed or corrected; the speed and the people are left out."""
    said = []
    if entry.corrects is not None:
        what = "strikes out" if entry.void else "corrects"
        said.append(f"{what} {entry.corrects} ({entry.reason})")
    if entry.task:
        task = ledger.tasks.get(entry.task)
        title = task.title if task else entry.task
        said.append(title if entry.outcome is Outcome.DONE else f"not done: {title}")
        if entry.outcome is Outcome.NOT_DONE:
            said.append(f"reason: {entry.reason}")
    if entry.strokes is not None:
        said.append(format_strokes(entry.strokes))
    said.extend(format_reading(entry.readings, ledger.site))
    said.extend(_format_setting(entry, ledger.site))
    if entry.finding:
        failed = ", a failure" if entry.failed else ""
        said.append(f"found ({entry.urgency.value}{failed}): {entry.finding}")
    if entry.stopped_minutes:
        said.append(f"stopped for {words.format_minutes(entry.stopped_minutes)}")
    if entry.changed:
        said.append(f"changed: {entry.changed.replace('-', ' ')}")
    if entry.closes is not None:
        said.append(f"closes {entry.closes}")
    said.extend(_format_stock(ledger, entry))
    if entry.note:
        said.append(" ".join(entry.note.split()))
    return "; ".join(said)


def format_strokes(strokes: float) -> str:
    """`1 stroke each`, `2.5 strokes each`: the grease that every point got."""
    noun = "stroke" if strokes == 1 else "strokes"
    return f"{words.format_number(strokes)} {noun} each"


def format_reading(readings: Readings, site: Site) -> list[str]:
    """Each measured quantity with its unit, in the units of the site."""
    us = site.units is Units.US
    said = []
    if readings.turning:
        said.append(f"turns {readings.turning} the travel")
    if readings.catch is not None:
        volume = readings.catch.volume_l
        caught = (
            f"{fixed(convert(volume, 'l', 'floz'), 1)} fl oz"
            if us
            else f"{fixed(1000 * volume, 0)} mL"
        )
        said.append(f"caught {caught} in {words.format_number(readings.catch.seconds)} s")
    if readings.pressure_kpa is not None:
        said.append(format_pressure(readings.pressure_kpa, site))
    if readings.chain is not None:
        length = format_length(readings.chain.length_mm, site)
        said.append(f"{readings.chain.pitches} pitches measure {length}")
    if readings.belt is not None:
        said.append(f"belt gives {format_length(readings.belt.deflection_mm, site)}")
    if readings.strip_length_mm is not None:
        said.append(f"strips {format_length(readings.strip_length_mm, site)} long")
    if readings.current_a is not None:
        said.append(f"{words.format_number(readings.current_a)} A")
    if readings.temperature_c is not None:
        said.append(
            f"{fixed(fahrenheit_from_celsius(readings.temperature_c), 0)} °F"
            if us
            else f"{fixed(readings.temperature_c, 0)} °C"
        )
    if readings.level_percent is not None:
        said.append(f"level {words.format_number(readings.level_percent)} %")
    if readings.insulation_mohm is not None:
        said.append(f"{words.format_number(readings.insulation_mohm)} MΩ")
    if readings.bounces is not None:
        said.append(words.format_count(readings.bounces, "bounce"))
    return said


def format_length(length_mm: float, site: Site) -> str:
    if site.units is Units.US:
        return f"{fixed(convert(length_mm, 'mm', 'in'), 2)} in"
    return f"{fixed(length_mm, 1)} mm"


def format_pressure(pressure_kpa: float, site: Site) -> str:
    if site.units is Units.US:
        return f"{fixed(convert(pressure_kpa, 'kpa', 'psi'), 0)} psi"
    return f"{fixed(pressure_kpa, 0)} kPa"


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
        "received": stock.received,
        "counted on the shelf": stock.on_hand,
    }
    return [
        f"{word}: {words.format_number(amount)} {unit} of {name}".replace("  ", " ")
        for word, amount in moves.items()
        if amount is not None
    ]

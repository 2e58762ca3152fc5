"""The nearest right spelling of a key, a word, a number, a day or a text of a fixed form."""

import difflib
import re
import unicodedata
from collections.abc import Callable, Collection, Iterable, Iterator

from ledger.files.typed_moments import plain_signs
from ledger.files.units import UNIT_OF_WORD, is_in, split_amount, unit_of_key
from ledger.files.yaml_fast import number_without_commas

# What people of the trade say for a key or a word of the files (common practice, no source). Where
# several keys may be meant, the first in this list that is free in its place is offered.
_KEYS: tuple[tuple[str, str], ...] = (
    ("at", "when time date datetime timestamp day on"),
    ("by", "who tech technician person worker name author user initials employee operator"),
    ("with", "helper helpers helped_by together_with and assisted_by"),
    ("note", "notes comment comments remark remarks memo text description desc"),
    ("notes", "note comment comments remark remarks memo description desc"),
    ("entries", "entry items work tasks jobs log lines done"),
    ("meters", "meter readings counters counter counts"),
    ("task", "job work what done activity service"),
    ("at", "where place machine location point equipment asset brush unit station"),
    ("except", "without but not excluding skip skipped"),
    ("outcome", "result status state"),
    ("reason", "why because cause"),
    ("why", "reason because cause note comment"),
    ("strokes", "pumps shots squirts pump shot squirt stroke grease grease_strokes"),
    (
        "counted",
        "count counts revs revolutions rotations passes turned rounds laps pass turns",
    ),
    ("turns", "revs revolutions rotations rounds"),
    ("seconds", "sec secs s time duration secs_counted time_s for period"),
    ("minutes", "min mins duration time_min"),
    ("tachometer_rpm", "rpm speed tach tacho tachometer measured_rpm"),
    ("rated_rpm", "rpm speed nameplate_rpm motor_rpm"),
    ("rpm", "speed band range speed_rpm"),
    ("found_hz", "hz freq frequency herz hertz before_hz was_hz start_hz"),
    ("left_hz", "set_hz after_hz new_hz hz_left to_hz"),
    ("hz", "freq frequency herz hertz found_hz left_hz set_hz setting speed value"),
    ("base_hz", "hz freq frequency hertz"),
    ("found_flow_gpm", "gpm flow flow_gpm"),
    ("found_flow_lpm", "lpm flow_lpm"),
    ("flow_gpm", "gpm flow found_flow_gpm"),
    ("flow_lpm", "lpm found_flow_lpm"),
    ("pressure_psi", "psi pressure"),
    ("pressure_kpa", "kpa"),
    ("current_a", "amps amp ampere amperes current a"),
    ("strip_length_in", "cloth cloth_length strip"),
    ("strip_length_mm", "cloth cloth_length strip"),
    ("temperature_c", "temp temperature celsius c temp_c"),
    ("temperature_f", "fahrenheit f temp_f"),
    ("level_percent", "level percent"),
    ("insulation_mohm", "mohm megohm megohms insulation"),
    ("hardness_gpg", "hardness grains gpg"),
    ("hardness_mg_l", "hardness"),
    ("conductivity_us_cm", "conductivity ec us tds"),
    ("chlorine_ppm", "chlorine cl"),
    ("drops", "titration drop"),
    ("bounces", "bounce bouncing"),
    ("finding", "problem issue fault defect found damage observation trouble"),
    ("urgency", "priority urgent prio severity"),
    ("failed", "failure broken breakdown down"),
    ("stop", "cause stopped_by halt"),
    ("stopped_minutes", "downtime down_minutes stopped stop_minutes outage"),
    ("tied_back", "out_of_action parked tied chained_back"),
    ("closes", "fixes fixed closed resolves repairs solved"),
    ("changed", "replaced renewed swapped"),
    ("part", "parts item spare material stock"),
    ("used", "qty quantity amount count consumed taken number pieces pcs"),
    ("received", "delivered bought got"),
    ("on_hand", "stock in_stock inventory left remaining"),
    ("corrects", "correction fixes_entry amends"),
    ("name", "title label called description"),
    ("title", "name label task description"),
    ("kind", "type class category"),
    ("type", "kind"),
    ("station", "position pos place order number"),
    ("points", "point parts components"),
    ("in_service", "installed since started commissioned from start"),
    ("out_of_service", "removed retired until ended end"),
    ("motor_hp", "hp horsepower power_hp power"),
    ("motor_kw", "kw power power_kw"),
    ("reduction", "ratio gear_ratio gearbox gear"),
    ("hz_limits", "limits min_max hz_range"),
    ("serial", "serial_number serial_no sn"),
    ("on", "where at machines machine points select selects applies_to"),
    ("every", "interval frequency cycle period repeat how_often schedule each freq"),
    ("lockout", "loto lock_out lockout_tagout locked"),
    ("qualified", "qualification qualifications skills trained"),
    ("uses", "parts materials material consumables needs"),
    ("steps", "how instructions procedure description notes"),
    ("cautions", "caution warnings warning safety hazards"),
    ("starts", "start from begins since"),
    ("ends", "end until to"),
    ("from", "date start since on valid_from effective when day at starts"),
    ("to", "end until till ends"),
    ("until", "to end left ends"),
    ("proposed_by", "by who author proposer proposed"),
    ("approved_by", "approver approved ok_by signed_by"),
    ("evidence", "readings proof because_of based_on"),
    ("unit", "units uom measure"),
    ("units", "unit system measures"),
    ("pack", "pack_size package size per_pack"),
    ("reorder_level", "min minimum reorder min_stock"),
    ("cost", "price"),
    ("place", "location shelf bin where"),
    ("time_zone", "timezone tz zone"),
    ("line_rate_per_h", "line_rate rate cars_per_hour speed cars_per_h vehicles_per_hour"),
    ("people", "persons staff team technicians person users"),
)

_VALUES: tuple[tuple[str, str], ...] = (
    ("rotating-bearing", "bearing bearings"),
    ("done", "yes y ok true complete completed finished x"),
    ("not-done", "no n false skipped open incomplete missed"),
    ("now", "urgent immediate immediately asap high critical today"),
    ("soon", "medium normal week"),
    ("planned", "low later someday plan"),
    ("si", "metric"),
    ("us", "imperial usa english american"),
    ("driver", "driver-side drivers offside off-side"),
    ("passenger", "passenger-side passengers nearside near-side"),
    ("vehicles", "cars car vehicle"),
    ("hours", "h hour hrs"),
    ("electric", "vfd motor electrical"),
    ("hydraulic", "hydraulics oil"),
    ("curtain", "mitter mitters mitter-curtain cloth-curtain"),
    ("low-brush", "rocker rockers rocker-brush rocker-panel-brush"),
    ("wrap", "wraparound wrap-around wrap-brush"),
    ("side-brush", "side vertical-brush"),
    ("top-brush", "top roof-brush overhead-brush horizontal-brush"),
    ("correlator", "entry-guide centering-rollers"),
    ("soak-arch", "presoak pre-soak presoak-arch prep-arch"),
    ("wheel-arch", "rim-arch wheel-cleaner"),
    ("high-pressure-arch", "hp-arch high-pressure"),
    ("blower", "dryer dryers producer drying-blower"),
    ("drive-panel", "vfd vfds vfd-panel mcc inverter-panel"),
    ("drive", "vfd inverter frequency-drive"),
    ("hydraulic-unit", "hpu power-pack power-unit hydraulic-power-unit"),
    ("reverse-osmosis", "ro ro-unit spot-free membrane"),
    ("tyre-dresser", "tire tyre tire-dresser tire-shine tire-shiner tyre-shiner"),
    ("buffer", "buffing buffing-cloth polisher"),
    ("air-dryer", "air-drier refrigerated-dryer"),
    ("dosing", "chemicals chemical chemical-room dispenser dosing-unit"),
    ("softener", "water-softener"),
    ("reclaim", "recycling water-recycling"),
    ("pit-pump", "sump sump-pump"),
    ("safety-circuit", "e-stop e-stops estop estops emergency-stops stop-circuit"),
    ("controller", "plc computer tunnel-controller"),
    ("door", "doors roll-up-door overhead-door"),
    ("entry-gate", "gate barrier pay-gate"),
    ("water-heater", "heater boiler"),
    ("backflow-preventer", "backflow rpz rpz-valve double-check"),
    ("oil-separator", "interceptor oil-water-separator oil-interceptor"),
    ("eyewash", "eye-wash eye-shower emergency-shower"),
    ("fire-extinguisher", "extinguisher extinguishers fire-extinguishers"),
    ("outlets", "gfci gfcis rcd rcds sockets outlet"),
    ("outlet", "gfci rcd socket receptacle"),
    ("battery", "batteries"),
    ("injector", "venturi metering-tip eductor"),
    ("air-cylinder", "cylinder ram"),
    ("lubricator", "oiler"),
)


def key_meant(word: str, free: Collection[str]) -> str:
    """The free key that people of the trade mean by `word`, written as keys are, or ""."""
    return _meant(_KEYS, word, free)


def value_meant(word: str, known: Iterable[str]) -> str:
    """The word of a choice that people mean by `word`, or ""."""
    return _meant(_VALUES, word.casefold().replace(" ", "-"), set(known))


def is_word_for(key: str, word: str) -> bool:
    """Whether people of the trade mean a key by a word, as by that behind a number: `3 shots`."""
    return key == word.casefold() or bool(key_meant(word.casefold(), {key}))


def _meant(table: tuple[tuple[str, str], ...], word: str, free: Collection[str]) -> str:
    return next(
        (right for right, spellings in table if right in free and word in spellings.split()), ""
    )


_CUTOFF = 0.6

_YES, _NO = (
    frozenset({"yes", "y", "on", "1", "x", "true", "t"}),
    frozenset({"no", "n", "off", "0", "false", "f", "-"}),
)

_NUMBER = re.compile(
    r"(?:[~\u2248<>=+]+|ca[.]?|about|approx[.]?)?\s*"
    r"(?P<number>-?[0-9OolI](?:[0-9OolI.,'\u2019 _]*[0-9OolI])?|-?[.,][0-9]+)[^0-9]*"
)

_SPANS = {
    "daily": "1 day",
    "weekly": "1 week",
    "fortnightly": "2 weeks",
    "biweekly": "2 weeks",
    "monthly": "1 month",
    "quarterly": "3 months",
    "yearly": "1 year",
    "annually": "1 year",
    "annual": "1 year",
}

_SPAN_UNITS = {"d": "day", "w": "week", "m": "month", "y": "year"}

_SPAN = re.compile(
    r"(?:every )?(?P<count>[0-9]+)?[ -]*"
    r"(?P<unit>d|days?|w|wks?|weeks?|mo|mos|mths?|months?|y|yrs?|years?)"
)

_COUNT_WORDS = ("one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


def nearest_word(word: str, known: Iterable[str], cutoff: float = _CUTOFF) -> str:
    """The known word that is spelt most like `word`, whatever its case, or ""."""
    by_fold: dict[str, str] = {}
    for candidate in sorted(known):
        by_fold.setdefault(candidate.casefold(), candidate)
    close = difflib.get_close_matches(word.casefold(), by_fold, n=1, cutoff=cutoff)
    return by_fold[close[0]] if close else ""


def nearest_key(key: str, allowed: Iterable[str], used: Iterable[str]) -> str:
    """The allowed key that `key` was most likely meant to be, or "".

    Keys already in `used` are not offered again. A unit at the end counts where the whole key
    is like none: `counted_s` beside `counted` can only mean `seconds`.
    """
    free = set(allowed) - set(used)
    snake = re.sub(r"[\s-]+", "_", key.strip(" :\"'\u201c\u201d")).casefold()
    if snake in free:
        return snake
    stem, _, unit = snake.rpartition("_")
    if stem in used and UNIT_OF_WORD.get(unit) in free:
        return UNIT_OF_WORD[unit]
    with_unit = [name for name in free if name.endswith(f"_{snake}")]
    return (
        nearest_word(snake, free, cutoff=0.85)
        or key_meant(snake, free)
        or nearest_word(snake, free, cutoff=0.75)
        # A key without its unit, or with another one.
        or next((name for name in sorted(free) if name.startswith(f"{snake}_")), "")
        or (UNIT_OF_WORD[unit] if UNIT_OF_WORD.get(unit) in free else "")
        or (with_unit[0] if len(with_unit) == 1 else "")
    )


def nearest_text(text: str, fits: Callable[[str], bool]) -> str:
    """A text of the form that `fits` takes and that `text` writes in another way, or ""."""
    return next((guess for guess in _guesses(text) if guess != text and fits(guess)), "")


def nearest_number(text: str, key: str = "") -> tuple[str, str]:
    """The number that `text` writes in another way, or "", and the unit that speaks against it.

    Of `1 min` under the key `seconds` nothing is known but that `min` is not meant there.
    """
    clock = re.fullmatch(r"([0-9]{1,2}):([0-5][0-9])(?:[.,][0-9]+)?", text.strip())
    if clock and key == "seconds":
        return str(int(clock[1]) * 60 + int(clock[2])), ""
    plain = plain_signs(text).strip(" '\u201c\u201d`")
    if plain.casefold() in _COUNT_WORDS:
        return str(_COUNT_WORDS.index(plain.casefold()) + 1), ""
    amount, unit = split_amount(plain)
    if unit and unit_of_key(key) and not is_in(unit, key):
        return "", unit
    found = _NUMBER.fullmatch(amount)
    if found is None or not re.search(r"[0-9]", found["number"]):
        return "", ""
    number = found["number"]
    if re.search(r"[ '\u2019_]", number):
        if not re.fullmatch(r"-?[0-9]{1,3}(?:[ '\u2019_][0-9]{3})+(?:[.,][0-9]+)?", number):
            return "", ""
        number = re.sub(r"[ '\u2019_]", "", number)
    return _number_as_typed(number), ""


def nearest_list(value: object, *, of_numbers: bool) -> str:
    """One value, or two with a dash between, as the list that was meant; "" where none can be."""
    if of_numbers:
        ends = re.split(r"\s*(?:-|to|\.\.|[,;/\u2013\u2014])\s*", str(value).strip("()[] "))
        return f"[{', '.join(ends)}]" if len(ends) == 2 and all(map(_is_number, ends)) else ""
    if not isinstance(value, str):
        return ""
    return f"[{', '.join(part.strip() for part in value.split(','))}]"


def nearest_boolean(value: object) -> str:
    """true or false where `value` is another word for it, or ""."""
    word = str(value).strip().casefold()
    return "true" if word in _YES else "false" if word in _NO else ""


def _number_as_typed(text: str) -> str:
    digits = text.translate(str.maketrans("OolI", "0011"))
    whole = number_without_commas(digits)
    if not whole:
        return ""
    if re.fullmatch(r"-?[0-9]{1,3}(?:\.[0-9]{3}){2,}", whole):
        whole = whole.replace(".", "")
    sign, _, size = whole.rpartition("-")
    size = size.lstrip("0") or "0"
    guess = ("-" if sign or whole.startswith("-") else "") + (
        f"0{size}" if size.startswith(".") else size
    )
    return guess if _is_number(guess) else ""


def _is_number(text: str) -> bool:
    return re.fullmatch(r"-?[0-9]+(?:\.[0-9]+)?", text) is not None


def _guesses(text: str) -> Iterator[str]:
    plain = plain_signs(text)
    # What was typed or pasted around the word.
    plain = re.sub(r"\s*#(?:\s.*)?$", "", plain).strip(" '\"`,;.\u201c\u201d\u2018\u2019")
    yield plain
    yield plain.upper()
    folded = "".join(
        sign
        for sign in unicodedata.normalize("NFKD", plain.casefold())
        if not unicodedata.combining(sign)
    )
    bare = re.sub(r"\.ya?ml$", "", re.sub(r"^.*(?:equipment|tasks|parts|setpoints)/", "", folded))
    place = re.sub(r"\s*[/\\>:]+\s*", "/", bare)
    for form in (place, bare):
        yield re.sub(r"-?/-?", "/", re.sub(r"[^a-z0-9/#~]+", "-", form)).strip("-")
    yield re.sub(r"[^a-z0-9]+", "_", folded).strip("_")
    # A visit's entry as the visit's own time is written.
    yield re.sub(r"[t ]([0-9]{2})[:.]?([0-9]{2})[-_ ]", r"T\1\2-", folded)
    yield _SPANS.get(folded, "")
    first, _, rest = folded.replace("'", "").partition(" ")
    counted = f"{_COUNT_WORDS.index(first) + 1} {rest}" if first in _COUNT_WORDS else ""
    span = _SPAN.fullmatch(counted or folded.replace("'", ""))
    if span:
        count, unit = int(span["count"] or 1), _SPAN_UNITS[span["unit"][0]]
        yield f"{count} {unit}{'' if count == 1 else 's'}"
    amount = re.fullmatch(r"([0-9]+(?:[.,][0-9]+)?)\s*([A-Za-z][A-Za-z ]*)", plain)
    if amount:
        yield f"{amount[1].replace(',', '.')} {amount[2]}"
    yield _opening_hours(folded)
    if "." in folded and " " not in folded and ":" not in folded:
        yield f"https://{folded}"


def _opening_hours(text: str) -> str:
    ends = re.findall(r"([0-9]{1,2})(?:[:.h]?([0-9]{2}))?\s*([ap]m)?", text)
    if len(ends) != 2:
        return ""
    shown = []
    for hour, minute, half in ends:
        value = int(hour) % 12 + (12 if half == "pm" else 0) if half else int(hour)
        shown.append(f"{value:02}:{minute or '00'}")
    return "-".join(shown)

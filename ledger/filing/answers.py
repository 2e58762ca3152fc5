"""The answers that start a site, as a person types them, and what they mean.

Each function takes the text of one answer and raises ValueError, with a remedy, where it means
nothing. A sheet of answers holds the same texts.
"""

import re
from collections.abc import Collection, Mapping, Sequence
from datetime import date
from functools import cache
from typing import Any

from dateutil.relativedelta import relativedelta

from ledger.compute.recurrence import Unit, parse_interval
from ledger.files.schemas import BASE_URI, is_date, shipped_schemas
from ledger.files.spelling import value_meant
from ledger.filing.fields import as_written
from ledger.model.problems import nearest
from ledger.model.tasks import NEVER, NOT_KNOWN, remembered
from ledger.values import dataclass, field

_DAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")

_SPAN = re.compile(r"(\w+)(?:\s*-\s*(\w+))?\s+(closed|\d.*)")

# The next day may follow a comma or the hours before it: mon-fri 7-19 sat 8-18.
_BEFORE_DAY = re.compile(r",|(?<=[\dd])\s+(?=[a-z])")

_HOURS = re.compile(r"(\d{1,2})(?::(\d\d))?\s*-\s*(\d{1,2})(?::(\d\d))?")

_AMOUNT = re.compile(
    r"(\d+(?:\.\d+)?)(?:\s*-\s*(\d+(?:\.\d+)?))?\s*([a-z/:]+[0-9]?)", re.IGNORECASE
)

_ADDRESS = re.compile(r"[^@\s,]{1,64}@[^@\s,]{1,189}")

_SIDES = ("driver", "passenger", "over", "under", "both")

_TASK = re.compile(r"(\d{1,2}|[a-z]+(?:-[a-z0-9]+)+)(?:@(\d+(?:\.\d+)?))?")

_AGO = re.compile(r"(?:(\d{1,2}) (day|week|month|year)s? ago|(this|last) (week|month|year))")

_AS_FILED = {"day": "%Y-%m-%d", "week": "%G-W%V", "month": "%Y-%m", "year": "%Y"}
"""How files write a day, week, month or year."""

_DRIVE_WORDS = {"frequency": "electric", "fixed": "electric", "hydraulic": "hydraulic", "none": ""}

_DRIVE_ALIASES = {"vfd": "frequency", "inverter": "frequency", "electric": "fixed"}

_UNITS = {
    "hz": "hz",
    "hp": "motor_hp",
    "kw": "motor_kw",
    "rpm": "rated_rpm",
    "r/min": "rated_rpm",
    ":1": "reduction",
    "in3": "motor_in3",
    "cm3": "motor_cm3",
    "gpm": "flow_gpm",
    "l/min": "flow_lpm",
}

_CHAIN_UNITS = {
    "ft/min": "chain_speed_ft_per_min",
    "m/min": "chain_speed_m_per_min",
    "ft": "vehicle_pitch_ft",
    "m": "vehicle_pitch_m",
}

_ESTIMATE = {Unit.DAY: 1, Unit.WEEK: 7, Unit.MONTH: 30, Unit.YEAR: 365}


@dataclass(frozen=True, slots=True, kw_only=True)
class DriveAnswer:
    """A drive by its `type` and what was read off it, and its setting by key, such as `hz`.

    `limits` are those of the setting; None where none were given.
    """

    type: str
    is_set: bool
    plate: Mapping[str, float] = field(default_factory=dict)
    limits: tuple[float, float] | None = None
    setting: tuple[str, float] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class MachineAnswer:
    kind: str
    name: str
    side: str = ""
    drive: DriveAnswer | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LastDone:
    """One answer for all tasks of a cycle; `others` are tasks, by id, that it is not true of.

    An exception may hold at one station alone; None stands for all of them.
    """

    when: str
    others: Sequence[tuple[str, float | None, str]] = ()


def some_text(text: str) -> str:
    if not text:
        raise ValueError("a few words are needed")
    return text


def units(text: str) -> tuple[str, str]:
    """The units of the book and the side that drivers sit on: `us, left`."""
    words = text.lower().replace(",", " ").split()
    system = [word for word in words if word in ("us", "si")]
    side = [word for word in words if word in ("left", "right")]
    if len(system) != 1 or len(side) > 1 or len(words) != len(system) + len(side):
        raise ValueError("write us or si, and left or right for the side that drivers sit on")
    return system[0], (side or ["left"])[0]


def approval_proof(text: str) -> str:
    """What has to stand behind an approval: `commit`, `statement` or `file`."""
    if text not in ("commit", "signed-commit", "statement", "file"):
        raise ValueError("write commit, statement (signed with an SSH key) or file")
    return text


def day(text: str, today: date) -> date:
    """A day, or the first day of a week, month or year, also in words such as `last month`."""
    try:
        first = remembered(_time_in_file(text, today)).first
    except ValueError:
        first = None
    if first is None or not is_date(first.isoformat()):
        raise ValueError("write a day, month or year: 2014-05-12, 2014-05, 2014 or today")
    return first


def hours(text: str) -> dict[str, str]:
    """Opening hours by day of the week: `mon-fri 7-20, sat 8-21, sun closed`, or `daily 7-20`."""
    found: dict[str, str] = {}
    for part in _BEFORE_DAY.split(text.lower()):
        day_hours = _SPAN.fullmatch(part.strip())
        span = _HOURS.fullmatch(day_hours[3].strip()) if day_hours else None
        if day_hours is None or (span is None and day_hours[3] != "closed"):
            raise ValueError(f"`{part.strip()}`: write it like mon-sat 7-20, sun closed")
        first, last = day_hours[1], day_hours[2] or day_hours[1]
        days = list(_DAYS) if first in ("daily", "all") else _days(first, last)
        open_to = "closed"
        if span is not None:
            open_to = f"{int(span[1]):02}:{span[2] or '00'}-{int(span[3]):02}:{span[4] or '00'}"
        found |= dict.fromkeys(days, open_to)
    return {name: found.get(name, "closed") for name in _DAYS}


def _days(first: str, last: str) -> list[str]:
    at = []
    for word in (first, last):
        named = [n for n, name in enumerate(_DAYS) if len(word) > 1 and name.startswith(word)]
        if len(named) != 1:
            raise ValueError(f"`{word}` is no day of the week; write mon, tue, wed, and so on")
        at += named
    return [_DAYS[n % 7] for n in range(at[0], at[1] + 1 + 7 * (at[1] < at[0]))]


def line_rates(text: str) -> list[float]:
    """Vehicles an hour that the line runs now, then the other rates it is run at."""
    try:
        words = text.replace(",", " ").replace("/h", "").split()
        rates = [as_written(float(word)) for word in words]
    except ValueError:
        rates = []
    if not rates or min(rates) <= 0:
        raise ValueError("write the vehicles an hour now, then other rates in use: 95, 70 80")
    return rates


def chain(text: str) -> dict[str, float]:
    """The speed of the chain and the spacing of vehicles: `35 ft/min, 22 ft`."""
    given = "" if text == NOT_KNOWN else text.lower()
    amounts = list(_AMOUNT.finditer(given))
    is_clear = all(not one[2] and one[3] in _CHAIN_UNITS for one in amounts)
    if not is_clear or _AMOUNT.sub("", given).strip(" ,"):
        raise ValueError("write speed and spacing, such as 35 ft/min, 22 ft or 11 m/min, 6.7 m")
    return {_CHAIN_UNITS[one[3]]: as_written(float(one[1])) for one in amounts}


def person(text: str) -> dict[str, Any]:
    """What site.yaml says of a person: `T. Varrick, t@wash.example, lead`."""
    name, *rest = (part.strip() for part in text.split(","))
    some_text(name)
    found: dict[str, Any] = {"name": name}
    lists = {"roles": _words("role"), "qualified": _words("qualification")}
    for word in rest:
        plain = word.lower().replace(" ", "-")
        key = next((key for key, known in lists.items() if plain in known), "")
        if _ADDRESS.fullmatch(word):
            key, plain = "emails", word
        elif plain == "approves":
            key, plain = "approves", "setpoints"
        if not key:
            raise ValueError(f"`{word}` is neither an address nor one of {person_words()}")
        found.setdefault(key, []).append(plain)
    return found


def person_words() -> str:
    """What may stand behind a person's name."""
    roles, qualifications = ", ".join(_words("role")), ", ".join(_words("qualification"))
    return f"{roles} (roles), approves (settings), {qualifications} (qualified for)"


@cache
def _words(of: str) -> tuple[str, ...]:
    schemas = shipped_schemas().by_uri
    if of == "role":
        people = schemas[f"{BASE_URI}site.schema.json"]["properties"]["people"]
        roles = people["additionalProperties"]["properties"]["roles"]
        return tuple(roles["items"]["enum"])
    return tuple(schemas[f"{BASE_URI}common.schema.json"]["$defs"][of]["enum"])


def machine_kinds() -> tuple[str, ...]:
    """Every kind of machine that a file may have, in the order of a walk."""
    return _words("machine-kind")


def machine(text: str) -> MachineAnswer:
    """`side-brush, Side brush 1, driver, frequency 30-60 Hz, 44 Hz`: kind, name, and as it may be.

    From the right: what the drive is set to, the drive, the side. The rest is the name.
    """
    kind, *rest = (part.strip() for part in text.split(","))
    kind = kind.lower().replace(" ", "-")
    kind = value_meant(kind, machine_kinds()) or kind
    if kind not in machine_kinds():
        near = nearest(kind, machine_kinds())
        hint = f"did you mean {near}?" if near else "? lists the kinds"
        raise ValueError(f"there is no kind of machine `{kind}`; {hint}")
    setting, drive, side = None, None, ""
    if rest and (amount := _AMOUNT.fullmatch(rest[-1])) and _unit(amount[3]) in _SETTINGS:
        setting = _unit(amount[3]), as_written(float(amount[1]))
        rest.pop()
    if rest and _first_word(rest[-1]) in _DRIVE_WORDS:
        drive = rest.pop()
    if rest and (side := _side(rest[-1])):
        rest.pop()
    if wrong := next(filter(None, map(_misplaced, rest[:0:-1])), ""):
        # What was not understood would otherwise become a part of the name.
        raise ValueError(wrong)
    if not rest or not rest[0]:
        raise ValueError("write kind, name, side, drive and setting, with commas; ? explains")
    return MachineAnswer(
        kind=kind, name=", ".join(rest), side=side, drive=_drive(drive or "", setting)
    )


def _side(text: str) -> str:
    word = text.lower()
    return word if word in _SIDES else value_meant(word, _SIDES)


def _misplaced(part: str) -> str:
    """Why a part cannot be meant as one of the name; empty where it can."""
    if part.lower() in ("left", "right"):
        return f"`{part}`: write the side as {', '.join(_SIDES)}"
    if part[:1].isdecimal():
        return (
            f"`{part}`: write a setting with its unit, such as 44 Hz, and the size of a motor "
            "behind the type of its drive: fixed 15 hp"
        )
    if _first_word(part) in (*_SIDES, *_DRIVE_WORDS):
        return (
            f"`{part}`: write kind, name, side, drive, setting in this order; a drive is "
            f"{', '.join(_DRIVE_WORDS)}"
        )
    return ""


_SETTINGS = {"hz": "frequency", "flow_gpm": "hydraulic", "flow_lpm": "hydraulic"}


def _first_word(text: str) -> str:
    word = text.lower().partition(" ")[0]
    return _DRIVE_ALIASES.get(word, word)


def _unit(word: str) -> str:
    return _UNITS.get(word.lower(), "")


def _drive(text: str, setting: tuple[str, float] | None) -> DriveAnswer | None:
    word, rest = _first_word(text), text.lower().partition(" ")[2]
    plate: dict[str, float] = {}
    limits = None
    for part in _AMOUNT.finditer(rest):
        unit = _unit(part[3])
        if part[2] and unit in _SETTINGS:
            limits = float(part[1]), float(part[2])
        elif unit in _SETTINGS and setting is None:
            setting = unit, as_written(float(part[1]))
        elif unit and not part[2] and unit not in _SETTINGS:
            plate[unit] = as_written(float(part[1]))
        else:
            raise ValueError(f"`{part[0]}`: write it like 3 hp, 1740 rpm, 16 :1, or 30-60 Hz")
    word = word or (_SETTINGS[setting[0]] if setting else "none")
    if setting is not None and _SETTINGS[setting[0]] != word:
        raise ValueError(f"a {word} drive has no setting in {setting[0].rpartition('_')[2]}")
    if word == "none":
        return None
    if _AMOUNT.sub("", rest).strip():
        raise ValueError(f"`{rest}`: write amounts with their units, such as 3 hp 30-60 Hz")
    if word == "hydraulic" and not plate.keys() & {"motor_in3", "motor_cm3"}:
        raise ValueError(
            "a hydraulic motor needs its displacement from the plate, such as hydraulic 9.8 in3 "
            "or 160 cm3; where you do not know it, leave the drive out"
        )
    if limits is not None and setting is None:
        raise ValueError("write the setting after the limits, such as 30-60 Hz, 44 Hz")
    if setting is not None and limits is not None and not limits[0] <= setting[1] <= limits[1]:
        raise ValueError(f"the setting is outside the limits {limits[0]:g} to {limits[1]:g}")
    return DriveAnswer(
        type=_DRIVE_WORDS[word],
        is_set=word == "frequency" or setting is not None,
        plate=plate,
        limits=limits,
        setting=setting,
    )


def cycle_days(cycle: str) -> int:
    """About how many days a cycle has, to stand in order."""
    interval = parse_interval(cycle)
    return interval.count * _ESTIMATE[interval.unit]


def last_done(
    text: str, tasks: Sequence[str], stations: Collection[float], today: date
) -> LastDone:
    """`this week; 3 never; 5@40 2026-08`: one time for all, then exceptions by number or id.

    `tasks` are those of the cycle in the order of their numbers. The times are as `remembered`
    takes them, those such as `this week` as seen from `today`.
    """
    first, *exceptions = (part.strip() for part in text.split(";"))
    others: list[tuple[str, float | None, str]] = []
    for part in exceptions:
        words = part.replace(",", " ").split()
        # The number in `2 weeks ago` is no task.
        ends_at = len(words) - 3 if words[-1:] == ["ago"] else len(words)
        named = 0
        while named < ends_at and _TASK.fullmatch(words[named]):
            named += 1
        when = _when(" ".join(words[named:]), today)
        if not named:
            raise ValueError(f"`{part}`: write a task's number, then when: 3 never")
        others += [(*_place(word, tasks, stations), when) for word in words[:named]]
    return LastDone(when=_when(first, today), others=tuple(others))


def _place(
    word: str, tasks: Sequence[str], stations: Collection[float]
) -> tuple[str, float | None]:
    ident, _, at = word.partition("@")
    if ident.isdecimal() and 0 < int(ident) <= len(tasks):
        ident = tasks[int(ident) - 1]
    if ident not in tasks:
        raise ValueError(f"there is no task {ident} here; write a number from 1 to {len(tasks)}")
    if at and float(at) not in stations:
        raise ValueError(f"there is no machine at station {at}")
    return ident, float(at) if at else None


def _time_in_file(text: str, today: date) -> str:
    """A time as files write it, if it is one."""
    word = text.lower().strip()
    word = {"today": "0 days ago", "yesterday": "1 day ago"}.get(word, word)
    if ago := _AGO.fullmatch(word):
        unit = ago[2] or ago[4]
        back: dict[str, Any] = {f"{unit}s": int(ago[1] or ago[3] == "last")}
        return (today - relativedelta(**back)).strftime(_AS_FILED[unit])
    if word in ("", "not known"):
        return NOT_KNOWN
    return text.strip().upper() if "-w" in word else word


def _when(text: str, today: date) -> str:
    """When work was last done, as files write it."""
    meant = _time_in_file(text, today)
    try:
        first = remembered(meant).first
    except ValueError:
        raise ValueError(
            f"`{text}` is no time; write a day, week or month (2026-11-20, 2026-W47, 2026-11), "
            f"this week, last month, {NEVER} or not known, and exceptions after a semicolon"
        ) from None
    if first is not None and first > today:
        raise ValueError(f"`{text}` is after the first day of the record")
    return meant

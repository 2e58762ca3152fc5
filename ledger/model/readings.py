"""The kinds of reading beside shaft speed: one row each in `READINGS`, from which the rest follows.

Made of a row are what the builder keeps of an entry, the questions of `record`, the form of the
pocket page, the sentence of the history and the rows of the export. `ledger.model.reading_schemas`
writes what the schemas repeat of it.
"""

import math
from collections.abc import Callable, Mapping
from typing import Any, Generic, TypeAlias, TypeVar

from ledger.files.units import UNITS
from ledger.model.quantities import quantity
from ledger.values import dataclass, fields

_T_co = TypeVar("_T_co", covariant=True)

UNITS_WRITTEN = {one.ending: one.written for one in UNITS if one.written}
"""The unit at the end of a key, as people write it."""


@dataclass(frozen=True, slots=True)
class Amount:
    """One number or word of an entry: `stem`, with the ending of its SI or its US unit if any.

    The ledger keeps it in the unit `kept`, which is the SI one unless stated. `noun` is what a
    number without a unit counts.
    """

    stem: str
    si: str = ""
    us: str = ""
    kept: str = ""
    noun: str = ""

    def ending(self, *, us: bool) -> str:
        return (us and self.us) or self.si

    def key(self, *, us: bool) -> str:
        return "_".join(filter(None, (self.stem, self.ending(us=us))))

    @property
    def keys(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys((self.key(us=False), self.key(us=True))))

    @property
    def unit(self) -> str:
        """The unit in which the ledger keeps it."""
        return self.kept or self.si

    def read(self, item: Mapping[str, Any]) -> Any:
        """The value that an entry of a file holds, in `unit`; None without."""
        if not self.si:
            return item.get(self.stem)
        return quantity(item, self.stem, f"{self.si} {self.us}", self.unit)


def written(ending: str) -> str:
    """The unit of an ending as people write it: `MΩ`; `mm/s` for `mm_s`."""
    return UNITS_WRITTEN.get(ending) or ending.replace("_", "/")


@dataclass(frozen=True, slots=True, kw_only=True)
class Catch:
    """Volume caught from one nozzle in a time; the pressure is a reading of its own."""

    volume_l: float
    seconds: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ChainLength:
    pitches: int
    length_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Titration:
    """Drops to the turning point: of the sample, of plain water, and of a sample mixed by hand.

    The last was mixed of `reference_parts` parts of water to one of the product.
    """

    drops: int
    blank_drops: int
    reference_drops: int
    reference_parts: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BeltDeflection:
    deflection_mm: float
    force_n: float | None = None


Exported: TypeAlias = tuple[str, str, Callable[[Any], float | None]]
"""A quantity in the flat table of readings, its unit there, and how it comes from the reading."""


@dataclass(frozen=True, slots=True)
class ReadingKind(Generic[_T_co]):
    """One kind of reading: `word` asks for it in a task's `reads`, `title` heads it in a form.

    `sentence` tells it in the history, each amount by its stem. `amounts` are asked for in that
    order and all needed; `optional` ones may stand beside them. A reading of several amounts is of
    the class `made`, whose fields are those amounts, the optional ones last. A single number is
    exported as the ledger keeps it, unless `exports` says otherwise. A single number may be
    `read_to` a standard uncertainty, in its unit or as a share of it if that is more. Then it is
    followed for drift and can have a band at its point, unless it goes down and up by nature, as
    what is used up and filled again (`runs_down`).
    """

    word: str
    title: str
    sentence: str
    amounts: tuple[Amount, ...]
    made: type[Any] | None = None
    exports: tuple[Exported, ...] | None = None
    optional: tuple[Amount, ...] = ()
    read_to: tuple[float, float] | None = None
    runs_down: bool = False

    @property
    def keys(self) -> tuple[str, ...]:
        """The keys of which one makes an entry hold such a reading: those with a unit, if any."""
        return next((one for one in self.amounts if one.si), self.amounts[0]).keys

    @property
    def exported(self) -> tuple[Exported, ...]:
        if self.exports is not None:
            return self.exports
        (amount,) = self.amounts
        return ((amount.stem, written(amount.unit) or "1", float),)

    def read(self, item: Mapping[str, Any]) -> Any:
        """The reading that an entry of a file holds, which has one of `keys`."""
        values = [amount.read(item) for amount in (*self.amounts, *self.optional)]
        if self.made is None:
            return values[0]
        return self.made(**dict(zip(_names(self.made), values, strict=False)))

    def amounts_of(self, reading: Any) -> tuple[tuple[Amount, Any], ...]:
        """Each of `amounts` with its value in a reading."""
        if self.made is None:
            return ((self.amounts[0], reading),)
        values = (getattr(reading, name) for name in _names(self.made))
        return tuple(zip(self.amounts, values, strict=False))


def _names(made: type[Any]) -> tuple[str, ...]:
    return tuple(field.name for field in fields(made))


PRESSURE_AMOUNT = Amount("pressure", "kpa", "psi")

# fmt: off
TURNING: ReadingKind[str] = ReadingKind(
    "turning", "Direction of rotation", "turns {turning} the travel",
    (Amount("turning"),), exports=(),
)
CATCH: ReadingKind[Catch] = ReadingKind(
    "catch", "Nozzle catch", "caught {caught} in {seconds} s",
    (Amount("caught", "ml", "oz", kept="l"), Amount("seconds")), Catch,
    (("catch_flow", "L/min", lambda catch: 60 * catch.volume_l / catch.seconds),),
    (PRESSURE_AMOUNT,),
)
PRESSURE: ReadingKind[float] = ReadingKind(
    "pressure", "Pressure", "{pressure}", (PRESSURE_AMOUNT,), read_to=(0.001, 0.01)
)
CHAIN_LENGTH: ReadingKind[ChainLength] = ReadingKind(
    "chain", "Chain", "{pitches} pitches measure {length}",
    (Amount("pitches"), Amount("length", "mm", "in")), ChainLength,
    (("chain_pitch", "mm", lambda chain: chain.length_mm / chain.pitches),),
)
BELT_DEFLECTION: ReadingKind[BeltDeflection] = ReadingKind(
    "belt", "Belt", "belt gives {deflection}", (Amount("deflection", "mm", "in"),), BeltDeflection,
    (
        ("belt_deflection", "mm", lambda belt: belt.deflection_mm),
        ("belt_force", "N", lambda belt: belt.force_n),
    ),
    (Amount("force", "n", "lbf"),),
)
STRIP: ReadingKind[float] = ReadingKind(
    "strip", "Strip length", "strips {strip_length} long", (Amount("strip_length", "mm", "in"),)
)
CURRENT: ReadingKind[float] = ReadingKind(
    "current", "Current", "{current}", (Amount("current", "a"),), read_to=(0.001, 0.01)
)
TEMPERATURE: ReadingKind[float] = ReadingKind(
    "temperature", "Temperature", "{temperature}", (Amount("temperature", "c", "f"),),
    read_to=(0.5, 0),
)
BOUNCES: ReadingKind[int] = ReadingKind(
    "bounces", "Bounces", "{bounces}", (Amount("bounces", noun="bounce"),)
)
LEVEL: ReadingKind[float] = ReadingKind(
    "level", "Level", "level {level}", (Amount("level", "percent"),),
    read_to=(5 / math.sqrt(12), 0), runs_down=True,
)
HARDNESS: ReadingKind[float] = ReadingKind(
    "hardness", "Hardness", "hardness {hardness}", (Amount("hardness", "mg_l", "gpg"),),
    read_to=(4.9, 0),
)
CONDUCTIVITY: ReadingKind[float] = ReadingKind(
    "conductivity", "Conductivity", "{conductivity}", (Amount("conductivity", "us_cm"),),
    read_to=(0.5, 0.02),
)
FLOW: ReadingKind[float] = ReadingKind(
    "flow", "Flow", "flows {flow}", (Amount("flow", "lpm", "gpm", kept="l_min"),),
    read_to=(0.01, 0.02)
)
TITRATION: ReadingKind[Titration] = ReadingKind(
    "titration", "Titration",
    "{drops}, blank {blank_drops}; mixed {reference_parts} to 1 {reference_drops}",
    (
        Amount("drops", noun="drop"), Amount("blank_drops", noun="drop"),
        Amount("reference_drops", noun="drop"), Amount("reference_parts"),
    ),
    Titration,
    (("titration", "1", lambda found: found.drops - found.blank_drops),),
)
DEPTH: ReadingKind[float] = ReadingKind(
    "depth", "Depth in the drum", "{depth} deep", (Amount("depth", "mm", "in"),),
    read_to=(6.35 / math.sqrt(12), 0), runs_down=True,
)
OPENING: ReadingKind[float] = ReadingKind(
    "opening", "Opening of a valve for a vehicle", "open for {open}", (Amount("open", "seconds"),),
    read_to=(0.15, 0),
)
RUN: ReadingKind[float] = ReadingKind(
    "run", "Water since a regeneration", "{run} since the last regeneration",
    (Amount("run", "l", "gal"),), read_to=(0, 0.01), runs_down=True,
)

READINGS: tuple[ReadingKind[Any], ...] = (
    TURNING, CATCH, PRESSURE, CHAIN_LENGTH, BELT_DEFLECTION, STRIP, CURRENT, TEMPERATURE, LEVEL,
    HARDNESS,
    ReadingKind("ph", "pH", "pH {ph}", (Amount("ph"),), read_to=(0.1, 0)),
    CONDUCTIVITY,
    ReadingKind(
        "chlorine", "Free chlorine", "{chlorine} of free chlorine", (Amount("chlorine", "ppm"),),
        read_to=(0.05, 0),
    ),
    ReadingKind(
        "brine", "Brine strength", "brine {brine}", (Amount("brine", "percent"),), read_to=(2, 0)
    ),
    FLOW, TITRATION, DEPTH, OPENING, RUN,
    ReadingKind(
        "insulation", "Insulation resistance", "{insulation}", (Amount("insulation", "mohm"),)
    ),
    BOUNCES,
)
# fmt: on
"""In the order of sentences and forms. A kind that no calculation asks for needs no name."""

SETTING_ENDINGS = {"hz": "Hz", "flow_gpm": "gpm", "flow_lpm": "L/min"}
"""How the keys of a drive's setting end, and the unit."""


def setting_of(keys: Mapping[str, Any]) -> tuple[str, float | None]:
    """The unit and the value of a drive's setting; a flow without a value where there is none."""
    if "hz" in keys:
        return "Hz", float(keys["hz"])
    return "L/min", quantity(keys, "flow", "gpm lpm", "l_min")


WAYS_OF_SPEED = ("counted", "turns", "taps_s", "tachometer_rpm")
"""The keys of which one makes an entry, or a step of it, a reading of the speed."""

NO_METER = "no_meter"
"""The key for a valve whose flow nothing shows: left turned as it was."""

STEPS = "steps"
"""The key of a tuning session: counts, each with its setting."""

KEYS_OF_READING: Mapping[str, tuple[str, ...]] = {
    "speed": (*WAYS_OF_SPEED, STEPS),
    **{kind.word: kind.keys for kind in READINGS},
    "setting": (
        *(f"{at}_{ending}" for ending in SETTING_ENDINGS for at in ("found", "left")),
        NO_METER,
        STEPS,
    ),
}
"""For each word of a task's `reads`, the keys of an entry of which one holds it."""

KIND_OF_WORD = {kind.word: kind for kind in READINGS}

ENDING_OF_KEY = {
    amount.key(us=us): amount.ending(us=us)
    for kind in READINGS
    for amount in (*kind.amounts, *kind.optional)
    for us in (False, True)
    if amount.si
}
"""The unit that a key of a reading ends with."""

BANDED = {
    key: kind for kind in READINGS if kind.read_to and not kind.runs_down for key in kind.keys
}
"""The readings that are followed, and that a point can have a band of, by the key of the band."""

KIND_OF_KEY = {key: kind for kind in READINGS for key in kind.keys}


@dataclass(frozen=True, slots=True)
class Readings:
    """What one entry measured beside shaft speed: `readings[CURRENT]`, None where it did not."""

    by_word: Mapping[str, Any]

    def __getitem__(self, kind: ReadingKind[_T_co]) -> _T_co | None:
        return self.by_word.get(kind.word)


NO_READINGS = Readings({})


def readings_of(item: Mapping[str, Any]) -> Readings:
    """What an entry of a file holds."""
    kinds = [KIND_OF_KEY[key] for key in item if key in KIND_OF_KEY]
    return Readings({kind.word: kind.read(item) for kind in kinds}) if kinds else NO_READINGS

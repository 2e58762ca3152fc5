"""Consumables and spares."""

from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """Amounts are in `unit`; `pack` is units in a pack as bought."""

    ident: str
    name: str
    kind: str
    unit: str
    pack: float | None = None
    pack_name: str = "pack"
    grams_per_stroke: float | None = None
    opening_day: date | None = None
    opening_count: float | None = None
    reorder_level: float | None = None
    place: str = ""
    cost: float | None = None
    notes: str = ""

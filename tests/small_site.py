"""A site of two brushes in memory, and the ledger that its files make: for tests to add records to.

`import small_site`, then `ledger_of(visits)`.
"""

import json
from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from typing import Any

from ledger.files.reading import read_documents
from ledger.files.schemas import check_document
from ledger.model.build import build_ledger
from ledger.model.ledger import Ledger

Entry = Mapping[str, Any]

FIRST_DAY = date(2026, 1, 5)

SITE: Mapping[str, Any] = {
    "format": 1,
    "name": "Small Wash",
    "time_zone": "Etc/UTC",
    "units": "si",
    "driver_side": "left",
    "in_service": FIRST_DAY.isoformat(),
    "line": {"line_rate_per_h": 110, "line_rates_per_h": [90, 110]},
    "hours": dict.fromkeys(("monday", "tuesday", "wednesday", "thursday", "friday"), "08:00-18:00"),
    "meters": {
        "conveyor_hours": {"name": "Conveyor hours", "counts": "hours"},
        "vehicles": {"name": "Vehicles", "counts": "vehicles"},
    },
    "people": {
        "a-holt": {"name": "A. Holt", "roles": ["technician"]},
        "b-marsh": {"name": "B. Marsh", "roles": ["lead"], "approves": ["setpoints"]},
    },
    "costs": {"currency": "EUR"},
}

ELECTRIC: Mapping[str, Any] = {
    "name": "Side brush",
    "kind": "side-brush",
    "station": 10,
    "drive": {"type": "electric", "motor_kw": 2.2, "rated_rpm": 1740, "base_hz": 60, "poles": 4, "reduction": 16, "hz_limits": [25, 60], "full_load_a": 4.8},
    "speed_band": [{"line_rate_per_h": 90, "rpm": [70, 80]}, {"line_rate_per_h": 110, "rpm": [74, 86]}],
    "costs": {"planned": 200, "failure": 1000},
    "points": {
        "bearing-top": {"kind": "rotating-bearing"},
        "bearing-bottom": {"kind": "rotating-bearing"},
        "cloth": {"kind": "cloth", "new_length_mm": 500, "worn_length_mm": 400},
        "nozzle": {"kind": "nozzle", "flow_lpm": 2.0, "at_kpa": 300},
        "chain": {"kind": "chain", "pitch_mm": 100, "centres": "fixed"},
        "gauge": {"kind": "gauge"},
        "motor": {"kind": "motor"},
    },
}  # fmt: skip

HYDRAULIC: Mapping[str, Any] = {
    "name": "Low brush",
    "kind": "low-brush",
    "station": 20,
    "drive": {"type": "hydraulic", "motor_cm3": 160, "flow_limits_lpm": [5, 20]},
    "speed_band": [{"line_rate_per_h": 110, "rpm": [75, 92]}],
}

LOOK: Entry = {"at": "brush", "temperature_c": 20}
"""An entry for visits that only read a meter or mark a day."""


class _Files:
    def __init__(self, files: Mapping[str, Any]) -> None:
        self._files = files

    def paths(self) -> tuple[str, ...]:
        return tuple(sorted(self._files))

    def read(self, path: str) -> bytes:
        # JSON is YAML.
        return json.dumps(self._files[path]).encode()


def on(day: int) -> date:
    """The day so many days after the first."""
    return FIRST_DAY + timedelta(days=day)


def visit(day: int, *entries: Entry, time: str = "10:00", **rest: Any) -> Mapping[str, Any]:
    """A visit so many days after the first."""
    return {"at": f"{on(day)}T{time}", "by": "a-holt", "entries": list(entries), **rest}


def setpoint(day: int, hz: float, **rest: Any) -> Mapping[str, Any]:
    return {
        "from": on(day).isoformat(),
        "hz": hz,
        "line_rate_per_h": 110,
        "why": "Tried and read.",
        "proposed_by": "a-holt",
        "approved_by": "b-marsh",
        **rest,
    }


def ledger_of(
    visits: Sequence[Mapping[str, Any]] = (),
    *,
    setpoints: Sequence[Mapping[str, Any]] = (),
    tasks: Mapping[str, Any] | None = None,
    site: Mapping[str, Any] | None = None,
    machines: Mapping[str, Any] | None = None,
    parts: Mapping[str, Any] | None = None,
    instruments: Mapping[str, Any] | None = None,
) -> Ledger:
    """The ledger of the small site with these visits; AssertionError where a file is at fault.

    `setpoints` are those of `brush`; `site` overrides parts of site.yaml, `machines` the machines.
    """
    files: dict[str, Any] = {"site.yaml": {**SITE, **(site or {})}}
    for ident, machine in (machines or {"brush": ELECTRIC, "low": HYDRAULIC}).items():
        files[f"equipment/{ident}.yaml"] = machine
    if setpoints:
        files["setpoints/brush.yaml"] = list(setpoints)
    for ident, task in (tasks or {}).items():
        files[f"tasks/{ident}.yaml"] = task
    for ident, part in (parts or {}).items():
        files[f"parts/{ident}.yaml"] = part
    for ident, instrument in (instruments or {}).items():
        files[f"instruments/{ident}.yaml"] = instrument
    for one in visits:
        stem = one["at"].replace(":", "")
        path = f"observations/{stem[:4]}/{stem[5:7]}/{stem}-{one['by']}.yaml"
        assert path not in files, path
        files[path] = one
    read = read_documents(_Files(files))
    wrong = [*read.diagnostics, *(d for doc in read.documents for d in check_document(doc))]
    ledger, between = build_ledger(read.documents)
    wrong += between
    assert not wrong, wrong
    assert ledger is not None
    return ledger

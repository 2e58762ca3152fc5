"""What files say of a drive, against the drive that the machine has."""

from collections.abc import Mapping

from ledger.model.ledger import Ledger
from ledger.model.machines import ElectricDrive, HydraulicDrive, Machine
from ledger.model.problems import Problems
from ledger.model.visits import Entry
from ledger.source.document import Document

_IN_HZ = ("found_hz", "left_hz")
_IN_FLOW = ("found_flow_gpm", "left_flow_gpm", "found_flow_lpm", "left_flow_lpm")


def check_drives(ledger: Ledger, documents: Mapping[str, Document], problems: Problems) -> None:
    """Report bands given twice, and settings seen in a unit that the drive is not set in.

    Of visits only what stands: a correction mends an entry, and both are kept.
    """
    for machine in ledger.machines.values():
        _bands(documents[f"equipment/{machine.ident}.yaml"], problems)
    for entry in ledger.standing:
        if entry.setting is not None and entry.places:
            document = documents[ledger.path_of_visit[entry.ref.visit]]
            _setting_seen(ledger.machines[entry.places[0].machine], document, entry, problems)


def _bands(document: Document, problems: Problems) -> None:
    rates: set[float] = set()
    for index, band in enumerate(document.value.get("speed_band", ())):
        rate = band["line_rate_per_h"]
        if rate in rates:
            problems.error(
                document,
                ("speed_band", index, "line_rate_per_h"),
                rule="band-given-twice",
                message=f"a second band for {rate:.10g} vehicles an hour",
                expected="one band for each line rate",
                remedy="take one of them out",
            )
        rates.add(rate)


def _setting_seen(machine: Machine, document: Document, entry: Entry, problems: Problems) -> None:
    wrong: tuple[str, ...]
    match machine.drive:
        case ElectricDrive():
            wrong, has, right = _IN_FLOW, "has an electric drive, set in Hz", "found_hz or left_hz"
        case HydraulicDrive():
            wrong, has = _IN_HZ, "has a hydraulic drive, set by its oil flow"
            right = "found_flow_gpm or found_flow_lpm, left_flow_gpm or left_flow_lpm"
        case _:
            wrong, has, right = (*_IN_HZ, *_IN_FLOW), "has no drive in its file", ""
    for key in wrong:
        if key in entry.raw:
            problems.error(
                document,
                ("entries", entry.ref.number - 1, key),
                key=True,
                rule="not-its-drive",
                message=f"`{machine.ident}` {has}, so `{key}` says nothing of it",
                expected=right or "the machine whose drive was read",
                remedy="correct the key or the place; once the visit is filed, file a correction",
            )

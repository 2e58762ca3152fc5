"""Which rows of a log are in the record already.

The note of the visit that a row became names the log, the line and the row's mark. So a row that
is there is not filed twice, whatever was put above or below it in the log since, and whatever the
map says now. A row that was changed in the log has another mark; it is known by its time, its
person and what it says.
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from ledger.edit.import_rows import MARK_DIGITS, Log, LogRow
from ledger.model.visits import Visit

_ORIGIN = re.compile(
    rf"Imported from (?P<log>.*), line \d+, mark (?P<mark>[0-9a-f]{{{MARK_DIGITS}}})\."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Origin:
    """A visit of the record, and the row of a log that it came from."""

    visit: Visit
    log_name: str
    mark: str


def origin_sentence(log_name: str, row: LogRow) -> str:
    """What the note of a visit says of the row that it was; `origins_of` reads it."""
    return f"Imported from {_printable(log_name)}, line {row.line}, mark {row.mark}."


def origins_of(visits: Iterable[Visit]) -> list[Origin]:
    """The rows of logs that visits of the record came from."""
    return [
        Origin(visit=visit, log_name=found["log"], mark=found["mark"])
        for visit in visits
        for found in _ORIGIN.finditer(visit.note)
    ]


class LostRows:
    """The rows of the record that a log does not have, or no longer as they were."""

    def __init__(self, log_name: str, log: Log, origins: Iterable[Origin]) -> None:
        self._log_name = _printable(log_name)
        marks = {row.mark for row in log.rows}
        self._origins: dict[tuple[datetime, str], list[Origin]] = {}
        for origin in origins:
            if origin.mark not in marks:
                self._of(origin.visit.when, origin.visit.by).append(origin)

    def take_same(self, when: datetime, visit: Mapping[str, Any]) -> bool:
        """Whether a lost row of this log said all that a visit says; if so, it is lost no more.

        So it is where only columns changed that the map does not name.
        """
        origins = self._of(when, visit["by"])
        for origin in origins:
            filed = origin.visit
            if (
                origin.log_name == self._log_name
                and _entries(filed) == visit["entries"]
                and filed.meters == visit.get("meters", {})
                and _remark(filed.note) == _remark(visit["note"])
            ):
                origins.remove(origin)
                return True
        return False

    def changed_from(self, when: datetime, visit: Mapping[str, Any]) -> Visit | None:
        """The visit that may have been filed from this row before the row was changed.

        It has the same time and person, and came from this log or has the same entries.
        """
        for origin in self._of(when, visit["by"]):
            if origin.log_name == self._log_name or _entries(origin.visit) == visit["entries"]:
                return origin.visit
        return None

    def _of(self, when: datetime, person: str) -> list[Origin]:
        return self._origins.setdefault((when, person), [])


def _entries(filed: Visit) -> list[dict[str, Any]]:
    return [dict(entry.raw) for entry in filed.entries]


def _remark(note: str) -> str:
    return _ORIGIN.sub("", note).strip()


def _printable(name: str) -> str:
    return "".join(sign if sign.isprintable() else "_" for sign in name)

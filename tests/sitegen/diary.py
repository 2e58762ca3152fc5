"""Visits being written: found again by their id, appended to, and turned into files."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time
from typing import Any

from sitegen.emit import visit_text

EXAMPLE_SCHEMA = "../../../../schemas/visit.schema.json"


@dataclass(slots=True, kw_only=True)
class DraftVisit:
    when: datetime
    by: str
    heading: dict[str, Any] = field(default_factory=dict)
    entries: list[dict[str, Any]] = field(default_factory=list)

    @property
    def ident(self) -> str:
        return f"{self.when:%Y-%m-%dT%H%M}-{self.by}"

    def add(self, **entry: Any) -> str:
        """Append an entry; its reference. `closes_` and the like lose their underscore."""
        self.entries.append({key.rstrip("_"): value for key, value in entry.items()})
        return f"{self.ident}#{len(self.entries)}"

    def number_of(self, **wanted: Any) -> int:
        """The number of the one entry that has these values."""
        hits = [
            number
            for number, entry in enumerate(self.entries, 1)
            if all(entry.get(key) == value for key, value in wanted.items())
        ]
        if len(hits) != 1:
            raise LookupError(f"{len(hits)} entries of {self.ident} have {wanted}")
        return hits[0]


class Diary:
    """All visits of a record by their id."""

    def __init__(self) -> None:
        self.visits: dict[str, DraftVisit] = {}

    def open(self, day: date, at: str, by: str, **heading: Any) -> DraftVisit:
        """A new visit on the day at `HH:MM`."""
        hour, minute = at.split(":")
        when = datetime.combine(day, time(int(hour), int(minute)))  # local by the format's rule
        names = {key.rstrip("_"): value for key, value in heading.items()}
        visit = DraftVisit(when=when, by=by, heading=names)
        if visit.ident in self.visits:
            raise ValueError(f"{visit.ident} is there already")
        self.visits[visit.ident] = visit
        return visit

    def on(self, day: date, task: str) -> DraftVisit:
        """The one visit of the day that has an entry of the task."""
        hits = [
            visit
            for visit in self.visits.values()
            if visit.when.date() == day and any(e.get("task") == task for e in visit.entries)
        ]
        if len(hits) != 1:
            raise LookupError(f"{len(hits)} visits on {day} have {task}")
        return hits[0]

    def files(self) -> Mapping[str, str]:
        """Path below the site and text of every visit that has an entry, by path."""
        made = {}
        for visit in self.visits.values():
            if not visit.entries:
                continue
            path = f"observations/{visit.when:%Y/%m}/{visit.ident}.yaml"
            content = {
                "at": f"{visit.when:%Y-%m-%dT%H:%M}",
                "by": visit.by,
                **visit.heading,
                "entries": visit.entries,
            }
            made[path] = visit_text(content, schema=EXAMPLE_SCHEMA)
        return dict(sorted(made.items()))

"""The site: its line, its people, its calendar and its rules; its parts and its instruments."""

from collections.abc import Container, Mapping
from datetime import date, time
from enum import StrEnum
from zoneinfo import ZoneInfo

from ledger.model.machines import Isolation
from ledger.values import dataclass, field


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """Amounts are in `unit`; `pack` is units in a pack as bought.

    `number` is what the supplier lists it under; `fits` are machines. Without one on the shelf the
    line may stand where `stops_line`.
    """

    ident: str
    name: str
    kind: str
    unit: str
    pack: float | None = None
    pack_name: str = "pack"
    grams_per_stroke: float | None = None
    opening_day: date | None = field(default=None, metadata={"key": "opening.on"})
    opening_count: float | None = field(default=None, metadata={"key": "opening.count"})
    reorder_level: float | None = None
    lead_days: float | None = None
    stops_line: bool = False
    supplier: str = ""
    number: str = ""
    fits: tuple[str, ...] = ()
    place: str = ""
    cost: float | None = None
    formerly: tuple[str, ...] = ()
    notes: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class InstrumentCheck:
    """A check or calibration. `due` is the last day of the next one in time.

    `correction_percent` is what to add to a reading, as a share of it, and `correction_u_percent`
    its expanded uncertainty (k = 2) by the certificate; None where none was given.
    """

    day: date = field(metadata={"key": "on"})
    due: date | None = None
    in_limits: bool = True
    certificate: str = ""
    correction_percent: float | None = None
    correction_u_percent: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Instrument:
    """An instrument with its checks, the oldest first.

    The maximum permissible error is a share of the reading, or in `unit`, or both; `resolution` is
    the step of its display.
    """

    ident: str
    name: str
    kind: str
    unit: str = ""
    max_error_percent: float | None = None
    max_error: float | None = None
    resolution: float | None = None
    serial: str = ""
    notes: str = ""
    checks: tuple[InstrumentCheck, ...] = ()

    def check_before(self, day: date) -> InstrumentCheck | None:
        """The last check up to a day, that day included."""
        return next((check for check in reversed(self.checks) if check.day <= day), None)

    def has_certificate(self, day: date) -> bool:
        """Whether the last check up to a day has a certificate."""
        check = self.check_before(day)
        return check is not None and bool(check.certificate)

    def overdue_since(self, day: date) -> date | None:
        """The day its check was due, where that is past on a day."""
        last = self.check_before(day)
        return last.due if last is not None and last.due is not None and last.due < day else None

    def found_out_on(self, day: date) -> date | None:
        """The day of the check that puts what was read on a day in doubt.

        All that was read since the last good check before it, and until the next good one.
        """
        last = self.check_before(day)
        if last is not None and not last.in_limits:
            return last.day
        later = next((check for check in self.checks if check.day > day), None)
        return later.day if later is not None and not later.in_limits else None


class Units(StrEnum):
    US = "us"
    SI = "si"


class DriverSide(StrEnum):
    LEFT = "left"
    RIGHT = "right"


class ApprovalProof(StrEnum):
    """What has to stand behind `approved_by`, the weakest first."""

    FILE = "file"
    COMMIT = "commit"
    SIGNED_COMMIT = "signed-commit"
    STATEMENT = "statement"


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """The conveyor line; rates in vehicles an hour, front to front pitch."""

    line_rate_per_h: float
    line_rates_per_h: tuple[float, ...]
    chain_speed_m_per_s: float | None = None
    vehicle_pitch_m: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Closure:
    first: date
    last: date
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Meter:
    """A counter that only runs upward; `counts` is `vehicles`, `hours`, `l`, `gal` or `kwh`.

    `stream` is what water a meter of volume counts: `fresh` or `reclaim`.
    """

    ident: str
    name: str
    counts: str
    stream: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Training:
    """What stands behind a qualification, on the days from the first to the last, both included.

    With `supervised_by` it counts only beside that person.
    """

    qualification: str = field(metadata={"key": "for"})
    first_day: date = field(metadata={"key": "from"})
    last_day: date | None = field(default=None, metadata={"key": "until"})
    by: str = ""
    evidence: str = ""
    supervised_by: str = ""

    def counts(self, day: date, crew: Container[str]) -> bool:
        """Whether it counts on a day among those of a visit."""
        is_then = self.first_day <= day and (self.last_day is None or day <= self.last_day)
        return is_then and (not self.supervised_by or self.supervised_by in crew)


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """Someone of the site. `signing_keys` are public keys, as OpenSSH writes them on one line.

    `hours_per_week` are those for maintenance.
    """

    ident: str
    name: str
    roles: tuple[str, ...] = ()
    qualified: frozenset[str] = frozenset()
    approves: frozenset[str] = frozenset()
    emails: tuple[str, ...] = ()
    signing_keys: tuple[str, ...] = ()
    hours_per_week: float | None = None
    company: str = ""
    training: tuple[Training, ...] = ()
    first_day: date | None = field(default=None, metadata={"key": "from"})
    last_day: date | None = field(default=None, metadata={"key": "until"})
    formerly: tuple[str, ...] = ()

    def is_here(self, day: date) -> bool:
        """Whether the person is with the site on that day."""
        return (self.first_day is None or self.first_day <= day) and (
            self.last_day is None or day <= self.last_day
        )

    def qualified_on(self, day: date, crew: Container[str]) -> frozenset[str]:
        """What the person was qualified for on a day, among those of a visit."""
        behind = {
            name: [one for one in self.training if one.qualification == name]
            for name in self.qualified
        }
        return frozenset(
            name
            for name, trained in behind.items()
            if not trained or any(one.counts(day, crew) for one in trained)
        )

    def has_address(self, email: str) -> bool:
        """Whether that is an address of theirs, whatever its capitals."""
        return email.casefold() in {address.casefold() for address in self.emails}


@dataclass(frozen=True, slots=True, kw_only=True)
class Policy:
    """The site's own rules; the defaults are those that the schema describes.

    `rules` are the questions of a foreman that the site grades, each with its grade. `book` is
    where the rendered book is kept, `main` or `branch`.
    """

    approver_differs: bool = True
    approval_proof: ApprovalProof = ApprovalProof.FILE
    lockout_minutes: float = 0.0
    plan_needs_approval: bool = False
    max_step_hz: float = 5.0
    max_step_flow_percent: float = 15.0
    follow_up_days: int = 7
    count_in_same_visit: bool = True
    entry_within_days: int = 2
    filed_for_others: bool = False
    book: str = "main"
    timing_u_s: float = 0.10
    false_alarms_per_year: float = 1.0
    rules: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Costs:
    """Money in `currency` (ISO 4217).

    `leave_percent` is the least and the greatest share of vehicles that drive away in a stop.
    """

    currency: str
    labour_per_h: float | None = None
    down_per_h: float | None = None
    margin_per_vehicle: float | None = None
    leave_percent: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Panel:
    ident: str
    name: str
    rated_a: float
    volts: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Site:
    """`open_hours` maps a weekday, Monday 0, to its opening and closing time; others are closed.

    `zones` maps a zone's id to its name. Work is asked for from `record_begins` on; the site
    itself may be older.
    """

    name: str
    zone: ZoneInfo
    units: Units = Units.US
    driver_side: DriverSide = DriverSide.LEFT
    in_service: date
    record_begins: date
    line: Line
    people: Mapping[str, Person]
    policy: Policy = field(default_factory=Policy)
    address: str = ""
    open_hours: Mapping[int, tuple[time, time]]
    closures: tuple[Closure, ...] = ()
    meters: Mapping[str, Meter] = field(default_factory=dict)
    costs: Costs | None = None
    zones: Mapping[str, str] = field(default_factory=dict)
    automatic_start: Isolation | None = None
    panels: Mapping[str, Panel] = field(default_factory=dict)

    def person(self, ident: str) -> Person | None:
        """The person with that id, today or formerly."""
        return self.people.get(ident) or next(
            (one for one in self.people.values() if ident in one.formerly), None
        )

    filing: str = "files"
    publish: str = "off"
    group_id: str = field(default="", metadata={"key": "group.id"})
    group_people: str = field(default="names", metadata={"key": "group.people"})
    new_file_address: str = field(default="", metadata={"key": "repository.new_file"})
    pull_request_address: str = field(default="", metadata={"key": "repository.pull_request"})

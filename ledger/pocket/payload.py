"""The data of the pocket page: one day's walk and the machines around it.

Pure types, so that whoever assesses a ledger can fill them. Names follow the model; a place is
written `machine` or `machine/point`, an entry `visit#n`, and settings are in the unit that the
drive's people read off it: `Hz`, `gpm` or `L/min`.
"""

import json
from datetime import date

from ledger.model.tasks import Question
from ledger.values import asdict, dataclass, field


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """Someone who may file a visit; `qualified` as in site.yaml."""

    ident: str
    name: str
    qualified: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class RateBand:
    """Limits of the shaft speed at one line rate; `target_rpm` None for the middle."""

    line_rate_per_h: float
    low_rpm: float
    high_rpm: float
    target_rpm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ApprovedSetting:
    """The setting in force, in the machine's `setting_unit`, and the day it holds from."""

    value: float
    since: date


@dataclass(frozen=True, slots=True, kw_only=True)
class Tuning:
    """What a session may do with a drive, in the machine's `setting_unit`.

    `low` and `high` are how far it may be moved without a new approval, `most` the largest move
    between two counts; `keypad` where it has one to lock, `practice` what is minded meanwhile.
    """

    unit: str
    step: float
    low: float
    high: float
    most: float
    keypad: bool
    practice: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    ident: str
    name: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Machine:
    """One machine; `setting_unit` is None where its drive cannot be set, and `plausible_rpm` where
    nothing is known of the speeds its shaft can have.

    `bands` are the limits at each stated line rate; the page finds those in between by the rule
    of `ledger.compute.band.band_at`.
    """

    ident: str
    name: str
    kind: str
    station: float
    side: str = ""
    turns: str = ""
    bands: tuple[RateBand, ...] = ()
    plausible_rpm: tuple[float, float] | None = None
    setting_unit: str | None = None
    approved: ApprovedSetting | None = None
    tuning: Tuning | None = None
    points: tuple[Point, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Use:
    """A part the task uses at each place, as the task states it: 3 strokes of grease."""

    name: str
    quantity: float
    unit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DueItem:
    """One task at one machine: `places` are the machine itself or points of it, in order.

    `state` and `overdue_days` are as seen on the day the page was made, `opens` the first day on
    which it may be done, where that lies ahead, and `closes` the last in time. Done, it comes round
    again after `again_days`, 0 for not among the days that the page knows.
    `minutes` is for all places together. `needs` are the qualifications the work takes, lockout
    among them. `steps` is plain text. `reads` are the readings of the task's `reads`. `when` is
    the pass of the day; `in_round` says that one answer may speak for it with others of its pass,
    and `waits` that it does where its machine is tied back.
    """

    task: str
    title: str
    machine: str
    places: tuple[str, ...]
    state: str
    overdue_days: int = 0
    minutes: float | None = None
    lockout: bool = False
    needs: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    steps: str = ""
    reads: tuple[str, ...] = ()
    uses: tuple[Use, ...] = ()
    when: str = "running"
    in_round: bool = False
    waits: bool = True
    asks: Question | None = None
    opens: date | None = None
    closes: date | None = None
    again_days: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenFinding:
    ref: str
    text: str
    place: str
    urgency: str
    day: date


@dataclass(frozen=True, slots=True, kw_only=True)
class TiedBack:
    """A machine out of action while the line runs; `ref` is the entry that closes it names.

    `tasks` are those of a round that select it, `first` what is done before it runs again.
    """

    ref: str
    machine: str
    since: str
    why: str
    tasks: tuple[str, ...] = ()
    first: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Instrument:
    """A tachometer as it stands on the day: what a reading is multiplied by, and its errors.

    `percent` and `absolute` (r/min) are half-widths, `step` that of its display; None where its
    file does not say. `doubt` is what speaks against it.
    """

    ident: str
    name: str
    factor: float
    percent: float
    absolute: float
    step: float | None
    doubt: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Meter:
    """A counter of the site; `last` is its newest reading, where there is one."""

    ident: str
    name: str
    last: float | None = None
    last_day: date | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """How many places of a task a round asks about, and the digits by which they are known."""

    of: int
    list: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Round:
    """Everything the page knows. Machines and due items are in walking order.

    It knows what falls due on `days` days from `as_of` on, of which the site is shut on
    `closed_days`. `time_zone` is an IANA name, `timing_u_s` the standard uncertainty of hand
    timing in seconds, and `safety` the sentences that stand before all work. A round that took less
    than `hurry_share` of the minutes its tasks state is asked about again. `asked` is what a round
    asks about, by task; `commit` is what was checked out when the page was made, "" where nothing
    was. `new_file` is the address of the host's page for a new file, with `{path}` and, where the
    host takes it, `{text}` in it.
    """

    site: str
    as_of: date
    time_zone: str
    units: str
    line_rate_per_h: float
    line_rates_per_h: tuple[float, ...]
    timing_u_s: float
    hurry_share: float
    safety: tuple[str, ...]
    people: tuple[Person, ...]
    machines: tuple[Machine, ...]
    days: int = 7
    closed_days: tuple[date, ...] = ()
    due: tuple[DueItem, ...] = ()
    asked: dict[str, Asked] = field(default_factory=dict)
    commit: str = ""
    new_file: str = ""
    findings: tuple[OpenFinding, ...] = ()
    tied_back: tuple[TiedBack, ...] = ()
    meters: tuple[Meter, ...] = ()
    instruments: tuple[Instrument, ...] = ()

    def to_json(self) -> str:
        """The payload as JSON, field names as they stand here and days by ISO 8601.

        Raises:
            ValueError: a number is not finite.
        """
        return json.dumps(asdict(self), default=date.isoformat, ensure_ascii=False, allow_nan=False)

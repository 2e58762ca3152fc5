"""What was filed: visits, entries, the raw numbers of readings, and machines tied back."""

from collections.abc import Callable, Iterable, Mapping
from datetime import date, datetime, timedelta
from enum import StrEnum
from operator import attrgetter
from typing import Any, TypeAlias, TypeVar, cast

from ledger.model.machines import Absence
from ledger.model.readings import NO_READINGS, Readings
from ledger.model.references import EntryRef, Place
from ledger.model.site import Site
from ledger.model.tasks import When
from ledger.values import dataclass, field


class Outcome(StrEnum):
    DONE = "done"
    NOT_DONE = "not-done"


class Urgency(StrEnum):
    NOW = "now"
    SOON = "soon"
    PLANNED = "planned"


class WatchStart(StrEnum):
    """How the stop-watch of a pass count was started."""

    RANDOM = "random"
    ON_PASS = "on-pass"  # noqa: S105 - no password, a pass of the marker


STOP_CAUSES: Mapping[str, str] = {
    "machine": "a machine failed or was at fault",
    "vehicle": "a vehicle was refused, stuck or damaged",
    "operator": "an operator's act, or nobody there",
    "supply": "power, water, air or product was missing",
    "planned": "planned work",
}
"""Why the line stopped, as `stop` of an entry says it. A stop of weather is a closure."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PassCount:
    """Passes counted in a time."""

    passes: int = field(metadata={"key": "counted"})
    seconds: float
    start: WatchStart = WatchStart.RANDOM
    passes_per_turn: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class TimedTurns:
    """Time for a number of whole turns."""

    turns: int
    seconds: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TappedPasses:
    """Times of single passes."""

    times_s: tuple[float, ...] = field(metadata={"key": "taps_s"})
    passes_per_turn: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Tachometer:
    """Shown speed with the instrument's stated accuracy, in r/min or in percent of reading."""

    rpm: float = field(metadata={"key": "tachometer_rpm"})
    accuracy_rpm: float | None = None
    accuracy_percent: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class VideoTurns:
    """Whole turns in a number of video frames."""

    turns: int
    frames: int
    fps: float


SpeedReading: TypeAlias = PassCount | TimedTurns | TappedPasses | Tachometer | VideoTurns


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingSeen:
    """A drive's setting as found and as left; Hz for a frequency drive, L/min for a flow control.

    `unit` is `Hz` or `L/min`, and None means that the value was not noted.
    """

    unit: str
    found: float | None = None
    left: float | None = None

    @property
    def counted_at(self) -> float | None:
        """The setting that the reading of the same entry was taken at.

        A count belongs to the setting found; where only one was noted, to that one. A count after
        the change is a step of its own.
        """
        return self.found if self.found is not None else self.left

    @property
    def stands_at(self) -> float | None:
        """What the drive was at when the person went on."""
        return self.left if self.left is not None else self.found


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One count of a tuning session, and the setting it was taken at in the drive's unit."""

    setting: float
    speed: SpeedReading
    instrument: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class StockMove:
    """One part used, ordered, received, or counted on the shelf, in the part's unit."""

    part: str
    used: float | None = None
    ordered: float | None = None
    received: float | None = None
    on_hand: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Claim:
    """The round of a pass said to be in order by one answer.

    `asked` is how many places it asked about, those left out among them, `list_digits` which ones,
    and `commit` what was checked out when its page was made; both "" where that was not kept.
    `drawn` are places that were looked at by lot before, `seen` what was answered there.
    """

    of_pass: When = field(metadata={"key": "in_order"})
    tasks: tuple[str, ...]
    asked: int = field(metadata={"key": "of"})
    list_digits: str = field(default="", metadata={"key": "list"})
    commit: str = ""
    drawn: tuple[Place, ...] = ()
    seen: tuple[str, ...] = ()
    drawn_apart_s: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class EntryContent:
    """What an entry says apart from its visit; lines that are alike share one.

    `places` holds what the entry names, each resolved to the places that its task selects where
    it has a task; of a claim all that its tasks select but what it leaves out. `steps` are the
    counts of a tuning session, in order; then `speed` is None and `setting` says what the drive
    was at before the first and after the last. `tied_back` says why the
    machine is out of action, `since` since when, where that was before the visit. `raw` is the
    entry as typed, for pages that show raw numbers.
    """

    raw: Mapping[str, Any]
    places: tuple[Place, ...]
    task: str = ""
    claim: Claim | None = None
    outcome: Outcome = Outcome.DONE
    reason: str = ""
    strokes: float | None = None
    minutes: float | None = None
    note: str = ""
    speed: SpeedReading | None = None
    steps: tuple[Step, ...] = ()
    line_rate_per_h: float | None = None
    readings: Readings = NO_READINGS
    setting: SettingSeen | None = None
    keypad: str = ""
    instrument: str = ""
    finding: str = ""
    urgency: Urgency = Urgency.SOON
    photos: tuple[str, ...] = ()
    failed: bool = False
    stopped_minutes: float | None = None
    stop: str = ""
    tied_back: str = ""
    since: datetime | None = None
    closes: EntryRef | None = None
    changed: str = ""
    stock: StockMove | None = None
    corrects: EntryRef | None = None
    void: bool = False
    is_bare_work: bool = False
    """Whether it says no more than that a task was done or not, and how it went."""

    @property
    def is_event(self) -> bool:
        """Whether it says more than what was done and what was read: one in very many."""
        return self.is_linking or bool(
            self.finding
            or self.changed
            or self.tied_back
            or self.stopped_minutes
            or self.failed
            or self.claim is not None
            or self.stock is not None
        )

    @property
    def is_linking(self) -> bool:
        """Whether it corrects or closes another."""
        return self.corrects is not None or self.closes is not None


WORK_KEYS = frozenset({"task", "at", "except", "outcome", "reason", "minutes", "strokes", "note"})

_T = TypeVar("_T")


def _of_content(read: Callable[[EntryContent], _T]) -> _T:
    """A property of an entry that its content holds."""
    (name,) = read.__code__.co_names
    return cast("_T", property(attrgetter(f"content.{name}")))


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitHead:
    """What the entries of one visit share.

    `when` is the visit's instant, with an offset, `day` its date in the site's zone; `filed_by` is
    who filed it for those who did the work, "" for one of them; `returned_by` who put what was
    worked at back into service.
    """

    ident: str
    when: datetime
    day: date
    by: str
    helpers: tuple[str, ...] = ()
    filed_by: str = ""
    returned_by: str = ""


def _of_head(read: Callable[[VisitHead], _T]) -> _T:
    """A property of a visit or of one of its entries that its head holds."""
    (name,) = read.__code__.co_names
    return cast("_T", property(attrgetter(f"head.{name}")))


@dataclass(frozen=True, slots=True, kw_only=True)
class _WithHead:
    head: VisitHead

    when = _of_head(lambda head: head.when)
    day = _of_head(lambda head: head.day)
    by = _of_head(lambda head: head.by)
    helpers = _of_head(lambda head: head.helpers)
    filed_by = _of_head(lambda head: head.filed_by)
    returned_by = _of_head(lambda head: head.returned_by)


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry(_WithHead):
    """One line of a visit, by its number; a step of a tuning session also by that of the step.

    A site holds many entries of few contents and visits, so what they share is kept once.
    """

    number: int
    step: int = 0
    content: EntryContent

    raw = _of_content(lambda content: content.raw)
    places = _of_content(lambda content: content.places)
    task = _of_content(lambda content: content.task)
    claim = _of_content(lambda content: content.claim)
    outcome = _of_content(lambda content: content.outcome)
    reason = _of_content(lambda content: content.reason)
    strokes = _of_content(lambda content: content.strokes)
    minutes = _of_content(lambda content: content.minutes)
    note = _of_content(lambda content: content.note)
    speed = _of_content(lambda content: content.speed)
    steps = _of_content(lambda content: content.steps)
    line_rate_per_h = _of_content(lambda content: content.line_rate_per_h)
    readings = _of_content(lambda content: content.readings)
    setting = _of_content(lambda content: content.setting)
    keypad = _of_content(lambda content: content.keypad)
    instrument = _of_content(lambda content: content.instrument)
    finding = _of_content(lambda content: content.finding)
    photos = _of_content(lambda content: content.photos)
    urgency = _of_content(lambda content: content.urgency)
    failed = _of_content(lambda content: content.failed)
    stopped_minutes = _of_content(lambda content: content.stopped_minutes)
    stop = _of_content(lambda content: content.stop)
    tied_back = _of_content(lambda content: content.tied_back)
    closes = _of_content(lambda content: content.closes)
    changed = _of_content(lambda content: content.changed)
    stock = _of_content(lambda content: content.stock)
    corrects = _of_content(lambda content: content.corrects)
    void = _of_content(lambda content: content.void)

    @property
    def ref(self) -> EntryRef:
        return EntryRef(self.head.ident, self.number, self.step)

    @property
    def place(self) -> Place | None:
        """The one place of a reading or finding; None where the entry names none."""
        return self.places[0] if self.places else None

    @property
    def reads_speed(self) -> bool:
        return self.speed is not None or bool(self.steps)

    @property
    def did_work(self) -> bool:
        return bool(self.task) and self.outcome is Outcome.DONE


@dataclass(frozen=True, slots=True, kw_only=True)
class Visit(_WithHead):
    """`digest` stands for the path and the bytes of its file, in hexadecimal digits."""

    path: str
    permit: str = ""
    entered_at: datetime | None = None
    meters: Mapping[str, float] = field(default_factory=dict)
    note: str = ""
    digest: str = ""
    entries: tuple[Entry, ...]

    ident = _of_head(lambda head: head.ident)


@dataclass(frozen=True, slots=True, kw_only=True)
class TieBack:
    """One machine, out of action from `since` until the visit of `closed_by`; open where None.

    `ref` is what closes it: the entry as first filed. `first_day` is that of `since` at the site.
    """

    entry: Entry
    ref: EntryRef
    machine: str
    since: datetime
    first_day: date
    closed_by: Entry | None

    @property
    def why(self) -> str:
        return self.entry.tied_back

    def is_open(self, as_of: date) -> bool:
        """Whether the machine is out of action at the end of the day."""
        return self.first_day <= as_of and (self.closed_by is None or self.closed_by.day > as_of)

    @property
    def away(self) -> Absence:
        """The days on which the machine was out of action to the end."""
        last = None if self.closed_by is None else self.closed_by.day - timedelta(days=1)
        return Absence(first=self.first_day, last=last)


def tie_backs_of(
    tied: Iterable[tuple[EntryRef, Entry]], closed_by: Mapping[EntryRef, Entry], site: Site
) -> tuple[TieBack, ...]:
    """By time. `tied` are standing entries, each with the reference of what was filed first."""
    found = []
    for ref, entry in tied:
        if entry.tied_back and entry.places:
            since = entry.content.since or entry.when
            found.append(
                TieBack(
                    entry=entry,
                    ref=ref,
                    machine=entry.places[0].machine,
                    since=since,
                    first_day=since.astimezone(site.zone).date(),
                    closed_by=closed_by.get(ref),
                )
            )
    return tuple(sorted(found, key=lambda one: (one.since, one.ref)))

"""Stops of the line, machines tied back while it ran, and each month in figures."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from datetime import date, datetime, time, timedelta
from typing import TypeAlias

from ledger.compute.line import stop_cost_per_h
from ledger.model.ledger import Ledger, last_day_filed
from ledger.model.meters import counted_between, open_between, open_hours, vehicle_log
from ledger.model.visits import STOP_CAUSES, Entry
from ledger.values import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Stop:
    """A stop of the line; one that was noted beside a finding is a machine's."""

    entry: Entry
    cause: str
    minutes: float

    @property
    def machine(self) -> str:
        """The machine it is told of, "" for none."""
        return self.entry.place.machine if self.entry.place else ""


def stops(ledger: Ledger) -> tuple[Stop, ...]:
    """Every stop that stands, by time, whether or not a part failed."""
    return tuple(
        Stop(entry=entry, cause=entry.stop or "machine", minutes=entry.stopped_minutes)
        for entry in ledger.events
        if entry.stopped_minutes
    )


Span: TypeAlias = tuple[datetime, datetime]


def united(spans: Iterable[Span]) -> list[Span]:
    """The same time by spans that do not overlap."""
    found: list[Span] = []
    for begin, end in sorted(spans):
        if found and begin <= found[-1][1]:
            found[-1] = found[-1][0], max(found[-1][1], end)
        else:
            found.append((begin, end))
    return found


def tied_back_h(ledger: Ledger, begin: datetime, end: datetime) -> dict[str, float]:
    """Opening hours for which each machine was tied back between two instants, by its id.

    From when it was tied back to the entry that closes that: it was down, and the line ran on.
    """
    spans: dict[str, list[Span]] = defaultdict(list)
    for one in ledger.tie_backs:
        until = one.closed_by.when if one.closed_by else end
        if one.since < end and until > begin:
            spans[one.machine].append((max(one.since, begin), min(until, end)))
    hours = {
        machine: sum(open_between(ledger.site, *span) for span in united(of))
        for machine, of in spans.items()
    }
    return {machine: open_h for machine, open_h in hours.items() if open_h > 0}


def cost_per_h(ledger: Ledger) -> tuple[float, float] | None:
    """The least and the most that an hour of the stopped line costs; None without figures.

    `down_per_h` where the site states it; else margin, line rate and the share that drives away,
    which is anything from none to all where nobody counted it.
    """
    costs = ledger.site.costs
    if costs is None:
        return None
    if costs.down_per_h is not None:
        return costs.down_per_h, costs.down_per_h
    if costs.margin_per_vehicle is None or ledger.site.line is None:
        return None
    least, most = sorted(min(one, 100.0) / 100 for one in costs.leave_percent or (0.0, 100.0))
    return stop_cost_per_h(
        ledger.site.line.line_rate_per_h, costs.margin_per_vehicle, (least, most)
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Month:
    """One month: vehicles by the meter, opening hours, and the minutes stopped by cause.

    `tied_back` has the opening hours for which a machine was down and the line ran, by machine.
    `vehicles` is None where the meter was not read over the whole of it.
    """

    first: date
    vehicles: float | None
    open_h: float
    stopped: Mapping[str, float]
    tied_back: Mapping[str, float]
    cost_per_h: tuple[float, float] | None

    @property
    def stopped_minutes(self) -> float:
        return sum(self.stopped.values())

    @property
    def available(self) -> float | None:
        """The share of the opening hours in which the line could run."""
        return 1 - self.stopped_minutes / 60 / self.open_h if self.open_h else None

    @property
    def cost(self) -> tuple[float, float] | None:
        """Of the stops that nobody planned."""
        if self.cost_per_h is None:
            return None
        hours = (self.stopped_minutes - self.stopped.get("planned", 0.0)) / 60
        return self.cost_per_h[0] * hours, self.cost_per_h[1] * hours


def months(ledger: Ledger) -> tuple[Month, ...]:
    """Each whole month since the first visit, the newest first."""
    site, since = ledger.site, ledger.overall.first_day
    if since is None:
        return ()
    log, stopped, per_h = vehicle_log(ledger), stops(ledger), cost_per_h(ledger)
    end = last_day_filed(ledger).replace(day=1)
    found = []
    while (first := (end - timedelta(days=1)).replace(day=1)) >= since:
        days = [first + timedelta(days=n) for n in range((end - first).days)]
        is_read = bool(log.days) and log.days[0] <= first and end <= log.days[-1]
        by_cause = dict.fromkeys(STOP_CAUSES, 0.0)
        for stop in stopped:
            if first <= stop.entry.day < end:
                by_cause[stop.cause] += stop.minutes
        began, ended = (datetime.combine(day, time(), site.zone) for day in (first, end))
        found.append(
            Month(
                first=first,
                vehicles=counted_between(log, first, end) if is_read else None,
                open_h=sum(open_hours(site, day) for day in days),
                stopped=by_cause,
                tied_back=tied_back_h(ledger, began, ended),
                cost_per_h=per_h,
            )
        )
        end = first
    return tuple(found)

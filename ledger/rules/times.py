"""Times that cannot be right: in the future, in no hour, twice, meters that run back."""

from collections import defaultdict
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

from ledger.compute.meter import meter_faults
from ledger.model.ledger import Ledger
from ledger.model.visits import Visit
from ledger.rules.site_check import SiteCheck


def time_warnings(check: SiteCheck) -> None:
    """Visits against the calendar and the meters against the visits before."""
    _in_the_future(check)
    for visit in check.ledger.visits:
        _local_time(check, visit)
        if visit.entered_at is not None and visit.entered_at < visit.when:
            check.warn(
                visit.path,
                ("entered_at",),
                rule="entered-before-done",
                message="the visit was written down before it began",
                expected="a time after `at`",
                remedy="correct one of the two times",
            )
    _meters(check)
    _filed_twice(check)


def _in_the_future(check: SiteCheck) -> None:
    """One warning for all such visits: a check as of an earlier day has every later one."""
    as_of = check.as_of
    later = [visit for visit in check.ledger.visits if visit.day > as_of]
    if not later:
        return
    first, last = later[0], later[-1]
    after = f"after the day of this check, {as_of}"
    message = f"the visit is {after}, and counts for nothing until its day comes"
    if len(later) > 1:
        message = f"{len(later)} visits are {after}, from {first.ident} to {last.ident}, "
        message += "and count for nothing until their days come"
    check.warn(
        first.path,
        ("at",),
        rule="in-the-future",
        message=message,
        expected="a time that has passed",
        remedy="correct the date before it is filed, or check with a later --as-of",
    )


def _filed_twice(check: SiteCheck) -> None:
    """Visits of one instant whose entries are alike to the word: work that would count double."""
    at_once: defaultdict[datetime, list[Visit]] = defaultdict(list)
    ledger = check.ledger
    for visit in ledger.visits:
        earlier = at_once[visit.when]
        filed = _uncorrected(ledger, visit) if earlier else []
        alike = [one for one in earlier if _uncorrected(ledger, one) == filed]
        earlier.append(visit)
        if filed and alike:
            check.warn(
                visit.path,
                ("entries",),
                rule="filed-twice",
                message=f"the same entries at the same time are in `{alike[0].ident}`",
                expected="work that is filed once",
                remedy="delete the copy before it is committed; later, strike its entries out "
                "with `tunnelbook correct`",
            )


def _uncorrected(ledger: Ledger, visit: Visit) -> list[Mapping[str, Any]]:
    return [entry.raw for entry in visit.entries if ledger.last_word(entry) is entry]


def _local_time(check: SiteCheck, visit: Visit) -> None:
    """A local time that the change to summer time skips names no moment."""
    if visit.when.utcoffset() is None:
        return
    back: datetime = visit.when.astimezone(UTC).astimezone(visit.when.tzinfo)
    if back.replace(tzinfo=None) != visit.when.replace(tzinfo=None):
        check.warn(
            visit.path,
            ("at",),
            rule="no-such-local-time",
            message="this local time is skipped by the change of the clocks",
            expected=f"a time that exists, such as {back:%Y-%m-%dT%H:%M}",
            remedy="correct the time before it is filed",
        )


def _meters(check: SiteCheck) -> None:
    ledger = check.ledger
    for meter in ledger.site.meters:
        read = [visit for visit in ledger.visits if meter in visit.meters]
        faults = meter_faults([visit.meters[meter] for visit in read])
        sound = [place for place in range(len(read)) if place not in faults.misread]
        for place in sorted(faults.misread | faults.resets):
            visit = read[place]
            number = visit.meters[meter]
            before = read[max(other for other in sound if other < place)]
            low = f"{before.meters[meter]:.10g}"
            message = f"{meter} reads {number:.10g}, "
            if place in faults.misread:
                after = read[min(other for other in sound if other > place)]
                high = f"{after.meters[meter]:.10g}"
                message += (
                    f"out of line between {low} in {before.ident} and {high} in {after.ident}"
                )
                expected = f"{low} to {high}"
                remedy = "correct it before it is filed; once it is, the book leaves it out"
            else:
                message += f"after {low} in {before.ident}: one of them is wrong"
                expected = f"{low} or more here, or {number:.10g} or less there"
                remedy = "look at the meter again; if the meter is new, say so in the visit's note"
            check.warn(
                visit.path,
                ("meters", meter),
                rule="meter-runs-back",
                message=message,
                expected=expected,
                remedy=remedy,
            )

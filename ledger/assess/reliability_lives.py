"""How long parts lived that were renewed within the record."""

from ledger.assess.reliability_hours import Watch
from ledger.compute.weibull import Life
from ledger.model.ledger import Ledger
from ledger.model.references import Place


def lives_of_point(ledger: Ledger, place: Place, watch: Watch) -> tuple[Life, ...]:
    """The lives of the parts at one point, in operating hours of the machine.

    A life begins when the record says that the part was renewed, or when the point itself came
    into service after the watch began: the age of what was there before is not known, and taking
    it as new would make parts look shorter-lived than they are. It ends with a failure, or, as a
    survivor, with a renewal before one or with the watch. Of a part that failed and whose renewal
    nobody noted, no further life is counted.
    """
    point = ledger.point(place)
    began = None
    if point is not None and point.in_service > watch.first:
        began = watch.hours_at(point.in_service)
    lives = []
    for entry in ledger.standing_at(place.machine):
        if place not in entry.places or not watch.holds(entry.day):
            continue
        now = watch.hours_at(entry.day)
        if entry.finding and entry.failed:
            if began is not None:
                lives.append((began, now, True))
            began = None
        if entry.changed:
            if began is not None:
                lives.append((began, now, False))
            began = now
    if began is not None:
        lives.append((began, watch.hours, False))
    return tuple(
        Life(hours=end - begin, failed=failed) for begin, end, failed in lives if end > begin
    )

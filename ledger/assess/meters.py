"""The site's meters as logs: one way from visits to what a meter has counted."""

from datetime import date

from ledger.compute.meter import MeterLog, MeterReading, meter_log
from ledger.model.ledger import Ledger


def log_of(ledger: Ledger, meter: str, until: date = date.max) -> MeterLog:
    """What a meter had counted as far as it was read by a day; empty where it never was."""
    return meter_log(
        MeterReading(on=visit.day, reading=visit.meters[meter])
        for visit in ledger.visits
        if meter in visit.meters and visit.day <= until
    )


def vehicle_log(ledger: Ledger, until: date = date.max) -> MeterLog:
    """The log of the first meter of the site that counts vehicles."""
    for meter in ledger.site.meters.values():
        if meter.counts == "vehicles":
            return log_of(ledger, meter.ident, until)
    return MeterLog()

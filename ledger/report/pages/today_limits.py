"""When a limit is reached, and the newest day that a page from the sources alone knows."""

from datetime import date

from ledger.assess.drift import DriftResult
from ledger.assess.drift_outlook import BeyondAlready, Crossing
from ledger.compute.strip_wear import StripForecast
from ledger.model.ledger import Ledger


def last_day_filed(ledger: Ledger) -> date:
    """The day of the newest visit, the only day that a page from the sources alone knows."""
    return ledger.visits[-1].day if ledger.visits else date.min


def limit_reached(result: DriftResult) -> tuple[float, date] | None:
    """The limit that a series reaches at its pace and the likeliest day; None where none shows.

    What is beyond its limit already counts as reached on the day of its last reading.
    """
    match result.outlook:
        case Crossing(limit=limit, on=date() as on):
            return limit, on
        case StripForecast(limit_mm=limit, reached_on=date() as on):
            return limit, on
        case BeyondAlready(limit=limit):
            return limit, result.trend_readings[-1].entry.day
        case _:
            return None

"""That a shaft still gains or loses speed, so that an average of its readings lags behind it."""

from datetime import date
from statistics import median

from ledger.assess.drift import Drift
from ledger.assess.drift_outlook import BeyondAlready, Crossing, NoLimit, Outlook
from ledger.assess.drift_series import SPEED
from ledger.assess.ratios import DriveRatio
from ledger.compute.trend import RobustSlope
from ledger.model.site import Site
from ledger.report import words
from ledger.report.pages.drift_words import does_move, pace_words, view_of


def still_moving_words(found: Drift, ratio: DriveRatio, site: Site) -> list[str]:
    """The pace, the day that the prediction is about right for, and on which side it will err.

    Empty for a speed that is steady at its setting, and where nothing was read to predict from.
    """
    if not ratio.used:
        return []
    for result in found.results:
        if result.series.kind != SPEED or result.series.place.machine != ratio.machine:
            continue
        slope = _slope_of(result.outlook)
        if slope is None:
            return []
        middle = median(reading.entry.day.toordinal() for reading in ratio.used)
        err = "high" if slope.slope < 0 else "low"
        pace = pace_words(slope, view_of(result.series, site))
        said = (
            f"At one setting the speed still {pace}: the prediction is the average of the readings "
            f"that count, so it is for about {words.day_words(date.fromordinal(int(middle)))} and "
            f"will be too {err} after that."
        )
        return [said]
    return []


def _slope_of(outlook: Outlook) -> RobustSlope | None:
    """The slope of a series that moves; None for a steady one."""
    match outlook:
        case Crossing(slope=slope) | NoLimit(slope=slope):
            return slope
        case BeyondAlready(slope=RobustSlope() as slope) if does_move(outlook):
            return slope
        case _:
            return None

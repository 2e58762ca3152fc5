"""The one clock: made where the program starts and handed to whoever needs the time."""

from collections.abc import Callable
from datetime import datetime, tzinfo

Clock = Callable[[tzinfo | None], datetime]
"""Gives the present time in a zone; in this machine's own zone for None."""


def system_clock(zone: tzinfo | None) -> datetime:
    """The machine's clock."""
    return datetime.now(zone).astimezone(zone)  # noqa: TID251 - the only place that reads it

"""Calendar days as the files write them."""

from datetime import date


def optional_day(text: str | None) -> date | None:
    """The day of an ISO 8601 date, or None where the file has none."""
    return None if text is None else date.fromisoformat(text)

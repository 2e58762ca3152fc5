"""The program at one fixed time, so that no test depends on the day it runs.

`python -m tests.pinned_clock WORDS` runs a command as `python -m ledger WORDS` does.
"""

from datetime import UTC, datetime, tzinfo

NOW = datetime(2026, 11, 25, 16, 30, tzinfo=UTC)
TODAY = NOW.date()


def pinned_clock(zone: tzinfo | None) -> datetime:
    return NOW.astimezone(zone or UTC)


if __name__ == "__main__":
    from ledger.cli.start import entry_point

    entry_point(pinned_clock)

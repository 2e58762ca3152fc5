"""`python -m ledger` is `tunnelbook`."""

from ledger.cli.start import entry_point

entry_point()

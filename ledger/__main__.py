"""`python -m ledger` is `tunnelbook`."""

from ledger.cli.main import entry_point

entry_point()

"""A plain-text maintenance ledger for conveyor vehicle washes, kept in git."""

__version__ = "0.1.0"

"""What is said of due work in more than one place."""

from ledger.book import words
from ledger.model.ledger import Ledger
from ledger.model.tie_backs import TieBack
from ledger.upkeep.due.found import before_it_runs_again


def format_tie_back(ledger: Ledger, one: TieBack) -> str:
    """`since 2026-11-22 16:20: arm bent. Before it runs again: …`, and what closes it."""
    said = f"since {words.format_time(one.since, ledger.site)}: {one.why.rstrip('.')}. "
    first = words.in_words([task.title for task in before_it_runs_again(ledger, one.machine)])
    return f"{said}{f'Before it runs again: {first}. ' if first else ''}Closed by {one.ref}."

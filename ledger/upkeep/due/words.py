"""What is said of due work in more than one place."""

from ledger.book import words
from ledger.model.ledger import Ledger
from ledger.model.visits import TieBack
from ledger.upkeep.due.found import before_it_runs_again


def format_tie_back(ledger: Ledger, one: TieBack) -> str:
    """`since 2026-11-22 16:20: arm bent. Before it runs again: …`, and what an entry closes."""
    return (
        f"since {words.format_time(one.since, ledger.site)}: {one.why.rstrip('.')}. Before it runs "
        f"again: {'; '.join(first_of_all(ledger, one.machine))}. Open until an entry closes "
        f"{one.ref}."
    )


def first_of_all(ledger: Ledger, machine: str) -> list[str]:
    """What comes before a machine runs again: its safety tasks, and what always does."""
    tasks = before_it_runs_again(ledger, machine)
    return [*(task.title for task in tasks), "guards on, people clear, released by who may"]

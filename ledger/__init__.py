"""A plain-text maintenance ledger for conveyor vehicle washes, kept in git."""

TYPE_CHECKING = False
if TYPE_CHECKING:
    import os
    from datetime import date

    from ledger.site.opened import Site

__all__ = ["open_site"]

__version__ = "0.1.0"


def open_site(folder: "str | os.PathLike[str]", as_of: "date | None" = None) -> "Site":
    """The site in a folder, as known at the end of a day, by default today there.

    Raises FileNotFoundError where the folder holds no site.yaml. Faults of its files are told by
    `check` of what is returned.
    """
    # The program's start imports this module; what a script needs is imported when it asks.
    from ledger.cli.clock import system_clock  # noqa: PLC0415
    from ledger.site.opened import read_site  # noqa: PLC0415

    return read_site(folder, as_of, system_clock)

"""Writes a file of an export: whole, and only over one of the same form."""

from pathlib import Path

from ledger.source.save import remove_leftovers, replace_file

CSV, ICS, SQLITE, PARQUET = b"", b"BEGIN:VCALENDAR", b"SQLite format 3\0", b"PAR1"
"""How a file of each form begins; a file of comma-separated values has no sign of its own."""


def write_exported(target: Path, content: bytes, begins: bytes) -> None:
    """Replaces `target` at once.

    Raises:
        FileExistsError: there is a file that does not begin as one of this form does, or no file.
        OSError: it cannot be written.
    """
    if target.exists():
        if not target.is_file():
            raise FileExistsError(f"{target} is there and is no plain file; name another")
        with target.open("rb") as opened:
            if not opened.read(len(begins)).startswith(begins):
                raise FileExistsError(
                    f"{target} is there and is another kind of file; move it away"
                )
    remove_leftovers(target.parent, below=False)
    replace_file(target, content)

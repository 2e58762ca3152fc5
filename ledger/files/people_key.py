"""The key by which codes stand for people, kept in this user's own folder and nowhere else."""

import os
import re
import secrets
from contextlib import suppress
from pathlib import Path

from ledger.files.save import create_file

_KEY = re.compile(r"[0-9a-f]{64}\n?")


def people_key_path() -> Path:
    """Below the data folder of the XDG Base Directory Specification."""
    base = Path(os.environ.get("XDG_DATA_HOME", ""))
    return (base if base.is_absolute() else Path.home() / ".local/share") / "tunnelbook/people.key"


def people_key(*, make: bool) -> str:
    """The key, made where there is none and `make` asks for it; else "".

    Raises ValueError for a file that holds no key, and OSError where the system refuses.
    """
    path = people_key_path()
    if make and not path.exists():
        with suppress(FileExistsError):  # another process was first
            create_file(path, f"{secrets.token_hex(32)}\n".encode(), mode=0o600)
    try:
        text = path.read_bytes().decode("ascii", "replace")
    except FileNotFoundError:
        return ""
    if not _KEY.fullmatch(text):
        raise ValueError(f"{path} is no key of 64 hexadecimal digits; put the right one there")
    return text.strip()

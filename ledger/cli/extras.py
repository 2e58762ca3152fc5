"""Libraries that only some commands need, and how to install one where it is missing."""

import importlib.util
import shlex
import sys
from pathlib import Path

from ledger.cli.command import Failure


def require(library: str, extra: str) -> None:
    """Failure, with the line that installs it, where a library of an extra is missing."""
    if importlib.util.find_spec(library) is None:
        raise Failure(f"{extra} needs {library}; install it with: {install_line(extra)}")


def install_line(extra: str) -> str:
    """The line that installs an extra beside this very program, installed or run from a clone."""
    clone = Path(__file__).resolve().parents[2]
    is_clone = (clone / "pyproject.toml").is_file()
    what = (
        f"--editable {shlex.quote(f'{clone}[{extra}]')}" if is_clone else f"'tunnelbook[{extra}]'"
    )
    return f"{shlex.quote(sys.executable)} -m pip install {what}"

"""How this very program was installed, and the line that adds a library it lacks."""

import importlib.util
import shlex
import sys
from dataclasses import dataclass
from importlib.metadata import PackageNotFoundError, distribution
from pathlib import Path

from ledger.cli.command import Failure


@dataclass(frozen=True, slots=True, kw_only=True)
class Installation:
    """What the installer left beside the program; None and empty for a program not installed.

    `prefix` is the environment's folder, `requires` the requirements as the program states them.
    """

    python: str
    prefix: Path
    version: str | None
    direct_url: str | None
    installer: str
    requires: tuple[str, ...]


def this_installation() -> Installation:
    """The installation that runs."""
    python, prefix = sys.executable, Path(sys.prefix)
    try:
        found = distribution("tunnelbook")
    except PackageNotFoundError:
        return Installation(
            python=python, prefix=prefix, version=None, direct_url=None, installer="", requires=()
        )
    return Installation(
        python=python,
        prefix=prefix,
        version=found.version,
        direct_url=found.read_text("direct_url.json"),
        installer=(found.read_text("INSTALLER") or "").strip(),
        requires=tuple(found.requires or ()),
    )


def require(library: str, extra: str) -> None:
    """Failure, with the line that installs it, where a library of an extra is missing."""
    if importlib.util.find_spec(library) is None:
        line = install_line(library, this_installation())
        raise Failure(f"{extra} needs {library}; install it with: {line}")


def install_line(library: str, installed: Installation) -> str:
    """The line that adds a library to the program's own environment, by what made that.

    The library itself is named, never this program: its bare name may be anybody's on an index.
    """
    stated = (line.partition(";")[0].strip() for line in installed.requires)
    wanted = next((one for one in stated if one.startswith(library)), library)
    if (installed.prefix / "pipx_metadata.json").is_file():
        return f"pipx inject tunnelbook {shlex.quote(wanted)}"
    pip = f"{shlex.quote(installed.python)} -m pip install"
    if installed.installer == "uv":
        pip = f"uv pip install --python {shlex.quote(installed.python)}"
    return f"{pip} {shlex.quote(wanted)}"

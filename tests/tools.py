"""Programs that pip does not bring. A test without its program is skipped and counted at the end.

With TUNNELBOOK_REQUIRE_TOOLS set, as where a change has to pass, it fails instead.
"""

import os
import shutil
from typing import NoReturn

import pytest

NOT_RUN = "test NOT run: "
TOOLS_REQUIRED = bool(os.environ.get("TUNNELBOOK_REQUIRE_TOOLS"))


def find_tool(*names: str) -> str:
    """The path of the first of these programs that is there."""
    found = next(filter(None, map(shutil.which, names)), None)
    if found is None:
        missing(f"{' or '.join(names)} is not on the path")
    return found


def missing(why: str) -> NoReturn:
    """Ends the test: skipped, or failed where every tool is required."""
    if TOOLS_REQUIRED:
        pytest.fail(f"this test has to run here, but {why}")
    pytest.skip(f"{NOT_RUN}{why}")

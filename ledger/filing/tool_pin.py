"""What the jobs of a site install: the very program that the site was started with, or nothing.

By the direct URL data structure of the Python packaging specifications (PEP 610), which pip,
pipx and uv leave beside an installed program. A bare name is never written: whoever registers it
on an index would run code in the jobs.
"""

import json
import re
from collections.abc import Mapping
from typing import Any

from ledger.values import dataclass

TOOL_PIN = "tool/requirements.txt"
"""Where a site says what its jobs install; they read it from the base branch."""


_PUBLIC_URL = re.compile(r"https://[^\s@#;]+")

_COMMIT = re.compile(r"[0-9a-f]{40}(?:[0-9a-f]{24})?")

_SHA256 = re.compile(r"[0-9a-f]{64}")


_FILLED = """\
# What the jobs of this repository install, read by pip from the base branch: the version of
# tunnelbook that this site was started with. To move to another, change the line by a reviewed
# commit. Never a bare name: whoever registers it on an index would run code in the jobs.
"""

_OF_AN_INDEX = """\
# It came from an index. If that was not the public one, name it above as --index-url ADDRESS.
"""

_TO_FILL_IN = """\
# TO BE FILLED IN: what the jobs of this repository install. Until then they stop here.
#
# tunnelbook was started from {source}.
# That names no version which a job could fetch. Put in one line that does, such as one of these
# with the words in capitals replaced:
#
#   tunnelbook @ git+https://HOST/OWNER/tunnelbook@COMMIT            all 40 digits of the commit
#   tunnelbook @ https://HOST/tunnelbook-VERSION-py3-none-any.whl#sha256={sha256}
#
# Never a bare name: whoever registers it on an index would run code in the jobs.
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class ToolPin:
    """`requirement` is a line for pip, "" where none is known; then `source` says from what.

    `sha256` is the hash of the wheel, where it is known.
    """

    requirement: str
    source: str = ""
    sha256: str = "HASH"


def tool_pin(direct_url: str | None, version: str | None) -> ToolPin:
    """The pin of a program by its direct_url.json and its version; None for what it has not.

    Without a direct_url.json a program came from an index. Without a version it was not installed
    at all.
    """
    if version is None:
        return ToolPin(requirement="", source="files that were not installed")
    if direct_url is None:
        return ToolPin(requirement=f"tunnelbook=={version}")
    came_from = _fields(direct_url)
    url = str(came_from.get("url", ""))
    if "dir_info" in came_from:
        return ToolPin(requirement="", source="a folder")
    commit = str(came_from.get("vcs_info", {}).get("commit_id", ""))
    sha256 = _sha256(came_from.get("archive_info", {}))
    if not _PUBLIC_URL.fullmatch(url):
        # A file, or an address with a password in it: neither is for a job.
        return ToolPin(
            requirement="", source="an address of this machine or person", sha256=sha256 or "HASH"
        )
    if _COMMIT.fullmatch(commit) and came_from["vcs_info"].get("vcs") == "git":
        return ToolPin(requirement=f"tunnelbook @ git+{url}@{commit}")
    if sha256:
        return ToolPin(requirement=f"tunnelbook @ {url}#sha256={sha256}")
    return ToolPin(requirement="", source="an address without a commit or a hash")


def pin_file(pin: ToolPin) -> str:
    """The text of the site's file; without a requirement it says in words what to put in."""
    if pin.requirement:
        index = _OF_AN_INDEX if "==" in pin.requirement else ""
        return f"{_FILLED}{index}{pin.requirement}\n"
    return _TO_FILL_IN.format(source=pin.source, sha256=pin.sha256)


def names_a_version(text: str) -> bool:
    """Whether the site's file names what to install, rather than that it has to be filled in."""
    return any(line.strip() and not line.lstrip().startswith("#") for line in text.splitlines())


def _fields(direct_url: str) -> dict[str, Any]:
    try:
        found = json.loads(direct_url)
    except ValueError:
        return {}
    return found if isinstance(found, dict) else {}


def _sha256(archive: Mapping[str, Any]) -> str:
    """The hash of an archive; older installers wrote `hash` alone, as `sha256=...`."""
    found = archive.get("hashes", {}).get("sha256") or str(archive.get("hash", "")).removeprefix(
        "sha256="
    )
    return found if _SHA256.fullmatch(found) else ""

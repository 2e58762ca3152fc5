"""The files of a new site, and those of machines that come to a site later.

Below `starter/every_site/` lie the files that every new site gets as they are; a name's leading
`dot-` becomes a dot. A file put there is copied without further ado.

Files come to a site together: all of them in the end, though the program is killed between. What
is to be written stands in one file first. Whoever finds that file finishes the work.

The jobs of a site install the very program that the site was started with, or nothing: by the
direct URL data structure of the Python packaging specifications (PEP 610), which pip, pipx and uv
leave beside an installed program. A bare name is never written: whoever registers it on an index
would run code in the jobs.
"""

import json
import re
import unicodedata
from collections.abc import Collection, Iterable, Mapping, Sequence
from contextlib import suppress
from datetime import date
from pathlib import Path
from typing import Any

from ledger.files.names import PART_ENDING, SCHEMAS, SITE_FILE
from ledger.files.save import UnconfirmedError, create_file, replace_file
from ledger.files.schemas import schema_folder
from ledger.filing.starter import Founder, StarterMachine, minimal_site, programme
from ledger.filing.visit_file import write_new
from ledger.values import dataclass

_EVERY_SITE = Path(__file__).resolve().parent / "starter" / "every_site"

STATIONS_APART = 10


def new_site(
    founder: Founder, site_name: str, machines: Sequence[StarterMachine], tool: str
) -> dict[str, str]:
    """Text of every file of a new site by path, in the order in which they are to be written.

    Without machines one brush stands as an example; with machines, those alone. `tool` is the
    text of the file of what its jobs install.
    """
    files = minimal_site(founder, site_name, schemas=SCHEMAS)
    if machines:
        files = {"site.yaml": files["site.yaml"], **programme(machines, schemas=SCHEMAS)}
    return whole_site(files, tool)


def whole_site(files: Mapping[str, str], tool: str) -> dict[str, str]:
    """The site's own files and those that every site gets, in the order of writing."""
    files = {**files, **every_site_files(), **schema_copies(), TOOL_PIN: tool}
    # The site's own file last: with it the folder is a site, and by then it is a whole one.
    return {path: files[path] for path in sorted(files, key=lambda path: (path == SITE_FILE, path))}


def every_site_files() -> dict[str, str]:
    """What every new site gets whatever its machines, by path."""
    texts = {
        path.relative_to(_EVERY_SITE).as_posix(): path.read_text(encoding="utf-8")
        for path in sorted(_EVERY_SITE.rglob("*"))
        if path.is_file()
    }
    return {re.sub(r"(^|/)dot-", r"\1.", path): text for path, text in texts.items()}


_OF_HOSTS = (".github/", ".gitlab/", ".gitlab-ci.yml", ".vscode/", "CODEOWNERS")


def parted_for_hosts(
    files: Mapping[str, str], folder: str
) -> tuple[dict[str, str], dict[str, str]]:
    """The files of a site that lies in a folder of a repository, and those for its top.

    There alone a git host or an editor reads them; they name the folder.
    """
    inside = {path: text for path, text in files.items() if not path.startswith(_OF_HOSTS)}
    named = f"TUNNELBOOK_SITE: {json.dumps(folder, ensure_ascii=False)}"
    owned = folder.replace(" ", r"\ ")

    def moved(path: str, text: str) -> str:
        if path == "CODEOWNERS":
            return re.sub(r"(?m)^/(?=[a-z])", lambda _: f"/{owned}/", text)
        if path.startswith(".vscode/"):
            quoted = json.dumps(folder, ensure_ascii=False)[:-1]
            return re.sub(r'"(?=[.a-z]+/|site[.]yaml)', lambda _: f"{quoted}/", text)
        return text.replace("TUNNELBOOK_SITE: .", named)

    return inside, {path: moved(path, text) for path, text in files.items() if path not in inside}


def schema_copies() -> dict[str, str]:
    """The schemas, so that an editor completes and explains without a network."""
    return {
        f"{SCHEMAS}/{path.name}": path.read_text(encoding="utf-8")
        for path in sorted(schema_folder().glob("*.schema.json"))
    }


def stale_schemas(root: Path) -> dict[str, str]:
    """The schemas that a site lacks or has from another version, as they should be, by path."""
    return {path: text for path, text in schema_copies().items() if _text_of(root / path) != text}


def renew_schemas(root: Path) -> tuple[str, ...]:
    """Put this version's schemas into a site; the paths written, none where all were right.

    Raises OSError where they cannot be written, or the folder is a link that leads out.
    """
    folder = root / SCHEMAS
    if not folder.resolve().is_relative_to(root.resolve()):
        raise OSError(f"{folder} leads out of the site through a link")
    stale = stale_schemas(root)
    for path, text in stale.items():
        replace_file(root / path, text.encode())
    return tuple(stale)


def placed(kinds: Iterable[str], stations: Mapping[str, float]) -> tuple[StarterMachine, ...]:
    """Machines of the kinds after the last station of a site, with ids that it has not yet.

    `stations` are those of the machines in the site, by id. A kind that comes once and is new
    there has no number.
    """
    kinds = tuple(kinds)
    taken = set(stations)
    station = (int(max(stations.values(), default=0)) // STATIONS_APART) * STATIONS_APART
    made = []
    for kind in kinds:
        alone = kinds.count(kind) == 1 and not _is_numbered(kind, taken)
        ident = free_ident(kind, taken, numbered=not alone)
        taken.add(ident)
        station += STATIONS_APART
        made.append(StarterMachine(kind=kind, ident=ident, station=station))
    return tuple(made)


def coming_in(files: Mapping[str, str], day: date) -> dict[str, str]:
    """The files with each machine in service from a day on, so that no earlier work is missed."""
    return {
        path: re.sub(r"(?m)^(station: .*)$", rf"\1\nin_service: {day}", text, count=1)
        if path.startswith("equipment/")
        else text
        for path, text in files.items()
    }


def plain_ident(name: str) -> str:
    """The id that a name gives: `Éva Kis` is `eva-kis`; empty where nothing of it can be used."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:40].strip("-")


def _text_of(path: Path) -> str | None:
    try:
        return path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        return None


def _is_numbered(kind: str, taken: Collection[str]) -> bool:
    return any(re.fullmatch(rf"{re.escape(kind)}-\d+", ident) for ident in taken)


def free_ident(kind: str, taken: Collection[str], *, numbered: bool) -> str:
    """The id itself, or with a number where it is taken or `numbered` asks for one."""
    if not numbered and kind not in taken:
        return kind
    number = 1
    while f"{kind}-{number}" in taken or (number == 1 and kind in taken):
        number += 1
    return f"{kind}-{number}"


_LIST = f".addition{PART_ENDING}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Added:
    """What became of files that a site was to get, by path.

    `kept` were there already with the same bytes, `other` with other bytes; neither was touched.
    """

    written: tuple[str, ...]
    kept: tuple[str, ...] = ()
    other: tuple[str, ...] = ()


def add_files(root: Path, files: Mapping[str, str]) -> Added:
    """Write those files that are not there, in their order; none is written over.

    Raises OSError, which says how many were written, where one cannot be.
    """
    written: list[str] = []
    kept: list[str] = []
    other: list[str] = []
    for path, text in files.items():
        try:
            write_new(root, path, text)
            written.append(path)
        except FileExistsError:
            (kept if _reads(root / path, text) else other).append(path)
        except OSError as wrong:
            number = len(written) + isinstance(wrong, UnconfirmedError)
            raise OSError(
                wrong.errno,
                f"{wrong.strerror or wrong}; {number} of {len(files)} files are written; "
                "the same command again goes on from there",
                wrong.filename,
            ) from wrong
    return Added(written=tuple(written), kept=tuple(kept), other=tuple(other))


def add_together(root: Path, files: Mapping[str, str]) -> Added:
    """Add files as `add_files` does, so that `rest_of_addition` can go on after a kill.

    Once the person knows, `end_addition` is due. Raises OSError.
    """
    try:
        with suppress(UnconfirmedError):
            # A disk that does not confirm this file is asked to confirm the others next.
            create_file(root / _LIST, json.dumps(files).encode())
    except OSError as wrong:
        message = f"{wrong.strerror}; nothing was written"
        raise OSError(wrong.errno, message, str(root)) from wrong
    return add_files(root, files)


def rest_of_addition(root: Path) -> Added | None:
    """Write the rest of what an earlier `add_together` was to write; None where none was cut short.

    Once the person knows, `end_addition` is due.

    Raises OSError.
    """
    try:
        files = json.loads((root / _LIST).read_bytes())
    except FileNotFoundError:
        return None
    except ValueError as wrong:
        raise OSError(f"{root / _LIST} was not written by this program; remove it") from wrong
    return add_files(root, files)


def end_addition(root: Path) -> None:
    """Forget the addition, of which the person knows by now. Raises OSError."""
    try:
        (root / _LIST).unlink()
    except OSError as wrong:
        message = f"{wrong.strerror}; all files are written, and the same command removes this"
        raise OSError(wrong.errno, message, str(root / _LIST)) from wrong


def _reads(place: Path, text: str) -> bool:
    try:
        return place.read_bytes() == text.encode()
    except OSError:
        return False


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


def tool_pin(direct_url: str | None, version: str | None) -> str:
    """The text of the site's file, by the program's direct_url.json and version; None for neither.

    Without a direct_url.json a program came from an index. Without a version it was not installed
    at all. Where it names nothing that a job could fetch, the text says in words what to put in.
    """
    if version is None:
        return _to_fill_in("files that were not installed")
    if direct_url is None:
        return f"{_FILLED}{_OF_AN_INDEX}tunnelbook=={version}\n"
    came_from: dict[str, Any] = {}
    with suppress(ValueError, TypeError):
        came_from = dict(json.loads(direct_url))
    url = str(came_from.get("url", ""))
    if "dir_info" in came_from:
        return _to_fill_in("a folder")
    commit = str(came_from.get("vcs_info", {}).get("commit_id", ""))
    sha256 = _sha256(came_from.get("archive_info", {}))
    if not _PUBLIC_URL.fullmatch(url):
        # A file, or an address with a password in it: neither is for a job.
        return _to_fill_in("an address of this machine or person", sha256)
    if _COMMIT.fullmatch(commit) and came_from["vcs_info"].get("vcs") == "git":
        return f"{_FILLED}tunnelbook @ git+{url}@{commit}\n"
    if sha256:
        return f"{_FILLED}tunnelbook @ {url}#sha256={sha256}\n"
    return _to_fill_in("an address without a commit or a hash")


def _to_fill_in(source: str, sha256: str = "") -> str:
    return _TO_FILL_IN.format(source=source, sha256=sha256 or "HASH")


def names_a_version(text: str) -> bool:
    """Whether the site's file names what to install, rather than that it has to be filled in."""
    return any(line.strip() and not line.lstrip().startswith("#") for line in text.splitlines())


def _sha256(archive: Mapping[str, Any]) -> str:
    """The hash of an archive; older installers wrote `hash` alone, as `sha256=...`."""
    found = archive.get("hashes", {}).get("sha256") or str(archive.get("hash", "")).removeprefix(
        "sha256="
    )
    return found if _SHA256.fullmatch(found) else ""

"""The files of a new site, and those of machines that come to a site later.

Below `starter/every_site/` lie the files that every new site gets as they are; a name's leading
`dot-` becomes a dot. A file put there is copied without further ado.
"""

import json
import re
import unicodedata
from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import date
from pathlib import Path

from ledger.files.names import SCHEMAS, SITE_FILE
from ledger.files.save import replace_file
from ledger.files.schemas import schema_folder
from ledger.filing.starter import Founder, StarterMachine, minimal_site, programme
from ledger.filing.tool_pin import TOOL_PIN, ToolPin, pin_file

_EVERY_SITE = Path(__file__).resolve().parent / "starter" / "every_site"

STATIONS_APART = 10


def new_site(
    founder: Founder, site_name: str, machines: Sequence[StarterMachine], tool: ToolPin
) -> dict[str, str]:
    """Text of every file of a new site by path, in the order in which they are to be written.

    Without machines one brush stands as an example; with machines, those alone. `tool` is what its
    jobs install.
    """
    files = minimal_site(founder, site_name, schemas=SCHEMAS)
    if machines:
        files = {"site.yaml": files["site.yaml"], **programme(machines, schemas=SCHEMAS)}
    return whole_site(files, tool)


def whole_site(files: Mapping[str, str], tool: ToolPin) -> dict[str, str]:
    """The site's own files and those that every site gets, in the order of writing."""
    files = {**files, **every_site_files(), **schema_copies(), TOOL_PIN: pin_file(tool)}
    # The site's own file last: with it the folder is a site, and by then it is a whole one.
    return {path: files[path] for path in sorted(files, key=lambda path: (path == SITE_FILE, path))}


def every_site_files() -> dict[str, str]:
    """What every new site gets whatever its machines, by path."""
    return {
        _with_dots(path.relative_to(_EVERY_SITE).as_posix()): path.read_text(encoding="utf-8")
        for path in sorted(_EVERY_SITE.rglob("*"))
        if path.is_file()
    }


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
    """The copies of the schemas that a site lacks or has from another version, as they should be.

    By path; nothing for a site that keeps no copies.
    """
    return _stale_schemas(root) if (root / SCHEMAS).is_dir() else {}


def renew_schemas(root: Path) -> tuple[str, ...]:
    """Put this version's schemas into a site; the paths written, none where all were right.

    Raises OSError where they cannot be written, or the folder is a link that leads out.
    """
    folder = root / SCHEMAS
    if not folder.resolve().is_relative_to(root.resolve()):
        raise OSError(f"{folder} leads out of the site through a link")
    stale = _stale_schemas(root)
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


def _stale_schemas(root: Path) -> dict[str, str]:
    return {path: text for path, text in schema_copies().items() if _text_of(root / path) != text}


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


def _with_dots(path: str) -> str:
    return "/".join(
        f".{part.removeprefix('dot-')}" if part.startswith("dot-") else part
        for part in path.split("/")
    )

"""Which file holds what: a kind and an id for every file of a site, or the reason it has none."""

import re
from collections.abc import Iterable
from datetime import datetime
from enum import StrEnum

from ledger.files.diagnostics import Diagnostic, fault_of_file
from ledger.files.names import PHOTOS, SITE_FILE
from ledger.values import dataclass


class Kind(StrEnum):
    """The kinds of file; each has the schema of its name. An import map and answers are no
    files of a site.
    """

    SITE = "site"
    MACHINE = "machine"
    TASK = "task"
    SETPOINTS = "setpoints"
    PART = "part"
    INSTRUMENT = "instrument"
    VISIT = "visit"
    STATEMENT = "statement"
    AUDIT = "audit"
    IMPORT_MAP = "import-map"
    ANSWERS = "answers"


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """A file that will be read: what it is, where it is, and the id its name gives."""

    kind: Kind
    path: str
    ident: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Discovery:
    """The files to read, in the order of their paths, and what is wrong with the other names.

    `photos` are paths of pictures, which nothing reads.
    """

    sources: tuple[Source, ...]
    photos: frozenset[str]
    diagnostics: tuple[Diagnostic, ...]


FOLDERS = {
    "equipment": Kind.MACHINE,
    "tasks": Kind.TASK,
    "setpoints": Kind.SETPOINTS,
    "parts": Kind.PART,
    "instruments": Kind.INSTRUMENT,
    "observations": Kind.VISIT,
    "approvals": Kind.STATEMENT,
    "audits": Kind.AUDIT,
}

_VISIT_SHAPE = "observations/YYYY/MM/YYYY-MM-DDTHHMM-person.yaml"


_IDENT = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)*")

_MAX_IDENT = 80

# Names Windows keeps for devices, with any extension (Microsoft, "Naming Files, Paths, and
# Namespaces"); a checkout that holds one fails there.
_RESERVED = frozenset(
    ["con", "prn", "aux", "nul"] + [f"{port}{n}" for port in ("com", "lpt") for n in range(10)]
)

# A second visit of one person within one minute takes ~2: a hyphen would read as part of the
# person's id.
_VISIT = re.compile(
    r"(?P<stamp>(?P<year>[0-9]{4})-(?P<month>[0-9]{2})-[0-9]{2}T[0-9]{4})"
    r"-(?P<person>[a-z0-9]+(?:-[a-z0-9]+)*)(?:~(?:[2-9]|[1-9][0-9]))?"
)

_STAMP_PARTS = ((0, 4), (5, 7), (8, 10), (11, 13), (13, 15))

# A phone may add .txt to a download, or a number in brackets before the ending.
_YAML_ENDING = re.compile(r"[.]ya?ml([.]txt)?\Z", re.IGNORECASE)

_TEXT_ENDING = re.compile(r"[.]ya?ml[.]txt\Z", re.IGNORECASE)

# What a phone or a desktop puts behind the name of a second copy.
_COPY = re.compile(r"(?: ?\([0-9]+\)| - .+| copy(?: [0-9]+)?)\Z", re.IGNORECASE)

_LEFTOVER = re.compile(r".*(?:~|\.bak|\.orig|\.rej|\.swp|\.tmp)|#.*#|.*\.yaml\.[^.]+")


def discover(paths: Iterable[str]) -> Discovery:
    """Sort file names, relative to the site root, into sources and diagnostics.

    Names with a part that starts with a dot, and names outside the folders of a site, are left
    alone. Every other name becomes a source or a diagnostic.
    """
    sources: list[Source] = []
    problems: list[Diagnostic] = []
    photos: set[str] = set()
    strangers: set[str] = set()
    for path in sorted(paths):
        parts = path.split("/")
        if any(part.startswith(".") for part in parts):
            continue
        top = parts[0]
        if top == PHOTOS and path.endswith(".jpg"):
            photos.add(path)
            continue
        if len(parts) == 1:
            found = _at_top(path)
        elif top in FOLDERS:
            found = _in_folder(path, parts, FOLDERS[top])
        else:
            found = _in_stranger(path, top, strangers)
        if isinstance(found, Source):
            sources.append(found)
        elif found is not None:
            problems.append(found)
    if not any(source.kind is Kind.SITE for source in sources):
        problems.append(
            fault_of_file(
                SITE_FILE,
                rule="missing-file",
                message="there is no site.yaml here",
                remedy="run this in the folder of a site, or start one with: tunnelbook init DIR",
            )
        )
    return Discovery(sources=tuple(sources), photos=frozenset(photos), diagnostics=tuple(problems))


def ident_fault(stem: str) -> str:
    """Why `stem` cannot be an id, in words that follow "because", or "" where it can."""
    if not _IDENT.fullmatch(stem):
        return "an id is small letters a-z and digits with single hyphens between"
    if len(stem) > _MAX_IDENT:
        return f"an id has at most {_MAX_IDENT} characters"
    if stem in _RESERVED:
        return "Windows reserves this name for a device"
    return ""


def _at_top(path: str) -> Source | Diagnostic | None:
    if path == SITE_FILE:
        return Source(kind=Kind.SITE, path=path, ident="site")
    if path.lower() in FOLDERS:
        return fault_of_file(
            path,
            rule="misplaced-file",
            message="a folder is expected here, not a file or a link",
            remedy="replace it with a folder, or remove it",
        )
    if path.lower() in {"site.yaml", "site.yml"}:
        return fault_of_file(
            path,
            rule="misnamed-file",
            message="the site's file has another name",
            nearest=SITE_FILE,
            remedy="rename the file",
        )
    return _stray_visit(path, path)


def _stray_visit(path: str, name: str) -> Diagnostic | None:
    """A file named like a visit that lies where visits are not read: a download, most likely."""
    found = _VISIT.match(name)
    if found is None or _YAML_ENDING.search(name) is None:
        return None
    folder = f"observations/{found['year']}/{found['month']}"
    return fault_of_file(
        path,
        rule="misplaced-file",
        message="this visit is in a folder where no visits are read",
        expected=_VISIT_SHAPE,
        remedy=f"move it to {folder}/",
        nearest=f"{folder}/{found[0]}.yaml",
    )


def _in_stranger(path: str, top: str, seen: set[str]) -> Diagnostic | None:
    stray = _stray_visit(path, path.rpartition("/")[2])
    if stray is not None and top != "book":
        return stray
    import difflib  # noqa: PLC0415 - only where something is wrong

    near = difflib.get_close_matches(top.lower(), FOLDERS, n=1, cutoff=0.85)
    if not near or top in seen or not path.lower().endswith((".yaml", ".yml")):
        return None
    seen.add(top)
    return fault_of_file(
        path,
        rule="misplaced-file",
        message=f"a site has no folder {top}, so nothing in it is read",
        expected="one of " + ", ".join(FOLDERS),
        nearest=near[0],
        remedy=f"rename the folder to {near[0]}",
    )


def _in_folder(path: str, parts: list[str], kind: Kind) -> Source | Diagnostic | None:
    name = parts[-1]
    if kind in (Kind.STATEMENT, Kind.AUDIT) and name.endswith(".yaml.sig"):
        return None
    if _TEXT_ENDING.search(name):
        return fault_of_file(
            path,
            rule="misnamed-file",
            message="the name does not end in .yaml",
            nearest=_TEXT_ENDING.sub(".yaml", name),
            remedy="rename it; if file endings are hidden, .txt may not be shown",
        )
    if _LEFTOVER.fullmatch(name):
        return fault_of_file(
            path,
            rule="stray-file",
            message="this looks like a copy that an editor or a merge left behind",
            remedy="copy what you need from it, then delete it",
        )
    stem, dot, extension = name.rpartition(".")
    if not dot or extension != "yaml":
        is_yaml = extension.lower() in {"yaml", "yml"} and bool(dot)
        return fault_of_file(
            path,
            rule="misnamed-file" if is_yaml else "stray-file",
            message="the name does not end in .yaml" if is_yaml else "only .yaml files belong here",
            nearest=f"{stem}.yaml" if is_yaml else "",
            remedy="rename it" if is_yaml else "move it out of this folder",
        )
    if kind is Kind.VISIT:
        return _visit(path, stem)
    if len(parts) != 2:
        return fault_of_file(
            path,
            rule="misplaced-file",
            message=f"{parts[0]} has no folders inside it",
            expected=f"{parts[0]}/{name}",
            remedy="move the file up",
        )
    fault = ident_fault(stem)
    if fault:
        return fault_of_file(
            path,
            rule="misnamed-file",
            message=f"{stem} cannot be an id: {fault}",
            nearest=_kebab(stem),
            remedy="rename it",
        )
    return Source(kind=kind, path=path, ident=stem)


def _visit(path: str, stem: str) -> Source | Diagnostic:
    match = _VISIT.fullmatch(stem)
    original = _COPY.sub("", stem)
    if original != stem and _VISIT.fullmatch(original):
        return fault_of_file(
            path,
            rule="misnamed-file",
            message="the file is named like a copy of a visit",
            nearest=f"{original}.yaml",
            remedy=f"delete it where {original}.yaml holds the same; otherwise rename it",
        )
    if match is None or ident_fault(match["person"]):
        return fault_of_file(
            path,
            rule="misnamed-file",
            message="the name does not give the time and the person",
            expected=_VISIT_SHAPE,
            nearest=_visit_name(stem),
            remedy="name it by the visit's minute and the person, as in "
            "2026-11-23T0640-m-osterby.yaml; a second visit in that minute has ~2 before .yaml",
        )
    try:
        _require_instant(match["stamp"])
    except ValueError:
        return fault_of_file(
            path,
            rule="impossible-date",
            message=f"there is no {match['stamp']} in the calendar",
            expected=_VISIT_SHAPE,
            remedy="name it by the visit's minute",
        )
    home = f"observations/{match['year']}/{match['month']}/{stem}.yaml"
    if path != home:
        return fault_of_file(
            path,
            rule="misplaced-file",
            message="the folders do not agree with the date in the name",
            expected=home,
            remedy=f"move it to {home}, or correct the date in its name",
        )
    return Source(kind=Kind.VISIT, path=path, ident=stem)


def _visit_name(stem: str) -> str:
    """The name of a visit that `stem` seems to mean, or "" where none can be told."""
    parts = re.fullmatch(
        r"([0-9]{4})\D?([0-9]{2})\D?([0-9]{2})\D?([0-9]{2})\D?([0-9]{2})\W*_?([^~]+)", stem
    )
    if parts is None:
        return ""
    year, month, day, hour, minute, person = parts.groups()
    name = f"{year}-{month}-{day}T{hour}{minute}-{_kebab(person)}"
    return f"{name}.yaml" if _VISIT.fullmatch(name) else ""


def _require_instant(stamp: str) -> None:
    """ValueError where there is no such minute; by its digits, as thousands of names are read."""
    year, month, day, hour, minute = (stamp[a:b] for a, b in _STAMP_PARTS)
    datetime(int(year), int(month), int(day), int(hour), int(minute))  # noqa: DTZ001 - of the site


def _kebab(stem: str) -> str:
    """The id that `stem` seems to mean, or "" where none can be told."""
    guess = re.sub(r"[^a-z0-9]+", "-", stem.lower()).strip("-")
    return "" if ident_fault(guess) else guess

"""One site's tables as they lie beside those of other sites: Parquet files by site and year.

    FOLDER/site=ID/machines.parquet            how things stand on the day
    FOLDER/site=ID/year=2026/entries.parquet   what happened at the site in that year
    FOLDER/site=ID/_manifest.json              what the files were made of

A table without rows has one file without rows. A renewal puts the whole folder of a site in place
in one step, and keeps the files whose bytes would be the same: a late visit or a correction
rewrites those of its own year.
"""

import hmac
import json
import re
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from ledger.book.flat import Column, ColumnKind, FlatTable, Row, Value, dictionary
from ledger.book.flat_forms import render_parquet
from ledger.files.diagnostics import Diagnostic
from ledger.files.names import SITE_FILE
from ledger.files.save import remove_leftovers, replace_folder
from ledger.files.survey import Survey, UnfitError, content_hash, file_hash, survey_of_files
from ledger.files.yaml_fast import RefusedError, accept
from ledger.model.ledger import Ledger
from ledger.model.site import Site
from ledger.site.opened import read_site
from ledger.site.report_tables import TABLES_VERSION
from ledger.site.tables import flat_tables
from ledger.values import asdict, dataclass, field, replace

MANIFEST = "_manifest.json"
_CODES = "codes"


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """A site to renew: plain values, for another process or machine that sees the same folders.

    `out` is the folder of all sites; `day` is the one to look from, by default that of `now` at
    the site. `program` is what else the files depend on, as one word. `people_key` is the secret
    that the codes of people are made with.
    """

    root: Path
    ident: str
    out: Path
    now: datetime
    day: date | None = None
    without_people: bool = False
    program: str = ""
    people_key: str = field(default="", repr=False)

    @property
    def folder(self) -> Path:
        return self.out / f"site={self.ident}"

    def code_of(self, word: str) -> str:
        """Ten digits that nobody without the key can work out or hold against a word."""
        return hmac.digest(self.people_key.encode(), word.encode(), "sha256").hex()[:10]


@dataclass(frozen=True, slots=True, kw_only=True)
class Manifest:
    """What the files of one site were made of; `files` gives the bytes of each by its path, and
    `hashes` its content.

    `survey` stands for the files of the site, `young` for the content of those that were touched
    only just before. `without_people` is what was asked for, whatever the site says; `people_key`
    tells the key of its codes from others, "" where it has none.
    """

    tables_version: int
    program: str
    root: str
    zone: str
    day: str
    without_people: bool
    people_key: str
    survey: str
    young: Mapping[str, str]
    files: Mapping[str, int]
    hashes: Mapping[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Renewed:
    """What became of a site; `fault` says why it could not be renewed, "" where it could."""

    ident: str
    written: tuple[str, ...] = ()
    fault: str = ""


def site_id(root: Path, out: Path) -> str:
    """The id that site.yaml states for groups, else the name of the folder as an id.

    Where site.yaml cannot be read, that of the site's last export in `out` comes first.
    """
    try:
        stated = _stated(root).get("id", "")
    except (OSError, ValueError, RefusedError):
        made = ((folder, read_manifest(folder)) for folder in sorted(out.glob("site=*")))
        last = (f.name.removeprefix("site=") for f, m in made if m and m.root == str(root))
        stated = next(last, "")
    return _id_of(str(stated or root.resolve().name))


def asks_for_codes(root: Path) -> bool:
    """Whether site.yaml says that its people are left out of a group."""
    try:
        return _stated(root).get("people") == _CODES
    except (OSError, ValueError, RefusedError):
        return False


def _stated(root: Path) -> Mapping[str, Any]:
    """What site.yaml says of groups; raises OSError, ValueError or RefusedError."""
    keys = accept((root / SITE_FILE).read_text("utf-8"))
    stated = keys.get("group") if isinstance(keys, dict) else None
    return stated if isinstance(stated, dict) else {}


def _id_of(name: str) -> str:
    return "-".join(re.findall("[a-z0-9]+", name.lower())) or "site"


def read_manifest(folder: Path) -> Manifest | None:
    """That of a site's folder; None where there is none, or of other tables than these."""
    try:
        found = Manifest(**json.loads((folder / MANIFEST).read_bytes()))
    except (OSError, ValueError, TypeError):
        return None
    return found if found.tables_version == TABLES_VERSION else None


def is_current(order: Order) -> bool:
    """Whether the files of the site, the day and the program are those of its last export."""
    made = read_manifest(order.folder)
    try:
        return (
            made is not None
            and (made.root, made.program) == (str(order.root), order.program)
            and made.without_people == order.without_people
            and made.people_key in {"", order.code_of("")}
            and made.day == str(order.day or order.now.astimezone(ZoneInfo(made.zone)).date())
            and all((order.folder / path).stat().st_size == n for path, n in made.files.items())
            and survey_of_files(str(order.root)).digest == made.survey
            and all(file_hash(f"{order.root}/{name}") == told for name, told in made.young.items())
        )
    except (OSError, UnfitError, ValueError):
        return False


def renew(order: Order) -> Renewed:
    """As `write_export`, but whatever is wrong is told: one site must not hide the others."""
    try:
        return write_export(order)
    except UnusableSiteError as fault:
        return Renewed(ident=order.ident, fault=str(fault))
    except Exception as fault:  # noqa: BLE001
        return Renewed(ident=order.ident, fault=f"{type(fault).__name__}: {fault}")


class UnusableSiteError(ValueError):
    """The files of a site, or what lies where its export goes, allow none; the text says why."""


def write_export(order: Order) -> Renewed:
    """Write what has changed of a site's export; on any failure the last export stays.

    Raises UnusableSiteError, and OSError where the system refuses.
    """
    if order.folder.exists() and not (order.folder / MANIFEST).is_file():
        raise UnusableSiteError(f"{order.folder} was not made by this program; move it away")
    looked = _survey(order.root)
    site = read_site(order.root, order.day, order.now.astimezone)
    if site.loaded.has_errors or site.loaded.ledger is None:
        errors = [one for one in site.loaded.diagnostics if one.is_error]
        raise UnusableSiteError(_format_errors(errors))
    ledger = site.ledger
    leaves_out = order.without_people or ledger.site.group_people == _CODES
    if leaves_out and not order.people_key:
        raise UnusableSiteError("there is no key for the codes of people")
    tables = roll_up_tables(ledger, site.as_of, order, without_people=leaves_out)
    contents = {path: render_parquet(part) for table in tables for path, part in _parts(table)}
    new = {path: c for path, c in contents.items() if not _holds(order.folder / path, c)}
    keep = contents.keys() - new.keys()
    manifest = Manifest(
        tables_version=TABLES_VERSION,
        program=order.program,
        root=str(order.root),
        zone=ledger.site.zone.key,
        day=site.as_of.isoformat(),
        without_people=order.without_people,
        people_key=order.code_of("") if leaves_out else "",
        survey=looked.digest if looked else "",
        young={
            name: file_hash(f"{order.root}/{name}")
            for name in (looked.young(int(order.now.timestamp() * 1e9)) if looked else ())
        },
        files={path: len(content) for path, content in contents.items()},
        hashes={path: content_hash(content) for path, content in contents.items()},
    )
    told = json.dumps(asdict(manifest), indent=0, sort_keys=True).encode()
    remove_leftovers(order.out, below=False)
    replace_folder(order.folder, {**new, MANIFEST: told}, keep)
    return Renewed(ident=order.ident, written=tuple(new))


def _survey(root: Path) -> Survey | None:
    """None where times and sizes do not vouch for the files: such a site is renewed every time."""
    try:
        return survey_of_files(str(root))
    except UnfitError:
        return None


def _format_errors(errors: Sequence[Diagnostic]) -> str:
    if not errors:
        return f"no {SITE_FILE} could be read"
    first = f"{errors[0].position}: {errors[0].message}"
    return first if len(errors) == 1 else f"{len(errors)} errors in its files; the first: {first}"


def _holds(path: Path, content: bytes) -> bool:
    return path.is_file() and path.read_bytes() == content


def roll_up_tables(
    ledger: Ledger, as_of: date, order: Order, *, without_people: bool
) -> tuple[FlatTable, ...]:
    """Every table with the site's id as its first column, the dictionary of all last."""
    code = _coder(ledger.site, order) if without_people else tuple
    column = Column(name="site", kind=ColumnKind.TEXT, meaning="Id of the site.")

    def with_site(of: FlatTable) -> FlatTable:
        rows = tuple((order.ident, *row) for row in map(code, of.rows))
        return replace(of, columns=(column, *of.columns), rows=rows)

    *tables, _ = flat_tables(ledger, as_of)
    found = tuple(map(with_site, tables))
    return (*found, with_site(dictionary(found)))


_SHORTEST_LAST_NAME = 3


def _coder(site: Site, order: Order) -> Callable[[Row], Row]:
    """What puts a code in place of each id, name, last name and address of a person of the site.

    A name that is typed into a note in another way, or of somebody whom site.yaml does not name,
    stays.
    """
    codes: dict[str, str] = {}
    for person in site.people.values():
        code = f"person-{order.code_of(f'{order.ident} {person.ident}')}"
        last_name = person.name.split()[-1]
        for word in (person.ident, *person.formerly, person.name, last_name, *person.emails):
            if word != last_name or len(word) >= _SHORTEST_LAST_NAME:
                codes.setdefault(word, code)
    longest_first = sorted(codes, key=lambda word: (-len(word), word))
    known = "|".join(map(re.escape, longest_first))
    # Behind the time of a visit's id, or a word of its own: `ada` is not part of `brush-ada`.
    words = re.compile(rf"(?<=T\d{{4}}-)(?:{known})(?![^\W_])|(?<![\w-])(?:{known})(?![\w-])")

    def coded(value: Value) -> Value:
        return words.sub(lambda m: codes[m[0]], value) if isinstance(value, str) else value

    return lambda row: tuple(map(coded, row))


def _parts(of: FlatTable) -> Iterator[tuple[str, FlatTable]]:
    """The files of a table, each with its rows; those of no year stand at the top."""
    names = [column.name for column in of.columns]
    by_folder: dict[str, list[Row]] = defaultdict(list)
    for row in of.rows:
        dated = row[names.index(of.dated)] if of.dated else None
        by_folder["" if dated is None else f"year={str(dated)[:4]}/"].append(row)
    for folder, rows in sorted(by_folder.items()) or [("", [])]:
        yield f"{folder}{of.name}.parquet", replace(of, rows=tuple(rows))

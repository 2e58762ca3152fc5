"""The rows of all sites in one file a table: a query opens ten files then, and not ten a site.

    FOLDER/due.parquet     the rows of every site
    FOLDER/_made_of.json   of which files of which site

The folder is put in place in one step, and only where a site has changed, come or gone.
"""

import glob
import json
import tempfile
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from collections.abc import Set as AbstractSet
from pathlib import Path, PurePosixPath

from ledger.files.save import replace_folder
from ledger.files.survey import content_hash
from ledger.group.queries import asked_tables, connection
from ledger.site.roll_up import Manifest
from ledger.values import asdict, dataclass, field

_MADE_OF = "_made_of.json"


@dataclass(frozen=True, slots=True, kw_only=True)
class _MadeOf:
    """By site a hash of what its files hold; `bytes` are those of each file here."""

    sites: Mapping[str, str] = field(default_factory=dict)
    bytes: Mapping[str, int] = field(default_factory=dict)


def files_by_table(exports: Iterable[tuple[Path, Manifest]]) -> dict[str, list[str]]:
    """The Parquet files of each table, of all sites; only of tables that a query asks."""
    asked = asked_tables()
    found: dict[str, list[str]] = defaultdict(list)
    for folder, manifest in exports:
        for path in manifest.files:
            name = PurePosixPath(path).stem
            if name in asked:
                found[name].append(str(folder / path))
    return found


def merged_tables(folder: Path, exports: Sequence[tuple[Path, Manifest]]) -> dict[str, str]:
    """The one file of each table that a query asks; only files of changed sites are opened."""
    asked = asked_tables()
    now = {_site(export): _as_it_is(manifest, asked) for export, manifest in exports}
    made = _made_of(folder)
    tables = {name: str(folder / f"{name}.parquet") for name in sorted(asked)}
    stay = {site for site, state in made.sites.items() if now.get(site) == state}
    if not stay == now.keys() == made.sites.keys():
        changed = [export for export in exports if _site(export[0]) not in stay]
        new = _merge(tables if stay else {}, sorted(stay), changed)
        told = _MadeOf(sites=now, bytes={name: len(content) for name, content in new.items()})
        made_of = json.dumps(asdict(told), indent=0, sort_keys=True).encode()
        replace_folder(folder, {**new, _MADE_OF: made_of})
    return tables


def _site(folder: Path) -> str:
    return folder.name.removeprefix("site=")


def _as_it_is(manifest: Manifest, asked: AbstractSet[str]) -> str:
    held = (f"{p} {h}" for p, h in manifest.hashes.items() if PurePosixPath(p).stem in asked)
    return content_hash("\n".join(held).encode())


def _made_of(folder: Path) -> _MadeOf:
    """Of nothing where it does not hold, whole, each table that is asked for now."""
    try:
        made = _MadeOf(**json.loads((folder / _MADE_OF).read_bytes()))
        whole = all((folder / name).stat().st_size == size for name, size in made.bytes.items())
    except (OSError, ValueError, TypeError):
        return _MadeOf()
    names = {f"{name}.parquet" for name in asked_tables()}
    return made if whole and made.bytes.keys() == names else _MadeOf()


def _merge(
    old: Mapping[str, str], stay: Sequence[str], changed: Sequence[tuple[Path, Manifest]]
) -> dict[str, bytes]:
    """The bytes of each file: what `old` has of the sites that stay, and the rows of the others."""
    may_differ = len({manifest.program for _, manifest in changed}) > 1
    files = files_by_table(changed)
    found = {}
    with connection() as database, tempfile.TemporaryDirectory() as there:
        for name in sorted(old.keys() | files.keys()):
            parts = []
            if name in old:
                sites = ", ".join(map(_quoted, stay))
                parts.append(f"FROM {_reading([old[name]])} WHERE site IN ({sites})")
            if name in files:
                parts.append(f"FROM {_reading(files[name], may_differ=may_differ)}")
            target = Path(there, f"{name}.parquet")
            rows = " UNION ALL BY NAME ".join(parts)
            database.execute(f"COPY ({rows}) TO {_quoted(str(target))} (FORMAT parquet)")
            found[target.name] = target.read_bytes()
    return found


def _reading(paths: Iterable[str], *, may_differ: bool = False) -> str:
    """`may_differ`: some were written by another version, and may lack a column."""
    listed = ", ".join(_quoted(glob.escape(path)) for path in paths)
    return f"read_parquet([{listed}], hive_partitioning = false, union_by_name = {may_differ})"


def _quoted(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"

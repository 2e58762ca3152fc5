"""The site without a fault in tests/broken_sites/sound, and what is said once it is edited."""

from collections.abc import Mapping
from datetime import date
from pathlib import Path

from ledger.files.diagnostics import Diagnostic
from ledger.model.ledger import Ledger
from ledger.site.pipeline import check, load

CASES = Path(__file__).parent / "broken_sites"
SOUND = CASES / "sound"
AS_OF = date(2026, 12, 1)

FIRST_VISIT = "observations/2026/11/2026-11-03T0640-m-tarrow.yaml"
LAST_VISIT = "observations/2026/11/2026-11-17T0640-m-tarrow.yaml"


class Files:
    """Files in memory by path, as a tree of a site."""

    def __init__(self, files: Mapping[str, str]) -> None:
        self._files = files

    def paths(self) -> tuple[str, ...]:
        return tuple(sorted(self._files))

    def read(self, path: str) -> bytes:
        return self._files[path].encode()


def texts_below(folder: Path) -> dict[str, str]:
    """The texts of a site; of its pictures, which nothing reads, the paths alone."""
    return {
        path.relative_to(folder).as_posix(): path.read_text(encoding="utf-8")
        for path in sorted(folder.rglob("*.yaml"))
    } | {path.relative_to(folder).as_posix(): "" for path in folder.rglob("photos/**/*.jpg")}


def edited(path: str, old: str, new: str) -> dict[str, str]:
    """The sound site with one place of one file changed; `old` stands there once."""
    files = texts_below(SOUND)
    assert files[path].count(old) == 1, (path, old)
    return {**files, path: files[path].replace(old, new)}


def with_file(path: str, text: str) -> dict[str, str]:
    """The sound site and one file more, or another one in its place."""
    return {**texts_below(SOUND), path: text}


def found_in(files: Mapping[str, str], as_of: date = AS_OF) -> tuple[Diagnostic, ...]:
    return check(load(Files(files)), as_of)


def ledger_in(files: Mapping[str, str]) -> Ledger:
    loaded = load(Files(files))
    assert not loaded.has_errors, loaded.diagnostics
    assert loaded.ledger is not None
    return loaded.ledger

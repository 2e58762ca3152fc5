"""A new visit as a file: named by its time and person, valid before it is written, never over.

Beside it the photos of its findings, and those of points: made small, without what a camera writes
beside the picture.
"""

import hashlib
import io
from collections.abc import Collection, Iterator, Mapping
from contextlib import contextmanager, suppress
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

from ledger.files.diagnostics import Diagnostic
from ledger.files.names import PHOTOS
from ledger.files.paths import Kind, Source
from ledger.files.reading import parse_document
from ledger.files.save import UnconfirmedError, create_file
from ledger.files.schemas import check_document
from ledger.files.tree import FileTree, UnreadableFileError
from ledger.values import dataclass

_MOST_IN_A_MINUTE = 99

_WRITTEN_LATER = timedelta(hours=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitFile:
    """The text of a visit and the path below the site root where it belongs.

    `diagnostics` says what is wrong with it; a file with diagnostics is not written.
    """

    path: str
    text: str
    diagnostics: tuple[Diagnostic, ...]

    @property
    def ident(self) -> str:
        return self.path.rpartition("/")[2].removesuffix(".yaml")


def visit_file(
    root: Path, visit: Mapping[str, Any], when: datetime, taken: Collection[str] = ()
) -> VisitFile:
    """The file of a visit at a local time; the name is one that no file of the site has yet.

    `visit` has the keys of the visit schema. The first line leads an editor to the schemas that
    site.yaml names. Stems in `taken` are spoken for though no file has them yet.

    Raises FileExistsError where no name of that minute is left.
    """
    folder = _folder_of(when)
    stem = free_stem(root / folder, _first_stem(visit, when), taken)
    path = f"{folder}/{stem}.yaml"
    from ledger.files.yaml_write import visit_text  # noqa: PLC0415 - brings ruamel

    text = visit_text(visit, schema_path_of(root, "visit", depth=3))
    return VisitFile(path=path, text=text, diagnostics=faults_of(path, stem, text, visit))


def filed_already(tree: FileTree, visit: Mapping[str, Any], when: datetime) -> str:
    """The path of the file that holds this very visit, whenever it was entered; "" without one.

    So a visit that was filed just before the program was cut short is not filed twice.
    """
    for stem in _stems(_first_stem(visit, when)):
        path = f"{_folder_of(when)}/{stem}.yaml"
        try:
            raw = tree.read(path)
        except UnreadableFileError:
            return ""
        document, _ = parse_document(Source(kind=Kind.VISIT, path=path, ident=stem), raw)
        if document is not None and _as_done(document.value) == _as_done(visit):
            return path
    return ""


def _as_done(visit: Any) -> Any:
    """A visit without who wrote it down for others, and when."""
    is_keyed = isinstance(visit, Mapping)
    if not is_keyed:
        return visit
    return {key: visit[key] for key in visit if key not in ("entered_at", "filed_by")}


def instant_text(when: datetime) -> str:
    """A local time as a visit's file states it; with its offset where the clock shows it twice."""
    is_twice = when.replace(fold=0).utcoffset() != when.replace(fold=1).utcoffset()
    return when.isoformat(timespec="minutes") if is_twice else f"{when:%Y-%m-%dT%H:%M}"


def entered_at(when: datetime, now: datetime) -> dict[str, str]:
    """The key that says when a visit was written down, where that was well after it."""
    now = now.replace(second=0, microsecond=0)
    return {"entered_at": instant_text(now)} if now - when >= _WRITTEN_LATER else {}


def faults_of(
    path: str, ident: str, text: str, intended: Mapping[str, Any] | None = None
) -> tuple[Diagnostic, ...]:
    """What a reader of the file would find wrong; also a text that says something else."""
    source = Source(kind=Kind.VISIT, path=path, ident=ident)
    document, diagnostics = parse_document(source, text.encode())
    if document is None:
        return diagnostics
    found = (*diagnostics, *check_document(document))
    if not found and intended is not None and document.value != dict(intended):
        raise AssertionError(f"{path} would not read back as it was intended")
    return found


def free_stem(folder: Path, stem: str, taken: Collection[str] = ()) -> str:
    """The stem, or with ~2, ~3 ... where a file has it already or it is taken."""
    for one in _stems(stem):
        if one not in taken and not (folder / f"{one}.yaml").exists():
            return one
    raise FileExistsError(f"{folder} holds {_MOST_IN_A_MINUTE} visits of that minute already")


def _folder_of(when: datetime) -> str:
    return f"observations/{when:%Y/%m}"


def _first_stem(visit: Mapping[str, Any], when: datetime) -> str:
    return f"{when:%Y-%m-%dT%H%M}-{visit['by']}"


def _stems(first: str) -> Iterator[str]:
    """The names that visits of one person and minute take, one after the other."""
    yield first
    for number in range(2, _MOST_IN_A_MINUTE + 1):
        yield f"{first}~{number}"


def write_new(root: Path, path: str, text: str) -> Path:
    """Write a file that does not exist yet, below the root and through no link that leads out.

    Raises FileExistsError where somebody was faster, OSError where it cannot be written, and
    UnconfirmedError where it stands but may not survive a loss of power.
    """
    target = root / path
    if not target.parent.resolve().is_relative_to(root.resolve()):
        raise OSError(f"{target.parent} leads out of the site through a link")
    create_file(target, text.encode())
    return target


def schema_path_of(root: Path, kind: str, depth: int) -> str:
    """The path to a schema from a folder so deep below the site root."""
    return schema_path(schema_base(root), kind, depth)


def schema_path(base: str, kind: str, depth: int) -> str:
    """The same where the schemas lie in `base` as seen from the site root, or at an address."""
    is_fixed = "://" in base or base.startswith("/")
    return f"{'' if is_fixed else '../' * depth}{base}/{kind}.schema.json"


def schema_base(root: Path) -> str:
    """Where the site's schemas lie as seen from its root, by the first line of site.yaml.

    So a site whose schemas lie elsewhere keeps them there in its new files.
    """
    first = (root / "site.yaml").read_text(encoding="utf-8").partition("\n")[0]
    _, mark, path = first.partition("$schema=")
    return path.strip().rpartition("/")[0] if mark else ".schemas"


MOST_BYTES = 300_000
MOST_PIXELS = 1600
"""Of the longer side."""

_QUALITIES = (85, 75, 65, 55, 45)
_SMALLER = 0.8


def shrunk(content: bytes) -> bytes:
    """A picture as a JPEG of at most 300 kB, upright, and nothing but the picture.

    Place, time and make of the camera are left out, as is all else beside the pixels.

    Raises:
        ValueError: the content is no picture that can be read, or one too large to.
        ImportError: Pillow is not installed.
    """
    from PIL import Image, ImageOps, UnidentifiedImageError  # noqa: PLC0415  optional

    try:
        with Image.open(io.BytesIO(content)) as read:
            upright = ImageOps.exif_transpose(read).convert("RGB")
    except (UnidentifiedImageError, Image.DecompressionBombError, OSError, SyntaxError) as error:
        raise ValueError("it is no picture that can be read, such as JPEG, PNG or WebP") from error
    # Made anew of the pixels: a copy would take comments along.
    picture = Image.frombytes("RGB", upright.size, upright.tobytes())
    picture.thumbnail((MOST_PIXELS, MOST_PIXELS))
    while True:
        for quality in _QUALITIES:
            made = io.BytesIO()
            picture.save(made, "JPEG", quality=quality, optimize=True)
            if made.tell() <= MOST_BYTES:
                return made.getvalue()
        width, height = picture.size
        picture.thumbnail((max(1.0, width * _SMALLER), max(1.0, height * _SMALLER)))


def photo_path(day: date, content: bytes) -> str:
    """`photos/2026/11/2026-11-24-1f3a9c02.jpg`: named by its content, so that none is twice."""
    return f"{PHOTOS}/{day:%Y/%m}/{day}-{hashlib.sha256(content).hexdigest()[:8]}.jpg"


@contextmanager
def photos_beside(root: Path, photos: Mapping[str, bytes]) -> Iterator[None]:
    """Write pictures by their paths; where what follows fails, those are taken away again.

    One that is there already stays. Raises OSError.
    """
    written: list[Path] = []
    try:
        for path, content in photos.items():
            if not (root / path).exists():
                create_file(root / path, content)
                written.append(root / path)
        yield
    except UnconfirmedError:
        raise
    except OSError:
        for target in written:
            with suppress(OSError):
                target.unlink()
        raise

"""Photos of findings and points: made small, without what a camera writes beside the picture."""

import hashlib
import io
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from datetime import date
from pathlib import Path

from ledger.files.names import PHOTOS
from ledger.files.save import UnconfirmedError, create_file

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

"""Files that come to a site together: all of them in the end, though the program is killed between.

What is to be written stands in one file first. Whoever finds that file finishes the work.
"""

import json
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path

from ledger.files.names import PART_ENDING
from ledger.files.save import UnconfirmedError, create_file
from ledger.filing.visit_file import write_new
from ledger.values import dataclass

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

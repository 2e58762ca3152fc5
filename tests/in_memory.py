"""Temporary files of the tests in memory, where the system has a folder there with room.

Tests make and remove some hundred thousand files and folders; on many a disk each waits for it.
"""

import os
import shutil
import tempfile
from pathlib import Path

_MEMORY = Path("/dev/shm")
_WANTED_BYTES = 4e9


def put_temporary_files_in_memory() -> None:
    """For this process and those it starts; a TMPDIR that somebody set stands."""
    if "TMPDIR" in os.environ or not os.access(_MEMORY, os.W_OK | os.X_OK):
        return
    if shutil.disk_usage(_MEMORY).free >= _WANTED_BYTES:
        os.environ["TMPDIR"] = tempfile.tempdir = str(_MEMORY)

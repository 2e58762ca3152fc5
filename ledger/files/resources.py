"""Where the JSON Schemas are: inside the installed package, or beside it in a checkout."""

from functools import cache
from pathlib import Path


@cache
def schema_folder() -> Path:
    """The folder that holds `*.schema.json`.

    Raises FileNotFoundError, naming both places, where neither exists.
    """
    package = Path(__file__).resolve().parents[1]
    installed = package / "_schemas"
    checkout = package.parent / "schemas"
    for folder in (installed, checkout):
        if (folder / "site.schema.json").is_file():
            return folder
    raise FileNotFoundError(f"no site.schema.json in {installed} nor in {checkout}")

"""Where the JSON Schemas are: inside the installed package, or beside it in a checkout."""

import json
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any


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


@cache
def format_key() -> frozenset[str]:
    """Every key that some schema names."""
    texts = [path.read_text(encoding="utf-8") for path in schema_folder().glob("*.schema.json")]
    return frozenset(key for text in texts for key in _keys_in(json.loads(text)))


def _keys_in(schema: Any) -> Iterator[str]:
    if isinstance(schema, dict):
        properties = schema.get("properties")
        yield from properties if isinstance(properties, dict) else ()
        schema = list(schema.values())
    for part in schema if isinstance(schema, list) else ():
        yield from _keys_in(part)

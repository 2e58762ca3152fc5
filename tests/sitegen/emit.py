"""Visits as a person would type them: one entry a line, no quotes where none are needed."""

import json
import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

LONGEST_LINE = 118
_PLAIN = re.compile(r"[A-Za-z0-9](?:[A-Za-z0-9 ./%'()~#_-]*[A-Za-z0-9.)%])?")
_INSTANT = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}(?:[-+][0-9]{2}:[0-9]{2})?")
_NUMBER_LIKE = re.compile(r"[-+.0-9][-+.0-9eExXoO_]*")
_RESERVED = frozenset({"true", "false", "null", "yes", "no", "on", "off", "y", "n", "nan", "inf"})


def scalar(value: Any) -> str:
    """One value as YAML 1.2 that also the older readers take for the same value."""
    if value is True:
        return "true"
    if isinstance(value, int | float):
        return repr(value)
    text = str(value)
    plain = _INSTANT.fullmatch(text) or (
        _PLAIN.fullmatch(text)
        and " #" not in text
        and not _NUMBER_LIKE.fullmatch(text)
        and text.lower() not in _RESERVED
    )
    return text if plain else json.dumps(text, ensure_ascii=False)


def flow(value: Any) -> str:
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{key}: {flow(item)}" for key, item in value.items()) + "}"
    if isinstance(value, Sequence) and not isinstance(value, str):
        return "[" + ", ".join(flow(item) for item in value) + "]"
    return scalar(value)


def entry_lines(entry: Mapping[str, Any]) -> list[str]:
    line = "  - " + flow(entry)
    if len(line) <= LONGEST_LINE:
        return [line]
    rows = [f"{key}: {flow(item)}" for key, item in entry.items()]
    return ["  - " + rows[0], *("    " + row for row in rows[1:])]


def visit_text(visit: Mapping[str, Any], *, schema: str) -> str:
    """The file of one visit; `schema` is what the editor's modeline points at."""
    lines = [f"# yaml-language-server: $schema={schema}"]
    lines += [f"{key}: {flow(value)}" for key, value in visit.items() if key != "entries"]
    lines.append("entries:")
    for entry in visit["entries"]:
        lines += entry_lines(entry)
    return "\n".join(lines) + "\n"


def write_files(root: Path, files: Mapping[str, str]) -> None:
    """Write texts by their path below the root."""
    made: set[Path] = set()
    for path, text in files.items():
        target = root / path
        if target.parent not in made:
            target.parent.mkdir(parents=True, exist_ok=True)
            made.add(target.parent)
        target.write_bytes(text.encode())

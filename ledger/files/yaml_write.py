"""A visit as the YAML that a person would have typed: one entry a line."""

import io
from collections.abc import Mapping, Sequence
from typing import Any

from ruamel.yaml import YAML
from ruamel.yaml.comments import CommentedMap, CommentedSeq
from ruamel.yaml.scalarstring import DoubleQuotedScalarString

_WIDE = 10_000


def visit_text(visit: Mapping[str, Any], schema_path: str) -> str:
    """The text of a visit file, with the editor's modeline on its first line.

    `schema_path` is the path from the visit's folder to visit.schema.json.
    """
    body = CommentedMap(visit)
    for key in ("meters", "with"):
        if key in visit:
            body[key] = in_one_line(visit[key])
    body["entries"] = CommentedSeq(in_one_line(entry) for entry in visit["entries"])
    return f"# yaml-language-server: $schema={schema_path}\n{yaml_text(body)}"


def in_one_line(value: Any) -> Any:
    """The same mappings and lists, to be written within braces and brackets."""
    if isinstance(value, Mapping):
        flow = CommentedMap((key, in_one_line(item)) for key, item in value.items())
        flow.fa.set_flow_style()
        return flow
    if isinstance(value, Sequence) and not isinstance(value, str):
        items = CommentedSeq(in_one_line(item) for item in value)
        items.fa.set_flow_style()
        return items
    # Within braces readers differ on a plain word that begins like an explicit key.
    if isinstance(value, str) and value.startswith("?"):
        return DoubleQuotedScalarString(value)
    return value


def yaml_text(value: Any) -> str:
    """YAML 1.2 text in the layout of this ledger's files."""
    writer = YAML(pure=True)
    writer.width = _WIDE
    writer.allow_unicode = True
    writer.indent(mapping=2, sequence=4, offset=2)
    text = io.StringIO()
    writer.dump(value, text)
    return text.getvalue()

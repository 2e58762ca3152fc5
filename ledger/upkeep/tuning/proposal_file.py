"""The file of a drive's settings with a proposal put in: no byte of the old file is touched."""

import json
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any

from ruamel.yaml import YAML
from ruamel.yaml.comments import CommentedMap
from ruamel.yaml.events import DocumentEndEvent

from ledger.files.paths import Kind, Source
from ledger.files.reading import parse_document
from ledger.files.save import create_file, replace_file
from ledger.files.tree import FileTree
from ledger.files.yaml_write import in_one_line, yaml_text
from ledger.filing.visit_file import schema_path_of
from ledger.upkeep.tuning.proposal import Proposal
from ledger.values import dataclass

_BOM = b"\xef\xbb\xbf"

_DAYS = ("from", "proposed_on")


@dataclass(frozen=True, slots=True, kw_only=True)
class ProposalFile:
    """The bytes as they were, None where there was no file, and as they will be."""

    path: str
    old: bytes | None
    new: bytes

    @property
    def text(self) -> str:
        return self.new.decode()

    @property
    def added(self) -> str:
        """The lines that a review will show."""
        if self.old is None:
            return self.text
        before = 0
        while before < len(self.old) and self.old[before] == self.new[before]:
            before += 1
        length = len(self.new) - len(self.old)
        return self.new[before : before + length].decode(errors="replace").strip("\r\n")


def proposal_file(root: Path, tree: FileTree, proposal: Proposal) -> ProposalFile:
    """The drive's file in `tree`, of the site at `root`, with the proposal at its end.

    Raises ValueError where nothing can be put into the file without touching it, and
    UnreadableFileError where it cannot be read.
    """
    ident = proposal.machine.ident
    there = tree.paths()
    # A machine that was renamed may have its settings under the old name.
    paths = [f"setpoints/{name}.yaml" for name in (ident, *proposal.machine.formerly)]
    path = next((one for one in paths if one in there), paths[0])
    if path not in there:
        schema = schema_path_of(root, "setpoints", depth=1)
        return ProposalFile(path=path, old=None, new=new_file(proposal.change(), schema))
    old = tree.read(path)
    return ProposalFile(path=path, old=old, new=appended(old, proposal.change(), ident))


def write_over(root: Path, made: ProposalFile) -> Path:
    """Put the new bytes in the place of the old, whole or not at all.

    Raises FileExistsError where somebody changed the file since it was read, OSError where it
    cannot be written, and UnconfirmedError where it stands but may not survive a loss of power.
    """
    target = root / made.path
    if not target.parent.resolve().is_relative_to(root.resolve()):
        raise OSError(f"{target.parent} leads out of the site through a link")
    if made.old is None:
        create_file(target, made.new)
    elif target.read_bytes() != made.old:
        raise FileExistsError(f"{made.path} was changed since it was read; propose again")
    else:
        replace_file(target, made.new)
    return target


def new_file(change: Mapping[str, Any], schema_path: str) -> bytes:
    """A file of settings with its first change, and the editor's modeline on its first line."""
    modeline = f"# yaml-language-server: $schema={schema_path}\n"
    return (modeline + _item(change, dash=0, keys=2, line_end="\n")).encode()


def appended(old: bytes, change: Mapping[str, Any], ident: str) -> bytes:
    """The bytes of a sound file of settings with one more change at its end.

    Indentation, the style of the list and the line ends are those of the file. Raises ValueError
    where the file would not read back as its old changes and the new one.
    """
    at, item = insertion(old, change)
    new = old[:at] + item + old[at:]
    before, after = _value(old, ident), _value(new, ident)
    if before is None or after != [*before, dict(change)]:
        raise ValueError("the file is laid out so that nothing can be put in without touching it")
    return new


def with_approval(old: bytes, by: str, on: date, ident: str) -> bytes:
    """The bytes of a sound file of settings with its last change approved.

    Raises ValueError where that is no open proposal, or nothing can be put in without touching it.
    """
    changes = _value(old, ident)
    last = changes[-1] if changes else {}
    if not changes or last.get("approved_by") or last.get("withdrawn"):
        raise ValueError("its last change is no open proposal")
    approval = {"approved_by": by, "approved_on": on.isoformat()}
    bom, text, line_end, every = _opened(old)
    node = every.value[-1]
    indent = " " * node.start_mark.column
    lines = "".join(f"{indent}{key}: {value}{line_end}" for key, value in approval.items())
    index, lines = _at_end(text, lines, line_end)
    new = old[:bom] + (text[:index] + lines + text[index:]).encode()
    if node.flow_style or _value(new, ident) != [*changes[:-1], {**last, **approval}]:
        raise ValueError("the file is laid out so that nothing can be put in; write it by hand")
    return new


def insertion(old: bytes, change: Mapping[str, Any]) -> tuple[int, bytes]:
    """Where in `old`, a sound file with a list of changes, which bytes are put in."""
    bom, text, line_end, changes = _opened(old)
    last = changes.value[-1]
    if changes.flow_style:
        index = last.end_mark.index
        item = f",{line_end}  {json.dumps(dict(change), ensure_ascii=False)}"
    else:
        dash, keys = changes.start_mark.column, last.start_mark.column
        item = _item(change, dash=dash, keys=keys, line_end=line_end)
        index, item = _at_end(text, item, line_end)
    return bom + len(text[:index].encode()), item.encode()


def _opened(old: bytes) -> tuple[int, str, str, Any]:
    """How long the file's byte order mark is, its text, how its lines end, and its list."""
    bom = len(_BOM) if old.startswith(_BOM) else 0
    text = old[bom:].decode()
    changes = YAML(typ="safe", pure=True).compose(text)
    return bom, text, "\r\n" if "\r\n" in text else "\n", changes


def _at_end(text: str, lines: str, line_end: str) -> tuple[int, str]:
    """Where lines are put to end the document, before its mark if it has one, and so that they do
    not go on with its last line.
    """
    events = YAML(typ="safe", pure=True).parse(text)
    end = next(event for event in events if isinstance(event, DocumentEndEvent))
    index = int(end.start_mark.index) if end.explicit else len(text)
    return index, line_end * (index > 0 and text[index - 1] != "\n") + lines


def _item(change: Mapping[str, Any], *, dash: int, keys: int, line_end: str) -> str:
    body = CommentedMap(change)
    # As days they are written without quotes, like those that a person types.
    body |= {key: date.fromisoformat(change[key]) for key in _DAYS if key in change}
    if "evidence" in change:
        body["evidence"] = in_one_line(change["evidence"])
    lines = yaml_text(body).splitlines()
    starts = [" " * dash + "-".ljust(keys - dash), *([" " * keys] * (len(lines) - 1))]
    return "".join(start + line + line_end for start, line in zip(starts, lines, strict=True))


def _value(raw: bytes, ident: str) -> Any:
    """What a reader of the file makes of it; None where it finds anything wrong."""
    source = Source(kind=Kind.SETPOINTS, path=f"setpoints/{ident}.yaml", ident=ident)
    document, diagnostics = parse_document(source, raw)
    return None if document is None or diagnostics else document.value

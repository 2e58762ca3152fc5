"""The starter programme: machines, tasks and parts that a new site copies and then makes its own.

The files beside this module are those of a site repo, with these words to be put in, in braces:
`schema` (where the schema of the file's kind lies), `station` in a machine, and in the files of
`site/` also `date`, `person`, `person_name`, `emails`, `site_name`, `time_zone` and
`approval_proof`.
A machine file is named by its kind. A task is copied where it selects something of the machines
that were asked for, a part where a copied task uses it.
"""

import json
import re
from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from ledger.files.document import as_list
from ledger.files.yaml_fast import accept
from ledger.filing.visit_file import schema_path
from ledger.values import dataclass

_FOLDER = Path(__file__).resolve().parent

_WORD = re.compile(r"\{([a-z_]+)\}")

_KIND_OR_TITLE = re.compile(r"(?m)^(?:kind|title): .*\n")

_BRITISH = {
    "tire": "tyre",
    "color": "colour",
    "neighbor": "neighbour",
    "canceled": "cancelled",
    "authorized": "authorised",
}

_BRITISH |= {word.capitalize(): british.capitalize() for word, british in _BRITISH.items()}

_AMERICAN_WORD = re.compile(rf"\b(?:{'|'.join(_BRITISH)})(?=s?\b)")

_ELECTRIC_POINTS = re.compile(r"(?m)^  (?:gearbox|motor): .*\n")

# What a machine that oil turns has in their place.
_OIL_POINTS = """\
  motor-seal: {kind: seal, name: Shaft seal of the hydraulic motor}
  motor-hoses: {kind: hose, name: Hoses at the hydraulic motor}
"""

_OIL_CAUTION = """\
cautions:
  - 'Goes through the skin. Oil: bleed the accumulator before a hose is touched.'
"""

_FIRST_TASKS = ("check-brush-speed", "grease-shaft-bearings", "look-at-nozzles")

_FIRST_BRUSH = "brush-1"


@dataclass(frozen=True, slots=True, kw_only=True)
class StarterMachine:
    """A machine to be made: its kind, the id that names its file, and its place in the walk."""

    kind: str
    ident: str
    station: int
    is_hydraulic: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Founder:
    """Who starts the site, when and where: `when` is local to `time_zone`.

    `emails` are the addresses the founder commits with, empty where they are not known;
    `approval_proof` is what has to stand behind an approval here.
    """

    ident: str
    name: str
    emails: tuple[str, ...]
    when: datetime
    time_zone: str
    approval_proof: str = "commit"


def starter_kinds() -> tuple[str, ...]:
    """The kinds of machine that the programme has, sorted."""
    return tuple(sorted(path.stem for path in (_FOLDER / "machines").glob("*.yaml")))


def programme(
    machines: Sequence[StarterMachine], *, schemas: str, units: str = "us"
) -> dict[str, str]:
    """Text of every machine, task and part by its path below the site root.

    In American English where the units are `us`, else in British. `schemas` is the folder of the
    schemas as seen from the site root, or an address. A kind that the programme does not have
    comes without points.
    """
    known = starter_kinds()
    files: dict[str, str] = {}
    facts: list[tuple[str, Mapping[str, Any]]] = []
    for machine in machines:
        is_known = machine.kind in known
        text = _filled(
            f"machines/{machine.kind}.yaml" if is_known else "site/bare-machine.yaml",
            kind=machine.kind,
            schema=schema_path(schemas, "machine", depth=1),
            station=str(machine.station),
        )
        if machine.is_hydraulic and _ELECTRIC_POINTS.search(text):
            text = _ELECTRIC_POINTS.sub("", text).replace("cautions:\n", _OIL_CAUTION) + _OIL_POINTS
        files[f"equipment/{machine.ident}.yaml"] = text
        facts.append((machine.kind, accept(text)))
    names = [path.stem for path in (_FOLDER / "tasks").glob("*.yaml")]
    on = {name: _task(name)["on"] for name in names}
    tasks = [name for name in names if any(_selects(on[name], *machine) for machine in facts)]
    files |= _task_files(tasks, schemas)
    return {path: _in_english(files[path], units) for path in sorted(files)}


def minimal_site(founder: Founder, site_name: str, *, schemas: str) -> dict[str, str]:
    """Text of every file of a small working site by path: one brush, its tasks and a proposal.

    No visit is among them: a record starts with what somebody did. The setting is an example and
    a proposal still, since nobody can be named who read it or agreed to it.
    """
    words = {
        "date": f"{founder.when:%Y-%m-%d}",
        "person": founder.ident,
        "person_name": json.dumps(founder.name, ensure_ascii=False),
        "emails": json.dumps(founder.emails, ensure_ascii=False),
        "site_name": json.dumps(site_name, ensure_ascii=False),
        "time_zone": founder.time_zone,
        "approval_proof": founder.approval_proof,
    }
    files: dict[str, str] = {}
    for template, kind, depth, path in (
        ("site", "site", 0, "site.yaml"),
        ("machine", "machine", 1, f"equipment/{_FIRST_BRUSH}.yaml"),
        ("setpoints", "setpoints", 1, f"setpoints/{_FIRST_BRUSH}.yaml"),
    ):
        schema = schema_path(schemas, kind, depth=depth)
        files[path] = _filled(f"site/{template}.yaml", schema=schema, **words)
    return dict(sorted({**files, **_task_files(_FIRST_TASKS, schemas)}.items()))


def _task_files(tasks: Sequence[str], schemas: str) -> dict[str, str]:
    """The files of tasks, and of the parts that they use."""
    parts = {part for task in tasks for part in _task(task).get("uses", ())}
    return {
        f"{kind}s/{name}.yaml": _filled(
            f"{kind}s/{name}.yaml", schema=schema_path(schemas, kind, depth=1)
        )
        for kind, names in (("task", tasks), ("part", parts))
        for name in names
    }


def _in_english(text: str, units: str) -> str:
    return text if units == "us" else _AMERICAN_WORD.sub(lambda found: _BRITISH[found[0]], text)


def _task(name: str) -> Mapping[str, Any]:
    task: Mapping[str, Any] = accept(_filled(f"tasks/{name}.yaml"))
    return task


def _filled(template: str, **words: str) -> str:
    """The template with its words put in, all at once so that no word is filled in another.

    A machine or task says of which template it was made: `like` matches it with those of others.
    """
    text = (_FOLDER / template).read_text(encoding="utf-8")
    if template.startswith(("machines/", "tasks/")):
        like = f"like: {Path(template).stem}\n"
        text = _KIND_OR_TITLE.sub(lambda found: found[0] + like, text, count=1)
    return _WORD.sub(lambda found: words.get(found[1], found[0]), text)


def _selects(on: Mapping[str, Any], kind: str, machine: Mapping[str, Any]) -> bool:
    """Whether a task of the programme, which names kinds alone, selects a place of the machine.

    What is done on machines with an energy may be done on any, once that is written down.
    """
    if "machines" in on and kind not in as_list(on["machines"]):
        return False
    if "points" not in on:
        return True
    kinds = as_list(on["points"])
    return any(point["kind"] in kinds for point in machine.get("points", {}).values())

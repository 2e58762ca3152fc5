"""`tunnelbook import`: an existing log becomes visits, row by row."""

import argparse
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from ledger.cli.command import Failure, OpenSite, Progress, add_site_option, fault_text, open_site
from ledger.cli.filing import ledger_of

if TYPE_CHECKING:
    from ledger.diagnostics import Diagnostic
    from ledger.edit.import_map import ImportMap
    from ledger.edit.import_rows import LogRow
    from ledger.edit.visit_file import VisitFile
    from ledger.model.ledger import Ledger

DESCRIPTION = (
    "Turn each row of an existing log (CSV) into a visit, and say what was refused and why."
)
EXAMPLES = """\
examples:
  tunnelbook import readings.csv --map map.yaml --dry-run
  tunnelbook import readings.csv --map map.yaml

A map says which column is what:

  # yaml-language-server: $schema=.schemas/import-map.schema.json
  when: {columns: [Date, Time], written: "%m/%d/%Y %H:%M"}
  by: {column: Tech, words: {MO: m-okafor}}
  meters: {vehicles: Cars}
  entries:
    - only_if: Passes
      fields:
        task: {always: check-brush-speed}
        at: {column: Machine, words: {Brush P2: brush-p2}}
        counted: Passes
        seconds: {always: 30}
    - only_if: Strip cm
      fields: {at: Machine, strip_length_mm: {column: Strip cm, unit: cm}}

The note of each visit names the log, the line and a mark of what the row says.
By that mark a row that is there already is known again, and not filed twice.
Beside these keys, as the log asks, a map has delimiter, encoding, decimal,
thousands and note; schemas/README.md explains every key.
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Plan:
    """The files of the rows that can be filed, by line, and why the others cannot."""

    files: dict[int, "VisitFile"]
    refused: dict[int, str]
    there: int


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("log", metavar="LOG.csv", help="the log, with headings in its first line")
    parser.add_argument("--map", required=True, metavar="MAP.yaml", help="which column is what")
    parser.add_argument("--dry-run", action="store_true", help="report and write nothing")
    add_site_option(parser)


def run(parsed: argparse.Namespace) -> int:
    from ledger.edit.import_rows import log_rows  # noqa: PLC0415

    by_map = _map(parsed.map)
    if by_map is None:
        return 1
    site = open_site(parsed.site, None, parsed.clock)
    ledger = ledger_of(site)
    try:
        rows = log_rows(_bytes(parsed.log), by_map)
    except ValueError as wrong:
        raise Failure(f"{parsed.log}: {wrong}") from None
    plan = _checked(site, _plan(site, ledger, rows, by_map, Path(parsed.log).name))
    if not parsed.dry_run:
        _write(site, plan)
    for line, why in sorted(plan.refused.items()):
        sys.stderr.write(f"{parsed.log}: line {line}: refused: {why}\n")
    filed = "would be filed" if parsed.dry_run else "filed"
    print(
        f"{len(rows)} rows: {len(plan.files)} {filed}, {plan.there} there already, "
        f"{len(plan.refused)} refused"
    )
    return 1 if plan.refused else 0


def _map(path: str) -> "ImportMap | None":
    from ledger.edit.import_map import read_map  # noqa: PLC0415
    from ledger.write import diagnostics_formats  # noqa: PLC0415

    by_map, found = read_map(path, _bytes(path))
    sys.stderr.write(diagnostics_formats.render(found, "text"))
    return by_map


def _bytes(path: str) -> bytes:
    try:
        return Path(path).read_bytes()
    except OSError as wrong:
        raise Failure(f"`{path}` cannot be read: {wrong.strerror}") from None


def _plan(
    site: OpenSite,
    ledger: "Ledger",
    rows: "Sequence[LogRow]",
    by_map: "ImportMap",
    log_name: str,
) -> _Plan:
    from ledger.edit.import_rows import marks_filed, row_visit  # noqa: PLC0415
    from ledger.edit.visit_file import visit_file  # noqa: PLC0415

    filed = marks_filed(ledger.visits)
    plan = _Plan(files={}, refused={}, there=sum(row.mark in filed for row in rows if row.mark))
    taken: set[str] = set()
    with Progress() as progress:
        for done, row in enumerate(rows, 1):
            progress.show(done, len(rows))
            if row.mark in filed:
                continue
            if row.flaw:
                plan.refused[row.line] = row.flaw
                continue
            try:
                made = row_visit(row, by_map, ledger.site.zone, log_name)
                file = visit_file(site.root, made.visit, made.when, taken)
            except (ValueError, FileExistsError) as wrong:
                plan.refused[row.line] = str(wrong)
                continue
            if file.diagnostics:
                plan.refused[row.line] = "; ".join(map(_words, file.diagnostics))
                continue
            taken.add(file.ident)
            plan.files[row.line] = file
    return plan


def _checked(site: OpenSite, plan: _Plan) -> _Plan:
    """The plan without the rows that are at fault once the whole site is looked at together."""
    from ledger.edit.overlay import WithNewFiles  # noqa: PLC0415
    from ledger.pipeline import load  # noqa: PLC0415
    from ledger.source.tree import DiskTree  # noqa: PLC0415

    new = {file.path: file.text for file in plan.files.values()}
    with Progress() as progress:
        loaded = load(WithNewFiles(tree=DiskTree(site.root), new=new), progress.show)
    why: dict[str, list[str]] = {}
    for found in loaded.diagnostics:
        if found.is_error:
            why.setdefault(found.position.path, []).append(_words(found))
    at_fault = {line: why[f.path] for line, f in plan.files.items() if f.path in why}
    return _Plan(
        files={line: file for line, file in plan.files.items() if line not in at_fault},
        refused=plan.refused | {line: "; ".join(words) for line, words in at_fault.items()},
        there=plan.there,
    )


def _write(site: OpenSite, plan: _Plan) -> None:
    from ledger.edit.visit_file import write_new  # noqa: PLC0415
    from ledger.source.save import UnconfirmedError, remove_leftovers  # noqa: PLC0415

    remove_leftovers(site.root)
    for done, file in enumerate(plan.files.values()):
        try:
            write_new(site.root, file.path, file.text)
        except OSError as wrong:
            filed = done + isinstance(wrong, UnconfirmedError)
            raise Failure(
                f"{fault_text(wrong)}; {filed} of {len(plan.files)} visits were filed, "
                "and running it again files the rest"
            ) from None


def _words(found: "Diagnostic") -> str:
    from ledger.write.escape import log_text  # noqa: PLC0415

    wanted = f"; expected {found.expected}" if found.expected else ""
    if found.nearest:
        wanted = f"; did you mean `{found.nearest}`?"
    return log_text(f"{found.message}{wanted}")

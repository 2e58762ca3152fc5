"""`tunnelbook import`: an existing log becomes visits, row by row."""

import argparse
import sys
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from ledger.cli.command import Failure, OpenSite, Progress, add_site_option, fault_text, open_site
from ledger.cli.filing import ledger_of

if TYPE_CHECKING:
    from ledger.files.diagnostics import Diagnostic
    from ledger.filing.import_map import ImportMap
    from ledger.filing.import_rows import Log
    from ledger.filing.import_visits import LostRows, Refusal, RowVisit
    from ledger.filing.visit_file import VisitFile
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
    - only_if: {column: Greased, yes: [lubed], no: [dry]}
      fields: {task: {always: grease-shaft-bearings}, at: Machine}

Words such as yes, x, done and 1 say yes by themselves, and words such as no, -,
0 and an empty cell say no. A row with any other word is refused.

A row is filed whole or not at all. The note of its visit names the log, the line
and a mark of what the row says. By that mark a row that is there already is known
again, and not filed twice, whatever the map says by then. A row that was changed in
the log since is refused; put its visit right with `tunnelbook correct`.

Beside these keys, as the log asks, a map has delimiter, encoding, decimal, thousands
and note; schemas/README.md explains every key.
"""


# Some 300,000 rows; a device that never ends is not read without end.
_MOST_BYTES = 32 * 2**20


@dataclass(frozen=True, slots=True, kw_only=True)
class _Row:
    """A row that can be filed so far, and its file."""

    made: "RowVisit"
    file: "VisitFile"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Plan:
    """The rows of a log by what becomes of them; every row is in one of the four."""

    rows: "Sequence[_Row]"
    refused: "Sequence[Refusal]"
    there: int
    empty: Sequence[int]


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("log", metavar="LOG.csv", help="the log, with headings in its first line")
    parser.add_argument("--map", required=True, metavar="MAP.yaml", help="which column is what")
    parser.add_argument(
        "--dry-run", action="store_true", help="show the visits, report, and write nothing"
    )
    add_site_option(parser)


def run(parsed: argparse.Namespace) -> int:
    from ledger.filing.import_rows import read_log  # noqa: PLC0415

    by_map = _map(parsed.map)
    site = open_site(parsed.site, None, parsed.clock)
    ledger = ledger_of(site)
    try:
        log = read_log(_bytes(parsed.log), by_map)
    except ValueError as wrong:
        raise Failure(f"{parsed.log}: {wrong}") from None
    plan = _checked(site, _plan(site, ledger, log, by_map, Path(parsed.log).name))
    if parsed.dry_run:
        for row in plan.rows:
            print(f"# {row.file.path}\n{row.file.text}")
        sys.stdout.flush()
    else:
        _write(site, plan)
    refused = _report(parsed.log, log, plan)
    filed = "would be filed" if parsed.dry_run else "filed"
    print(
        f"{len(log.rows)} rows: {len(plan.rows)} {filed}, {plan.there} there already, "
        f"{refused} refused, {len(plan.empty)} with nothing to file"
    )
    return 1 if refused else 0


def _report(log_name: str, log: "Log", plan: _Plan) -> int:
    """Says what of the log is not filed and why; how many rows are refused."""
    from ledger.book.escape import log_text  # noqa: PLC0415
    from ledger.cli.import_report import lines_text, refusal_lines  # noqa: PLC0415

    told = list(refusal_lines(plan.refused))
    if plan.empty:
        told.append(f"{lines_text(plan.empty)}: nothing to file: no entry of the map applies")
    if log.unnamed:
        told.append(f"not in the map, so not filed: {', '.join(log.unnamed)}")
    for text in told:
        sys.stderr.write(log_text(f"{log_name}: {text}") + "\n")
    return len({refusal.line for refusal in plan.refused})


def _map(path: str) -> "ImportMap":
    from ledger.cli import diagnostics_forms  # noqa: PLC0415
    from ledger.filing.import_map import read_map  # noqa: PLC0415

    by_map, found = read_map(path, _bytes(path))
    if by_map is None:
        sys.stderr.write(diagnostics_forms.render(found, "text"))
        raise Failure(f"nothing was filed, as {path} has errors")
    return by_map


def _bytes(path: str) -> bytes:
    try:
        with Path(path).open("rb") as opened:
            found = opened.read(_MOST_BYTES + 1)
    except OSError as wrong:
        raise Failure(f"`{path}` cannot be read: {wrong.strerror}") from None
    if len(found) > _MOST_BYTES:
        raise Failure(f"`{path}` is larger than {_MOST_BYTES // 2**20} MiB; split it")
    return found


def _plan(
    site: OpenSite, ledger: "Ledger", log: "Log", by_map: "ImportMap", log_name: str
) -> _Plan:
    from ledger.filing.import_visits import (  # noqa: PLC0415
        LostRows,
        origins_of,
        row_visit,
    )

    origins = origins_of(ledger.visits)
    filed = {origin.mark for origin in origins}
    lost = LostRows(log_name, log, origins)
    refused: list[Refusal] = []
    empty: list[int] = []
    new: list[RowVisit] = []
    there = 0
    for row in log.rows:
        if row.mark in filed:
            there += 1
            continue
        made = row_visit(row, by_map, ledger.site.zone, log_name)
        if made == ():
            empty.append(row.line)
        elif isinstance(made, tuple):
            refused.extend(made)
        elif lost.take_same(made.when, made.visit):
            there += 1
        else:
            new.append(made)
    rows: list[_Row] = []
    with Progress() as progress:
        taken: set[str] = set()
        for done, made in enumerate(new, 1):
            progress.show(done, len(new))
            file = _file_of(site, made, lost, taken)
            if isinstance(file, list):
                refused.extend(file)
            else:
                taken.add(file.ident)
                rows.append(_Row(made=made, file=file))
    return _Plan(rows=rows, refused=refused, there=there, empty=empty)


def _file_of(
    site: OpenSite, made: "RowVisit", lost: "LostRows", taken: set[str]
) -> "VisitFile | list[Refusal]":
    """The file of a row's visit, or why it cannot be filed."""
    from ledger.filing.import_visits import Refusal  # noqa: PLC0415
    from ledger.filing.visit_file import visit_file  # noqa: PLC0415

    changed = lost.changed_from(made.when, made.visit)
    if changed is not None:
        why = (
            f"{changed.ident} came from a row of the same time and person that this log does not "
            "have; if it was this row, now changed, use `tunnelbook correct`; if this is other "
            "work, use `tunnelbook record`"
        )
        return [Refusal(line=made.row.line, why=why)]
    try:
        file = visit_file(site.root, made.visit, made.when, taken)
    except (OSError, ValueError) as wrong:
        return [Refusal(line=made.row.line, why=str(wrong))]
    return list(_refusals(made, file, file.diagnostics)) or file


def _checked(site: OpenSite, plan: _Plan) -> _Plan:
    """The plan without the rows that are at fault once the whole site is looked at together."""
    from ledger.files.tree import (  # noqa: PLC0415
        DiskTree,
        WithNewFiles,
    )
    from ledger.site.pipeline import load  # noqa: PLC0415

    new = {row.file.path: row.file.text for row in plan.rows}
    with Progress() as progress:
        loaded = load(WithNewFiles(tree=DiskTree(site.root), new=new), progress.show)
    errors: dict[str, list[Diagnostic]] = {}
    for found in loaded.diagnostics:
        if found.is_error:
            errors.setdefault(found.position.path, []).append(found)
    at_fault = [row for row in plan.rows if row.file.path in errors]
    refused = [
        refusal
        for row in at_fault
        for refusal in _refusals(row.made, row.file, errors[row.file.path])
    ]
    return _Plan(
        rows=[row for row in plan.rows if row.file.path not in errors],
        refused=sorted([*plan.refused, *refused], key=lambda refusal: refusal.line),
        there=plan.there,
        empty=plan.empty,
    )


def _refusals(
    made: "RowVisit", file: "VisitFile", errors: "Iterable[Diagnostic]"
) -> "Iterator[Refusal]":
    from ledger.filing.import_visits import refusal_of  # noqa: PLC0415

    for found in errors:
        yield refusal_of(made, file.text, found.position, _words(found))


def _write(site: OpenSite, plan: _Plan) -> None:
    from ledger.files.save import UnconfirmedError, remove_leftovers  # noqa: PLC0415
    from ledger.filing.visit_file import write_new  # noqa: PLC0415

    remove_leftovers(site.root)
    for done, row in enumerate(plan.rows):
        try:
            write_new(site.root, row.file.path, row.file.text)
        except OSError as wrong:
            filed = done + isinstance(wrong, UnconfirmedError)
            raise Failure(
                f"{fault_text(wrong)}; {filed} of {len(plan.rows)} visits were filed, "
                "and running it again files the rest"
            ) from None


def _words(found: "Diagnostic") -> str:
    if found.nearest:
        return f"{found.message}; did you mean `{found.nearest}`?"
    return f"{found.message}; expected {found.expected}" if found.expected else found.message

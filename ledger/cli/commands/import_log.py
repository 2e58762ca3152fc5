"""`tunnelbook import`: an existing log becomes visits, row by row."""

import argparse
import sys
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from ledger.cli.arguments import SITE_OPTION, arg, command, flag
from ledger.cli.command import (
    Failure,
    OpenSite,
    fault_text,
    load_with,
    open_site,
    print_faults,
    progress_bar,
)
from ledger.cli.filing import ledger_of

if TYPE_CHECKING:
    from ledger.files.diagnostics import Diagnostic
    from ledger.filing.import_map import ImportMap
    from ledger.filing.import_rows import Log
    from ledger.filing.import_visits import LostRows, Refusal, RowVisit
    from ledger.filing.visit_file import VisitFile
    from ledger.model.ledger import Ledger

# Some 300,000 rows; a device that never ends is not read without end.
_MOST_BYTES = 32 * 2**20


@dataclass(frozen=True, slots=True, kw_only=True)
class _Plan:
    """The rows of a log by what becomes of them; every row is in one of the four."""

    rows: "Sequence[tuple[RowVisit, VisitFile]]"
    refused: "Sequence[Refusal]"
    there: int
    empty: Sequence[int]


def _import(parsed: argparse.Namespace) -> int:
    from ledger.filing.import_rows import read_log

    by_map = _map(parsed.map)
    site = open_site(parsed.site, None, parsed.clock)
    ledger = ledger_of(site)
    try:
        log = read_log(_bytes(parsed.log), by_map)
    except ValueError as error:
        raise Failure(f"{parsed.log}: {error}") from None
    plan = _checked(site, _plan(site, ledger, log, by_map, Path(parsed.log).name))
    if parsed.dry_run:
        for _, file in plan.rows:
            print(f"# {file.path}\n{file.text}")
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


def _map(path: str) -> "ImportMap":
    from ledger.filing.import_map import read_map

    by_map, found = read_map(path, _bytes(path))
    if by_map is None:
        print_faults(found)
        raise Failure(f"nothing was filed, as {path} has errors")
    return by_map


def _bytes(path: str) -> bytes:
    try:
        with Path(path).open("rb") as opened:
            found = opened.read(_MOST_BYTES + 1)
    except OSError as error:
        raise Failure(f"`{path}` cannot be read: {error.strerror}") from None
    if len(found) > _MOST_BYTES:
        raise Failure(f"`{path}` is larger than {_MOST_BYTES // 2**20} MiB; split it")
    return found


def _plan(
    site: OpenSite, ledger: "Ledger", log: "Log", by_map: "ImportMap", log_name: str
) -> _Plan:
    from ledger.filing.import_visits import LostRows, origins_of, row_visit

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
    rows: list[tuple[RowVisit, VisitFile]] = []
    taken: set[str] = set()
    with progress_bar() as show:
        for done, made in enumerate(new, 1):
            show(done, len(new))
            file = _file_of(site, made, lost, taken)
            if isinstance(file, list):
                refused.extend(file)
            else:
                taken.add(file.ident)
                rows.append((made, file))
    return _Plan(rows=rows, refused=refused, there=there, empty=empty)


def _file_of(
    site: OpenSite, made: "RowVisit", lost: "LostRows", taken: set[str]
) -> "VisitFile | list[Refusal]":
    """The file of a row's visit, or why it cannot be filed."""
    from ledger.filing.import_visits import Refusal
    from ledger.filing.visit_file import visit_file

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
    except (OSError, ValueError) as error:
        return [Refusal(line=made.row.line, why=str(error))]
    return list(_refusals(made, file, file.diagnostics)) or file


def _checked(site: OpenSite, plan: _Plan) -> _Plan:
    """The plan without the rows that are at fault once the whole site is looked at together."""
    with progress_bar() as show:
        loaded = load_with(site.root, {file.path: file.text for _, file in plan.rows}, show)
    errors: dict[str, list[Diagnostic]] = {}
    for found in loaded.diagnostics:
        if found.is_error:
            errors.setdefault(found.position.path, []).append(found)
    refused = [
        refusal
        for made, file in plan.rows
        for refusal in _refusals(made, file, errors.get(file.path, ()))
    ]
    return replace(
        plan,
        rows=[row for row in plan.rows if row[1].path not in errors],
        refused=sorted([*plan.refused, *refused], key=lambda refusal: refusal.line),
    )


def _refusals(
    made: "RowVisit", file: "VisitFile", errors: "Iterable[Diagnostic]"
) -> "Iterator[Refusal]":
    from ledger.filing.import_visits import refusal_of

    for found in errors:
        why = found.message
        if found.nearest:
            why += f"; did you mean `{found.nearest}`?"
        elif found.expected:
            why += f"; expected {found.expected}"
        yield refusal_of(made, file.text, found.position, why)


def _write(site: OpenSite, plan: _Plan) -> None:
    from ledger.files.save import UnconfirmedError, remove_leftovers
    from ledger.filing.visit_file import write_new

    remove_leftovers(site.root)
    for done, (_, file) in enumerate(plan.rows):
        try:
            write_new(site.root, file.path, file.text)
        except OSError as error:
            filed = done + isinstance(error, UnconfirmedError)
            raise Failure(
                f"{fault_text(error)}; {filed} of {len(plan.rows)} visits were filed, "
                "and running it again files the rest"
            ) from None


def _report(log_name: str, log: "Log", plan: _Plan) -> int:
    """Says what of the log is not filed and why; how many rows are refused."""
    from ledger.book.escape import log_text

    report = list(refusal_lines(plan.refused))
    if plan.empty:
        report.append(f"{lines_text(plan.empty)}: nothing to file: no entry of the map applies")
    if log.unnamed:
        report.append(f"not in the map, so not filed: {', '.join(log.unnamed)}")
    for text in report:
        sys.stderr.write(log_text(f"{log_name}: {text}") + "\n")
    return len({refusal.line for refusal in plan.refused})


_MOST_LINES = 40

_MOST_CELLS = 8

_MOST_CAUSES = 50


def refusal_lines(refused: "Iterable[Refusal]") -> Iterator[str]:
    """One line for each cause, with the rows, the column and what stands there."""
    causes: dict[tuple[tuple[str, ...], str], list[Refusal]] = {}
    for one in refused:
        cause = (one.columns, one.why.replace(f"`{one.cell}`", ""))
        causes.setdefault(cause, []).append(one)
    for number, ((columns, _), group) in enumerate(causes.items()):
        if number == _MOST_CAUSES:
            yield f"and {len(causes) - number} more causes"
            return
        names = " and ".join(f"`{name}`" for name in columns)
        where = f"{_plural('column', columns)} {names}: " if columns else ""
        cells = list(dict.fromkeys(f"`{one.cell}`" for one in group))
        also = f"; likewise {_capped(cells[1:], _MOST_CELLS)}" if len(cells) > 1 else ""
        lines = lines_text([one.line for one in group])
        yield f"{lines}: refused: {where}{group[0].why}{also}"


def lines_text(lines: Iterable[int]) -> str:
    """The lines of some rows: `line 4`, or `lines 4, 9 and 12 more`."""
    numbers = [str(line) for line in dict.fromkeys(lines)]
    return f"{_plural('line', numbers)} {_capped(numbers, _MOST_LINES)}"


def _plural(noun: str, of: Sequence[str]) -> str:
    return noun if len(of) == 1 else f"{noun}s"


def _capped(words: Sequence[str], most: int) -> str:
    text = ", ".join(words[:most])
    return f"{text} and {len(words) - most} more" if len(words) > most else text


COMMANDS = {
    "import": command(
        _import,
        "Turn each row of an existing log (CSV) into a visit, and say what was refused and why.",
        """\
  tunnelbook import readings.csv --map map.yaml --dry-run
  tunnelbook import readings.csv --map map.yaml

A map says which column is what:

  # yaml-language-server: $schema=.schemas/import-map.schema.json
  when: {columns: [Date, Time], written: "%m/%d/%Y %H:%M"}
  by: {column: Tech, words: {MO: m-osterby}}
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
""",
        arg("log", "LOG.csv", "the log, with headings in its first line"),
        arg("--map", "MAP.yaml", "which column is what", required=True),
        flag("--dry-run", "show the visits, report, and write nothing"),
        SITE_OPTION,
    )
}

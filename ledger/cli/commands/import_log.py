"""`tunnelbook import`: an existing log becomes visits, row by row."""

import os
import sys
from argparse import Namespace
from collections.abc import Collection, Iterable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from ledger.cli import command as cli
from ledger.cli.arguments import arg, command, one_of
from ledger.cli.command import Failure, FaultyFiles, OpenSite
from ledger.cli.conversation import ask_until, say, someone_is_there
from ledger.cli.environment import require
from ledger.cli.filing import ledger_of
from ledger.files.save import UnconfirmedError, create_file, remove_leftovers
from ledger.files.tree import DiskTree, WithNewFiles

if TYPE_CHECKING:
    from ledger.files.diagnostics import Diagnostic
    from ledger.filing.import_map import ImportMap
    from ledger.filing.import_rows import Log
    from ledger.filing.import_visits import Plan, Refusal
    from ledger.model.ledger import Ledger

# Some 300,000 rows; a device that never ends is not read without end.
_MOST_BYTES = 32 * 2**20


def _import(parsed: Namespace) -> int:
    from ledger.filing.import_rows import is_workbook, read_log
    from ledger.filing.import_visits import FiledRows, Plan

    by_map = None if parsed.map is None else _map(parsed.map)
    site = cli.open_site(parsed)
    ledger = ledger_of(site)
    content = _bytes(parsed.log)
    if is_workbook(content):
        require("python_calamine", "a log that is a workbook")
    if by_map is None:
        return _draft(parsed, site, ledger, content)
    try:
        log = read_log(content, by_map)
    except ValueError as error:
        raise Failure(f"{parsed.log}: {error}") from None
    plan = Plan(site.root, FiledRows(Path(parsed.log).name, log, by_map, ledger.visits))
    with cli.progress_bar() as show:
        plan.read(ledger.site.zone, show)
    while errors := _errors_on_site(site, plan):
        plan.leave_out(errors)
    plan.refused.sort(key=lambda refusal: refusal.line)
    if parsed.dry_run:
        for _, file in plan.rows:
            print(f"# {file.path}\n{file.text}")
        sys.stdout.flush()
    else:
        _write(site, plan)
        parsed.answer.written += [file.path for _, file in plan.rows]
    in_part = {made.row.line for made, _ in plan.rows if made.left_out}
    _report(parsed.log, log, plan, in_part)
    refused = {refusal.line for refusal in plan.refused} - in_part
    filed = "would be filed" if parsed.dry_run else "filed"
    if in_part:
        filed += f", {len(in_part)} of them in part"
    print(
        f"{len(log.rows)} rows: {len(plan.rows)} {filed}, {plan.there} there already, "
        f"{len(refused)} refused, {len(plan.empty)} with nothing to file"
    )
    return 1 if plan.refused else 0


def _draft(parsed: Namespace, site: OpenSite, ledger: "Ledger", content: bytes) -> int:
    """Writes a first map, says what it takes the columns for, and asks what only a person knows."""
    from ledger.filing.import_draft import draft_map
    from ledger.filing.visit_file import schema_base

    target, base = Path(parsed.draft), schema_base(site.root)
    folder = base if "://" in base else os.path.relpath(site.root / base, target.parent)
    try:
        said, text = draft_map(content, ledger, _asked, f"{folder}/import-map.schema.json")
        if not parsed.dry_run:
            create_file(target, text.encode())
    except FileExistsError:
        raise Failure(f"`{target}` is there already; move it away, or name another") from None
    except ValueError as error:
        raise Failure(f"{parsed.log}: {error}") from None
    for line in said:
        say(line)
    if parsed.dry_run:
        print(text, end="")
    cli.say_written(parsed, target)
    print("read it, and correct what is not so; then say --map in place of --draft")
    return 0


def _asked(question: str, choices: Sequence[str]) -> str:
    """Which of some words a person at the terminal says it is, or what number; "" for neither."""
    if not someone_is_there() or isinstance(sys.stdout, cli.Held):
        return ""
    numbered = ", ".join(f"{number} {word}" for number, word in enumerate(choices, 1))

    def answer(text: str) -> str:
        if not text or text in choices:
            return text
        if text.isdecimal() and not choices:
            return text
        if text.isdecimal() and 1 <= int(text) <= len(choices):
            return choices[int(text) - 1]
        raise ValueError(f"type one of {numbered or 'the numbers'}, or Enter to leave it open")

    say(f"{question}{numbered and f' {numbered}'}")
    return ask_until("  (Enter leaves it to be filled in): ", answer)


def _map(path: str) -> "ImportMap":
    from ledger.filing.import_map import read_map

    by_map, found = read_map(path, _bytes(path))
    if by_map is None:
        cli.print_faults(found)
        raise FaultyFiles(f"nothing was filed, as {path} has errors")
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


def _errors_on_site(site: OpenSite, plan: "Plan") -> "dict[str, list[Diagnostic]]":
    """What is wrong with the visits once the whole site is looked at together, by their paths."""
    from ledger.site.pipeline import load

    new = {file.path: file.text for _, file in plan.rows}
    with cli.progress_bar() as show:
        loaded = load(WithNewFiles(tree=DiskTree(site.root), new=new), show)
    errors: dict[str, list[Diagnostic]] = {file.path: [] for _, file in plan.rows}
    for found in loaded.diagnostics:
        if found.is_error and found.position.path in errors:
            errors[found.position.path].append(found)
    return {path: found for path, found in errors.items() if found}


def _write(site: OpenSite, plan: "Plan") -> None:
    from ledger.filing.visit_file import write_new

    remove_leftovers(site.root)
    for done, (_, file) in enumerate(plan.rows):
        try:
            write_new(site.root, file.path, file.text)
        except OSError as error:
            filed = done + isinstance(error, UnconfirmedError)
            raise Failure(
                f"{cli.fault_text(error)}; {filed} of {len(plan.rows)} visits were filed, "
                "and running it again files the rest"
            ) from None


def _report(log_name: str, log: "Log", plan: "Plan", in_part: Collection[int]) -> None:
    """Says what of the log is not filed and why."""
    from ledger.book.escape import log_text

    report = list(refusal_lines(plan.refused, in_part))
    if plan.empty:
        report.append(f"{lines_text(plan.empty)}: nothing to file: no entry of the map applies")
    if log.unnamed:
        report.append(f"not in the map, so not filed: {', '.join(log.unnamed)}")
    for text in report:
        sys.stderr.write(log_text(f"{log_name}: {text}") + "\n")


_MOST_LINES = 40

_MOST_CELLS = 8

_MOST_CAUSES = 50


def refusal_lines(refused: "Iterable[Refusal]", in_part: Collection[int] = ()) -> Iterator[str]:
    """One line for each cause, with the rows, the column and what stands there.

    Of rows that are filed `in_part`, an entry is refused and the rest is not.
    """
    causes: dict[tuple[str, tuple[str, ...], str], list[Refusal]] = {}
    for one in refused:
        what = "one entry left out" if one.line in in_part else "refused"
        cause = (what, one.columns, one.why.replace(f"`{one.cell}`", ""))
        causes.setdefault(cause, []).append(one)
    for number, ((what, columns, _), group) in enumerate(causes.items()):
        if number == _MOST_CAUSES:
            yield f"and {len(causes) - number} more causes"
            return
        names = " and ".join(f"`{name}`" for name in columns)
        where = f"{_plural('column', columns)} {names}: " if columns else ""
        cells = list(dict.fromkeys(f"`{one.cell}`" for one in group))
        also = f"; likewise {_capped(cells[1:], _MOST_CELLS)}" if len(cells) > 1 else ""
        lines = lines_text([one.line for one in group])
        yield f"{lines}: {what}: {where}{group[0].why}{also}"


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
        "Turn each row of an existing log, a CSV file or a workbook, into a visit.",
        """\
  tunnelbook import readings.xlsx --draft map.yaml
  tunnelbook import readings.xlsx --map map.yaml --dry-run
  tunnelbook import readings.xlsx --map map.yaml

--draft lists the columns with their words, and writes a first map by the headings,
the words and the names of the site. What a log does not tell, such as whether
11/02/2026 is in November or in February, it asks at a terminal, or leaves to be
filled in. Read the map before you import by it:

  # yaml-language-server: $schema=.schemas/import-map.schema.json
  headings: 4
  when: {columns: [Date, Time], order: {slash: month-first}, time: "06:00"}
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
0 and an empty cell say no. An entry with any other word is left out. A number may
have its unit behind it, and is converted where the key has another.

An entry with a bad cell is left out, and the others of its row are filed; put the
cell right in the log and run it again, and what is missing is filed. A row whose
day, person, meter or remark is bad is refused whole. The note of a visit names the
log, the line and a mark of what the row says. By that mark a row is never filed
twice, even if the map has changed. A row that was changed in the log since is
refused; put its visit right with `tunnelbook correct`.

Beside these keys, as the log asks, a map has sheet, delimiter, encoding, decimal,
thousands and note, and when has written; schemas/README.md explains every key.
""",
        arg("log", "LOG", "the log: CSV, xlsx, xls or ods"),
        one_of(
            arg("--map", "MAP.yaml", "which column is what"),
            arg("--draft", "MAP.yaml", "write a first map to this file"),
            required=True,
        ),
        takes="dry-run",
    )
}

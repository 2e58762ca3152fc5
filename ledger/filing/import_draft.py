"""A first map for a log: what its columns most likely are, and what only a person can say.

Nothing is guessed that a word of the log can be read two ways in: it is asked, or left to be filled
in. The map is read and corrected by a person before anything is filed by it.
"""

import re
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from itertools import takewhile
from typing import Any

from ledger.files.typed_moments import ORDERS, moments, sign_of_date
from ledger.files.units import unit_typed
from ledger.files.yaml_write import in_one_line, yaml_text
from ledger.filing import import_columns, import_rows
from ledger.filing.import_columns import BESIDE_WORK, SETTING_KEYS, Column, SiteNames, Use
from ledger.filing.import_map import DELIMITERS, is_moment
from ledger.model.ledger import Ledger
from ledger.model.readings import KEYS_OF_READING
from ledger.model.tasks import Task

Ask = Callable[[str, Sequence[str]], str]
"""Asks a person which of some words it is, or for a number where there are none; "" for neither."""


def draft_map(content: bytes, ledger: Ledger, ask: Ask, schema: str) -> tuple[list[str], str]:
    """The map for a log in a file's bytes, after a sentence on each column and on what is left.

    Raises ValueError, in words, where it cannot be read.
    """
    table, head = _read(content)
    lines = [line for line, _ in _rows_of_headings(table)]
    if lines != [1]:
        head["headings"] = lines if len(lines) > 1 else lines[0]
    headings, rows = import_rows.under_headings(table, lines[0], lines[-1])
    cells = [cells for _, cells in rows]
    columns = import_columns.classify(cells, headings, SiteNames(ledger), ledger.site.units)
    body = _Body(ledger, columns, ask)
    made = body.map(head)
    said = [_sentence_on(column, len(rows)) for column in columns]
    said += [f"To fill in: {one}" for one in body.left]
    return said, _text(made, said, schema)


def _sentence_on(column: Column, rows: int) -> str:
    words = Counter(column.cells).most_common()
    shown = ", ".join(f"{word} ({count})" for word, count in words[:_SHOWN])
    more = f" and {len(words) - _SHOWN} more" if len(words) > _SHOWN else ""
    meant = " ".join(filter(None, (column.place, column.key or "/".join(column.tasks))))
    use = f"{column.use}, {meant}" if meant else column.use
    return f"{column.heading}: {use}; {len(column.cells)} of {rows} filled: {shown}{more}"


def _read(content: bytes) -> tuple[import_rows.Table, dict[str, Any]]:
    """The table, and what a map has to say so that it is read so."""
    if import_rows.is_workbook(content):
        table = import_rows.read_workbook(content)
        return table, {"sheet": table.sheet} if len(table.sheets) > 1 else {}
    encoding, text = _decoded(content)
    name, delimiter = max(DELIMITERS.items(), key=lambda item: _columns_by(text, item[1]))
    dialect = {"encoding": encoding, "delimiter": name}
    usual = {"utf-8", "comma"}
    return import_rows.read_text(text, delimiter), {
        key: is_ for key, is_ in dialect.items() if is_ not in usual
    }


_NUMBERS = re.compile(r"[-+0-9.,:/ ]+")

_FIRST = 60
"""So many rows from the top tell how wide a log is, and where its headings stand."""


def _decoded(content: bytes) -> tuple[str, str]:
    """The encoding, as a map names it, and the text."""
    encoding = "utf-16" if content[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8"
    try:
        return encoding, content.decode(encoding.replace("utf-8", "utf-8-sig"))
    except UnicodeDecodeError:
        return "windows-1252", content.decode("windows-1252", "replace")


def _columns_by(text: str, delimiter: str) -> int:
    """How many cells the rows have together if they are parted so, and 0 where they cannot be."""
    try:
        rows = import_rows.read_text(text, delimiter).rows[:_FIRST]
    except ValueError:
        return 0
    return sum(len(cells) - 1 for _, cells in rows)


def _rows_of_headings(table: import_rows.Table) -> Sequence[tuple[int, tuple[str, ...]]]:
    """The first row that is about as full as any near the top, and holds no day and no number.

    With the row above where headings are repeated below it; or with that below where it names
    units, or stands under a gap.
    """
    first = table.rows[:_FIRST]
    filled = [[one.strip() for one in cells if one.strip()] for _, cells in first]
    fullest = max(map(len, filled), default=0)
    are_words = [
        len(cells) > 1
        and not any(_NUMBERS.fullmatch(one) or moments(one, is_moment) for one in cells)
        for cells in filled
    ]
    for at, cells in enumerate(filled):
        if not are_words[at] or len(cells) <= 0.6 * fullest:
            continue
        if at and are_words[at - 1] and len(set(cells)) < len(cells):
            return first[at - 1 : at + 1]
        if are_words[at + 1 : at + 2] == [True] and filled[at + 1] != cells:
            gaps = {place for place, cell in enumerate(first[at][1]) if not cell.strip()}
            below = {place for place, cell in enumerate(first[at + 1][1]) if cell.strip()}
            if gaps & below or any(map(unit_typed, filled[at + 1])):
                return first[at : at + 2]
        return first[at : at + 1]
    raise ValueError("no row looks like the headings of columns")


class _Body:
    """Makes the keys of the map from the columns; what is missing gathers in `left`."""

    def __init__(self, ledger: Ledger, columns: Sequence[Column], ask: Ask) -> None:
        self._ledger = ledger
        self._columns = columns
        self._ask = ask
        self._place: Any = None
        self.left: list[str] = []

    def _of(self, *uses: Use) -> list[Column]:
        return [column for column in self._columns if column.use in uses]

    def map(self, head: dict[str, Any]) -> dict[str, Any]:
        made = {**head, **self._signs()}
        if when := self._when():
            made["when"] = when
        if by := self._by():
            made["by"] = by
        if meters := {one.key: one.heading for one in self._of(Use.METER)}:
            made["meters"] = meters
        for column in self._of(Use.NOTE):
            made["note"] = column.heading
        made["entries"] = list(self._entries())
        if not made["entries"]:
            self.left.append("entries: no column is plainly work or a reading")
        return made

    def _choice(self, question: str, choices: Sequence[str]) -> str:
        """The only choice, or what a person says; "" once it is noted to be filled in."""
        answer = choices[0] if len(choices) == 1 else self._ask(question, choices)
        if not answer:
            self.left.append(f"{question} ({' or '.join(choices) or 'a number'})")
        return answer

    def _signs(self) -> dict[str, str]:
        """Which signs numbers have, by cells that can be read in one way only."""
        cells = [
            cell
            for column in self._of(Use.READING, Use.METER)
            for cell in column.cells
            if not isinstance(cell, import_rows.TypedNumber)
        ]

        def first(form: str) -> str:
            return next((cell for cell in cells if re.search(form, cell)), "")

        decimals = r"([0-9]{1,2}|[0-9]{4,})(?![0-9])"
        comma, point = first(f"[0-9],{decimals}"), first(f"[0-9][.]{decimals}")
        signs = {"decimal": "comma"} if comma and not point else {}
        name, sign = ("point", "[.]") if signs else ("comma", ",")
        example = first(rf"(?<![0-9])[0-9]{{1,3}}({sign}[0-9]{{3}})+(?![0-9])")
        if not example:
            return signs
        if comma or point:
            return {**signs, "thousands": name}
        question = f"Is the comma in `{example}` a sign between thousands?"
        meant = {"yes": "thousands", "no": "decimal"}.get(self._choice(question, ("yes", "no")))
        return {meant: name} if meant else {}

    def _when(self) -> dict[str, Any] | None:
        days, times = self._of(Use.DAY), self._of(Use.TIME)
        if not days:
            self.left.append("when: no column holds days; say which in `when`")
            return None
        when: dict[str, Any] = {"columns": [column.heading for column in (*days, *times)]}
        if order := dict(self._orders(days[0])):
            when["order"] = order
        # A day alone needs a time from somewhere.
        has_times = times and len(times[0].cells) >= len(days[0].cells)
        if not has_times and not all(
            "T" in min(_moments(one), default="") for one in days[0].cells
        ):
            when["time"] = _USUAL_TIME
        return when

    def _orders(self, column: Column) -> Iterator[tuple[str, str]]:
        """Which comes first in dates with each sign, where the dates tell, or a person does."""
        by_sign: dict[str, list[str]] = {}
        for cell in column.cells:
            by_sign.setdefault(sign_of_date(cell), []).append(cell)
        by_sign.pop("", None)
        for sign, cells in by_sign.items():
            orders = [set(moments(cell, is_moment)) & ORDERS.keys() for cell in cells]
            open_ = [cell for cell in cells if len(_moments(cell)) > 1]
            orders_found = Counter(next(iter(one)) for one in orders if len(one) == 1)
            (most, count), (_, fewer) = [*orders_found.most_common(), ("", 0), ("", 0)][:2]
            if count > _TIMES_MORE * fewer:
                yield sign, ORDERS[most]
            elif open_:
                question = f"{len(open_)} dates such as {open_[0]}: which comes first?"
                if answer := self._choice(question, tuple(ORDERS.values())):
                    yield sign, answer

    def _by(self) -> Any:
        for column in self._of(Use.PERSON):
            return self._words(column)
        people = tuple(self._ledger.site.people)
        answer = self._choice("No column says who did it. Who was it?", people)
        return {"always": answer} if answer else None

    def _words(self, column: Column) -> str | dict[str, Any]:
        """The source of ids in a column; of words that nobody knows it is said."""
        self._leave_words(column, "which id of the site is {}?")
        meanings = {cell: ident for cell, ident in column.words.items() if cell != ident}
        return {"column": column.heading, "words": meanings} if meanings else column.heading

    def _leave_words(self, column: Column, question: str) -> None:
        if column.unknown:
            words = ", ".join(f"`{word}`" for word in column.unknown)
            self.left.append(f"`{column.heading}`: {question.format(words)}")

    def _entries(self) -> Iterator[dict[str, Any]]:
        places, jobs = self._of(Use.PLACE), self._of(Use.TASK)
        self._place = self._words(places[0]) if places else None
        readings = [one for one in self._of(Use.READING) if one.key not in BESIDE_WORK]
        if jobs:
            yield self._of_job(jobs[0], [one for one in self._of(Use.READING) if not one.place])
            readings = [one for one in readings if one.place]
        for column in self._of(Use.TICK):
            yield from self._of_tick(column)
        at = dict.fromkeys(one.place for one in readings)
        for place in at:
            here = [one for one in readings if one.place == place]
            drive = [one for key in _OF_DRIVE for one in here if one.key == key]
            for columns in (drive, *([one] for one in here if one not in drive)):
                if columns:
                    yield from self._of_readings(columns)

    def _of_job(self, job: Column, readings: Sequence[Column]) -> dict[str, Any]:
        done = self._of(Use.DONE)
        headings = [one.heading for one in done] or [job.heading]
        # The sign of no column: nothing is filed before it is replaced.
        heading = self._choice("Which column says whether it was done?", headings) or "?"
        for column in done:
            self._leave_words(column, _YES_OR_NO)
        fields = {"task": self._words(job), **self._at(""), **self._fields(readings)}
        return {"only_if": heading, "fields": fields}

    def _of_tick(self, column: Column) -> Iterator[dict[str, Any]]:
        if not column.tasks:
            self.left.append(f"`{column.heading}`: no task of the site is called so; add an entry")
            return
        task = self._choice(f"Which task is `{column.heading}`?", column.tasks)
        if not task:
            return
        self._leave_words(column, _YES_OR_NO)
        # Strokes and minutes stand right behind a tick.
        behind = self._columns[self._columns.index(column) + 1 :]
        counted = takewhile(lambda one: one.key in BESIDE_WORK, behind)
        beside = [one for one in counted if not (one.place or self._of(Use.TASK))]
        yield {
            "only_if": column.heading,
            "fields": {"task": {"always": task}, **self._at(column.place), **self._fields(beside)},
        }

    def _of_readings(self, columns: Sequence[Column]) -> Iterator[dict[str, Any]]:
        kinds = {kind for kind, keys in KEYS_OF_READING.items() if columns[0].key in keys}
        read_at = self._places_of(columns[0])
        tasks = [
            one
            for one in self._ledger.tasks.values()
            if kinds & set(one.reads) and all(_is_done_at(one, at) for at in read_at)
        ]
        at = self._at(columns[0].place)
        if not at:
            machine_ids = dict.fromkeys(place.machine for one in tasks for place in one.places)
            machines = tuple(machine_ids or self._ledger.machines)
            answer = self._choice(f"Where was `{columns[0].heading}` read?", machines)
            if not answer:
                return
            at = {"at": {"always": answer}}
        task = {"task": {"always": tasks[0].ident}} if len(tasks) == 1 else {}
        yield {"only_if": columns[0].heading, "fields": {**task, **at, **self._fields(columns)}}

    def _places_of(self, column: Column) -> set[str]:
        """Where it was read, in so far as the rows say."""
        if column.place:
            return {column.place}
        named = {
            row: one.words[cell]
            for one in self._of(Use.PLACE)
            for row, cell in zip(one.rows, one.cells, strict=True)
            if cell in one.words
        }
        return {named[row] for row in column.rows if row in named}

    def _at(self, place: str) -> dict[str, Any]:
        source = {"always": place} if place else self._place
        return {"at": source} if source else {}

    def _fields(self, columns: Sequence[Column]) -> dict[str, Any]:
        """The sources of numbers by their keys; of two columns of one key the first."""
        fields: dict[str, Any] = {}
        for one in columns:
            source = {"column": one.heading, "unit": one.unit} if one.unit else one.heading
            fields.setdefault(one.key, source)
        if "counted" in fields and "seconds" not in fields:
            heading = next(one.heading for one in columns if one.key == "counted")
            match = import_columns.OVER_SECONDS.search(heading)
            question = f"For how many seconds was each count of `{heading}` taken?"
            seconds = match[1] if match else self._choice(question, ())
            if seconds:
                fields["seconds"] = {"always": int(seconds), "only_if": heading}
        return fields


_OF_DRIVE = ("counted", "seconds", *SETTING_KEYS)
"""Keys of one entry; the first that is there says whether a row has it."""

_YES_OR_NO = "do {} mean yes or no? (`only_if`)"

_USUAL_TIME = "06:00"

_TIMES_MORE = 20
"""Dates tell their order where so many times more can only be read in that one."""

_SHOWN = 8


def _is_done_at(task: Task, at: str) -> bool:
    machine, _, point = at.partition("/")
    return any(
        one.machine == machine and (not point or one.point in ("", point)) for one in task.places
    )


def _moments(cell: str) -> set[str]:
    return set(moments(cell, is_moment).values())


def _text(body: Mapping[str, Any], said: Sequence[str], schema: str) -> str:
    """The map as a file: what the columns are and what is left as comments, then its keys."""
    comments = ["A draft: read it, and correct what is not so.", *said]
    entries = [
        {key: in_one_line(value) for key, value in entry.items()} for entry in body["entries"]
    ]
    keys = {key: in_one_line(value) for key, value in body.items() if key != "entries"}
    return "".join(
        (
            f"# yaml-language-server: $schema={schema}\n",
            *(f"# {' '.join(one.split())}\n" for one in comments),
            yaml_text(keys) if keys else "",
            yaml_text({"entries": entries}) if entries else "",
        )
    )

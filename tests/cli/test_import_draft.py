"""`tunnelbook import --draft`: what a log does not tell is asked, or left to be filled in."""

import io
import re
import shutil
from datetime import date, time
from pathlib import Path

import openpyxl
import pytest
from sound_site import SOUND

ASK = "ledger.cli.commands.import_log"

LOG = """\
Date,Tech,Machine,Turns,Hz
11/02/2026,MT,P2,38,44
12/02/2026,MT,P2,"1,038",44
"""


@pytest.fixture
def wash(tmp_path) -> Path:
    shutil.copytree(SOUND, tmp_path / "wash")
    return tmp_path / "wash"


@pytest.fixture
def drafted(tunnelbook, wash, tmp_path):
    """The text of the draft for a log."""

    def run(log: str | bytes = LOG, name: str = "log.csv", *words: str, status: int = 0) -> str:
        (tmp_path / name).write_bytes(log if isinstance(log, bytes) else log.encode())
        by_map = tmp_path / "map.yaml"
        call = ("import", tmp_path / name, "--draft", by_map, "--site", wash, *words)
        assert tunnelbook(*call) == status, tunnelbook.err
        return by_map.read_text() if by_map.exists() else ""

    return run


@pytest.fixture
def answers(monkeypatch):
    """Somebody is at the terminal, and gives these answers."""

    def give(*given: str) -> None:
        left = list(given)
        monkeypatch.setattr(f"{ASK}.someone_is_there", lambda: True)
        monkeypatch.setattr("builtins.input", lambda _: left.pop(0))

    return give


QUESTIONS = (
    "2 dates such as 11/02/2026: which comes first?",
    "Is the comma in `1,038` a sign between thousands?",
    "For how many seconds was each count of `Turns` taken?",
)


def test_what_nobody_tells_is_left_to_be_filled_in(drafted, tunnelbook, wash, tmp_path):
    draft = drafted()
    for question in QUESTIONS:
        assert f"# To fill in: {question}" in draft
        assert f"To fill in: {question}" in " ".join(tunnelbook.out.split())
    assert "order" not in draft
    assert "thousands:" not in draft
    call = ("import", tmp_path / "log.csv", "--map", tmp_path / "map.yaml", "--site", wash)
    assert tunnelbook(*call) == 1
    assert (
        "lines 2, 3: refused: column `Date`: `11/02/2026` can be read month-first or day-first; "
        "say in the map which it is, as in order: {slash: month-first}; likewise `12/02/2026`"
    ) in tunnelbook.err


@pytest.mark.parametrize(
    ("given", "day"),
    [(("1", "month-first", "30"), "2026-11-02"), (("yes", "2", "30"), "2026-02-11")],
)
def test_at_a_terminal_it_is_asked(drafted, tunnelbook, wash, tmp_path, answers, given, day):
    answers("neither", *given)
    draft = drafted()
    assert "type one of 1 yes, 2 no, or Enter to leave it open" in tunnelbook.out
    assert "To fill in" not in draft
    assert "thousands: comma" in draft
    assert "seconds: {always: 30, only_if: Turns}" in draft
    log = tmp_path / "log.csv"
    log.write_text(log.read_text().replace('"1,038"', "38"))
    call = ("import", log, "--map", tmp_path / "map.yaml", "--site", wash)
    assert tunnelbook(*call) == 0, tunnelbook.err
    assert len(list((wash / "observations").rglob(f"{day}T0600-m-tarrow.yaml"))) == 1


def test_a_comma_may_stand_before_decimals(drafted, answers):
    answers("no", "", "30")
    assert "decimal: comma\n" in drafted()


def test_the_columns_are_listed_with_their_words(drafted, tunnelbook):
    draft = drafted(LOG + "13/02/2026,Bo,P2,38,-\n")
    listed = " ".join(tunnelbook.out.split())
    assert "Tech: who did it; 3 of 3 filled: MT (2), Bo (1)" in listed
    assert "# Tech: who did it; 3 of 3 filled: MT (2), Bo (1)\n" in draft
    assert "# To fill in: `Tech`: which id of the site is `Bo`?\n" in draft
    # One date that can only be read in one way tells how the others are meant.
    assert "order: {slash: day-first}" in draft


def test_a_dry_run_prints_the_map_and_writes_nothing(drafted, tunnelbook):
    assert drafted(LOG, "log.csv", "--dry-run") == ""
    assert "# yaml-language-server: $schema=wash/" in tunnelbook.out
    assert "would write" in tunnelbook.out


def test_a_map_that_is_there_is_not_written_over(drafted, tunnelbook):
    before = drafted()
    assert drafted(LOG + LOG, "log.csv", status=2) == before
    assert "map.yaml` is there already; move it away, or name another" in tunnelbook.err


def test_a_log_without_headings(drafted, tunnelbook):
    assert drafted("11/02/2026,MT,38\n", status=2) == ""
    assert "log.csv: no row looks like the headings of columns" in tunnelbook.err


def test_a_draft_says_how_a_text_file_is_written(drafted):
    log = "Wäsche\nDate;Tech;Temp °C\n3.11.26;MT;52,5\n15.11.26;MT;51\n".encode("windows-1252")
    draft = drafted(log)
    assert "encoding: windows-1252\ndelimiter: semicolon\nheadings: 2\ndecimal: comma\n" in draft
    assert "order: {dot: day-first}" in draft


ROWS = [
    ["Date", "Time", "Tech", "Bearing temp", "Machine"],
    [date(2026, 11, 2), time(6, 40), "MT", 113.5, "P2"],
    [None, time(7, 10), "MT", 114, "P2"],
]


class TestWorkbooks:
    def book(self, *sheets: tuple[str, list[list[object]]]) -> bytes:
        book = openpyxl.Workbook()
        book.remove(book.active)
        for name, rows in sheets:
            sheet = book.create_sheet(name)
            for row in rows:
                sheet.append(row)
            if name == "Merged":
                sheet.merge_cells("A2:A3")
        held = io.BytesIO()
        book.save(held)
        return held.getvalue()

    def imported(self, drafted, tunnelbook, wash, tmp_path, content):
        draft = drafted(content, "log.xlsx")
        call = ("import", tmp_path / "log.xlsx", "--map", tmp_path / "map.yaml", "--site", wash)
        assert tunnelbook(*call) == 0, tunnelbook.err
        return draft

    def test_a_cell_merged_over_rows_counts_on_each(self, drafted, tunnelbook, wash, tmp_path):
        self.imported(drafted, tunnelbook, wash, tmp_path, self.book(("Merged", ROWS)))
        filed = sorted((wash / "observations").rglob("2026-11-02T*.yaml"))
        assert [path.name[11:15] for path in filed] == ["0640", "0710"]
        assert "temperature_f: 113.5" in filed[0].read_text()

    def test_a_number_is_one_whatever_sign_the_texts_have(
        self, drafted, tunnelbook, wash, tmp_path
    ):
        rows = [*ROWS[:2], [date(2026, 11, 3), "06:50", "DF", "114,5", "P2"]]
        content = self.book(("Log", rows))
        assert "decimal: comma\n" in self.imported(drafted, tunnelbook, wash, tmp_path, content)
        read = [
            path.read_text()
            for path in sorted((wash / "observations").rglob("2026-11-0[23]T06[45]*"))
        ]
        warm = [found[1] for text in read if (found := re.search("temperature_f: (.....)", text))]
        assert warm == ["113.5", "114.5"]

    def test_of_several_sheets_the_map_names_one(self, drafted, tunnelbook, wash, tmp_path):
        content = self.book(("Notes", []), ("2026", ROWS[:2]), ("2025", ROWS))
        draft = self.imported(drafted, tunnelbook, wash, tmp_path, content)
        assert "sheet: '2026'" in draft
        by_map = tmp_path / "map.yaml"
        by_map.write_text(draft.replace("'2026'", "'2024'"))
        call = ("import", tmp_path / "log.xlsx", "--map", by_map, "--site", wash)
        assert tunnelbook(*call) == 2
        assert "it has no sheet `2024`; it has Notes, 2026, 2025" in tunnelbook.err

    def test_one_that_cannot_be_read(self, drafted, tunnelbook):
        drafted(b"PK\x03\x04 and nothing", "log.xlsx", status=2)
        assert "log.xlsx: it is no workbook that can be read: " in tunnelbook.err

    def test_without_the_reader_it_is_named(self, drafted, tunnelbook, monkeypatch):
        monkeypatch.setattr("importlib.util.find_spec", lambda _: None)
        drafted(self.book(("Log", ROWS)), "log.xlsx", status=2)
        assert "a log that is a workbook needs python_calamine; install it with: " in tunnelbook.err


@pytest.mark.parametrize(
    ("log", "in_draft"),
    [
        # A title over two columns, and units below the headings.
        ("Date,Tech,P2,\n,,Turns,Hz\n11/20/2026,MT,38,44\n", "headings: [1, 2]\n"),
        ("Log\nDate,Tech,Turns\n,,in 30 s\n,,Hz\n11/20/2026,MT,38\n", "headings: 2\n"),
        ("Date,Machine,Temp\nm/d/y,,°C\n11/20/2026,P2,38\n", "temperature_c: Temp °C"),
        # The task is one that is done where the log says.
        ("Date,At,Turns in 30 s\n11/20/2026,brush-p2,38\n", "{task: {always: check-speed}, at: At"),
        ("Date,At,Turns in 30 s\n11/20/2026,conveyor,38\n", "fields: {at: At, counted"),
        # Nothing is filed as done before somebody says which column tells.
        ("Date,Job,Ok,Status\n11/20/2026,look over,x,no\n", 'only_if: "?"'),
    ],
)
def test_what_the_draft_makes_of_it(drafted, log, in_draft):
    assert in_draft in drafted(log)

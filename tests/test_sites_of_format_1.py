"""Sites as format 1 left them: checked, built and audited clean by this version too."""

import json
from datetime import date

import pytest
from git_repo import audited
from kept_sites import KEPT, unpacked

from ledger.book.blocks import Heading, next_anchor
from ledger.cli.main import main
from ledger.files.schemas import schema_folder
from ledger.files.tree import DiskTree
from ledger.proof.audit import Verdict
from ledger.site import pages as moved
from ledger.site.pages import Book
from ledger.site.pipeline import load
from ledger.site.rendering import book_files
from ledger.upkeep.register.cards import drive_cards
from ledger.upkeep.register.found import register
from ledger.upkeep.speeds.found import speed_results

YEAR_AS_OF = date(2026, 10, 25)
SITES = {"new": (date(2026, 11, 25), 1, 0, 0), "year": (YEAR_AS_OF, 92, 85, 4)}


@pytest.fixture(scope="module")
def year(tmp_path_factory):
    return unpacked("year", tmp_path_factory.mktemp("format-1"))


@pytest.mark.parametrize("name", SITES)
def test_it_checks_builds_and_audits_clean(name, tmp_path, capsys):
    repo = unpacked(name, tmp_path)
    day, commits, visits, approvals = SITES[name]
    assert main(["check", str(repo.folder), "--as-of", str(day)]) == 0
    assert " 0 errors" in capsys.readouterr().out
    assert main(["build", str(repo.folder), "--as-of", str(day), "--html"]) == 0
    assert repo.git("status", "--porcelain", "--untracked-files=no") == ""
    found = audited(repo.open())
    assert (found.irregularities, found.verdict) == ((), Verdict.CLEAN)
    counted = found.counts
    assert (counted.commits, counted.visits, counted.approvals) == (commits, visits, approvals)


def test_what_was_written_in_it_still_means_the_same(year):
    """Read off the files by hand: how much there is, what is corrected, the settings in force."""
    ledger = load(DiskTree(year.folder)).ledger
    assert len(ledger.visits) == 85
    assert sum(len(visit.entries) for visit in ledger.visits) == 195
    corrected = [entry for visit in ledger.visits for entry in visit.entries if entry.corrects]
    assert [str(entry.corrects) for entry in corrected] == [
        "2025-12-10T0625-teo#1",
        "2026-08-26T0610-teo#1",
    ]
    in_force = {
        line.machine.ident: (line.in_force.change.value, line.in_force.change.unit)
        for line in register(ledger, speed_results(ledger))
        if line.in_force is not None
    }
    assert in_force == {"side-left": (44.75, "Hz"), "side-right": (16.8, "L/min")}


def test_every_address_of_its_book_still_opens(year):
    ledger = load(DiskTree(year.folder)).ledger
    made = book_files(ledger, YEAR_AS_OF, html=True)
    named = (KEPT / "year.pages").read_text().split()
    assert len(named) == 61
    assert [path for path in named if path not in made] == []


def test_the_addresses_printed_on_its_cards_still_lead_there(year):
    ledger = load(DiskTree(year.folder)).ledger
    made = book_files(ledger, YEAR_AS_OF, html=True)
    lines = register(ledger, speed_results(ledger))
    texts = {one.path: (year.folder / one.path).read_bytes() for one in ledger.setpoints.values()}
    top = "https://fernhollow.example/book/"
    printed = [card.address for card in drive_cards(ledger, lines, texts)]
    assert printed == [f"{top}machines/side-left.html", f"{top}machines/side-right.html"]
    assert all(f"html/{address.removeprefix(top)}" in made for address in printed)


def test_a_page_that_moved_leaves_one_that_links_on(year, monkeypatch):
    """Told by a table of the program; none has moved yet, so two names are made up here."""
    table = {"readings.md": "speeds.md", "machines/left.md": "machines/side-left.md#facts"}
    monkeypatch.setattr(moved, "MOVED", table)
    ledger = load(DiskTree(year.folder)).ledger
    made = book_files(ledger, YEAR_AS_OF, html=True)
    assert "This page has moved: [speeds.md](speeds.md)." in made["readings.md"]
    assert 'href="speeds.html"' in body_of(made["html/readings.html"])
    assert "(side-left.md#facts)" in made["machines/left.md"]
    assert 'href="side-left.html#facts"' in body_of(made["html/machines/left.html"])
    # Nobody is sent to it who has not the old address.
    others = {path: text for path, text in made.items() if "This page has moved" not in text}
    assert len(made) - len(others) == 4
    assert not any("readings.html" in text or "machines/left" in text for text in others.values())


def dead_ends(table, pages) -> list[str]:
    """Former names that lead to no page, to one that has moved itself, or to no heading."""
    headings: dict[str, set[str]] = {page.path: set() for page in pages if page.path not in table}
    for page in pages:
        for one in page.blocks:
            if isinstance(one, Heading) and page.path in headings:
                anchors = headings[page.path]
                anchors.add(next_anchor(one.text, anchors))
    found = []
    for former, present in table.items():
        path, _, anchor = present.partition("#")
        if path not in headings or (anchor and anchor not in headings[path]):
            found.append(former)
    return found


def test_no_former_name_is_a_dead_end(year):
    pages = list(Book(load(DiskTree(year.folder)).ledger, YEAR_AS_OF).pages())
    wrong = {"a.md": "nowhere.md", "b.md": "parts.md#nothing", "c.md": "a.md"}
    assert dead_ends({**wrong, "d.md": "parts.md#on-hand"}, pages) == ["a.md", "b.md", "c.md"]
    assert dead_ends(moved.MOVED, pages) == []


def body_of(html: str) -> str:
    return html.partition("<main")[2]


def test_every_key_of_its_visits_is_one_that_is_read_today():
    schema = json.loads((schema_folder() / "visit.schema.json").read_text())
    entry = schema["properties"]["entries"]["items"]
    entry = entry if "properties" in entry else schema["$defs"][entry["$ref"].rpartition("/")[2]]
    known = {*schema["properties"], *(f"entries.{key}" for key in entry["properties"])}
    kept = (KEPT / "visit.keys").read_text().split()
    assert len(kept) == 65
    assert sorted(set(kept) - known) == []

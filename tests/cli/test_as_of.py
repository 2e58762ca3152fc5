"""A look from an earlier day at the files of today prints what those of that day would."""

import shutil

import pytest
from sound_site import LAST_VISIT, SOUND

DAY = "2026-11-10"

COMMANDS = [
    ("due",),
    ("due", "--json"),
    ("tune", "brush-p2"),
    ("tune", "brush-p2", "--json"),
    ("line",),
    ("load",),
    ("drift",),
    ("wear",),
    ("grease",),
    ("reliability",),
]


@pytest.fixture
def then(tmp_path):
    """The sound site as its files stood on the day: the last visit is of a week later."""
    site = shutil.copytree(SOUND, tmp_path / "then")
    (site / LAST_VISIT).unlink()
    return site


@pytest.mark.parametrize("words", COMMANDS, ids=" ".join)
def test_an_earlier_day_is_printed_as_its_own_files_give_it(tunnelbook, then, words):
    command, *rest = words
    said = []
    for site in (SOUND, then):
        place = (site, *rest) if command == "due" else (*rest, "--site", site)
        assert tunnelbook(command, *place, "--as-of", DAY) == 0, tunnelbook.err
        said.append(tunnelbook.data if "--json" in rest else tunnelbook.out)
    assert said[0] == said[1]


def test_an_earlier_book_and_earlier_tables_are_those_of_their_day(
    tunnelbook, then, tmp_path, files_of
):
    now = shutil.copytree(SOUND, tmp_path / "now")
    for site in (now, then):
        assert tunnelbook("build", site, "--html", "--as-of", DAY) == 0
        for form, name in (("csv", "csv"), ("ics", "due.ics"), ("sqlite", "ledger.sqlite")):
            out = site / "export" / name
            assert tunnelbook("export", site, "--to", form, "--out", out, "--as-of", DAY) == 0
    for folder in ("book", "export"):
        assert files_of(now / folder) == files_of(then / folder)


def test_the_day_of_the_visit_itself_knows_it(tunnelbook, then):
    said = []
    for site in (SOUND, then):
        tunnelbook("tune", "brush-p2", "--json", "--site", site, "--as-of", "2026-11-17")
        said.append(tunnelbook.out)
    assert said[0] != said[1]

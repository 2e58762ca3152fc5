"""`tunnelbook show`: one machine in the terminal and for programs."""

import pytest
from sound_site import SOUND


def test_the_page_of_a_machine_without_markup(tunnelbook):
    assert tunnelbook("show", "brush-p2", "--site", SOUND) == 0
    text = tunnelbook.out
    assert text.startswith("Lower side brush, passenger\n===========================\n")
    assert "Setting in force: 44 Hz" in text
    assert "Lock out, tag out and verify" in text
    assert "|" not in text
    assert all(len(line) <= 100 for line in text.splitlines())


def test_the_facts_for_programs(tunnelbook):
    assert tunnelbook("show", "low-brush", "--site", SOUND, "--json") == 0
    found = tunnelbook.data
    assert found["points"] == {"shaft-bearing": "rotating-bearing"}
    assert [row["rpm"] for row in found["speeds"]] == [84.1]
    assert found["open_findings"] == []
    assert found["commit"] is None


def test_what_was_on_record_around_a_time(tunnelbook, capsys):
    assert tunnelbook("show", "brush-p2", "--around", "2026-11-17 09:00", "--site", SOUND) == 0
    assert tunnelbook.out.startswith("Lower side brush, passenger around 2026-11-17 09:00\n")
    with pytest.raises(SystemExit, match="2"):
        tunnelbook("show", "brush-p2", "--around", "noon", "--site", SOUND)
    assert "write it like 2026-11-25T14:30" in capsys.readouterr().err

"""`tunnelbook due`: the walk for everybody, for one person, and for programs."""

import pytest
from sound_site import SOUND


def rows(tunnelbook, *words):
    assert tunnelbook("due", SOUND, "--json", *words) == 0
    return tunnelbook.data


def test_the_walk_goes_by_station_with_the_lock_out_first(tunnelbook):
    assert tunnelbook("due", SOUND, "--as-of", "2026-12-01") == 0
    text = tunnelbook.out
    order = ["Lock out first", "10 · Conveyor", "20 · Lower side brush", "30 · Low brush"]
    places = [text.rindex(words) if words[0].isdigit() else text.index(words) for words in order]
    assert places == sorted(places)
    assert "Lock out, tag out and verify" in text
    assert "[ ] Grease the bearings: Take up (locked out" in text


def test_rows_for_programs(tunnelbook):
    found = rows(tunnelbook, "--as-of", "2026-12-01")
    assert [row["station"] for row in found] == sorted(row["station"] for row in found)
    assert {(row["place"], row["task"], row["overdue_days"]) for row in found if row["task"]} >= {
        ("conveyor/take-up", "grease-bearings", 7),
        ("brush-p2", "check-speed", 7),
    }


def test_only_what_a_person_may_do(tunnelbook):
    """M. Tarrow is qualified for lock-out, K. Pellin is not."""
    assert {row["task"] for row in rows(tunnelbook, "--as-of", "2026-12-01", "--for", "m-tarrow")} >= {"grease-bearings", "check-speed"}  # fmt: skip
    assert "grease-bearings" not in {row["task"] for row in rows(tunnelbook, "--as-of", "2026-12-01", "--for", "k-pellin")}  # fmt: skip


@pytest.mark.parametrize(("day", "due"), [("2026-11-18", False), ("2026-11-24", True)])
def test_the_day_decides(tunnelbook, day, due):
    """Greased on 17 November, every week, without a window: due on the 24th."""
    assert any(row["task"] == "grease-bearings" for row in rows(tunnelbook, "--as-of", day)) == due

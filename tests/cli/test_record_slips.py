"""Slips in an answer of `record`: told at the question, so that nothing is lost at the end."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

REPOSITORY = Path(__file__).parents[2]


@pytest.fixture
def wash(tunnelbook, tmp_path) -> Path:
    root = tmp_path / "wash"
    tunnelbook("init", root, "--with", "side-brush", "--time-zone", "Etc/UTC")
    site = root / "site.yaml"
    site.write_text(re.sub(r"in_service: .*", "in_service: 2026-01-05", site.read_text()))
    return root


def answered(root: Path, *answers: str, at: str = "") -> subprocess.CompletedProcess[str]:
    """The dialogue with answers piped in, from the first question on; nothing is filed."""
    command = [
        sys.executable,
        "-m",
        "tests.pinned_clock",
        "record",
        "--site",
        str(root),
        "--dry-run",
    ]
    return subprocess.run(
        [*command, *(["--at", at] if at else [])],
        cwd=REPOSITORY, input="\n".join(answers), capture_output=True, text=True, check=False,
    )  # fmt: skip


def test_a_counter_told_twice_would_lose_a_reading_without_a_word(wash):
    done = answered(wash, "", "", "", "1=10 1=11", "1=11", "", "")
    assert "counter 1 is given twice; write it once" in done.stdout + done.stderr


def test_a_slash_without_a_point_is_the_machine(wash):
    done = answered(wash, "", "", "side-brush/ = rattles", "", "", "", "", "")
    assert "{finding: rattles, at: side-brush, urgency: soon}" in done.stdout


def test_a_visit_written_down_late_is_shown_the_counters_as_they_were(tunnelbook, wash):
    for day, count in (("2026-01-07", 1000), ("2026-01-09", 1900)):
        tunnelbook("record", "--site", wash, "--at", f"{day}T06:00", "--meter", f"vehicles={count}",
                   "--done", "look-at-nozzles", "--yes")  # fmt: skip
    done = answered(wash, "", "", "", "", "", at="2026-01-08T06:00")
    assert "Vehicles washed, last 1000" in done.stdout
    assert "1900" not in done.stdout

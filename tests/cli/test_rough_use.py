"""Places that cannot be written, terminals of another age, readings told twice: said, never raised."""

import os
import subprocess
import sys

import pytest


@pytest.mark.parametrize(
    ("words", "said"),
    [
        pytest.param(["38", "30", "--turns", "20", "13"], "give one reading at a time, not passes and seconds and --turns", id="two readings"),
        pytest.param(["1e308", "1e-300"], "passes cannot be 1e+308; the limit is 100,000", id="more than can be counted"),
        pytest.param(["nan", "30"], "expected passes to be a whole number of 1 or more, not nan", id="no number"),
    ],
)  # fmt: skip
def test_a_reading_that_gives_no_speed(tunnelbook, words, said):
    assert tunnelbook("speed", *words) == 2
    assert tunnelbook.err == f"tunnelbook speed: {said}\n"


@pytest.mark.parametrize("day", ["9999-12-31", "0001-01-01", "2026-02-29", "today"])
def test_a_day_outside_every_record_is_refused(tunnelbook, tmp_path, day):
    with pytest.raises(SystemExit, match="2"):
        tunnelbook("due", tmp_path, "--as-of", day)


def test_a_book_that_is_a_link_is_not_written(tunnelbook, tmp_path):
    assert tunnelbook("init", tmp_path / "wash") == 0
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "wash/book").symlink_to(tmp_path / "elsewhere")
    assert tunnelbook("build", tmp_path / "wash") == 2
    assert "the folder is a link" in tunnelbook.err
    assert list((tmp_path / "elsewhere").iterdir()) == []


def test_a_fault_of_the_disk_is_a_sentence(tunnelbook, tmp_path, monkeypatch):
    assert tunnelbook("init", tmp_path / "wash") == 0

    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device", "due.md")

    monkeypatch.setattr("ledger.files.book_files.write_files", full)
    assert tunnelbook("build", tmp_path / "wash") == 2
    assert tunnelbook.err == "tunnelbook build: due.md: No space left on device\n"


def test_a_terminal_that_lacks_a_sign_gets_an_escape():
    ran = subprocess.run(
        [sys.executable, "-m", "ledger", "speed", "38", "30"],
        env={**os.environ, "PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0"},
        capture_output=True,
        check=False,
    )
    assert ran.returncode == 0, ran.stderr
    assert ran.stdout.startswith(rb"76.0 \xb1 1.7 r/min")

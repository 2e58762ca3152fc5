"""The book of the sound site as files that a person can read; ACCEPT_GOLDEN=1 writes them anew."""

import difflib
import os
from pathlib import Path

import pytest
from sound_site import AS_OF, SOUND, ledger_in, texts_below

from ledger.site.rendering import book_files

GOLDEN = Path(__file__).parent / "golden"
PAGES = (
    "README.md", "due.md", "setpoints.md", "tuning.md", "speeds.md", "findings.md", "parts.md",
    "in-time.md",
    "machines/brush-p2.md", "machines/low-brush.md", "machines/conveyor.md", "tasks/grease-bearings.md",
)  # fmt: skip


@pytest.mark.parametrize("path", PAGES)
def test_a_page_reads_as_it_was_accepted(path):
    said = book_files(ledger_in(texts_below(SOUND)), AS_OF)[path]
    golden = GOLDEN / path.replace("/", "-")
    if os.environ.get("ACCEPT_GOLDEN"):
        golden.write_text(said, encoding="utf-8")
    wanted = golden.read_text(encoding="utf-8")
    assert said == wanted, "".join(
        difflib.unified_diff(wanted.splitlines(keepends=True), said.splitlines(keepends=True))
    )


def test_no_golden_page_is_left_over():
    assert {path.name for path in GOLDEN.glob("*.md")} == {path.replace("/", "-") for path in PAGES}

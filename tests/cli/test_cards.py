"""`tunnelbook cards` on the example: the page, the pictures, and what is never written over."""

import hashlib
from pathlib import Path

import pytest
from example import EXAMPLE, copy_example

pytestmark = pytest.mark.usefixtures("example_read_once")


@pytest.fixture
def out(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_the_page_holds_a_card_a_drive(tunnelbook, out, files_of):
    assert tunnelbook("cards", EXAMPLE, "--svg", "cards") == 0
    page = (out / "drive-cards.html").read_text("utf-8")
    names = sorted(path.stem for path in (EXAMPLE / "setpoints").glob("*.yaml"))
    assert sorted(path.stem for path in (out / "cards").glob("*.svg")) == names
    for name in names:
        digest = hashlib.sha256((EXAMPLE / f"setpoints/{name}.yaml").read_bytes()).hexdigest()
        assert f"Register {digest[:8]} · {name}" in page

    first = files_of(out)
    assert tunnelbook("cards", EXAMPLE, "--svg", "cards") == 0
    assert files_of(out) == first


def test_only_the_card_that_changed(tunnelbook, out):
    assert tunnelbook("cards", EXAMPLE, "--only", "brush-p2", "--out", "one.html") == 0
    page = (out / "one.html").read_text("utf-8")
    assert page.count("<svg ") == 1
    assert "42.5" in page


def test_an_unknown_machine_and_one_without_a_setting(tunnelbook, out):
    assert tunnelbook("cards", EXAMPLE, "--only", "brush-p9") == 2
    assert "did you mean `brush-p" in tunnelbook.err
    assert tunnelbook("cards", EXAMPLE, "--only", "conveyor") == 2
    assert list(out.iterdir()) == []


@pytest.fixture
def site(out) -> Path:
    return copy_example(out / "site", since="2026-11")


def test_a_setting_only_claimed_approved_never_gets_a_card(tunnelbook, out, site):
    path = site / "setpoints/brush-p2.yaml"
    text = path.read_text("utf-8").replace("proposed_by: p-dunmarsh", "proposed_by: t-varrick")
    path.write_text(text, "utf-8")
    assert tunnelbook("cards", site, "--only", "brush-p2", "--out", "one.html") == 0
    page = (out / "one.html").read_text("utf-8")
    assert "44.5" in page
    assert "42.5" not in page
    assert tunnelbook.err == (
        "card shows 44.5 Hz: brush-p2: Not in force: 42.5 Hz from 2026-06-09: claimed approved by T. Varrick, "
        "does not count: T. Varrick proposed it too.\n"
    )


def test_a_drive_without_an_approved_setting_is_named(tunnelbook, site):
    (site / "setpoints/buffer.yaml").unlink()
    assert tunnelbook("cards", site) == 0
    assert tunnelbook.err == "no card: buffer has no approved setting\n"


def test_a_file_of_somebody_s_own_is_not_written_over(tunnelbook, out):
    (out / "mine.html").write_text("mine")
    assert tunnelbook("cards", EXAMPLE, "--out", "mine.html", "--svg", "cards") == 2
    assert "was not made by this program" in tunnelbook.err
    assert (out / "mine.html").read_text() == "mine"
    assert not (out / "cards").exists()

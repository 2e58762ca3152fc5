"""What DEVELOPERS.md says of a new reading is done in a copy of the tree, as it stands there."""

import csv
import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from sound_site import SOUND

ROOT = Path(__file__).parent.parent
BLOCK = re.compile(r"^```(\w+)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
READING = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").partition("**A reading.**")[2]
BLOCKS = dict(BLOCK.findall(READING.partition("\n**")[0]))

LAST_ROW = "    BOUNCES,\n"

TASK = """\
title: Feel the bearings
on: {ids: [brush-p2]}
every: 1 week
reads: [vibration]
steps: From outside the guards.
"""
VISIT = """\
at: 2026-11-20T06:40
by: m-tarrow
entries:
  - {task: feel-bearings, at: brush-p2, vibration_mm_s: 2.8}
"""


def run(tree: Path, *arguments: str | Path) -> str:
    done = subprocess.run(
        [sys.executable, "-m", *arguments],
        cwd=tree,
        env={**os.environ, "PYTHONPATH": str(tree)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


@pytest.fixture(scope="module")
def tree(tmp_path_factory) -> Path:
    """The program with the new reading, and a site whose last visit holds one."""
    tree = tmp_path_factory.mktemp("tree")
    for folder in ("ledger", "schemas"):
        shutil.copytree(ROOT / folder, tree / folder, ignore=shutil.ignore_patterns("__pycache__"))
    table = tree / "ledger/model/readings.py"
    text = table.read_text()
    assert text.count(LAST_ROW) == 1
    table.write_text(text.replace(LAST_ROW, f"{LAST_ROW}    {BLOCKS['python'].strip()},\n"))
    schema = tree / "schemas/visit.schema.json"
    visit = json.loads(schema.read_text())
    properties = visit["properties"]["entries"]["items"]["properties"]
    properties |= json.loads(f"{{{BLOCKS['json']}}}")
    schema.write_text(json.dumps(visit))
    for line in BLOCKS["sh"].splitlines():
        call, _, target = line.removeprefix("python -m ").partition(" > ")
        out = run(tree, *call.split())
        if target:
            (tree / target).write_text(out)
    site = tree / "site"
    shutil.copytree(SOUND, site)
    (site / "tasks/feel-bearings.yaml").write_text(TASK)
    (site / "observations/2026/11/2026-11-20T0640-m-tarrow.yaml").write_text(VISIT)
    return tree


def test_a_visit_with_it_is_checked(tree):
    assert " 0 errors" in run(tree, "ledger", "check", "site", "--as-of", "2026-11-25")
    visit = tree / "site/observations/2026/11/2026-11-20T0640-m-tarrow.yaml"
    visit.write_text(VISIT.replace("2.8", "280"))
    with pytest.raises(AssertionError, match="vibration_mm_s"):
        run(tree, "ledger", "check", "site", "--as-of", "2026-11-25")
    visit.write_text(VISIT)


def test_the_list_of_keys_names_its_unit(tree):
    (line,) = re.findall(
        r"^\| `vibration_mm_s`.*", (tree / "schemas/README.md").read_text(), re.MULTILINE
    )
    assert "in mm/s" in line


def test_the_machine_page_and_the_export_show_it(tree):
    run(tree, "ledger", "build", "site", "--as-of", "2026-11-25")
    page = (tree / "site/book/machines/brush-p2.md").read_text()
    assert "vibration 2.8 mm/s" in page
    run(tree, "ledger", "export", "site", "--to", "csv", "--out", "out", "--as-of", "2026-11-25")
    with (tree / "out/readings.csv").open(newline="") as rows:
        found = [row for row in csv.DictReader(rows) if row["quantity"] == "vibration"]
    assert [(row["value"], row["unit"]) for row in found] == [("2.8", "mm/s")]


def test_record_asks_for_it(tree):
    program = (
        "from ledger.filing.fields import group_of, label_of\n"
        "from ledger.model.readings import KIND_OF_WORD\n"
        "from ledger.model.site import Units\n"
        "print(*map(label_of, group_of(KIND_OF_WORD['vibration'], Units.US).required))"
    )
    (tree / "asked.py").write_text(program)
    assert run(tree, "asked") == "Vibration, mm/s\n"


def test_the_form_of_the_phone_asks_for_it(tree, browser):
    run(tree, "ledger", "build", "site", "--html", "--as-of", "2026-11-25")
    page = browser.new_page()
    try:
        page.goto((tree / "site/book/html/round.html").as_uri())
        views = page.get_by_role("navigation")
        views.get_by_role("button", name=re.compile("^Readings")).click()
        page.get_by_role("button", name="New reading").click()
        card = page.locator("#readings .card")
        card.get_by_label("Machine").select_option("brush-p2")
        card.get_by_label("What is read").select_option("vibration")
        field = card.get_by_label("Vibration, mm/s", exact=True)
        field.fill("2.8")
        assert field.input_value() == "2.8"
    finally:
        page.close()

"""Commands import what they print: a walk or a machine in the terminal needs no other page."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from sound_site import SOUND

ROOT = Path(__file__).parents[2]

PROGRAM = """
import sys
from ledger.cli.main import main
main(sys.argv[1:])
sys.stderr.write("\\n".join(sorted(sys.modules)))
"""

DAY = ("--as-of", "2026-12-01")
SITE = str(SOUND)


def imported(*words):
    ran = subprocess.run(
        [sys.executable, "-c", PROGRAM, *words],
        cwd=ROOT,
        env=dict(os.environ),
        capture_output=True,
        text=True,
        check=True,
    )
    return set(ran.stderr.split("\n"))


def pages(modules):
    return {
        name
        for name in modules
        if name.startswith("ledger.upkeep.") and name.endswith((".page", ".plot"))
    }


@pytest.mark.parametrize(
    ("words", "own_pages"),
    [
        (("due", SITE, *DAY), {"ledger.upkeep.due.page"}),
        (("show", "brush-p2", "--site", SITE), {"ledger.upkeep.speeds.page"}),
        (("check", SITE, *DAY), set()),
        (
            ("record", "--site", SITE, "--done", "look-over", "--by", "m-tarrow", "--at",
             "2026-11-18T07:00", "--dry-run"),
            set(),
        ),
        (("completion", "bash"), set()),
    ],
    ids=lambda value: value[0] if isinstance(value, tuple) else "",
)  # fmt: skip
def test_a_command_imports_no_page_but_its_own(words, own_pages):
    modules = imported(*words)
    assert pages(modules) == own_pages
    never = {"ledger.site.rendering", "ledger.book.html", "ledger.book.svg", "markdown_it"}
    assert not modules & never


def test_a_build_imports_what_it_renders():
    """The walk over the modules would see them."""
    modules = imported("build", SITE, *DAY, "--check")
    assert {"ledger.site.rendering", "ledger.upkeep.wear.page"} <= modules


def test_a_site_without_a_fault_pays_for_no_explanation():
    modules = imported("due", SITE, *DAY)
    assert not modules & {"ledger.files.schema_explain", "ruamel.yaml", "ledger.rules.rules"}


def test_a_kept_answer_is_given_before_a_parser_is_imported():
    program = "import sys, ledger.cli.kept; sys.stderr.write('\\n'.join(sorted(sys.modules)))"
    ran = subprocess.run(
        [sys.executable, "-c", program], cwd=ROOT, capture_output=True, text=True, check=True
    )
    modules = set(ran.stderr.split("\n"))
    assert not modules & {"argparse", "re", "json", "dataclasses", "typing", "pathlib", "inspect"}


def test_one_reading_imports_no_fit_of_many():
    modules = imported("speed", "38", "30")
    assert "ledger.compute.speed" in modules
    assert not modules & {"ledger.compute.ratio", "statistics", "difflib", "pathlib"}

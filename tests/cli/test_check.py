"""`tunnelbook check`: the findings in each form, the count of them, the exit code."""

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import jsonschema
import pytest
from sound_site import CASES, SOUND

THREE = "a_visit_with_three_mistakes"
VISIT = "observations/2026/11/2026-11-24T0710-m-tarrow.yaml"
DAY = ("--as-of", "2026-12-01")
SARIF = Path(__file__).with_name("sarif-2.1.0-rtm.5.json")


@pytest.fixture
def broken(tmp_path):
    """The sound site with the files of one case laid over it."""

    def lay(name):
        shutil.copytree(SOUND, tmp_path / "site")
        shutil.copytree(CASES / name, tmp_path / "site", dirs_exist_ok=True)
        (tmp_path / "site/expected.txt").unlink()
        return tmp_path / "site"

    return lay


def test_a_visit_with_three_mistakes_leads_to_all_three_in_one_run(tunnelbook, broken):
    assert tunnelbook("check", broken(THREE), *DAY) == 1
    heads = [line for line in tunnelbook.out.splitlines() if line.startswith(VISIT)]
    assert [head.split(": ")[0] for head in heads] == [f"{VISIT}:4:12", f"{VISIT}:5:52", f"{VISIT}:6:31"]  # fmt: skip
    for nearest in ("grease-bearings?", "seconds?"):
        assert f"did you mean: {nearest}" in tunnelbook.out
    # The machine with the next name is another machine.
    assert "did you mean: brush" not in tunnelbook.out
    assert "under `formerly` in the new one; if it is gone, put its file back with `out_of_service`" in tunnelbook.out  # fmt: skip
    assert tunnelbook.out.count("remedy:") == 3
    assert tunnelbook.out.endswith("13 files, 3 errors, 0 warnings\n")


def test_an_example_with_nothing_wrong_ends_with_nought(tunnelbook):
    assert tunnelbook("check", SOUND, *DAY) == 0
    assert tunnelbook.out == "12 files, 0 errors, 0 warnings\n"


@pytest.mark.parametrize(("options", "status"), [([], 0), (["--strict"], 1), (["--strict", "--errors-only"], 0)])  # fmt: skip
def test_warnings_count_where_they_are_asked_to(tunnelbook, options, status):
    assert tunnelbook("check", SOUND, "--as-of", "2026-11-10", *options) == status
    assert ("in-the-future" in tunnelbook.out) == ("--errors-only" not in options)


def test_one_of_each_is_counted_as_one(tunnelbook, tmp_path):
    (tmp_path / "site.yaml").write_text("format: 2\n")
    tunnelbook("check", tmp_path, *DAY)
    assert tunnelbook.out.splitlines()[-1].startswith("1 file, ")


def test_json(tunnelbook, broken):
    assert tunnelbook("check", broken(THREE), *DAY, "--format", "json") == 1
    found = tunnelbook.data["diagnostics"]
    assert [(one["line"], one["rule"], one["nearest"]) for one in found] == [
        (4, "unknown-task", "grease-bearings"),
        (5, "unknown-key", "seconds"),
        (6, "unknown-machine", ""),
    ]


@pytest.mark.parametrize("name", sorted(path.name for path in CASES.iterdir() if (path / "expected.txt").exists()))  # fmt: skip
def test_sarif_is_valid_by_its_published_schema(tunnelbook, broken, name):
    assert tunnelbook("check", broken(name), *DAY, "--format", "sarif") == 1
    log = json.loads(tunnelbook.out)
    jsonschema.Draft7Validator(json.loads(SARIF.read_text())).validate(log)
    assert log["runs"][0]["results"]


def test_sarif_of_a_file_that_is_no_text(tunnelbook, broken):
    site = broken(THREE)
    (site / "parts/grease-ep2.yaml").write_bytes(b"name: \xff\xfe\n")
    (site / "tasks/look-over.yaml").write_text("title: [unclosed\n")
    assert tunnelbook("check", site, *DAY, "--format", "sarif") == 1
    log = json.loads(tunnelbook.out)
    jsonschema.Draft7Validator(json.loads(SARIF.read_text())).validate(log)
    uris = [r["locations"][0]["physicalLocation"]["artifactLocation"]["uri"] for r in log["runs"][0]["results"]]  # fmt: skip
    assert {"parts/grease-ep2.yaml", "tasks/look-over.yaml", VISIT} <= set(uris)


def test_nothing_wrong_is_still_a_whole_document(tunnelbook):
    assert tunnelbook("check", SOUND, *DAY, "--format", "json") == 0
    assert tunnelbook.data == {"files": 12, "diagnostics": []}
    assert tunnelbook("check", SOUND, *DAY, "--format", "gitlab") == 0
    assert json.loads(tunnelbook.out) == []
    assert tunnelbook("check", SOUND, *DAY, "--format", "github") == 0
    assert tunnelbook.out == ""


def test_no_words_of_a_file_start_a_command_of_their_own(tunnelbook, broken):
    """GitHub Docs, "Workflow commands": `%`, CR and LF are escaped, in properties `:` and `,` too."""
    site = broken(THREE)
    hostile = '"::error::x\\n::warning file=a,line=1::y%0A"'
    (site / "setpoints/low-brush.yaml").write_text(f"- {hostile}: 1\n  from: 2026-03-02\n")
    assert tunnelbook("check", site, *DAY, "--format", "github") == 1
    lines = tunnelbook.out.splitlines()
    assert len(lines) > 3
    for line in lines:
        assert line.startswith("::error file=")
        head = line.removeprefix("::error ").partition("::")[0]
        assert {part.partition("=")[0] for part in head.split(",")} <= {"file", "line", "col", "endColumn", "title"}  # fmt: skip


def test_no_colour_goes_anywhere_but_to_a_terminal(tunnelbook, broken):
    site = broken(THREE)
    tunnelbook("check", site, *DAY)
    assert "\x1b" not in tunnelbook.out


@pytest.mark.parametrize(("no_color", "coloured"), [(None, True), ("", True), ("1", False)])
def test_no_color_is_obeyed_in_a_terminal(broken, no_color, coloured):
    """no-color.org: when present and not an empty string."""
    pty = pytest.importorskip("pty")
    environment = {name: value for name, value in os.environ.items() if name != "NO_COLOR"}
    if no_color is not None:
        environment["NO_COLOR"] = no_color
    ours, theirs = pty.openpty()
    ran = subprocess.run(
        [sys.executable, "-m", "ledger", "check", str(broken(THREE)), *DAY],
        stdout=theirs, stderr=subprocess.PIPE, env=environment, check=False,
    )  # fmt: skip
    os.close(theirs)
    shown = os.read(ours, 65536)
    os.close(ours)
    assert ran.returncode == 1
    assert (b"\x1b[" in shown) == coloured


def test_a_folder_without_a_usable_site_still_says_what_is_wrong(tunnelbook, broken):
    assert tunnelbook("check", broken("a_time_zone_misspelt"), *DAY) == 1
    assert "did you mean: America/Chicago?" in tunnelbook.out


def test_a_build_of_files_with_errors_points_to_check(tunnelbook, broken):
    site = broken(THREE)
    assert tunnelbook("build", site) == 1
    assert f"3 errors in the files of {site}; see them with `tunnelbook check {site}`" in tunnelbook.err  # fmt: skip
    assert not (site / "book").exists()

"""What an editor offers and underlines in the files of one site, by the server that editors use."""

import json
import shutil
from pathlib import Path

import pytest
from language_server import LanguageServer
from pinned_clock import pinned_clock
from sound_site import AS_OF, SOUND, edited, found_in, ledger_in, texts_below, with_file

from ledger.cli.main import main
from ledger.filing.new_site import every_site_files, parted_for_hosts
from ledger.site.editor_schemas import FOLDER, editor_schemas

HEAD = "at: 2026-11-20T07:00\nby: m-tarrow\n"
FOUND = HEAD + "entries:\n  - {finding: drips, at: brush-p2/cloth, urgency: soon}\n"
AT_ENTRY = f"{HEAD}entries:\n  - "
EXAMPLES = {"brush-p2/damper", "m-osterby", "p-dunmarsh", "grease-shaft-bearings"}
"""Names of the example, which the shipped schemas explain their keys by."""


@pytest.fixture(scope="module")
def ledger():
    return ledger_in(with_file("observations/2026/11/2026-11-20T0700-m-tarrow.yaml", FOUND))


@pytest.fixture(scope="module", params=["at the top", "in a folder"])
def editor(request, ledger, tmp_path_factory):
    """The site's folder, and the server for the repository that holds it."""
    top = tmp_path_factory.mktemp("editor")
    folder = "" if request.param == "at the top" else "sites/wash"
    root = top / folder
    for path, text in editor_schemas(ledger).items():
        (root / path).parent.mkdir(parents=True, exist_ok=True)
        (root / path).write_text(text)
    files = parted_for_hosts(every_site_files(), folder)[1] if folder else every_site_files()
    settings = json.loads(files[".vscode/settings.json"])
    schemas = settings["yaml.schemas"]
    server = LanguageServer(top, {"yaml": {"validate": True, "completion": True, "schemaStore": {"enable": False}, "schemas": schemas}})  # fmt: skip
    yield root, server
    server.end()


@pytest.fixture
def visit(editor):
    root, server = editor
    return root / "observations/2026/11/2026-11-21T0700-m-tarrow.yaml", server


def test_a_visit_is_offered_the_names_of_this_site_and_no_others(visit, ledger):
    path, server = visit
    places = {*ledger.machines, *(f"{m.ident}/{p}" for m in ledger.machines.values() for p in m.points)}  # fmt: skip
    for text, wanted in (
        ("at: 2026-11-20T07:00\nby: |\n", set(ledger.site.people)),
        (f"{AT_ENTRY}task: |\n", set(ledger.tasks)),
        (f"{AT_ENTRY}task: look-over\n    at: |\n", places),
        (f"{AT_ENTRY}part: |\n", set(ledger.parts)),
        (f"{AT_ENTRY}closes: |\n", {"2026-11-20T0700-m-tarrow#1"}),
        (f"{HEAD}meters:\n  |\n", set(ledger.site.meters)),
    ):
        offered = server.offered(path, text).keys()
        assert wanted <= offered, text
        assert not offered & (EXAMPLES - wanted), text


@pytest.mark.parametrize(
    ("path", "text", "wanted"),
    [
        ("equipment/new.yaml", "name: New\nfed_by: |\n", {"conveyor", "low-brush"}),
        ("parts/new.yaml", "fits: [|]\n", {"conveyor", "low-brush"}),
        ("tasks/new.yaml", "covers: [|]\n", {"look-over"}),
        ("site.yaml", "policy:\n  rules:\n    |\n", {"count-too-short"}),
    ],
)
def test_other_files_are_offered_them_too(editor, path, text, wanted):
    root, server = editor
    assert wanted <= server.offered(root / path, text).keys()


def test_an_entry_is_offered_the_keys_that_fit_its_task(visit):
    path, server = visit
    look = server.offered(path, f"{AT_ENTRY}task: look-over\n    |\n")
    count = server.offered(path, f"{AT_ENTRY}task: check-speed\n    |\n")
    assert {"at", "outcome", "note"} <= look.keys() & count.keys()
    assert {"counted", "seconds", "taps_s"} <= count.keys() - look.keys()
    assert not {"insulation_mohm", "turning", "caught_ml"} & (look.keys() | count.keys())
    assert {"counted", "insulation_mohm"} <= server.offered(
        path, f"{AT_ENTRY}at: brush-p2\n    |\n"
    ).keys()


def test_whole_pieces_are_offered(editor, visit):
    path, server = visit
    assert "entries:" in server.offered(path, "|")["a visit"]
    entries = server.offered(path, f"{AT_ENTRY}|\n")
    for label in (
        "work done",
        "a count of turns",
        "a finding",
        "a finding put right",
        "a part used",
    ):
        assert label in entries
    drive = editor[0] / "setpoints/brush-p2.yaml"
    assert "proposed_by:" in server.offered(drive, "- |\n")["a change of setting"]


@pytest.mark.parametrize(
    ("text", "line"),
    [
        (HEAD.replace("2026-11-20T07:00", "yesterday") + "entries: [{task: look-over}]\n", 1),
        (HEAD.replace("11-20", "99-99") + "entries: [{task: look-over}]\n", 1),
        (f"{AT_ENTRY}{{task: look-under}}\n", 4),
        (f"{AT_ENTRY}{{task: look-over, at: brush-p9}}\n", 4),
        (f"{AT_ENTRY}&a {{task: look-over}}\n", 4),
        (f"{AT_ENTRY}{{task: look-over, colour: red}}\n", 4),
        (HEAD + "meters: {vehicels: 3}\nentries: [{task: look-over}]\n", 3),
    ],
    ids=["no time", "no day", "no task", "no place", "an anchor", "no key", "no meter"],
)
def test_what_check_refuses_is_underlined(visit, text, line):
    path, server = visit
    assert [where for where, _ in server.faults(path, text)] == [line]


def test_a_zero_in_front_is_gone_before_a_schema_sees_the_number(visit):
    """YAML 1.2, 10.3.2: `[-+]? [0-9]+` is an integer. `check` refuses what the editor cannot."""
    path, server = visit
    text = f"{AT_ENTRY}{{task: check-speed, at: brush-p2, counted: 038, seconds: 30}}\n"
    assert server.faults(path, text) == []
    assert server.faults(path, text.replace("038", "'038'"))
    assert [one.rule for one in found_in(with_file("observations/2026/11/2026-11-20T0700-m-tarrow.yaml", text), AS_OF)] == ["wrong-type"]  # fmt: skip
    # Nor is an anchor underlined where an alias uses it.
    assert server.faults(path, f"{HEAD}entries: [&a {{task: look-over}}, *a]\n") == []


def test_nothing_is_underlined_in_a_sound_site(editor):
    root, server = editor
    for path, text in texts_below(SOUND).items():
        assert server.faults(root / path, text) == [], path


def test_the_schemas_change_with_the_names_of_the_site_alone(ledger):
    before = editor_schemas(ledger_in(texts_below(SOUND)))
    later = ledger_in(edited("equipment/conveyor.yaml", "name: Conveyor", "name: The conveyor"))
    assert editor_schemas(later) == before
    # An open finding can be closed.
    changed = {path for path, text in editor_schemas(ledger).items() if text != before[path]}
    assert changed == {f"{FOLDER}/visit.schema.json"}


class TestTheyAreKeptCurrent:
    @pytest.fixture
    def wash(self, tmp_path) -> Path:
        shutil.copytree(SOUND, tmp_path / "wash")
        (tmp_path / "wash/.schemas").mkdir()
        return tmp_path / "wash"

    def offered(self, wash, key):
        visit = json.loads((wash / FOLDER / "visit.schema.json").read_text())
        entry = visit["properties"]["entries"]["items"]["properties"]
        return entry[key].get("anyOf", [entry[key]])[0].get("enum", [])

    def test_by_build_and_record_and_by_a_new_site(self, wash, capsys):
        assert main(["check", str(wash)], pinned_clock) == 0
        assert not (wash / FOLDER).exists()
        assert main(["build", str(wash)], pinned_clock) == 0
        assert "look-over" in self.offered(wash, "task")
        assert self.offered(wash, "closes") == []
        words = ["record", "--site", str(wash), "--finding", "brush-p2/cloth=torn", "--by", "m-tarrow", "--yes"]  # fmt: skip
        assert main(words, pinned_clock) == 0, capsys.readouterr().err
        assert len(self.offered(wash, "closes")) == 1
        new = wash.parent / "new"
        assert main(["init", str(new), "--time-zone", "Etc/UTC"], pinned_clock) == 0
        assert self.offered(new, "task")
        assert (new / FOLDER / ".gitignore").read_text() == "*\n"

    def test_a_site_that_keeps_no_schemas_gets_none(self, wash):
        (wash / ".schemas").rmdir()
        assert main(["build", str(wash)], pinned_clock) == 0
        assert not (wash / ".schemas").exists()

"""`tunnelbook init`: what it writes works at once, and nothing that was there is touched."""

import json
import shutil
import subprocess
from dataclasses import replace
from datetime import UTC, date, datetime

import pytest
import yaml
from example import copy_example
from git_repo import git
from pinned_clock import pinned_clock

from ledger.cli import environment
from ledger.cli.command import open_folder
from ledger.files.names import PART_ENDING
from ledger.files.save import create_file
from ledger.files.schemas import schema_folder
from ledger.files.yaml_fast import accept
from ledger.filing import new_site, starter, visit_file
from ledger.filing.new_site import placed, plain_ident


def test_a_new_site_passes_the_strictest_check(tunnelbook, tmp_path):
    root = tmp_path / "wash"
    assert tunnelbook("init", root, "--time-zone", "America/Chicago") == 0
    assert f"wrote  {root}/site.yaml" in tunnelbook.out
    assert tunnelbook.err == ""
    assert tunnelbook("check", root, "--strict") == 0
    assert "0 errors, 0 warnings" in tunnelbook.out


def test_it_is_started_by_the_person_git_knows(tunnelbook, tmp_path):
    tunnelbook("init", tmp_path, "--name", "Quayside: the wash")
    site = accept((tmp_path / "site.yaml").read_text())
    assert site["name"] == "Quayside: the wash"
    assert site["people"]["ada-tarrowby"]["name"] == "Ada Tarrowby"
    assert site["people"]["ada-tarrowby"]["emails"] == ["Tarrowby@wash.example"]


def test_without_a_name_in_git_a_word_stands_for_it(tunnelbook, tmp_path, monkeypatch):
    monkeypatch.setenv("GIT_CONFIG_GLOBAL", "/dev/null")
    assert tunnelbook("init", tmp_path / "wash") == 0
    founder = open_folder(tmp_path / "wash", None, pinned_clock).ledger.site.people["first-person"]
    assert founder.emails == ()
    assert "The time zone is " in tunnelbook.out


def test_the_first_line_of_every_file_leads_to_a_schema_in_the_site(tunnelbook, tmp_path):
    tunnelbook("init", tmp_path)
    led = 0
    for path in tmp_path.rglob("*.yaml"):
        first = path.read_text().partition("\n")[0]
        schema = path.parent / first.partition("$schema=")[2]
        assert schema.resolve().is_relative_to(tmp_path.resolve())
        assert json.loads(schema.read_text())["title"]
        led += 1
    assert led == 7


def test_the_schemas_are_those_of_the_program(tunnelbook, tmp_path):
    tunnelbook("init", tmp_path)
    copied = {path.name: path.read_bytes() for path in (tmp_path / ".schemas").glob("*.json")}
    assert copied == {path.name: path.read_bytes() for path in schema_folder().glob("*.json")}


def test_it_says_when_what_the_jobs_install_has_to_be_filled_in(tunnelbook, tmp_path, monkeypatch):
    """Not where it is known: then the site's file names it, and there is nothing to say."""
    here = environment.this_installation()
    for name, direct_url in {
        "clone": '{"url": "file:///x", "dir_info": {}}',
        "index": None,
    }.items():
        installed = replace(here, version="0.1.0", direct_url=direct_url)
        monkeypatch.setattr(environment, "this_installation", lambda installed=installed: installed)
        assert tunnelbook("init", tmp_path / name) == 0
        pin = tmp_path / name / "tool/requirements.txt"
        assert (f"fill in {pin}" in tunnelbook.out) is (direct_url is not None)
        assert ("\ntunnelbook==0.1.0\n" in pin.read_text()) is (direct_url is None)


def test_git_leaves_the_rendered_pages_for_a_browser_alone(tunnelbook, tmp_path):
    tunnelbook("init", tmp_path)
    assert "book/html/" in (tmp_path / ".gitignore").read_text().splitlines()
    assert "eol=lf" in (tmp_path / ".gitattributes").read_text()


def test_git_leaves_what_a_killed_run_left_alone(tunnelbook, tmp_path):
    tunnelbook("init", tmp_path)
    subprocess.run(["git", "init", "-q", tmp_path], check=True)
    left = [f".0123456789ab{PART_ENDING}", f"tasks/.addition{PART_ENDING}"]
    asked = ["git", "-C", str(tmp_path), "check-ignore", *left]
    found = subprocess.run(asked, capture_output=True, text=True, check=True)
    assert found.stdout.splitlines() == left


def test_a_site_is_not_started_over_another(tunnelbook, tmp_path, files_of):
    tunnelbook("init", tmp_path)
    before = files_of(tmp_path)
    assert tunnelbook("init", tmp_path) == 2
    assert "nothing is overwritten" in tunnelbook.err
    assert files_of(tmp_path) == before


def test_a_file_that_is_there_already_is_kept(tunnelbook, tmp_path):
    (tmp_path / "README.md").write_text("Ours.\n")
    assert tunnelbook("init", tmp_path) == 0
    assert f"kept   {tmp_path}/README.md" in tunnelbook.out
    assert (tmp_path / "README.md").read_text() == "Ours.\n"


def test_what_is_kept_though_it_reads_otherwise_is_named(tunnelbook, tmp_path):
    """As a file that was cut off: it is not taken for what a new site has."""
    assert tunnelbook("init", tmp_path / "whole", "--time-zone", "Etc/UTC") == 0
    root = tmp_path / "wash"
    shutil.copytree(tmp_path / "whole", root)
    (root / "site.yaml").unlink()
    for path in ("tasks/look-at-nozzles.yaml", ".schemas/task.schema.json"):
        (root / path).write_text("# cut o")
    assert tunnelbook("init", root, "--time-zone", "Etc/UTC") == 1
    assert f"in the files of {root}; see them with `tunnelbook check {root}`" in tunnelbook.err
    other = "which differs from a new one"
    assert [line for line in tunnelbook.out.splitlines() if other in line] == [
        f"kept   {root}/.schemas/task.schema.json, {other}",
        f"kept   {root}/tasks/look-at-nozzles.yaml, {other}",
    ]
    assert f"kept   {root}/equipment/brush-1.yaml\n" in tunnelbook.out
    assert (root / "tasks/look-at-nozzles.yaml").read_text() == "# cut o"


def test_an_addition_that_was_cut_short_is_finished_and_not_made_twice(
    tunnelbook, tmp_path, monkeypatch, files_of
):
    for name in ("whole", "wash"):
        tunnelbook("init", tmp_path / name, "--time-zone", "Etc/UTC")
    assert tunnelbook("init", tmp_path / "whole", "--with", "wrap", "wrap") == 0
    left = [None] * 3

    def limited(target, content):
        left.pop()
        create_file(target, content)

    with monkeypatch.context() as patched:
        patched.setattr(visit_file, "create_file", limited)
        with pytest.raises(IndexError):
            tunnelbook("init", tmp_path / "wash", "--with", "wrap", "wrap")
    assert tunnelbook("init", tmp_path / "wash", "--with", "wrap", "wrap") == 0
    assert "It is now finished, and nothing else was added" in tunnelbook.out
    assert files_of(tmp_path / "wash") == files_of(tmp_path / "whole")


def test_a_new_site_of_the_kinds_asked_for(tunnelbook, tmp_path):
    assert tunnelbook("init", tmp_path, "--with", "conveyor", "wrap", "wrap") == 0
    assert "maker's manual" in tunnelbook.out
    machines = open_folder(tmp_path, None, pinned_clock).ledger.machines
    assert {ident: m.station for ident, m in machines.items()} == {
        "conveyor": 10,
        "wrap-1": 20,
        "wrap-2": 30,
    }
    assert tunnelbook("check", tmp_path, "--strict") == 0


def test_machines_come_to_a_site_behind_the_last_and_its_files_stay(tunnelbook, tmp_path, files_of):
    tunnelbook("init", tmp_path)
    changed = tmp_path / "tasks/grease-shaft-bearings.yaml"
    changed.write_text(changed.read_text().replace("1 week", "2 weeks"))
    before = files_of(tmp_path)
    assert tunnelbook("init", tmp_path, "--with", "side-brush", "blower") == 0
    assert f"kept   {changed}" in tunnelbook.out
    after = files_of(tmp_path)
    names = {path for path in before if path.startswith(".schemas/site/")}
    assert {path for path, text in before.items() if after[path] != text} <= names
    machines = open_folder(tmp_path, None, pinned_clock).ledger.machines
    assert [(m.ident, m.station) for m in machines.values()] == [
        ("brush-1", 10),
        ("side-brush", 20),
        ("blower", 30),
    ]
    assert tunnelbook("check", tmp_path, "--strict") == 0


def test_a_machine_that_comes_later_has_missed_no_work(tunnelbook, tmp_path):
    tunnelbook("init", tmp_path)
    settled = tmp_path / "site.yaml"
    settled.write_text(settled.read_text().replace("in_service: ", "in_service: 2020-01-01 #"))
    tunnelbook("init", tmp_path, "--with", "blower")
    site = open_folder(tmp_path, None, pinned_clock)
    assert site.ledger.machines["blower"].in_service == site.as_of


def test_a_site_whose_schemas_lie_elsewhere_keeps_them_there(tunnelbook, tmp_path):
    root = tmp_path / "site"
    copy_example(root, since="2026-11")
    assert tunnelbook("init", root, "--with", "softener") == 0
    new = (root / "equipment/softener-1.yaml", root / "equipment/softener-2.yaml")
    written = next(path for path in new if path.exists())
    assert written.read_text().startswith(
        "# yaml-language-server: $schema=../../schemas/machine.schema.json\n"
    )
    assert not (root / ".schemas").exists()


def test_the_kinds_are_listed(tunnelbook):
    assert tunnelbook("init", "--list") == 0
    assert {"conveyor", "side-brush", "drive-panel"} <= set(tunnelbook.out.split())


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        ((), "name the folder"),
        (("wash", "--with", "sidebrush"), "did you mean `side-brush`"),
        (("wash", "--time-zone", "America/Chicaco"), "did you mean `America/Chicago`"),
    ],
)
def test_a_word_it_does_not_know(tunnelbook, tmp_path, monkeypatch, words, complaint):
    monkeypatch.chdir(tmp_path)
    assert tunnelbook("init", *words) == 2
    assert complaint in tunnelbook.err
    assert list(tmp_path.iterdir()) == []


def test_a_site_within_a_site_is_refused(tunnelbook, tmp_path, monkeypatch):
    root = tmp_path / "wash"
    assert tunnelbook("init", root) == 0
    monkeypatch.chdir(root)
    assert tunnelbook("init", "wash") == 2
    assert f"within the site {root}; name a folder outside it" in tunnelbook.err
    assert not (root / "wash").exists()


def test_a_link_out_of_the_folder_is_not_followed(tunnelbook, tmp_path):
    outside = tmp_path / "outside"
    outside.mkdir()
    root = tmp_path / "wash"
    root.mkdir()
    (root / "tasks").symlink_to(outside)
    assert tunnelbook("init", root) == 2
    assert "leads out of the site" in tunnelbook.err
    assert list(outside.iterdir()) == []


@pytest.mark.parametrize(
    ("kinds", "there", "made"),
    [
        (["wrap"], {}, [("wrap", 10)]),
        (["wrap", "wrap"], {}, [("wrap-1", 10), ("wrap-2", 20)]),
        (["wrap"], {"wrap": 10}, [("wrap-2", 20)]),
        (["wrap", "blower"], {"wrap-1": 10, "wrap-2": 24}, [("wrap-3", 30), ("blower", 40)]),
        (["wrap", "wrap"], {"wrap": 5.5}, [("wrap-2", 10), ("wrap-3", 20)]),
    ],
)
def test_ids_and_stations_are_free_ones(kinds, there, made):
    assert [(m.ident, m.station) for m in placed(kinds, there)] == made


@pytest.mark.parametrize(
    ("name", "ident"),
    [
        ("Éva Kis", "eva-kis"),
        ("M. O'Kaf", "m-o-kaf"),
        ("佐藤", ""),
        ("--", ""),
        ("x" * 90, "x" * 40),
    ],
)
def test_a_name_as_an_id(name, ident):
    assert plain_ident(name) == ident


def test_a_file_laid_beside_the_others_comes_to_every_new_site(tmp_path, monkeypatch):
    """A dotted folder of a git host is laid down as `dot-...`."""
    (tmp_path / "dot-host" / "flows").mkdir(parents=True)
    (tmp_path / "dot-host/flows/check.yml").write_text("on: push\n")
    monkeypatch.setattr(new_site, "_EVERY_SITE", tmp_path)
    founder = starter.Founder(
        ident="a-b",
        name="A B",
        emails=(),
        when=datetime(2026, 11, 25, tzinfo=UTC),
        time_zone="Etc/UTC",
    )
    files = new_site.new_site(founder, "Wash", (), "tunnelbook==0.1.0\n")
    assert files[".host/flows/check.yml"] == "on: push\n"
    assert date(2026, 11, 25).isoformat() in files["site.yaml"]


class TestRenewedSchemas:
    @pytest.fixture
    def root(self, tunnelbook, tmp_path):
        tunnelbook("init", tmp_path / "wash", "--time-zone", "Etc/UTC")
        return tmp_path / "wash"

    def test_check_says_when_they_are_of_another_version_and_how_to_renew_them(
        self, tunnelbook, root, files_of
    ):
        right = files_of(root)
        (root / ".schemas/task.schema.json").write_text("{}")
        (root / ".schemas/visit.schema.json").unlink()
        assert tunnelbook("check", root) == 0
        assert f"`tunnelbook init {root} --renew-schemas`" in tunnelbook.err
        assert tunnelbook("init", root, "--renew-schemas") == 0
        assert tunnelbook.out.splitlines() == [
            f"wrote {root}/.schemas/task.schema.json",
            f"wrote {root}/.schemas/visit.schema.json",
        ]
        assert files_of(root) == right
        assert tunnelbook("check", root) == 0
        assert tunnelbook.err == ""

    def test_nothing_is_written_where_they_are_right(self, tunnelbook, root):
        assert tunnelbook("init", root, "--renew-schemas") == 0
        assert "those of this version" in tunnelbook.out

    def test_a_site_that_keeps_none_is_not_asked_to(self, tunnelbook, root):
        shutil.rmtree(root / ".schemas")
        assert tunnelbook("check", root) == 0
        assert tunnelbook.err == ""

    def test_a_dry_run_names_what_a_site_that_keeps_none_would_get(self, tunnelbook, root):
        shutil.rmtree(root / ".schemas")
        assert tunnelbook("init", root, "--renew-schemas", "--dry-run") == 0
        would = tunnelbook.out
        assert not (root / ".schemas").exists()
        assert tunnelbook("init", root, "--renew-schemas") == 0
        assert tunnelbook.out == would.replace("would write", "wrote")
        assert tunnelbook.out

    def test_no_file_outside_the_site_is_replaced(self, tunnelbook, root, tmp_path):
        outside = tmp_path / "outside"
        (root / ".schemas").rename(outside)
        (outside / "task.schema.json").write_text("{}")
        (root / ".schemas").symlink_to(outside)
        assert tunnelbook("init", root, "--renew-schemas") == 2
        assert "leads out of the site" in tunnelbook.err
        assert (outside / "task.schema.json").read_text() == "{}"

    def test_it_needs_a_site_and_stands_alone(self, tunnelbook, root, tmp_path):
        assert tunnelbook("init", tmp_path / "none", "--renew-schemas") == 2
        assert tunnelbook("init", root, "--with", "wrap", "--renew-schemas") == 2


class TestInAFolderOfARepository:
    """A git host reads its files at the top of the repository alone."""

    def test_what_hosts_read_stands_at_the_top_and_names_the_folder(self, tunnelbook, tmp_path):
        (tmp_path / ".git").mkdir()
        site = tmp_path / "sites/my wash"
        assert tunnelbook("init", site) == 0
        assert f"wrote  {tmp_path}/.github/workflows/check.yml" in tunnelbook.out
        assert not [name for name in (".github", ".gitlab-ci.yml", "CODEOWNERS") if (site / name).exists()]  # fmt: skip
        for path in (".github/workflows/check.yml", ".github/workflows/audit.yml"):
            jobs = yaml.safe_load((tmp_path / path).read_text())["jobs"]
            (job,) = jobs.values()
            assert job["env"]["TUNNELBOOK_SITE"] == "sites/my wash"
        pipeline = yaml.safe_load((tmp_path / ".gitlab-ci.yml").read_text())
        assert pipeline["variables"]["TUNNELBOOK_SITE"] == "sites/my wash"
        owners = (tmp_path / "CODEOWNERS").read_text()
        assert "\n/sites/my\\ wash/site.yaml @" in owners
        assert "\n/.github/ @" in owners

    def test_what_is_there_is_kept_and_told(self, tunnelbook, tmp_path):
        (tmp_path / ".git").mkdir()
        (tmp_path / "CODEOWNERS").write_text("* @us\n")
        assert tunnelbook("init", tmp_path / "wash", "--dry-run") == 0
        assert f"would write {tmp_path}/.gitlab-ci.yml\n" in tunnelbook.out
        assert f"{tmp_path}/CODEOWNERS" not in tunnelbook.out
        assert not (tmp_path / "wash").exists()
        assert tunnelbook("init", tmp_path / "wash") == 0
        assert f"kept   {tmp_path}/CODEOWNERS, which was there;" in tunnelbook.out
        assert "TUNNELBOOK_SITE as wash" in tunnelbook.out
        assert (tmp_path / "CODEOWNERS").read_text() == "* @us\n"


class TestInAClone:
    """A site begun in a clone: its pulls keep the line from then on."""

    @pytest.fixture
    def clones(self, tunnelbook, tmp_path):
        """Mine, in which the site was begun, and another; both have a commit of their own."""
        git(tmp_path, "init", "-q", "--bare", "-b", "main", "shared.git")
        mine, other = tmp_path / "mine", tmp_path / "other"
        git(tmp_path, "clone", "-q", "shared.git", str(mine))
        assert tunnelbook("init", mine, "--time-zone", "Etc/UTC") == 0
        git(mine, "checkout", "-q", "-B", "main")
        git(mine, "add", ".")
        git(mine, "commit", "-qm", "Start")
        git(mine, "push", "-q", "-u", "origin", "main")
        git(tmp_path, "clone", "-q", "shared.git", str(other))
        for clone in (other, mine):
            (clone / f"{clone.name}.txt").write_text("x")
            git(clone, "add", ".")
            git(clone, "commit", "-qm", clone.name)
        git(other, "push", "-q")
        return mine, other

    def test_a_pull_keeps_the_line_and_a_merge_of_main_into_it_is_refused(self, clones, tunnelbook):
        mine, _ = clones
        assert "set in this clone: merge.ff only\nset in this clone: pull.rebase true\n" in tunnelbook.out  # fmt: skip
        git(mine, "fetch", "-q")
        with pytest.raises(subprocess.CalledProcessError):
            git(mine, "merge", "origin/main")
        git(mine, "pull", "-q")
        assert git(mine, "log", "--first-parent", "--format=%s").split() == ["mine", "other", "Start"]  # fmt: skip
        git(mine, "switch", "-qc", "work", "HEAD~1")
        git(mine, "commit", "-q", "--allow-empty", "-m", "work")
        git(mine, "switch", "-q", "main")
        git(mine, "merge", "-q", "--no-ff", "-m", "merge", "work")
        assert git(mine, "log", "--first-parent", "--format=%s").split()[1] == "mine"

    def test_what_is_set_there_stays(self, tunnelbook, tmp_path):
        git(tmp_path, "init", "-q", "mine")
        git(tmp_path / "mine", "config", "pull.rebase", "merges")
        assert tunnelbook("init", tmp_path / "mine", "--time-zone", "Etc/UTC") == 0
        assert git(tmp_path / "mine", "config", "pull.rebase") == "merges\n"
        assert tunnelbook("init", tmp_path / "apart", "--time-zone", "Etc/UTC") == 0
        assert "set in this clone" not in tunnelbook.out

"""`tunnelbook propose` on the example: what it prints, writes and refuses."""

import shutil
from pathlib import Path

import pytest
from example import copy_example
from git_repo import git

from ledger.cli.main import main

DAY = ("--as-of", "2026-11-25")
LOW = ("2026-11-19T0920-m-osterby#1", "2026-11-19T0920-m-osterby#2")


@pytest.fixture
def site(tmp_path: Path) -> Path:
    return copy_example(tmp_path, since="2026-11")


def propose(tunnelbook, site, machine, *words, why="Slow.", by="m-osterby"):
    return tunnelbook("propose", machine, *words, "--why", why, "--by", by, "--site", site, *DAY)


def test_a_proposal_is_put_at_the_end_and_every_other_byte_stays(tunnelbook, site, files_of):
    before = files_of(site)
    assert propose(tunnelbook, site, "low-brush-p", "--flow-gpm", 4.3, "--evidence", *LOW) == 0

    after = files_of(site)
    path = "setpoints/low-brush-p.yaml"
    assert {name for name in after if after[name] != before.get(name)} == {path}
    assert after[path].startswith(before[path])
    assert after[path].removeprefix(before[path]).decode() == (
        "- from: 2026-11-26\n"
        "  flow_gpm: 4.3\n"
        "  line_rate_per_h: 110\n"
        "  why: Slow.\n"
        f"  evidence: [{LOW[0]}, {LOW[1]}]\n"
        "  proposed_by: m-osterby\n"
        "  proposed_on: 2026-11-25\n"
    )
    assert main(["check", str(site), *DAY]) == 0


def test_what_the_evidence_supports_is_printed(tunnelbook, site):
    propose(tunnelbook, site, "low-brush-p", "--flow-gpm", 4.3, "--evidence", *LOW)
    said = " ".join(tunnelbook.out.split())
    # 40 turns in 30.17 s are 79.55 r/min, 79 passes in 60 s 79; weighed, 4.3/3.8 of 79.4.
    assert "40 turns in 30.17 s 3.80 gpm 79.55 ±" in said
    assert "By the 2 readings named: 89.8" in said
    assert "in band 80–92" in said
    assert "a step of +0.50 gpm, where the site allows 0.57 gpm at once" in said
    assert "A drive keeps its charge after the power is off" in said


def test_oil_is_minded_where_oil_turns_the_drive(tunnelbook, site):
    oil = "Oil under pressure"
    propose(tunnelbook, site, "low-brush-p", "--flow-gpm", 4.3, "--evidence", *LOW, "--dry-run")
    assert oil in tunnelbook.out
    electric = ("--hz", 43.5, "--evidence", "2026-11-18T1015-p-dunmarsh#8", "--dry-run")
    assert propose(tunnelbook, site, "brush-p2", *electric) == 0
    assert oil not in tunnelbook.out


def test_a_setting_that_leads_out_of_the_band_is_said_to(tunnelbook, site):
    words = ("--hz", 46.5, "--evidence", "2026-11-18T1015-p-dunmarsh#8", "--dry-run")
    assert propose(tunnelbook, site, "brush-p2", *words) == 0
    assert "Out of band is likelier than in it" in tunnelbook.out
    assert "only <" not in tunnelbook.out


def test_the_next_steps_name_branch_commit_and_who_may_approve(tunnelbook, site):
    propose(tunnelbook, site, "low-brush-p", "--flow-gpm", 4.3, "--evidence", *LOW, why="It's slow")
    assert "switch -c setting-low-brush-p-2026-11-26" in tunnelbook.out
    assert """-m 'Propose 4.3 gpm for low-brush-p' -m 'It'"'"'s slow'""" in tunnelbook.out
    assert "(t-varrick)" in tunnelbook.out
    assert "(j-holmquill)" in tunnelbook.out
    assert "(p-dunmarsh)" not in tunnelbook.out


def test_who_proposes_is_not_named_among_the_approvers(tunnelbook, site):
    evidence = ("--flow-gpm", 4.3, "--evidence", *LOW)
    propose(tunnelbook, site, "low-brush-p", *evidence, by="t-varrick")
    assert "J. Holmquill" in tunnelbook.out
    assert "T. Varrick (t-varrick)" not in tunnelbook.out


def test_a_dry_run_writes_nothing(tunnelbook, site, files_of):
    before = files_of(site)
    words = ("--flow-gpm", 4.3, "--evidence", *LOW, "--dry-run")
    assert propose(tunnelbook, site, "low-brush-p", *words) == 0
    assert "- from: 2026-11-26" in tunnelbook.out
    assert files_of(site) == before


def test_a_drive_without_a_file_gets_one_with_a_modeline(tunnelbook, site):
    path = site / "setpoints/top-brush.yaml"
    path.unlink()
    assert propose(tunnelbook, site, "top-brush", "--hz", 45, why="As found on the drive.") == 0
    lines = path.read_text().splitlines()
    assert lines[0] == "# yaml-language-server: $schema=../../schemas/setpoints.schema.json"
    assert lines[1:3] == ["- from: 2026-11-26", "  hz: 45"]
    assert "proposed_by: m-osterby" in lines[5]


@pytest.mark.parametrize(
    ("words", "status", "said"),
    [
        pytest.param(("brush-p2", "--hz", 60.5, "--evidence", "2026-11-18T1015-p-dunmarsh#8"), 1, "outside the drive's limits", id="outside the limits"),
        pytest.param(("brush-p2", "--hz", 43, "--evidence", "2025-10-08T1015-p-dunmarsh#8"), 1, "older than the change of the reduction", id="before the mechanics changed"),
        pytest.param(("brush-p2", "--hz", 47, "--evidence", "2026-11-18T1015-p-dunmarsh#8"), 1, "46.5 Hz at the furthest now", id="in two steps"),
        pytest.param(("brush-p2", "--hz", 43, "--evidence", "2026-11-18T1015-p-dunmarsh#88"), 1, "did you mean `2026-11-18T1015-p-dunmarsh#8`?", id="unknown entry"),
        pytest.param(("brush-p9", "--hz", 43), 2, "did you mean `brush-p", id="unknown machine"),
        pytest.param(("brush-p2", "--flow-gpm", 4), 2, "is set by --hz", id="wrong kind of drive"),
        pytest.param(("low-brush-p", "--hz", 44), 2, "is set by --flow-gpm or --flow-lpm", id="wrong kind of drive, oil"),
        pytest.param(("conveyor", "--hz", 44), 2, "nothing can be set on `conveyor`", id="no setting"),
        pytest.param(("brush-p2", "--hz", "nan"), 2, "--hz takes a number above 0", id="no number"),
        pytest.param(("brush-p2", "--hz", 43, "--line-rate", -1), 2, "--line-rate takes a number above 0", id="no rate"),
    ],
)  # fmt: skip
def test_what_is_refused_leaves_everything_as_it_was(
    tunnelbook, site, files_of, words, status, said
):
    before = files_of(site)
    assert propose(tunnelbook, site, *words) == status
    assert said in tunnelbook.err
    assert files_of(site) == before


def test_a_file_that_somebody_else_changes_meanwhile_is_not_written_over(site):
    from ledger.upkeep.tuning.proposal_file import ProposalFile, write_over  # noqa: PLC0415

    path = "setpoints/top-brush.yaml"
    old = (site / path).read_bytes()
    (site / path).write_bytes(old + b"# mine\n")
    with pytest.raises(FileExistsError, match="was changed since it was read"):
        write_over(site, ProposalFile(path=path, old=old, new=old + b"# theirs\n"))
    with pytest.raises(FileExistsError):
        write_over(site, ProposalFile(path=path, old=None, new=b"# theirs\n"))
    assert (site / path).read_bytes() == old + b"# mine\n"


def test_a_link_out_of_the_site_is_not_followed(tunnelbook, site, tmp_path_factory):
    outside = tmp_path_factory.mktemp("outside")
    shutil.rmtree(site / "setpoints")
    (site / "setpoints").symlink_to(outside)
    assert propose(tunnelbook, site, "top-brush", "--hz", 45) != 0
    assert list(outside.iterdir()) == []


class TestOnABranch:
    """A site in git: the proposal is a commit on a branch of its own."""

    BRANCH = "setting-brush-p2-2026-11-26"
    ADDRESS = "https://git.wash.example/ours/site/compare/main...{branch}"

    @pytest.fixture
    def propose(self, tunnelbook, wash):
        words = ("brush-p2", "--hz", 45, "--why", "In the middle.", "--by", "m-tarrow")
        evidence = ("--evidence", "2026-11-17T0640-m-tarrow#2")
        return lambda *more: tunnelbook("propose", *words, *evidence, "--site", wash, *more)

    @pytest.fixture
    def state(self, wash, files_of):
        """All that a checkout is: its files, index and branch."""

        def read():
            files = files_of(wash)
            return (
                {path: files[path] for path in files if not path.startswith(".git/")},
                git(wash, "status", "--porcelain", "--branch"),
                git(wash, "ls-files", "--stage"),
            )

        return read

    def test_it_holds_the_setting_alone_and_the_checkout_stays(
        self, propose, tunnelbook, wash, shared, state
    ):
        (wash / "README.md").write_text("half done")
        git(wash, "add", "README.md")
        with (wash / "setpoints/brush-p2.yaml").open("a") as mine:
            mine.write("# not finished\n")
        before = state()
        assert propose() == 0
        assert state() == before
        assert git(wash, "log", "--format=%an|%s|%b", f"main..{self.BRANCH}").strip() == (
            "Ada Tarrowby|Propose 45 Hz for brush-p2|In the middle."
        )
        changed = git(wash, "diff", "--stat", "main", self.BRANCH)
        assert "setpoints/brush-p2.yaml | 7 +++++++\n 1 file changed" in changed
        assert f"  git -C {wash} push -u origin {self.BRANCH}\nand open a pull request.\n" in (
            tunnelbook.out
        )
        assert git(shared, "branch", "--list", "setting-*") == ""

    def test_it_is_pushed_and_the_page_of_the_host_is_named(
        self, propose, tunnelbook, wash, shared
    ):
        with (wash / "site.yaml").open("a") as site:
            site.write(f"filing: push\nrepository: {{pull_request: '{self.ADDRESS}'}}\n")
        git(wash, "commit", "-qam", "Say where it is hosted")
        assert propose() == 0
        assert f"pushed\n\nNext, open a pull request for a second person: {self.ADDRESS.replace('{branch}', self.BRANCH)}\n" in tunnelbook.out  # fmt: skip
        assert git(shared, "rev-parse", self.BRANCH) == git(wash, "rev-parse", self.BRANCH)
        git(wash, "merge", "-q", "--ff-only", self.BRANCH)
        assert tunnelbook("check", wash, "--errors-only") == 0

    def test_the_same_proposal_is_not_made_twice_and_another_gets_a_branch_of_its_own(
        self, propose, tunnelbook, wash, shared
    ):
        shutil.move(shared, shared.with_name("away"))
        assert propose("--push") == 1
        assert "committed here, not pushed; git says:" in tunnelbook.err
        shutil.move(shared.with_name("away"), shared)
        assert propose("--push") == 0
        assert f"proposed already, on the branch {self.BRANCH}" in tunnelbook.out
        assert propose("--hz", 44.5) == 0
        assert git(wash, "branch", "--format=%(refname:short)").split() == [
            "main",
            self.BRANCH,
            f"{self.BRANCH}-2",
        ]

    def test_it_stands_on_what_is_committed(self, propose, tunnelbook, wash, shared):
        words = ("record", "--site", wash, "--by", "m-tarrow", "--at", "2026-11-25T07:00", "--yes")
        assert tunnelbook(*words, "--speed", "brush-p2=43/30@44") == 0
        evidence = ("--evidence", "2026-11-25T0700-m-tarrow#1")
        assert propose(*evidence) == 1
        assert "commit the visit first that is its evidence" in tunnelbook.err
        assert git(wash, "branch", "--list", "setting-*") == ""
        assert propose(*evidence, "--here") == 0
        assert "proposed_by: m-tarrow\n  proposed_on" in (wash / "setpoints/brush-p2.yaml").read_text()  # fmt: skip

    def test_without_a_remote_or_a_name_in_git_it_says_so(
        self, propose, tunnelbook, wash, shared, monkeypatch
    ):
        git(wash, "remote", "remove", "origin")
        assert propose("--push") == 1
        assert "not pushed; git says:\nthis repository has no remote" in tunnelbook.err
        git(wash, "branch", "-qD", self.BRANCH)
        monkeypatch.setenv("GIT_CONFIG_GLOBAL", "/dev/null")
        assert propose() == 2
        assert "nothing was written: git does not know who you are" in tunnelbook.err
        assert git(wash, "branch", "--list", "setting-*") == ""

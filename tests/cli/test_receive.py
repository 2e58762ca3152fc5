"""`tunnelbook receive`: what a phone sent becomes files, once, and goes into git as it is asked."""

import io
import os
import re
import shutil
import sys
from datetime import date, datetime

import pytest
from git_repo import git
from pinned_clock import pinned_clock
from sent_visit import ENTRIES, flow, sent

from ledger.cli.command import open_folder
from ledger.upkeep.due.rounds import list_of


@pytest.fixture
def receive(tunnelbook, wash, monkeypatch):
    def run(text: str, *words: object) -> int:
        stdin = io.TextIOWrapper(io.BytesIO(text.encode()))
        monkeypatch.setattr(sys, "stdin", stdin)
        return tunnelbook("receive", "-", "--site", wash, *words)

    return run


def filed(wash, day="2026-11-24"):
    visits = open_folder(wash, None, pinned_clock).ledger.visits
    return [visit for visit in visits if f"{visit.when:%Y-%m-%d}" == day]


LOOK = "title: Look\non: {points: [cloth, nozzle]}\nevery: 1 day\nsteps: Look.\n"


@pytest.fixture
def claim(wash, shared):
    """A round as the page of the last commit asks it."""
    (wash / "tasks" / "look.yaml").write_text(LOOK)
    git(wash, "add", ".")
    git(wash, "commit", "-qm", "Look at the cloth each day")
    ledger = open_folder(wash, None, pinned_clock).ledger
    count, digits = list_of(ledger, ["look"], date(2026, 11, 24))
    commit = git(wash, "rev-parse", "HEAD")[:12]
    return {"in_order": "before-opening", "tasks": ["look"], "of": count, "list": digits, "commit": commit}  # fmt: skip


def add_cloth(wash, more=""):
    """A second cloth on a machine, which no page has asked about yet."""
    path = wash / "equipment" / "brush-p2.yaml"
    text = path.read_text()
    assert "points:\n" in text
    path.write_text(text.replace("points:\n", f"points:\n  cloth-2: {{kind: cloth{more}}}\n"))


@pytest.mark.parametrize(
    ("other", "told"),
    [
        ({"of": 7}, "its round was asked of 7 places, and the files of this site name"),
        ({"list": "0a1b2c3d"}, "the files of this site name others; by commit"),
        ({"list": "0a1b2c3d", "commit": "0" * 12}, f"commit {'0' * 12} of its page cannot be read here"),
        ({"list": "0a1b2c3d", "commit": None}, "it does not say of which commit"),
    ],
)  # fmt: skip
def test_a_round_that_no_files_at_hand_asked_is_refused(
    receive, tunnelbook, wash, claim, other, told
):
    claim = {key: value for key, value in {**claim, **other}.items() if value}
    assert receive(sent(entries=[claim])) == 1
    assert told in tunnelbook.err
    assert filed(wash) == []


def test_a_round_is_resolved_by_the_commit_of_its_page(receive, tunnelbook, wash, claim):
    """A place that came since was not looked at: nothing says so until somebody decides."""
    assert receive(sent(entries=[claim]), "--dry-run") == 0
    assert "by commit" not in tunnelbook.out, "the files name the same places"
    add_cloth(wash)
    text = sent(at="2026-11-24T14:05", entries=[claim])
    assert receive(text) == 1
    assert f"asked of {claim['of']} places by commit {claim['commit']}, and not of brush-p2/cloth-2" in tunnelbook.err  # fmt: skip
    for outcome in ("1 filed, 0 there", "0 filed, 1 there"):
        assert receive(text, "--accept-changed", "--commit") == 0
        assert outcome in tunnelbook.out
    assert "left out as added since: brush-p2/cloth-2" not in tunnelbook.out
    tunnelbook("check", wash)
    assert "round-of-other-places" not in tunnelbook.out, "it was decided what becomes of the place"
    entry = filed(wash)[-1].entries[0]
    assert entry.raw["except"] == ["brush-p2/cloth-2"]
    assert len(entry.places) == claim["of"]
    assert "Received: as it was sent, but for places" in git(wash, "log", "-1", "--format=%b")


def test_a_place_that_came_into_service_later_was_not_asked_about(receive, tunnelbook, wash, claim):
    add_cloth(wash, ", in_service: 2026-11-25")
    assert receive(sent(entries=[claim])) == 0, tunnelbook.err
    assert "except" not in filed(wash)[0].entries[0].raw


def test_a_place_that_is_gone_since_needs_no_word(receive, tunnelbook, wash, claim):
    path = wash / "equipment" / "brush-p2.yaml"
    path.write_text(re.sub(r"(?m)^  cloth:.*\n(?:    .*\n)*", "", path.read_text()))
    assert receive(sent(entries=[claim])) == 0
    assert f"places by commit {claim['commit']}; left out as added since: nothing" in tunnelbook.out
    assert "round-of-other-places" in tunnelbook.err


@pytest.mark.parametrize("of", ["tasks", "of", "list", "commit"])
def test_a_round_that_was_damaged_on_the_way_is_refused(receive, tunnelbook, wash, claim, of):
    value = flow(claim[of])
    damaged = (
        value.replace(value[-2], "7" if value[-2] != "7" else "8", 1) if len(value) > 2 else "9"
    )
    assert damaged != value
    assert receive(sent(entries=[claim]).replace(f"{of}: {value}", f"{of}: {damaged}")) == 1
    assert "not filed: it is not what was sent" in tunnelbook.err
    assert filed(wash) == []


def test_a_visit_is_filed_once_with_what_was_repaired(receive, tunnelbook, wash):
    quoted = "".join(f"> {line}\n" for line in sent().splitlines())
    assert receive(quoted) == 0
    assert tunnelbook.out == (
        "standard input, line 1: observations/2026/11/2026-11-24T0640-m-tarrow.yaml "
        "(repaired: marks of a quoted mail)\n"
        "1 filed, 0 there already, 0 refused\n"
    )
    (visit,) = filed(wash)
    assert [dict(entry.raw) for entry in visit.entries] == ENTRIES
    assert f"{visit.entered_at:%Y-%m-%dT%H:%M}" == "2026-11-25T10:30"
    assert receive(sent()) == 0
    assert "0 filed, 1 there already, 0 refused" in tunnelbook.out
    assert len(filed(wash)) == 1


def test_what_is_not_as_it_was_sent_waits_for_a_word(receive, tunnelbook, wash):
    text = sent().replace("43", "44")
    assert receive(text) == 1
    assert "line 1: not filed: it is not what was sent" in tunnelbook.err
    assert not filed(wash)
    assert receive(text, "--accept-changed") == 0
    assert filed(wash)[0].entries[1].raw["counted"] == 44


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (sent(by="m-tarow"), "there is no person `m-tarow`"),
        (sent(entries=[{"task": "look-ovr"}]), "there is no task `look-ovr`"),
        (sent(at="yesterday"), "yesterday"),
        (sent(entries=[{"task": "look-over", "sett": "x"}]), "sett"),
        (sent().partition("#")[0], "it has no check line"),
        ("Nothing to report today, Mika", "standard input: no visit in it"),
    ],
)
def test_what_cannot_be_filed_says_why(receive, tunnelbook, wash, text, told):
    assert receive(text) == 1
    assert told in tunnelbook.err
    assert not filed(wash)


def test_a_dry_run_writes_nothing(receive, tunnelbook, wash, files_of):
    before = files_of(wash)
    assert receive(sent(), "--dry-run") == 0
    assert "- {task: look-over}" in tunnelbook.out
    assert "1 would be filed" in tunnelbook.out
    assert files_of(wash) == before


def test_a_folder_is_read_text_by_text(tunnelbook, wash, tmp_path):
    inbox = tmp_path / "inbox"
    inbox.mkdir()
    (inbox / "a.txt").write_text(sent() + "\n" + sent(at="2026-11-24T14:05"))
    (inbox / "b.eml").write_text(f"From: m@wash.example\nSubject: visit\n\n{sent()}")
    (inbox / "c.jpg").write_bytes(b"\xff\xd8")
    assert tunnelbook("receive", inbox, "--site", wash) == 0
    assert "2 filed, 1 there already, 0 refused" in tunnelbook.out
    assert len(filed(wash)) == 2


def test_the_commit_holds_the_visit_alone_and_names_its_person(receive, wash, shared):
    (wash / "README.md").write_text("half done")
    git(wash, "add", "README.md")
    assert receive(sent(), "--commit") == 0
    assert git(wash, "log", "-1", "--format=%an|%s|%b").strip() == (
        "Ada Tarrowby|File a visit of M. Tarrow, 2026-11-24 06:40|"
        "Visit-by: m-tarrow\nReceived: as it was sent"
    )
    assert git(wash, "show", "--name-only", "--format=", "HEAD").split() == [
        "observations/2026/11/2026-11-24T0640-m-tarrow.yaml"
    ]
    assert git(wash, "status", "--porcelain") == "A  README.md\n"
    assert git(shared, "log", "--format=%s", "main") == "Start\n", "nothing was pushed"


def test_a_visit_filed_for_another_is_shown_as_that(receive, tunnelbook, wash, shared):
    """Dag Fenwold files what M. Tarrow sent: never as Tarrow's own act, and no irregularity."""
    text = (wash / "site.yaml").read_text().replace("name: M. Tarrow", "name: M. Tarrow\n    emails: [m@wash.example]").replace("name: D. Fenwold", "name: D. Fenwold\n    emails: [d@wash.example]")  # fmt: skip
    (wash / "site.yaml").write_text(text + "policy: {filed_for_others: true}\n")
    git(wash, "commit", "-qam", "Allow it")
    git(wash, "config", "user.name", "D. Fenwold")
    git(wash, "config", "user.email", "d@wash.example")
    assert receive(sent().replace("by: m-tarrow", "by: m-tarrow\nfiled_by: m-tarrow"), "--commit", "--accept-changed") == 0  # fmt: skip
    assert "filed_for_others" not in tunnelbook.err
    (visit,) = filed(wash)
    assert (visit.by, visit.filed_by) == ("m-tarrow", "d-fenwold")
    assert receive(sent()) == 0
    assert "0 filed, 1 there already" in tunnelbook.out
    tunnelbook("audit", wash)
    assert "filed by D. Fenwold for M. Tarrow" in tunnelbook.out
    assert "Visits filed by somebody else" not in tunnelbook.out
    tunnelbook("show", "brush-p2", "--site", wash)
    assert "M. Tarrow, filed by D. Fenwold" in tunnelbook.out


def test_a_push_goes_on_top_of_what_others_pushed_first(receive, wash, shared, tmp_path):
    git(tmp_path, "clone", "-q", str(shared), "other")
    (tmp_path / "other/README.md").write_text("ours")
    git(tmp_path / "other", "add", ".")
    git(tmp_path / "other", "commit", "-qm", "Add a page")
    git(tmp_path / "other", "push", "-q")
    assert receive(sent(), "--push") == 0
    assert git(shared, "log", "--format=%s", "main").splitlines() == [
        "File a visit of M. Tarrow, 2026-11-24 06:40",
        "Add a page",
        "Start",
    ]


def test_a_branch_begun_here_gets_its_like_at_the_remote(receive, tunnelbook, wash, shared):
    git(wash, "switch", "-qc", "mine")
    assert receive(sent(), "--push") == 0
    assert tunnelbook.out.splitlines()[-1] == "pushed"
    assert git(shared, "rev-parse", "mine") == git(wash, "rev-parse", "HEAD")
    assert git(shared, "log", "--format=%s", "main") == "Start\n"
    assert receive(sent(at="2026-11-24T14:05"), "--push") == 0


def test_a_push_that_fails_leaves_the_commit_and_says_so(receive, tunnelbook, wash, shared):
    shutil.rmtree(shared)
    assert receive(sent(), "--push") == 1
    assert "committed here, not pushed; git says:" in tunnelbook.err
    assert git(wash, "log", "-1", "--format=%s").startswith("File a visit of M. Tarrow")


def test_what_was_filed_while_its_commit_failed_is_committed_when_it_is_tried_again(
    receive, tunnelbook, wash, shared
):
    assert receive(sent()) == 0
    assert receive(sent(), "--push") == 0
    assert "1 there already" in tunnelbook.out
    assert git(shared, "log", "-1", "--format=%s", "main").startswith("File a visit of M. Tarrow")
    assert git(wash, "log", "-1", "--format=%b").startswith("Visit-by: m-tarrow\nReceived: as it")
    assert receive(sent(), "--push") == 0
    assert len(git(shared, "log", "--format=%s", "main").splitlines()) == 2, "and only once"
    at = ("--at", "2026-11-24T09:00", "--site", wash, "--by", "m-tarrow", "--yes")
    assert tunnelbook("record", "--done", "look-over", *at) == 0
    assert tunnelbook("record", "--done", "look-over", *at, "--push") == 0
    assert len(git(shared, "log", "--format=%s", "main").splitlines()) == 3


def test_record_and_correct_go_the_way_that_the_site_states(tunnelbook, wash, shared):
    with (wash / "site.yaml").open("a") as site:
        site.write("filing: push\n")
    words = ("--site", wash, "--by", "m-tarrow", "--yes")
    assert tunnelbook("record", "--done", "look-over", "--at", "2026-11-24T06:40", *words) == 0
    assert tunnelbook.out.splitlines()[-1] == "pushed"
    entry = "2026-11-24T0640-m-tarrow#1"
    assert tunnelbook("correct", entry, "--void", "--reason", "not done", *words) == 0
    assert len(git(shared, "log", "--format=%s", "main").splitlines()) == 3


def test_without_git_it_is_filed_and_said_so(receive, tunnelbook, wash):
    assert receive(sent(), "--commit") == 2
    assert "filed, not committed: " in tunnelbook.err
    assert len(filed(wash)) == 1


class TestWhatLiesHere:
    """Visits that only this clone has are told by `due` and by whatever files one."""

    FIRST = "observations/2026/11/2026-11-24T0640-m-tarrow.yaml"

    @pytest.fixture
    def told(self, tunnelbook, wash):
        """The line of `due`, from what was worked out or was kept."""

        def read():
            assert tunnelbook("due", wash) == 0
            return "".join(line for line in tunnelbook.out.splitlines() if "here since" in line)

        return read

    def written_at(self, wash, when):
        at = datetime.fromisoformat(when).timestamp()
        os.utime(wash / self.FIRST, (at, at))

    def test_the_front_page_for_this_browser_says_it_and_no_other(
        self, receive, tunnelbook, wash, shared, tmp_path
    ):
        assert receive(sent()) == 0
        self.written_at(wash, "2026-11-24T07:10-06:00")
        with (wash / "site.yaml").open("a") as site:
            site.write("publish: book\n")
        said = "1 visit lies here since Tuesday"
        state = "07:10, not committed. So it was when this page was made."
        assert tunnelbook("build", wash, "--html") == 0
        page = (wash / "book/html/index.html").read_text()
        assert said in page
        assert state in page
        assert said not in (wash / "book/README.md").read_text()
        assert tunnelbook("build", wash, "--html", "--check") == 0
        assert tunnelbook("build", wash, "--publish", tmp_path / "public") == 0
        assert "lies here since" not in (tmp_path / "public/index.html").read_text()
        git(wash, "add", ".")
        git(wash, "commit", "-qm", "x")
        git(wash, "push", "-q")
        assert tunnelbook("build", wash, "--html", "--check") == 1
        assert f"`tunnelbook build {wash} --html`" in tunnelbook.err
        assert tunnelbook("build", wash, "--html") == 0
        assert "lies here since" not in (wash / "book/html/index.html").read_text()

    def test_from_the_file_to_the_push(self, told, receive, tunnelbook, wash, shared):
        assert told() == ""
        assert receive(sent()) == 0
        assert tunnelbook.out.splitlines()[-1].endswith(", not committed")
        self.written_at(wash, "2026-11-24T07:10-06:00")
        assert told() == "1 visit lies here since Tuesday 2026-11-24 07:10, not committed"
        assert receive(sent(at="2026-11-24T14:05"), "--commit") == 0
        both = "2 visits lie here since Tuesday 2026-11-24 07:10, 1 not committed, 1 not pushed"
        assert tunnelbook.out.splitlines()[-1] == both == told()
        assert receive(sent(), "--commit") == 0
        assert told() == "2 visits lie here since Wednesday 2026-11-25 10:30, not pushed"
        git(wash, "push", "-q")
        assert told() == "", "though no file has changed"
        assert receive(sent(at="2026-11-24T16:05"), "--push") == 0
        assert tunnelbook.out.splitlines()[-1] == "pushed"

    def test_a_visit_that_the_host_squashed_is_pushed(self, told, receive, wash, shared, tmp_path):
        git(wash, "switch", "-qc", "mine")
        assert receive(sent(), "--commit") == 0
        text = (wash / self.FIRST).read_text()
        git(tmp_path, "clone", "-q", str(shared), "other")
        (tmp_path / "other" / self.FIRST).write_text(text)
        git(tmp_path / "other", "add", ".")
        git(tmp_path / "other", "commit", "-qm", "Squashed")
        git(tmp_path / "other", "push", "-q")
        assert told().endswith(", not pushed")
        git(wash, "fetch", "-q")
        assert told() == ""

    def test_where_there_is_no_remote_a_commit_is_all(self, told, receive, wash, shared):
        git(wash, "remote", "remove", "origin")
        assert receive(sent(), "--commit") == 0
        assert told() == ""

    def test_another_day_and_a_commit_say_nothing_of_it(self, receive, tunnelbook, wash, shared):
        assert receive(sent()) == 0
        for words in (("--as-of", "2026-11-25"), ("--at-commit", "HEAD")):
            assert tunnelbook("due", wash, *words) == 0
            assert "here since" not in tunnelbook.out

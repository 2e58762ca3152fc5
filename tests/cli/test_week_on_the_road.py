"""A week of phone visits by every road there is, and three branches merged: what each one changes."""

import quopri
import re
import subprocess
from datetime import datetime
from urllib.parse import parse_qs, quote, urlsplit
from zoneinfo import ZoneInfo

import pytest
from git_repo import git
from sent_visit import sent

ZONE = ZoneInfo("America/Chicago")
NEW_FILE = "https://git.wash.example/ours/site/new/main?filename={path}&value={text}"
MOST_OF_ADDRESS = 6000
"""What a host takes in an address with room to spare: one answers 414 above 8,191 bytes."""
COUNTED = {"at": "brush-p2", "counted": 43, "seconds": 30, "found_hz": 44}
LOOKED = {"task": "look-over"}

PEOPLE = {"m-tarrow": "M. Tarrow", "d-fenwold": "D. Fenwold"}


class Week:
    """Three people with a clone each of what the host has; the clock goes from day to day."""

    def __init__(self, tunnelbook, wash, shared, monkeypatch):
        self.run, self.shared, self.desk, self.patch = tunnelbook, shared, wash, monkeypatch
        site = (wash / "site.yaml").read_text()
        for ident, name in PEOPLE.items():
            known = f"name: {name}\n    emails: [{ident}@wash.example]"
            site = site.replace(f"name: {name}", known)
        (wash / "site.yaml").write_text(
            f"{site}policy: {{book: branch, filed_for_others: true}}\n"
            f"repository: {{new_file: '{NEW_FILE}'}}\nfiling: push\n"
        )
        self.on("2026-11-19", "d-fenwold")
        assert self.run("build", wash) == 0
        git(wash, "add", ".")
        git(wash, "commit", "-qm", "Begin")
        git(wash, "push", "-q")
        self.phone = wash.with_name("hosts-page")
        git(wash.parent, "clone", "-q", str(shared), str(self.phone))

    def on(self, day, who):
        now = datetime.fromisoformat(f"{day}T18:00").replace(tzinfo=ZONE)
        self.run.clock = lambda zone: now.astimezone(zone or ZONE)
        config = self.desk.with_name(f"{who}.config")
        config.write_text(f"[user]\n\tname = {PEOPLE[who]}\n\temail = {who}@wash.example\n")
        self.patch.setenv("GIT_CONFIG_GLOBAL", str(config))
        for role in ("AUTHOR", "COMMITTER"):
            self.patch.setenv(f"GIT_{role}_DATE", now.isoformat())

    def by_mail(self, text):
        """As a mail program sends it on: quoted-printable, and quoted in an answer."""
        body = "Here it is.\n\n" + "".join(f"> {line}\n" for line in text.splitlines())
        mail = self.desk.with_name("visit.eml")
        head = b"From: m@wash.example\nSubject: Re: visit\nContent-Transfer-Encoding: quoted-printable\n\n"
        mail.write_bytes(head + quopri.encodestring(body.encode()))
        assert self.run("receive", mail, "--site", self.desk) == 0, self.run.err

    def by_link(self, path, text):
        """The phone opens the host's page for a new file; there it becomes a branch."""
        address = NEW_FILE.replace("{path}", quote(path, safe="")).replace("{text}", quote(text, safe=""))  # fmt: skip
        assert len(address) < MOST_OF_ADDRESS
        said = parse_qs(urlsplit(address).query, strict_parsing=True)
        git(self.phone, "switch", "-qc", "patch-1", "origin/main")
        (self.phone / said["filename"][0]).write_text(said["value"][0])
        git(self.phone, "add", ".")
        git(self.phone, "commit", "-qm", "Create a visit")
        git(self.phone, "push", "-q", "origin", "patch-1")

    def by_folder(self, *texts):
        inbox = self.desk.with_name("inbox")
        inbox.mkdir(exist_ok=True)
        for number, text in enumerate(texts):
            (inbox / f"{number}.txt").write_text(text)
        status = self.run("receive", inbox, "--branch", "received", "--site", self.desk)
        assert status == 0, self.run.err

    def changed(self, branch):
        """Files and lines that a pull request of the branch shows."""
        lines = git(self.desk, "diff", "--numstat", f"main...{branch}").splitlines()
        return len(lines), sum(int(line.split()[0]) + int(line.split()[1]) for line in lines)

    def merge(self, branch):
        git(self.desk, "fetch", "-q")
        git(self.desk, "merge", "-q", "--no-ff", "-m", f"Merge {branch}", f"origin/{branch}")
        git(self.desk, "push", "-q")


@pytest.fixture
def week(tunnelbook, wash, shared, monkeypatch):
    return Week(tunnelbook, wash, shared, monkeypatch)


def test_a_week_changes_a_file_a_visit_and_no_page(week):
    week.on("2026-11-20", "d-fenwold")
    week.by_mail(sent(at="2026-11-20T06:40"))
    assert "repaired: marks of a quoted mail" in week.run.out
    week.on("2026-11-21", "m-tarrow")
    path = "observations/2026/11/2026-11-21T0640-m-tarrow.yaml"
    week.by_link(path, sent(at="2026-11-21T06:40"))
    week.on("2026-11-23", "d-fenwold")
    days = ("2026-11-22", "2026-11-23")
    week.by_folder(*(sent(at=f"{day}T06:40") for day in days))
    week.on("2026-11-24", "d-fenwold")
    week.by_folder(*(sent(at=f"{day}T06:40") for day in (*days, "2026-11-24")))
    assert "1 filed, 2 there already, 0 refused" in week.run.out
    week.on("2026-11-25", "m-tarrow")
    words = ("propose", "brush-p2", "--hz", 45, "--evidence", "2026-11-17T0640-m-tarrow#2")
    assert week.run(*words, "--why", "In the middle.", "--site", week.desk) == 0
    git(week.desk, "fetch", "-q")
    branches = {"origin/patch-1": (1, 6), "origin/received": (3, 24), "origin/setting-brush-p2-2026-11-26": (1, 7)}  # fmt: skip
    assert {branch: week.changed(branch) for branch in branches} == branches
    week.on("2026-11-25", "d-fenwold")
    for branch in branches:
        week.merge(branch.removeprefix("origin/"))
    assert week.run("check", week.desk, "--errors-only") == 0
    assert week.run("build", week.desk, "--check") == 1
    stale = [line for line in week.run.out.splitlines() if line.startswith("stale: ")]
    assert stale == ["stale: book/setpoints.md: changed"], "by the proposal, and by no visit"
    assert week.run("build", week.desk) == 0
    git(week.desk, "commit", "-qam", "Render the register")
    assert week.run("build", week.desk, "--check") == 0
    week.run("audit", week.desk)
    said = " ".join(week.run.out.split())
    assert said.count("filed by D. Fenwold for M. Tarrow") == 4
    assert "committed by" not in said


WAYS = {
    "the job renders the book": ("main", False, set()),
    "the book has a branch of its own": ("branch", True, set()),
    "each renders the book with the visit": ("main", True, {"README.md"}),
}
"""How a site may work: where its book is kept, whether who files renders it, what then conflicts."""


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("method", ["--no-ff", "--squash", "rebase"])
def test_two_branches_with_a_visit_each(tunnelbook, wash, shared, way, method):
    """They merge without a conflict; one in rendered pages is told, and mended by a build."""
    kept, renders, conflicts = WAYS[way]
    with (wash / "site.yaml").open("a") as site:
        site.write(f"policy: {{book: {kept}}}\n")
    assert tunnelbook("build", wash) == 0
    git(wash, "add", ".")
    git(wash, "commit", "-qm", "Begin")
    for hour, entries in (("06:40", [LOOKED]), ("07:40", [COUNTED])):
        git(wash, "switch", "-qc", f"at-{hour[:2]}", "main")
        visit = wash.with_name("visit.txt")
        visit.write_text(sent(at=f"2026-11-24T{hour}", entries=entries))
        assert tunnelbook("receive", visit, "--commit", "--site", wash) == 0
        if renders:
            assert tunnelbook("build", wash) == 0
            git(wash, "add", ".")
            git(wash, "commit", "-q", "--allow-empty", "-m", "Render the book")
    git(wash, "switch", "-q", "main")
    git(wash, "merge", "-q", "--ff-only", "at-06")
    commands = {
        "--no-ff": [("merge", "-q", "--no-ff", "-m", "Merge", "at-07")],
        "--squash": [("merge", "-q", "--squash", "at-07"), ("commit", "-qm", "Squash")],
        "rebase": [("cherry-pick", "--allow-empty", "main..at-07")],
    }[method]
    if not conflicts:
        for words in commands:
            git(wash, *words)
    else:
        with pytest.raises(subprocess.CalledProcessError):
            git(wash, *commands[0])
        torn = git(wash, "diff", "--name-only", "--diff-filter=U").split()
        assert {f"book/{page}" for page in conflicts} <= set(torn)
        assert all(path.startswith("book/") for path in torn)
        assert tunnelbook("check", wash) == 1
        assert "a merge left both sides in this page" in tunnelbook.out
        assert tunnelbook("build", wash) == 0
        git(wash, "add", ".")
        git(wash, "-c", "core.editor=true", "commit", "-qm", "Merge")
    assert tunnelbook("check", wash, "--errors-only") == 0
    assert len(re.findall("2026-11-24T", git(wash, "ls-tree", "-r", "--name-only", "HEAD"))) == 2
    if conflicts:
        assert tunnelbook("build", wash, "--check") == 0

"""A small wash kept in a real repository by three people, as they would keep it."""

from collections.abc import Mapping
from datetime import UTC, datetime

from git_repo import DAG, MIRA, Repo

EVA = ("Eva Renner", "eva@example.org")
NOBODY = ("Somebody", "somebody@elsewhere.example")

SITE = """\
format: 1
name: Small Wash
time_zone: Etc/UTC
units: si
in_service: 2026-01-05
line: {line_rate_per_h: 104}
people:
  mira: {name: Mira Osterby, roles: [technician], emails: [mira@example.org]}
  eva: {name: Eva Renner, roles: [technician], emails: [eva@example.org]}
  dag: {name: Dag Varrick, roles: [lead], approves: [setpoints], emails: [dag@example.org]}
policy: {approver_differs: true, approval_proof: commit, max_step_hz: 4, entry_within: 2 days}
"""

BRUSH = """\
name: Side brush
kind: side-brush
station: 10
drive: {type: electric, motor_kw: 2.2, rated_rpm: 1740, base_hz: 60, poles: 4, reduction: 14.5, hz_limits: [30, 60]}
speed_band:
  - {line_rate_per_h: 104, rpm: [84, 94]}
points:
  bearing-top: {kind: rotating-bearing}
  damper: {kind: damper}
"""

TASK = """\
title: Grease the bearings
on: {points: rotating-bearing}
every: 1 week
window: 2 days
"""

DAMPERS = """\
title: Look at the dampers
on: {points: damper}
every: 2 weeks
"""

FIRST_SETTING = """\
- from: 2026-01-05
  hz: 48
  line_rate_per_h: 104
  why: Taken over from the card on the panel.
  proposed_by: mira
  approved_by: dag
"""

PROPOSAL = """\
- from: 2026-01-09
  hz: 46
  line_rate_per_h: 104
  why: Above the band.
  evidence: [2026-01-06T0700-mira#1]
  proposed_by: mira
"""

APPROVED = PROPOSAL + "  approved_by: dag\n"

GREASED = "{task: grease, at: brush, strokes: 4}"
COUNTED = "{at: brush, turns: 80, seconds: 50, found_hz: 48}"


def visit_path(stem: str) -> str:
    return f"observations/{stem[:4]}/{stem[5:7]}/{stem}.yaml"


def visit_text(stem: str, *entries: str) -> str:
    """A visit's file by its stem, such as 2026-01-06T0700-mira."""
    return f"at: {stem[:13]}:{stem[13:15]}\nby: {stem[16:]}\nentries:\n" + "".join(
        f"  - {entry}\n" for entry in entries
    )


class Wash:
    """The wash's repository; commits are made at the instants one names, by the people one names."""

    def __init__(self, repo: Repo, inside: str = "") -> None:
        self.repo = repo
        self.inside = inside

    def at(self, when: str) -> "Wash":
        """Set the clock: the next commit is made at that UTC time."""
        self.repo.clock = int(datetime.fromisoformat(when).replace(tzinfo=UTC).timestamp()) - 3600
        return self

    def commit(self, files: Mapping[str, str | None], *, by=MIRA, committer=None) -> str:
        placed = {f"{self.inside}{path}": text for path, text in files.items()}
        return self.repo.commit("Change", placed, by=by, committer=committer)

    def agree(self, files: Mapping[str, str], *, by=DAG, committer=None) -> str:
        """Commit a change of the setting, first as Mira's proposal and then with its approval."""
        path = "setpoints/brush.yaml"
        old, new = self.text(path), files[path]
        assert new.startswith(old), "a change at the end of the file"
        lines = new.removeprefix(old).splitlines(keepends=True)
        proposed = "".join(line for line in lines if not line.startswith("  approved_"))
        self.repo.clock -= 60
        self.commit({path: old + proposed})
        self.repo.clock -= 3540
        return self.commit(files, by=by, committer=committer)

    def settle(self, files: Mapping[str, str]) -> str:
        """Bring a change to main that Mira writes on a branch and Dag merges."""
        self.branch("settle", "main")
        self.repo.clock -= 60
        self.commit(files)
        self.switch("main")
        self.repo.clock -= 3540
        oid = self.repo.merge("settle", by=DAG)
        self.repo.git("branch", "-q", "-d", "settle")
        return oid

    def file(self, stem: str, *entries: str, by=MIRA, at: str = "") -> str:
        """Commit a visit in the evening of its day, or at another time."""
        self.at(at or f"{stem[:10]}T18:00")
        return self.commit({visit_path(stem): visit_text(stem, *(entries or (GREASED,)))}, by=by)

    def begin(self) -> str:
        return self.at("2026-01-05T08:00").commit(
            {
                "site.yaml": SITE,
                "equipment/brush.yaml": BRUSH,
                "tasks/grease.yaml": TASK,
                "tasks/dampers.yaml": DAMPERS,
                "setpoints/brush.yaml": FIRST_SETTING,
            },
            by=DAG,
        )

    def branch(self, name: str, start: str = "main") -> None:
        self.repo.git("checkout", "-q", "-b", name, start)

    def switch(self, name: str) -> None:
        self.repo.git("checkout", "-q", name)

    def text(self, path: str) -> str:
        return (self.repo.folder / self.inside / path).read_text()

    def open(self):
        return self.repo.open(self.inside)

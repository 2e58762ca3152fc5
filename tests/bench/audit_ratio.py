"""How long an audit of 10,000 commits takes, as a ratio to `git log --raw` on the same repository.

Whole processes are timed in turn, and the median of their ratios is told. The repository is as
technicians make it: a visit a commit, now and then a proposal with its approval by merge.
"""

import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path

TITLE = "an audit of 10,000 commits"
COMMITS = 10_000
ROUNDS = 7
_FIRST = datetime(2016, 1, 4, 6, 0, tzinfo=UTC)
_HOURS_BETWEEN = 7
_MERGE_EVERY = 10
_APPROVAL_EVERY = 100
DRIVES = tuple(f"brush-{number}" for number in range(10))

SITE = """\
format: 1
name: Small Wash
time_zone: Etc/UTC
in_service: 2016-01-01
line: {line_rate_per_h: 110}
people:
  mira: {name: Mira Osterby, roles: [technician], emails: [mira@example.org]}
  dag: {name: Dag Varrick, roles: [lead], approves: [setpoints], emails: [dag@example.org]}
policy: {approval_proof: commit}
"""
BRUSH = """\
name: Side brush
kind: side-brush
station: 10
drive: {type: electric, motor_hp: 3, poles: 4, rated_rpm: 1740, base_hz: 60, reduction: 16, hz_limits: [30, 60]}
speed_band:
  - {line_rate_per_h: 110, rpm: [74, 86]}
points:
  bearing-top: {kind: rotating-bearing}
"""
TASK = "title: Grease the bearings\non: {points: rotating-bearing}\nevery: 1 week\nwindow: 2 days\n"


def figures() -> Iterator[str]:
    with tempfile.TemporaryDirectory() as folder:
        site, single = Path(folder, "site"), Path(folder, "single")
        for place, commits in ((site, COMMITS), (single, 1)):
            build(place, commits)
            _run(["git", "-C", str(place), "gc", "-q"])
        log = ["git", "-C", str(site), "log", "--raw", "--no-renames"]
        audit = [sys.executable, "-m", "ledger", "audit"]
        rounds = [
            (_seconds([*audit, str(site)]), _seconds([*audit, str(single)]), _seconds(log))
            for _ in range(ROUNDS)
        ]
        whole = [audited / logged for audited, _, logged in rounds]
        fixed = [started / logged for _, started, logged in rounds]
        yield f"verdict {_verdict(site)}"
        yield (
            f"audit: {statistics.median(whole):.2f} × git log --raw "
            f"({min(whole):.2f} to {max(whole):.2f} in {ROUNDS} rounds; aim: under 3)"
        )
        yield (
            f"of that, what an audit of one commit takes already: {statistics.median(fixed):.2f} × "
            "(Python's start, imports, git's start)"
        )


def build(site: Path, commits: int) -> None:
    """A clean history of so many commits, by `git fast-import`."""
    site.mkdir()
    _run(["git", "init", "-q", "-b", "main", str(site)])
    subprocess.run(
        ["git", "-C", str(site), "fast-import", "--quiet"],
        input="".join(_stream(commits)).encode(),
        check=True,
    )
    _run(["git", "-C", str(site), "reset", "-q", "--hard"])


def _stream(commits: int) -> Iterator[str]:
    settings = {drive: _change(0, "dag", 48, _FIRST) for drive in DRIVES}
    yield from _commit(
        1,
        "dag",
        _FIRST,
        {
            "site.yaml": SITE,
            **{f"equipment/{drive}.yaml": BRUSH for drive in DRIVES},
            "tasks/grease.yaml": TASK,
            **{f"setpoints/{drive}.yaml": text for drive, text in settings.items()},
        },
    )
    mark, at = 1, _FIRST
    while mark < commits:
        at += timedelta(hours=_HOURS_BETWEEN)
        changed = _filed(at, mark)
        if (mark + 1) % _APPROVAL_EVERY == 0 and mark + 1 < commits:  # then comes its merge
            drive, tomorrow = DRIVES[mark // _APPROVAL_EVERY % len(DRIVES)], at + timedelta(days=1)
            settings[drive] += _change(mark, "dag", 44 + mark % 5, tomorrow)
            changed = {f"setpoints/{drive}.yaml": settings[drive]}
        yield from _commit(mark + 1, "mira", at + timedelta(minutes=30), changed, [mark])
        mark += 1
        if mark % _MERGE_EVERY == 0 and mark < commits:
            merged_at = at + timedelta(hours=1)
            yield from _commit(mark + 1, "dag", merged_at, changed, [mark - 1, mark])
            mark += 1
    yield "done\n"


def _filed(at: datetime, number: int) -> dict[str, str]:
    text = (
        f"at: {at:%Y-%m-%dT%H:%M}\nby: mira\nentries:\n"
        f"  - {{task: grease, at: brush-1/bearing-top, outcome: done, strokes: {1 + number % 3}}}\n"
        f"  - {{at: brush-2, counted: {40 + number % 4}, seconds: 30, found_hz: 46.0}}\n"
        f"  - {{finding: 'Cloth frays at strip {number % 18}', at: brush-2, urgency: planned}}\n"
    )
    return {f"observations/{at:%Y/%m}/{at:%Y-%m-%dT%H%M}-mira.yaml": text}


def _change(number: int, approver: str, hz: int, first_day: datetime) -> str:
    return (
        f"- from: {first_day:%Y-%m-%d}\n  hz: {hz}\n  line_rate_per_h: 110\n"
        f"  why: Reading {number}.\n  proposed_by: mira\n  approved_by: {approver}\n"
    )


def _commit(
    mark: int, by: str, at: datetime, files: dict[str, str], parents: Sequence[int] = ()
) -> Iterator[str]:
    who = f"{by.capitalize()} <{by}@example.org> {int(at.timestamp())} +0000"
    yield f"commit refs/heads/main\nmark :{mark}\nauthor {who}\ncommitter {who}\ndata 4\nWork\n"
    for place, parent in enumerate(parents):
        yield f"{'merge' if place else 'from'} :{parent}\n"
    for path, text in files.items():
        yield f"M 100644 inline {path}\ndata {len(text.encode())}\n{text}\n"


def _verdict(site: Path) -> str:
    done = subprocess.run(
        [sys.executable, "-m", "ledger", "audit", str(site)], capture_output=True, check=False
    )
    return "clean" if done.returncode == 0 else done.stdout.decode()[:2000]


def _seconds(command: Sequence[str]) -> float:
    begun = time.perf_counter()
    _run(command)
    return time.perf_counter() - begun


def _run(command: Sequence[str]) -> None:
    subprocess.run(
        command,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        check=True,
    )

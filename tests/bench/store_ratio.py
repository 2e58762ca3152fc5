"""What a command costs where nothing has changed and where everything has to be worked out.

Processor time of whole processes, in turn, as ratios of medians: machines differ, ratios hold. Of
cold work the time by the clock stands beside it. TUNNELBOOK_BENCH_YEARS says how many years the
site has; 3 for a quick look, 1,3,10,30 to see the growth.
"""

import os
import statistics
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import count
from pathlib import Path
from time import perf_counter, sleep

from sitegen.sites import FIRST_DAY, generate

# Compiled modules are kept, as in an installation.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

YEARS = [int(years) for years in os.environ.get("TUNNELBOOK_BENCH_YEARS", "10").split(",")]
TITLE = "the store and cold work: 60 machines, 10 visits a day, 12 % of lines noted"

WARM_ROUNDS = 11
COLD_ROUNDS = 3

_PARSE = """
import pathlib, sys, yaml
for path in sorted(pathlib.Path(sys.argv[1]).rglob("*.yaml")):
    yaml.load(path.read_bytes(), Loader=yaml.CSafeLoader)
"""


# `record` knows no --as-of: its day is that of the clock.
_ON_A_DAY = """
import sys
from datetime import UTC, datetime
from ledger.cli.start import entry_point
noon = datetime.fromisoformat(f"{sys.argv.pop(1)}T12:00+00:00")
entry_point(lambda zone: noon.astimezone(zone or UTC))
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cost:
    """Of one process: seconds of the processors and of the clock, and the most memory it held."""

    seconds: float
    wall: float
    peak_mb: float


def figures() -> Iterator[str]:
    for years in YEARS:
        yield f"{years} years"
        with tempfile.TemporaryDirectory() as folder:
            os.environ["XDG_CACHE_HOME"] = f"{folder}/cache"
            site = Path(folder, "site")
            generate(site, machines=60, days=365 * years)
            _commit(site)
            # The day after the last one on record; a new year would close the pages of all.
            day = FIRST_DAY + timedelta(days=365 * years)
            yield from _cold(site, day)
            yield from _warm(site, day)
    yield from _small()


def _warm(site: Path, day: date) -> Iterator[str]:
    asked = {
        "build": _ledger("build", str(site), "--as-of", str(day)),
        "due": _ledger("due", str(site), "--as-of", str(day)),
        "show": _ledger("show", "brush-003", "--site", str(site), "--as-of", str(day)),
        "check": _ledger("check", str(site), "--as-of", str(day)),
    }
    for command in asked.values():
        _cost(command)
    sleep(2)  # until the pages just written count as settled
    for command in asked.values():
        _cost(command)
    status = ["git", "-C", str(site), "status", "--porcelain"]
    costs = _in_turn({"git status": status, **asked}, WARM_ROUNDS)
    for name in asked:
        yield f"{name}, nothing changed: {_told(costs, name, 'git status')} git status"
    record = ("record", "--site", str(site), "--by", "a-onnevale")
    asked["record's list"] = [sys.executable, "-c", _ON_A_DAY, str(day), *record]
    costs = {"git status": [], **{name: [] for name in asked}}
    minutes = count()
    for number in range(WARM_ROUNDS):
        # The first is read by all, which then takes the place of what was kept before.
        often = ("git status", "build", "due", "show", "record's list")
        for name in ("git status", *asked) if number == 0 else often:
            _file_visit(site, day, next(minutes))
            costs[name].append(_cost(asked.get(name, status)))
    for name in asked:
        runs = f" ({len(costs[name])} runs)"
        yield f"{name}, after one visit: {_told(costs, name, 'git status')} git status{runs}"


def _cold(site: Path, day: date) -> Iterator[str]:
    commands = {
        "parse": [sys.executable, "-c", _PARSE, str(site)],
        "check": _ledger("check", str(site), "--as-of", str(day), "--no-store"),
        "build": _ledger("build", str(site), "--as-of", str(day), "--no-store"),
    }
    costs = _in_turn(commands, COLD_ROUNDS)
    both = zip(costs["check"], costs["build"], strict=True)
    costs["check + build"] = [
        Cost(
            seconds=one.seconds + two.seconds,
            wall=one.wall + two.wall,
            peak_mb=max(one.peak_mb, two.peak_mb),
        )
        for one, two in both
    ]
    parse = statistics.median(cost.seconds for cost in costs["parse"])
    for name in ("check", "build", "check + build"):
        wall = statistics.median(cost.wall for cost in costs[name]) / parse
        told = _told(costs, name, "parse")
        yield f"{name}, cold: {told} PyYAML's C loader on the same files; by the clock {wall:.2f} ×"


def _small() -> Iterator[str]:
    commands = {
        "bare": [sys.executable, "-c", "pass"],
        "--help": _ledger("--help"),
        "speed": _ledger("speed", "38", "30"),
        "completion of a machine": _ledger("complete", "show", "-C", "example_site", "br"),
    }
    costs = _in_turn(commands, WARM_ROUNDS)
    for name in [*commands][1:]:
        yield f"{name}: {_told(costs, name, 'bare')} the bare interpreter"


def _file_visit(site: Path, day: date, minute: int) -> None:
    """One visit at seven machines on the day after the last one, with a speed read at one."""
    lines = "".join(f"  - {{task: look-at-nozzles, at: brush-00{n}}}\n" for n in range(1, 8))
    lines += "  - {task: check-brush-speed, at: brush-003, counted: 40, seconds: 30}\n"
    path = (
        site
        / f"observations/{day:%Y/%m}/{day}T{minute // 60 + 6:02}{minute % 60:02}-a-onnevale.yaml"
    )
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(
        f"at: {day}T{minute // 60 + 6:02}:{minute % 60:02}\nby: a-onnevale\nentries:\n{lines}"
    )


def _commit(site: Path) -> None:
    for words in (
        ("init", "--quiet"),
        ("add", "."),
        ("-c", "user.name=a", "-c", "user.email=a@wash.example", "commit", "--quiet", "-m", "x"),
    ):
        subprocess.run(["git", "-C", str(site), *words], check=True, capture_output=True)


def _ledger(*words: str) -> list[str]:
    return [sys.executable, "-m", "ledger", *words]


def _in_turn(commands: Mapping[str, Sequence[str]], rounds: int) -> dict[str, list[Cost]]:
    costs: dict[str, list[Cost]] = {name: [] for name in commands}
    for _ in range(rounds):
        for name, command in commands.items():
            costs[name].append(_cost(command))
    return costs


def _cost(command: Sequence[str]) -> Cost:
    with open(os.devnull, "wb") as nowhere:  # noqa: PTH123 - its number is wanted
        streams = [
            (os.POSIX_SPAWN_OPEN, 0, os.devnull, os.O_RDONLY, 0),
            *((os.POSIX_SPAWN_DUP2, nowhere.fileno(), number) for number in (1, 2)),
        ]
        begun = perf_counter()
        child = os.posix_spawnp(command[0], command, os.environ, file_actions=streams)
        _, ended, used = os.wait4(child, 0)
        wall = perf_counter() - begun
    # Without an answer to its list `record` ends as a wrong call does.
    expected = {2} if "record" in command else {0, 1}
    if os.waitstatus_to_exitcode(ended) not in expected:
        raise RuntimeError(f"{' '.join(command[:4])} failed")
    kilobytes = used.ru_maxrss / (1024 if sys.platform == "darwin" else 1)
    return Cost(seconds=used.ru_utime + used.ru_stime, wall=wall, peak_mb=kilobytes / 1024)


def _told(costs: Mapping[str, Sequence[Cost]], name: str, base: str) -> str:
    median, other = (statistics.median(c.seconds for c in costs[key]) for key in (name, base))
    peak = max(cost.peak_mb for cost in costs[name])
    return f"{median / other:.2f} × (peak {peak:.0f} MB)"

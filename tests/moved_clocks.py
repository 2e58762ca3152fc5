"""The suite on other days than today: `faketime` moves the clock of every process it starts.

python -m tests.moved_clocks fixed              the tests that read the clock, at the times of FIXED
python -m tests.moved_clocks drawn              all that can be moved, on a day drawn anew
python -m tests.moved_clocks drawn --times 3    on three
python -m tests.moved_clocks drawn --seed 5     on the day that was printed with this seed
"""

import argparse
import os
import random
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path

from ledger.cli.clock import system_clock
from tests.campaign import BRIEF, PROFILE, READS_CLOCK
from tests.in_memory import put_temporary_files_in_memory

FIRST_DAY, LAST_DAY = date(2018, 1, 1), date(2037, 12, 31)
CAN_BE_MOVED = "not browser and not unmoved"
_TESTS = Path(__file__).parent


@dataclass(frozen=True, slots=True, kw_only=True)
class Moved:
    """A time to begin at, by the clocks of a zone."""

    why: str
    at: datetime
    zone: str = "Etc/UTC"


def fixed(today: date) -> Iterator[Moved]:
    noon = datetime(today.year, today.month, today.day, 12)  # noqa: DTZ001 - by the zone's clocks
    yield Moved(why="tomorrow", at=noon + timedelta(days=1))
    yield Moved(why="a leap day", at=noon.replace(year=2028, month=2, day=29))
    new_year = noon.replace(month=12, day=31, hour=23, minute=59)
    yield Moved(why="a minute before the year ends", at=new_year)
    yield Moved(why="a year on", at=noon + timedelta(days=365))
    yield Moved(
        why="a minute before midnight, where it is tomorrow by UTC already",
        at=noon.replace(hour=23, minute=59),
        zone="America/Los_Angeles",
    )


def drawn(seed: int) -> Moved:
    """A minute of any day."""
    days = (LAST_DAY - FIRST_DAY).days
    chance = random.Random(seed)
    day = FIRST_DAY + timedelta(days=chance.randint(0, days))
    at = datetime(day.year, day.month, day.day, chance.randrange(24), chance.randrange(60))  # noqa: DTZ001 - by the zone's clocks
    return Moved(why=f"drawn with --seed {seed}", at=at)


def tell(line: str) -> None:
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


def suite_passes(moved: Moved, marked: str, among: Sequence[str], profile: str) -> bool:
    tell(f"\nThe clock begins at {moved.at:%Y-%m-%d %H:%M} {moved.zone}: {moved.why}")
    # Of its own: pytest removes folders that look old, and on a later day those in use do.
    folder = tempfile.mkdtemp(prefix="moved-clock-")
    ended = subprocess.run(
        [
            "faketime", "-f", f"@{moved.at:%Y-%m-%d %H:%M:%S}",
            sys.executable, "-m", "pytest", "-n", "3", "--dist", "worksteal", "-m", marked,
            *(_TESTS / name for name in among),
            "-p", "no:cacheprovider", "--basetemp", f"{folder}/tests",
        ],
        # What waits, waits by the clock that only counts; moved as well, it would wait for ever.
        env={
            **os.environ,
            "TZ": moved.zone,
            "FAKETIME_DONT_FAKE_MONOTONIC": "1",
            "HYPOTHESIS_PROFILE": profile,
        },
        check=False,
    )  # fmt: skip
    shutil.rmtree(folder)
    return ended.returncode == 0


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.moved_clocks")
    parser.add_argument("which", choices=("fixed", "drawn"))
    parser.add_argument("--times", type=int, default=1)
    parser.add_argument("--seed", type=int)
    asked = parser.parse_args()
    if shutil.which("faketime") is None:
        parser.error(
            "there is no `faketime` on the path; install the system's package of that name"
        )
    if asked.which == "fixed":
        today = system_clock(None).date()
        runs = [(moved, f"clock and {CAN_BE_MOVED}", READS_CLOCK, BRIEF) for moved in fixed(today)]
    else:
        chance = random.SystemRandom()
        seeds = [asked.seed] if asked.seed is not None else [chance.randrange(10**6) for _ in range(asked.times)]  # fmt: skip
        runs = [(drawn(seed), CAN_BE_MOVED, ("",), PROFILE) for seed in seeds]
    put_temporary_files_in_memory()
    failed = [run[0] for run in runs if not suite_passes(*run)]
    tell(f"\n{len(runs) - len(failed)} of {len(runs)} moved clocks passed")
    for moved in failed:
        tell(f"failed at {moved.at:%Y-%m-%d %H:%M} {moved.zone}: {moved.why}")
    return int(bool(failed))


if __name__ == "__main__":
    sys.exit(main())

"""Figures that a single test cannot show: shares over many seeded sites.

python -m tests.bench            every figure
python -m tests.bench NAME ...   only these modules of tests/bench
"""

import importlib
import sys
from collections.abc import Sequence
from pathlib import Path

MODULES = (
    *("reading_speed", "store_ratio", "drift_alarms", "tune_coverage", "reading_coverage"),
    *("setting_coverage", "tap_coverage", "trend_power", "few_failures", "audit_ratio"),
    "group_cost",
)


def main(names: Sequence[str]) -> int:
    unknown = [name for name in names if name not in MODULES]
    if unknown:
        sys.stderr.write(f"no figures {', '.join(unknown)}; known are {', '.join(MODULES)}\n")
        return 2
    # The figures share the generator of readings with the tests, which find it here.
    sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
    for name in names or MODULES:
        module = importlib.import_module(f"tests.bench.{name}")
        sys.stdout.write(f"{module.TITLE}\n")
        for line in module.figures():
            sys.stdout.write(f"  {line}\n")
            sys.stdout.flush()
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

"""Draws the example's visits anew, or writes a site of any size.

PYTHONPATH=tests python -m sitegen example
PYTHONPATH=tests python -m sitegen DIR --days 365 --visits-per-day 10
"""

import argparse
from pathlib import Path

from sitegen.emit import write_files
from sitegen.sites import generate
from sitegen.story import example_visits

EXAMPLE = Path(__file__).resolve().parents[2] / "example_site"


def main() -> None:
    parser = argparse.ArgumentParser(prog="sitegen", description=__doc__)
    parser.add_argument("target", help="a new folder, or the word example")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--machines", type=int, default=45)
    parser.add_argument("--days", type=int, default=365)
    parser.add_argument("--visits-per-day", type=int, default=10)
    options = parser.parse_args()
    if options.target == "example":
        write_files(EXAMPLE, example_visits(EXAMPLE))
    else:
        generate(
            Path(options.target),
            seed=options.seed,
            machines=options.machines,
            days=options.days,
            visits_per_day=options.visits_per_day,
        )


if __name__ == "__main__":
    main()

"""How long a year of visits takes, as ratios to public tools on the same files in the same run.

Whole processes are timed, in turn, and the median of their ratios is told: machines differ and
drift, ratios hold.
"""

import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

from sitegen.sites import generate

TITLE = "a year of visits: 3,650 files"
ROUNDS = 3
DAY = "2026-12-31"

_BASELINE = """
import pathlib, sys, yaml
for path in sorted(pathlib.Path(sys.argv[1]).rglob("*.yaml")):
    yaml.load(path.read_bytes(), Loader=yaml.CSafeLoader)
"""


def figures() -> Iterator[str]:
    with tempfile.TemporaryDirectory() as folder:
        site = Path(folder) / "site"
        generate(site, seed=1)
        visits = sorted((site / "observations").rglob("*.yaml"))
        yield f"{len(visits)} visit files, {sum(v.stat().st_size for v in visits) / 1e6:.1f} MB"
        parse = [sys.executable, "-c", _BASELINE, str(site)]
        check = [sys.executable, "-m", "ledger", "check", str(site), "--as-of", DAY]
        build = [sys.executable, "-m", "ledger", "build", str(site), "--as-of", DAY]
        again = build
        _run(build)
        for name, command in (("check", check), ("build, nothing changed", again)):
            ratio = _ratio(command, parse)
            yield f"{name}: {ratio:.2f} × PyYAML's C loader alone on the same files"
        sample = visits[: len(visits) // 10]
        few = _few(Path(folder) / "few", site, sample)
        schema = ["check-jsonschema", "--schemafile", str(_schema()), *map(str, sample)]
        whole = [sys.executable, "-m", "ledger", "check", str(few), "--as-of", DAY]
        ratio = _ratio(whole, [str(Path(sys.executable).parent / schema[0]), *schema[1:]])
        yield (
            f"check: {ratio:.3f} × check-jsonschema on the same {len(sample)} visits and schema "
            "(which links nothing and reads no other file)"
        )


def _few(target: Path, site: Path, visits: Sequence[Path]) -> Path:
    """The site with fewer visits."""
    for path in sorted(site.rglob("*.yaml")):
        if "observations" in path.parts and path not in visits:
            continue
        copy = target / path.relative_to(site)
        copy.parent.mkdir(parents=True, exist_ok=True)
        copy.write_bytes(path.read_bytes())
    return target


def _schema() -> Path:
    return Path(__file__).parent.parent.parent / "schemas" / "visit.schema.json"


def _ratio(command: Sequence[str], other: Sequence[str]) -> float:
    return statistics.median(_seconds(command) / _seconds(other) for _ in range(ROUNDS))


def _seconds(command: Sequence[str]) -> float:
    begun = time.perf_counter()
    _run(command)
    return time.perf_counter() - begun


def _run(command: Sequence[str]) -> None:
    done = subprocess.run(command, check=False, capture_output=True)
    if done.returncode not in {0, 1}:
        raise RuntimeError(f"{command[:4]} failed: {done.stderr.decode()[-400:]}")

"""What every test may ask for, and what is said at the end of what could not run."""

import os
import random
import select
import signal
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from campaign import DRAW, HAS_ITS_OWN_CLOCK, READS_CLOCK, left_for_another_run, load_profile
from in_memory import put_temporary_files_in_memory
from tools import NOT_RUN, find_tool, missing

if TYPE_CHECKING:
    from playwright.sync_api import Browser

load_profile()
put_temporary_files_in_memory()
os.environ.setdefault(DRAW, str(random.SystemRandom().randrange(10**6)))

if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    # Started in the background of a shell: what a test starts would not hear Ctrl-C either.
    signal.signal(signal.SIGINT, signal.default_int_handler)

if "FAKETIME" in os.environ:
    # Where it leaves the monotonic clock alone, libfaketime 0.9.10 refuses the deadline that Python
    # sleeps to; `subprocess` sleeps while it waits for a program with a limit.
    time.sleep = lambda seconds: select.select((), (), (), seconds)

_CHROMIUM = ("chromium", "chromium-browser", "google-chrome", "chrome")
_ARGS = ("--no-sandbox", "--disable-gpu", "--disable-background-networking")


_TESTS = Path(__file__).parent


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Which tests have a mark is said here alone."""
    for item in items:
        asked = getattr(item, "fixturenames", ())
        if "browser" in asked:
            item.add_marker("browser")
        may_read = item.path.relative_to(_TESTS).parts[0] in READS_CLOCK
        if may_read and "tunnelbook" not in asked and item.path.name not in HAS_ITS_OWN_CLOCK:
            item.add_marker("clock")
    for item in left_for_another_run(items):
        why = f"{NOT_RUN}a third of the long tables and stories is drawn, by {DRAW}={os.environ[DRAW]}"
        item.add_marker(pytest.mark.skip(reason=why))


@pytest.fixture(autouse=True, scope="session")
def cache_of_the_tests(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Commands keep their answers in a folder of this run, not in that of whoever runs it."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CACHE_HOME", str(tmp_path_factory.mktemp("cache")))
        patch.setenv("XDG_DATA_HOME", str(tmp_path_factory.mktemp("data")))
        yield


@pytest.fixture(autouse=True)
def width_of_the_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    """One width, whatever window the tests are run from; `render` asks COLUMNS first."""
    monkeypatch.setenv("COLUMNS", "100")


@pytest.fixture(scope="session")
def browser() -> "Iterator[Browser]":
    """A headless Chromium for the whole run; take `browser.new_page()` and close it.

    `CHROMIUM` names the program where it is not on the path. Without TUNNELBOOK_BROWSER the browser
    is left out, as what it has to show takes as long as all else.
    """
    if not os.environ.get("TUNNELBOOK_BROWSER"):
        pytest.skip(f"{NOT_RUN}the browser has its turn in .ci/run or `make test BROWSER=now`")
    program = os.environ.get("CHROMIUM") or find_tool(*_CHROMIUM)
    try:
        from playwright.sync_api import sync_playwright  # noqa: PLC0415
    except ImportError:
        missing("the playwright package is not installed")
    with sync_playwright() as playwright:
        launched = playwright.chromium.launch(executable_path=program, args=list(_ARGS))
        yield launched
        launched.close()


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    _say_how_many_faults(terminalreporter)
    whys = Counter(
        report.longrepr[2].partition(NOT_RUN)[2]
        for report in terminalreporter.stats.get("skipped", ())
        if NOT_RUN in str(report.longrepr)
    )
    if whys:
        terminalreporter.section("NOT RUN HERE", sep="!", red=True)
    for why, count in sorted(whys.items()):
        terminalreporter.line(f"{count} tests were NOT run: {why}")


def _say_how_many_faults(terminalreporter: pytest.TerminalReporter) -> None:
    walked = [
        counts
        for outcome in ("passed", "failed")
        for report in terminalreporter.stats.get(outcome, ())
        for name, counts in report.user_properties
        if name == "faults" and report.when == "call"
    ]
    if walked:
        drawn, whole, seeds = zip(*walked, strict=True)
        terminalreporter.line(
            f"fault walk: {sum(drawn)} of {sum(whole)} faults in {len(walked)} commands, "
            f"seed {', '.join(map(str, sorted(set(seeds))))}"
        )

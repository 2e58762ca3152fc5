"""What every test may ask for: a real Chromium, or a loud word that there is none."""

import os
import select
import shutil
import time
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

import pytest
from campaign import load_profile

if TYPE_CHECKING:
    from playwright.sync_api import Browser

load_profile()

if "FAKETIME" in os.environ:
    # Where it leaves the monotonic clock alone, libfaketime 0.9.10 refuses the deadline that Python
    # sleeps to; `subprocess` sleeps while it waits for a program with a limit.
    time.sleep = lambda seconds: select.select((), (), (), seconds)

_NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")
_REQUIRE = "TUNNELBOOK_REQUIRE_BROWSER"
_ARGS = ("--no-sandbox", "--disable-gpu", "--disable-background-networking")


# Start real processes, which read the machine's clock, or ask git, which does.
_READS_CLOCK = (
    "cli",
    "history",
    "proof",
    "test_pipeline.py",
    "test_readme.py",
    "test_workflows.py",
)
_TESTS = Path(__file__).parent


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Which tests have a mark is said here alone."""
    for item in items:
        if "browser" in getattr(item, "fixturenames", ()):
            item.add_marker("browser")
        if item.path.relative_to(_TESTS).parts[0] in _READS_CLOCK:
            item.add_marker("clock")


@pytest.fixture(autouse=True, scope="session")
def cache_of_the_tests(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Commands keep their answers in a folder of this run, not in that of whoever runs it."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CACHE_HOME", str(tmp_path_factory.mktemp("cache")))
        yield


@pytest.fixture(autouse=True)
def width_of_the_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    """One width, whatever window the tests are run from; `render` asks COLUMNS first."""
    monkeypatch.setenv("COLUMNS", "100")


@pytest.fixture(scope="session")
def browser() -> "Iterator[Browser]":
    """A headless Chromium for the whole run; take `browser.new_page()` and close it.

    `CHROMIUM` names the program where it is not on the path. With TUNNELBOOK_REQUIRE_BROWSER
    set, a missing Chromium is a failure.
    """
    program = os.environ.get("CHROMIUM") or next(filter(None, map(shutil.which, _NAMES)), None)
    if program is None:
        _no_browser("no Chromium on the path, and CHROMIUM names none")
    try:
        from playwright.sync_api import sync_playwright  # noqa: PLC0415
    except ImportError:
        _no_browser("the playwright package is not installed")
    with sync_playwright() as playwright:
        launched = playwright.chromium.launch(executable_path=program, args=list(_ARGS))
        yield launched
        launched.close()


def _no_browser(why: str) -> NoReturn:
    if os.environ.get(_REQUIRE):
        pytest.fail(f"browser tests are required, but {why}")
    pytest.skip(f"browser test NOT run: {why}")


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    _say_how_many_faults(terminalreporter)
    skipped = [
        report
        for report in terminalreporter.stats.get("skipped", ())
        if "browser test NOT run" in str(report.longrepr)
    ]
    if skipped:
        terminalreporter.section("NO BROWSER", sep="!", red=True)
        terminalreporter.line(
            f"{len(skipped)} browser tests were NOT run: {skipped[0].longrepr[2]}. "
            f"Install Chromium, or name it in CHROMIUM."
        )


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

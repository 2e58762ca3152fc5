"""What every test may ask for: a real Chromium, or a loud word that there is none."""

import os
import shutil
from collections.abc import Iterator
from typing import TYPE_CHECKING, NoReturn

import pytest
from hypothesis import settings

if TYPE_CHECKING:
    from playwright.sync_api import Browser

# How long an example takes says nothing on a machine that others share.
settings.register_profile("patient", deadline=None, derandomize=bool(os.environ.get("CI")))
settings.load_profile("patient")

_NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")
_REQUIRE = "TUNNELBOOK_REQUIRE_BROWSER"
_ARGS = ("--no-sandbox", "--disable-gpu", "--disable-background-networking")


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

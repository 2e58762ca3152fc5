"""Where each page of the book lies."""

from urllib.parse import urlsplit, urlunsplit

METHODS_PAGE = "methods.md"
METHODS_TITLE = "How the numbers are worked out"
IN_TIME_PAGE = "in-time.md"
IN_TIME_TITLE = "Work done in time"
WEAR_PAGE = "wear.md"
DRIFT_PAGE = "drift.md"
WATER_PAGE = "water.md"
DUTY_PAGE = "duty.md"
PEOPLE_PAGE = "people.md"
MONTHS_PAGE = "months.md"
DUE_PAGE = "due.md"
LOCKOUT_PAGE = "lockout.md"
FINDINGS_PAGE = "findings.md"
LINE_PAGE = "line.md"
LOAD_PAGE = "load.md"
GREASE_PAGE = "lubrication.md"
SPEEDS_PAGE = "speeds.md"
SPEEDS_TITLE = "Shaft speeds"
PARTS_PAGE = "parts.md"
INSTRUMENTS_PAGE = "instruments.md"
RELIABILITY_PAGE = "reliability.md"
TUNING_PAGE = "tuning.md"
REGISTER_PAGE = "setpoints.md"
FRONT_PAGE = "README.md"

MAIN_PAGES = (
    ("Today", FRONT_PAGE),
    ("Due", DUE_PAGE),
    ("Speeds", SPEEDS_PAGE),
    ("Settings", REGISTER_PAGE),
    ("Findings", FINDINGS_PAGE),
)
"""At the head of every page of the HTML book."""


def html_address(address: str, page: str) -> str:
    """Where a page of the HTML book opens on the web; nothing where the site gives no address."""
    if not address:
        return ""
    parts = urlsplit(address)
    path = f"{parts.path.rstrip('/')}/{page.removesuffix('.md')}.html"
    return urlunsplit((parts.scheme, parts.netloc, path, parts.query, ""))

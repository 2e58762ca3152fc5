"""Where each page of the book lies."""

METHODS_PAGE = "methods.md"
METHODS_TITLE = "How the numbers are worked out"
IN_TIME_PAGE = "in-time.md"
IN_TIME_TITLE = "Work done in time"
WEAR_PAGE = "wear.md"
DRIFT_PAGE = "drift.md"
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

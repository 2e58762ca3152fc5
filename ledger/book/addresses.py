"""TODO"""

METHODS_PAGE = "methods.md"

METHODS_TITLE = "How the numbers are worked out"


IN_TIME_PAGE = "compliance.md"

IN_TIME_TITLE = "Work done in time"


WEAR_PAGE = "wear.md"


DRIFT_PAGE = "drift.md"


DUE_PAGE = "due.md"


FINDINGS_PAGE = "findings.md"


LINE_PAGE = "line.md"


LOAD_PAGE = "load.md"


GREASE_PAGE = "lubrication.md"


SPEEDS_PAGE = "speeds.md"


PARTS_PAGE = "parts.md"


RELIABILITY_PAGE = "reliability.md"


TUNING_PAGE = "settings.md"


REGISTER_PAGE = "setpoints.md"


FRONT_PAGE = "README.md"

"""A visit as the pocket page sends it: plain YAML with its check line."""

import json
import re

from ledger.filing.posted import check_digits

ENTRIES = [
    {"task": "look-over"},
    {"at": "brush-p2", "counted": 43, "seconds": 30, "found_hz": 44},
]


def flow(value):
    if isinstance(value, list):
        return f"[{', '.join(map(flow, value))}]"
    is_plain = not isinstance(value, str) or re.fullmatch(r"[a-z][a-z0-9/-]*", value)
    return str(value) if is_plain else json.dumps(value)


def sent(at="2026-11-24T06:40", by="m-tarrow", entries=ENTRIES) -> str:
    visit = {"at": at, "by": by, "entries": entries}
    lines = [
        "- {" + ", ".join(f"{key}: {flow(value)}" for key, value in entry.items()) + "}"
        for entry in entries
    ]
    return "\n".join(
        [f"at: {at}", f"by: {by}", "entries:", *lines, f"# check {check_digits(visit)}", ""]
    )

"""A visit as the pocket page sends it: plain YAML with its check line."""

from ledger.filing.posted import check_digits

ENTRIES = [
    {"task": "look-over"},
    {"at": "brush-p2", "counted": 43, "seconds": 30, "found_hz": 44},
]


def sent(at="2026-11-24T06:40", by="m-tarrow", entries=ENTRIES) -> str:
    visit = {"at": at, "by": by, "entries": entries}
    lines = [
        "- {" + ", ".join(f"{key}: {value}" for key, value in entry.items()) + "}"
        for entry in entries
    ]
    return "\n".join(
        [f"at: {at}", f"by: {by}", "entries:", *lines, f"# check {check_digits(visit)}", ""]
    )

"""What people mistype: one slip in a file that is otherwise right, and what must be said first.

In `typed` the sign » stands before the character that the first message must point at.
"""

from typing import NamedTuple

from sound_site import SOUND, texts_below

VISIT = "observations/2026/11/2026-11-24T0710-m-tarrow.yaml"
VISIT_TEXT = """\
at: 2026-11-24T07:10
by: m-tarrow
meters: {vehicles: 193000}
note: Frost in the morning.
entries:
  - {task: check-speed, at: brush-p2, counted: 42, seconds: 30, found_hz: 44}
  - {task: look-over}
  - task: grease-bearings
    at: brush-p2
    strokes: 2
  - {finding: arm knocks, at: brush-p2, urgency: soon}
"""
SITE = "site.yaml"
MACHINE = "equipment/brush-p2.yaml"
HYDRAULIC = "equipment/low-brush.yaml"
TASK = "tasks/grease-bearings.yaml"
ROUND = "tasks/look-over.yaml"
SETPOINTS = "setpoints/brush-p2.yaml"
PART = "parts/grease-ep2.yaml"

#: The sound site and one visit more, without a fault: what every slip is typed into.
FILES = {**texts_below(SOUND), VISIT: VISIT_TEXT}


class Slip(NamedTuple):
    """`right` stands once in the file; `typed` is what a person wrote there instead."""

    path: str
    right: str
    typed: str
    message: tuple[str, ...]
    """Words of the first message."""
    remedy: str
    """Words of what it offers: the right spelling, what was expected or what to do."""


def _of(path: str, *rows: tuple[str, str, tuple[str, ...] | str, str]) -> list[Slip]:
    return [
        Slip(path, right, typed, (says,) if isinstance(says, str) else says, remedy)
        for right, typed, says, remedy in rows
    ]


_BY = "by: m-tarrow\n"
_AT = "at: 2026-11-24T07:10"
_NOTE = "note: Frost in the morning."
_METERS = "meters: {vehicles: 193000}"
_SPEED = "  - {task: check-speed, at: brush-p2, counted: 42, seconds: 30, found_hz: 44}\n"
_ROUND = "  - {task: look-over}\n"
_GREASE = "  - task: grease-bearings\n    at: brush-p2\n    strokes: 2\n"
_FINDING = "  - {finding: arm knocks, at: brush-p2, urgency: soon}\n"

# fmt: off
SLIPS: list[Slip] = [
    # The signs of YAML.
    *_of(VISIT,
        (_BY, "»by m-tarrow\n", ("colon", "`by`"), "by: m-tarrow"),
        (_BY, "»by:m-tarrow\n", ("space", "colon"), "by: m-tarrow"),
        (_BY, "»by = m-tarrow\n", ("colon", "`by`"), "by: m-tarrow"),
        (_BY, "»by; m-tarrow\n", ("colon", "`by`"), "by: m-tarrow"),
        (_BY, "by»\uff1am-tarrow\n", "full-width colon", "by: m-tarrow"),
        (_BY, "by»\uff1a m-tarrow\n", "full-width colon", "by: m-tarrow"),
        (_BY, "by:»\u00a0m-tarrow\n", "non-breaking space", "by: m-tarrow"),
        (_BY, "by:\n»m-tarrow\n", ("`by`", "line"), "by: m-tarrow"),
        (_BY, "»by:\n", ("`by`", "empty"), "write a value after the colon"),
        (_BY, "by: »\u201cm-tarrow\u201d\n", "curly quotes", "m-tarrow"),
        (_BY, 'by: »"m-tarrow\n', ("quote", "never closed"), 'by: "m-tarrow"'),
        (_BY, "by: »m-tarrow# me\n", "m-tarrow# me", "m-tarrow"),
        (_BY, "by: »m-tarrow,\n", "m-tarrow,", "m-tarrow"),
        (_BY, 'by: "m-tarrow"»,\n', "comma", 'by: "m-tarrow"'),
        (_BY, _BY + "»by: d-fenwold\n", ("`by`", "line 2"), "keep one of the two"),
        (_BY, "»\tby: m-tarrow\n", "tab", "spaces"),
        (_BY, "  »by: m-tarrow\n", "2 spaces", "take the spaces"),
        (_AT, "  »at: 2026-11-24T07:10", ("indented", "2 spaces"), "take the spaces"),
        (_NOTE, "note: »Leak: left side", "colon", 'note: "Leak: left side"'),
        (_NOTE, "note: »\u201cLeak: left side\u201d", "curly quotes", 'note: "Leak: left side"'),
        (_NOTE, "note: »\u2018Leak: left side\u2019", "curly quotes", 'note: "Leak: left side"'),
        (_NOTE, "note: »'don't touch the arm'", "quote", 'note: "don\'t touch the arm"'),
        (_NOTE, 'note: »"the 5" hose leaks"', "quote", "note: 'the 5\" hose leaks'"),
        (_NOTE, "note: »@osterby saw it", "@", 'note: "@osterby saw it"'),
        (_NOTE, "note: »*frost* all over", "*", 'note: "*frost* all over"'),
        (_NOTE, "note: »`frost`", "`", 'note: "`frost`"'),
        (_NOTE, "note: »%50 done", "%", 'note: "%50 done"'),
        (_NOTE, "note: »[ok] all well", "[", 'note: "[ok] all well"'),
        (_NOTE, "»```yaml\nnote: ok\n```", "Markdown", "delete the line"),
        (_METERS, "meters: »{vehicles: 193000", "never closed", "meters: {vehicles: 193000}"),
        (_METERS, "meters: {vehicles: 193000}»}", "closes nothing", "meters: {vehicles: 193000}"),
        (_METERS, "meters: »(vehicles: 193000)", "brackets that hold none", "meters: {vehicles: 193000}"),
        (_METERS, "meters: {vehicles: 193000»]", "`]`", "meters: {vehicles: 193000}"),
        (_METERS, "meters: {»vehicles 193000}", ("colon", "`vehicles`"), "vehicles: 193000"),
        (_METERS, "meters: {»vehicles:193000}", ("space", "colon"), "vehicles: 193000"),
        (_METERS, "meters: {vehicles: »193,000}", "comma", "193000"),
        (_METERS, "meters: {vehicles: »193 000}", "193 000", "193000"),
        (_METERS, "meters: »193000", "`meters`", "{key: value}"),
    ),
    *_of(VISIT,
        (_SPEED, _SPEED.replace("44}", "»42,5}"), ("42,5", "comma"), "found_hz: 42.5"),
        (_SPEED, _SPEED.replace("seconds: 30", "seconds: »30,5"), ("30,5", "comma"), "seconds: 30.5"),
        (_SPEED, _SPEED.replace("{", "»{", 1).replace("}", ""), "never closed", "found_hz: 44}"),
        (_SPEED, _SPEED.replace(", at: brush-p2", "» at: brush-p2"), "comma", "task: check-speed, at: brush-p2"),
        (_SPEED, _SPEED.replace("at: brush-p2", "»at brush-p2"), ("colon", "`at`"), "at: brush-p2"),
        (_SPEED, _SPEED.replace("at: brush-p2", "»at:brush-p2"), ("space", "colon"), "at: brush-p2"),
        (_SPEED, _SPEED.replace("at: brush-p2", "»at = brush-p2"), ("colon", "`at`"), "at: brush-p2"),
        (_SPEED, _SPEED.replace("44}", "44} # at idle"). replace("at: brush-p2,", "at: brush-p2 »# lower,"), ("#", "braces"), 'at: "brush-p2 # lower"'),
        (_SPEED, _SPEED.replace("- {", "»-{"), ("space", "dash"), "- {task"),
        (_SPEED, _SPEED.replace("- {", "»- - {"), "two dashes", "- {task"),
        (_SPEED, _SPEED.replace("- {", "»-- {"), "two dashes", "- {task"),
        (_SPEED, _SPEED.replace("- {", "»\u2013 {"), "en dash", "- {task"),
        (_SPEED, _SPEED.replace("- {", "»* {"), "dash", "- {task"),
        (_SPEED, _SPEED.replace("- {", "»\u2022 {"), "dash", "- {task"),
        (_SPEED, _SPEED.replace("- {", "»1. {"), "dash", "- {task"),
        (_ROUND, _ROUND.replace("- {", "»{"), "dash", "- {task: look-over}"),
        (_ROUND, _ROUND.replace("}\n", "}»,\n"), "comma", "- {task: look-over}"),
        (_ROUND, "   »- {task: look-over}\n", ("indented", "3 spaces"), "2 spaces"),
        (_ROUND, " »- {task: look-over}\n", ("indented", "1 space"), "2 spaces"),
        (_ROUND, _ROUND.rstrip("\n") + " »" + _FINDING.lstrip(), "two entries", "a line of its own"),
        (_ROUND, "\t»- {task: look-over}\n".replace("\t»", "»\t"), "tab", "spaces"),
        (_ROUND, "  - {task: »look over}\n", "look over", "look-over"),
        (_GREASE, "  - »task grease-bearings\n    at: brush-p2\n    strokes: 2\n", ("colon", "`task`"), "task: grease-bearings"),
        (_GREASE, "  - task: grease-bearings\n    »at brush-p2\n    strokes: 2\n", ("colon", "`at`"), "at: brush-p2"),
        (_GREASE, "  - task: grease-bearings\n   »at: brush-p2\n    strokes: 2\n", ("indented", "3 spaces"), "4 spaces"),
        (_GREASE, "  - task: grease-bearings\n    at: brush-p2\n     »strokes: 2\n", ("indented", "5 spaces"), "4 spaces"),
        (_FINDING, "  - {finding: »leak: left side, at: brush-p2}\n", "colon", 'finding: "leak: left side"'),
        (_FINDING, "  - {finding: »\u201cleak: left side\u201d, at: brush-p2}\n", "curly quotes", 'finding: "leak: left side"'),
        (_FINDING, "  - {finding: nozzle »#3 leaks, at: brush-p2}\n", ("#", "braces"), 'finding: "nozzle #3 leaks"'),
        (_FINDING, "  - {finding: »arm knocks, left side, at: brush-p2}\n", "comma", 'finding: "arm knocks, left side"'),
        (_FINDING, "  - {finding: »[left] arm knocks, at: brush-p2}\n", "[", 'finding: "[left] arm knocks"'),
        (_FINDING, "  - {»\u201cfinding\u201d: arm knocks, at: brush-p2}\n", "curly quotes", "finding"),
        (_FINDING, "  - {finding: arm knocks»\uff0c at: brush-p2}\n", "full-width comma", "arm knocks, at: brush-p2"),
        (_FINDING, '  - {finding: »"arm knocks, at: brush-p2}\n', "never closed", 'finding: "arm knocks"'),
    ),
    # Days and times.
    *_of(VISIT,
        (_AT, "at: »26.11.2026 16:50", "26.11.2026 16:50", "2026-11-26T16:50"),
        (_AT, "at: »11/26/2026 16:50", "11/26/2026 16:50", "2026-11-26T16:50"),
        (_AT, "at: »11/12/2026 07:10", "11/12/2026", "2026-11-12T07:10 or 2026-12-11T07:10"),
        (_AT, "at: »2026-11-24T24:00", "24:00", "2026-11-25T00:00"),
        (_AT, "at: »2026-11-24 24:00", "24:00", "2026-11-25T00:00"),
        (_AT, "at: »24:00", "24:00", "2026-11-23T06:40"),
        (_AT, "at: »07:10", ("07:10", "day"), "2026-11-23T06:40"),
        (_AT, "at: »2026-11-24", ("2026-11-24", "time"), "2026-11-23T06:40"),
        (_AT, "at: »2026-11-24 07:10", "2026-11-24 07:10", "2026-11-24T07:10"),
        (_AT, "at: »2026-11-24T7:10", "2026-11-24T7:10", "2026-11-24T07:10"),
        (_AT, "at: »2026-11-24T07.10", "2026-11-24T07.10", "2026-11-24T07:10"),
        (_AT, "at: »2026-11-24T0710", "2026-11-24T0710", "2026-11-24T07:10"),
        (_AT, "at: »2026-11-24 4:50 pm", "4:50 pm", "2026-11-24T16:50"),
        (_AT, "at: »Nov 24, 2026 7:10 am", "Nov 24", "2026-11-24T07:10"),
        (_AT, "at: »24 November 2026 07:10", "24 November", "2026-11-24T07:10"),
        (_AT, "at: »2O26-11-24T07:1O", "2O26-11-24T07:1O", "2026-11-24T07:10"),
        (_AT, "at: »2026-11-31T07:10", ("2026-11-31", "calendar"), "correct the day"),
        (_AT, "at: »2026-11-24T07:75", "07:75", "minute"),
        (_AT, "at: »2026\u201311\u201324T07:10", "2026\u201311\u201324", "2026-11-24T07:10"),
        (_AT, "at: »24.11.26 07:10", "24.11.26", "2026-11-24T07:10"),
        (_AT, "at: »today 07:10", "today", "2026-11-23T06:40"),
        (_AT, "»when: 2026-11-24T07:10", "`when`", "at"),
    ),
    # Keys and values of a visit.
    *_of(VISIT,
        (_BY, "»By: m-tarrow\n", "`By`", "by"),
        (_BY, "»who: m-tarrow\n", "`who`", "by"),
        (_BY, "»tech: m-tarrow\n", "`tech`", "by"),
        (_BY, "by: »M-Tarrow\n", "M-Tarrow", "m-tarrow"),
        (_BY, "by: »M. Tarrow\n", "M. Tarrow", "m-tarrow"),
        (_NOTE, "»remark: Frost", "`remark`", "note"),
        (_NOTE, "»notes: Frost", "`notes`", "note"),
        (_NOTE, "note: »12", "number", "quotes"),
        (_METERS, "»meter: {vehicles: 193000}", "`meter`", "meters"),
        (_METERS, "meters: {»cars: 193000}", "`cars`", "vehicles"),
        (_METERS, "meters: {vehicles: »-5}", ("`vehicles`", "-5"), "at least 0"),
        ("entries:", "»entry:", "`entry`", "entries"),
        (_SPEED, _SPEED.replace("counted: 42", "counted: »42 turns"), "42 turns", "42"),
        (_SPEED, _SPEED.replace("found_hz: 44", "found_hz: »44 Hz"), "44 Hz", "44"),
        (_SPEED, _SPEED.replace("found_hz: 44", "found_hz: »44Hz"), "44Hz", "44"),
        (_SPEED, _SPEED.replace("found_hz: 44", "found_hz: »0044"), "0044", "44"),
        (_SPEED, _SPEED.replace("found_hz: 44", "found_hz: »-44"), "-44", "at least 0"),
        (_SPEED, _SPEED.replace("found_hz: 44", "found_hz: »4400"), "4400", "400"),
        (_SPEED, _SPEED.replace("seconds: 30", "seconds: »30s"), "30s", "30"),
        (_SPEED, _SPEED.replace("seconds: 30", "seconds: »3O"), "3O", "30"),
        (_SPEED, _SPEED.replace("seconds: 30", 'seconds: »"30"'), "text", "30"),
        (_SPEED, _SPEED.replace("seconds: 30", "seconds: »1 min"), ("1 min", "minutes"), "seconds"),
        (_SPEED, _SPEED.replace("seconds: 30", "seconds: »0:30"), "0:30", "30"),
        (_SPEED, _SPEED.replace("counted: 42", "counted: »l2"), "l2", "12"),
        (_SPEED, _SPEED.replace("counted: 42", "counted: »-42"), "-42", "1"),
        (_SPEED, _SPEED.replace("counted: 42", "counted: »42.5"), "42.5", "whole number"),
        (_SPEED, _SPEED.replace("counted: 42", "»counted:"), ("`counted`", "empty"), "write a value"),
        (_SPEED, _SPEED.replace("counted: 42", "»count: 42"), "`count`", "counted"),
        (_SPEED, _SPEED.replace("counted: 42", "»revs: 42"), "`revs`", "counted"),
        (_SPEED, _SPEED.replace("seconds: 30", "»sec: 30"), "`sec`", "seconds"),
        (_SPEED, _SPEED.replace("seconds: 30", "»s: 30"), "`s`", "seconds"),
        (_SPEED, _SPEED.replace("seconds: 30", "»time: 30"), "`time`", "seconds"),
        (_SPEED, _SPEED.replace("found_hz: 44", "»hz: 44"), "`hz`", "found_hz"),
        (_SPEED, _SPEED.replace("found_hz: 44", "»freq: 44"), "`freq`", "found_hz"),
        (_SPEED, _SPEED.replace("found_hz: 44", "»Found Hz: 44"), "`Found Hz`", "found_hz"),
        (_SPEED, _SPEED.replace("found_hz: 44", "»found-hz: 44"), "`found-hz`", "found_hz"),
        (_SPEED, _SPEED.replace("counted: 42, seconds: 30", "»rpm: 84"), "`rpm`", "tachometer_rpm"),
        (_SPEED, _SPEED.replace("counted: 42, ", "counted: 42, »counted: 42, "), "`counted`", "keep one"),
        (_SPEED, _SPEED.replace("at: brush-p2", "»brush-p2: at"), "`brush-p2`", "at: brush-p2"),
        (_SPEED, _SPEED.replace("at: brush-p2", "»machine: brush-p2"), "`machine`", "at"),
        (_SPEED, _SPEED.replace("at: brush-p2", "at: »Brush-P2"), "Brush-P2", "brush-p2"),
        (_SPEED, _SPEED.replace("at: brush-p2", "at: »brush_p2"), "brush_p2", "brush-p2"),
        (_SPEED, _SPEED.replace("at: brush-p2", "at: »brush-p2.yaml"), "brush-p2.yaml", "brush-p2"),
        (_SPEED, _SPEED.replace("at: brush-p2", "at: »Lower side brush, passenger"), "comma", "quotes"),
        (_SPEED, _SPEED.replace("at: brush-p2", "at: »Low brush"), "Low brush", "low-brush"),
        (_SPEED, _SPEED.replace("check-speed", "»Count the brush speeds"), "Count the brush speeds", "check-speed"),
        (_SPEED, _SPEED.replace("check-speed", "»check-sped"), "check-sped", "check-speed"),
        (_ROUND, "  - {task: look-over, at: »nozzle-1}\n", "nozzle-1", "brush-p2/nozzle-1"),
        (_ROUND, "  - {task: look-over, at: »brush-p2 / nozzle-1}\n", "brush-p2 / nozzle-1", "brush-p2/nozzle-1"),
        (_ROUND, "  - {task: look-over, at: »brush-p2\\nozzle-1}\n", "brush-p2\\nozzle-1", "brush-p2/nozzle-1"),
        (_ROUND, "  - {task: look-over, outcome: »not done, reason: no time}\n", "not done", "not-done"),
        (_ROUND, "  - {task: look-over, outcome: »yes}\n", "yes", "done"),
        (_ROUND, "  - »task\n", "text", "{key: value}"),
        (_GREASE, _GREASE.replace("    strokes: 2", "    »pumps: 2"), "`pumps`", "strokes"),
        (_GREASE, _GREASE.replace("    strokes: 2", "    »shots: 2"), "`shots`", "strokes"),
        (_GREASE, _GREASE.replace("    strokes: 2", "    »squirts: 2"), "`squirts`", "strokes"),
        (_GREASE, _GREASE.replace("strokes: 2", "strokes: »2 shots"), "2 shots", "2"),
        (_GREASE, _GREASE.replace("strokes: 2", "strokes: »2,5"), "2,5", "2.5"),
        (_FINDING, _FINDING.replace("finding", "»problem"), "`problem`", "finding"),
        (_FINDING, _FINDING.replace("urgency", "»priority"), "`priority`", "urgency"),
        (_FINDING, _FINDING.replace("soon", "»Soon"), "Soon", "soon"),
        (_FINDING, _FINDING.replace("urgency: soon", "failed: »yes"), "yes", "true"),
        (_FINDING, "  - {part: grease-ep2, »qty: 3}\n", "`qty`", "used"),
        (_FINDING, "  - {part: grease-ep2, used: »3 pcs}\n", "3 pcs", "3"),
        (_FINDING, "  - {task: check-speed, at: brush-p2, »psi: 40}\n", "`psi`", "pressure_psi"),
        (_FINDING, "  - {task: look-over, at: brush-p2/cloth, level_percent: »50%}\n", "50%", "50"),
    ),
    # The other files.
    *_of(MACHINE,
        ("station: 20", "»station 20", ("colon", "`station`"), "station: 20"),
        ("station: 20", "»position: 20", "`position`", "station"),
        ("kind: side-brush", "kind: »Side brush", "Side brush", "side-brush"),
        ("kind: side-brush", "»type: side-brush", "`type`", "kind"),
        ("side: passenger", "side: »Passenger", "Passenger", "passenger"),
        ("name: Lower side brush, passenger", "»title: Lower side brush", "`title`", "name"),
        ("name: Lower side brush, passenger", "name: »Side brush: passenger", "colon", 'name: "Side brush: passenger"'),
        ("motor_hp: 3", "motor_hp: »3,5", ("3,5", "comma"), "motor_hp: 3.5"),
        ("motor_hp: 3", "motor_hp: »3 hp", "3 hp", "3"),
        ("motor_hp: 3", "»hp: 3", "`hp`", "motor_hp"),
        ("base_hz: 60", "base_hz: »6O", "6O", "60"),
        ("rated_rpm: 1740", "rated_rpm: »1,740", ("1,740", "comma"), "1740"),
        ("rated_rpm: 1740", "»rpm: 1740", "`rpm`", "rated_rpm"),
        ("hz_limits: [30, 60]", "hz_limits: »30-60", "30-60", "[30, 60]"),
        ("hz_limits: [30, 60]}", "hz_limits: »[30, 60}", "never closed", "[30, 60]"),
        ("rpm: [70, 80]", "rpm: [»70,5, 80]", ("70,5", "comma"), "70.5"),
        ("panel: panel-a", "panel: »Panel A", "Panel A", "panel-a"),
        ("  - {line_rate_per_h: 80, rpm: [70, 80]}", "  »{line_rate_per_h: 80, rpm: [70, 80]}", "dash", "- {line_rate_per_h: 80"),
        ("  cloth: {kind: cloth, new_length_in: 20}", "  »Cloth: {kind: cloth, new_length_in: 20}", "Cloth", "cloth"),
        ("  cloth: {kind: cloth, new_length_in: 20}", "  »cloth {kind: cloth, new_length_in: 20}", ("colon", "`cloth`"), "cloth: {kind: cloth"),
        ("new_length_in: 20", 'new_length_in: »20"', '20"', "20"),
    ),
    *_of(TASK,
        ("title: Grease the bearings", "title: »Grease: all bearings", "colon", 'title: "Grease: all bearings"'),
        ("title: Grease the bearings", "»name: Grease the bearings", "`name`", "title"),
        ("every: 1 week", "every: »weekly", "weekly", "1 week"),
        ("every: 1 week", "every: »1week", "1week", "1 week"),
        ("every: 1 week", "every: »7d", "7d", "7 days"),
        ("every: 1 week", "»interval: 1 week", "`interval`", "every"),
        ("lockout: true", "lockout: »yes", "yes", "true"),
        ("lockout: true", "»lock-out: true", "`lock-out`", "lockout"),
        ("uses: {grease-ep2: 2 strokes}", "uses: {grease-ep2: »2}", "number", "2 strokes"),
        ("uses: {grease-ep2: 2 strokes}", "uses: {»Grease EP 2: 2 strokes}", "Grease EP 2", "grease-ep2"),
        ("on: {points: rotating-bearing}", "on: {points: »Rotating bearing}", "Rotating bearing", "rotating-bearing"),
        ("on: {points: rotating-bearing}", "on: »rotating-bearing", "`on`", "{key: value}"),
    ),
    *_of(ROUND,
        ("conveyor/chain]}", "»conveyer/chain]}", "conveyer", "conveyor"),
        ("on: {ids: [brush-p2/nozzle-1", "on: {ids: [»brush p2/nozzle 1", "brush p2/nozzle 1", "brush-p2/nozzle-1"),
    ),
    *_of(SETPOINTS,
        ("- from: 2026-11-10", "- from: »10.11.2026", "10.11.2026", "2026-11-10 or 2026-10-11"),
        ("- from: 2026-11-10", "- from: »2026-11-1O", "2026-11-1O", "2026-11-10"),
        ("- from: 2026-11-10", "- »date: 2026-11-10", "`date`", "from"),
        ("- from: 2026-11-10", "»-from: 2026-11-10", ("space", "dash"), "- from: 2026-11-10"),
        ("- from: 2026-11-10\n  hz: 44", "- from: 2026-11-10\n  hz: »42,5", "42,5", "42.5"),
        ("- from: 2026-11-10\n  hz: 44", "- from: 2026-11-10\n  »hz 44", ("colon", "`hz`"), "hz: 44"),
        ("- from: 2026-11-10\n  hz: 44", "- from: 2026-11-10\n  »frequency: 44", "`frequency`", "hz"),
        ("why: Counted above the band at 48 Hz.", "why: »Counted: above the band", "colon", 'why: "Counted: above the band"'),
        ("why: Counted above the band at 48 Hz.", "»reason: Counted above the band", "`reason`", "why"),
        ("evidence: [2026-11-03T0640-m-tarrow#2]", "evidence: [»2026-11-03T06:40-m-tarrow#2]", "2026-11-03T06:40-m-tarrow#2", "2026-11-03T0640-m-tarrow#2"),
        ("evidence: [2026-11-03T0640-m-tarrow#2]", "evidence: »2026-11-03T0640-m-tarrow#2", "`evidence`", "[2026-11-03T0640-m-tarrow#2]"),
    ),
    *_of(PART,
        ("pack: 397", "pack: »397 g", "397 g", "397"),
        ("grams_per_stroke: 1.4", "grams_per_stroke: »1,4", "1,4", "1.4"),
        ("kind: consumable", "kind: »Consumables", "Consumables", "consumable"),
        ("unit: g", "»units: g", "`units`", "unit"),
        ("pack: 397", "»pack 397", ("colon", "`pack`"), "pack: 397"),
    ),
    *_of(SITE,
        ("time_zone: America/Chicago", "time_zone: »America/Chigaco", "America/Chigaco", "America/Chicago"),
        ("time_zone: America/Chicago", "»timezone: America/Chicago", "`timezone`", "time_zone"),
        ("in_service: 2026-01-05", "in_service: »01/05/2026", "01/05/2026", "2026-01-05 or 2026-05-01"),
        ("in_service: 2026-01-05", "in_service: »Jan 5 2026", "Jan 5 2026", "2026-01-05"),
        ("driver_side: left", "driver_side: »Left", "Left", "left"),
        ("units: us", "units: »metric", "metric", "si"),
        ("    approves: [setpoints]", "    approves: »setpoints", "`approves`", "[setpoints]"),
        ("rated_a: 100", "rated_a: »100 A", "100 A", "100"),
        ("line: {line_rate_per_h: 120,", "line: {line_rate_per_h: »120/h,", "120/h", "120"),
        ("name: Brackenford Wash", "»name Brackenford Wash", ("colon", "`name`"), "name: Brackenford Wash"),
    ),
]
# fmt: on

"""One small edit of a sound site, one question of a foreman: which, where, and in what words."""

from datetime import date

import pytest
from sound_site import (
    AS_OF,
    FIRST_VISIT,
    LAST_VISIT,
    SOUND,
    edited,
    found_in,
    texts_below,
    with_file,
)

BRUSH = "equipment/brush-p2.yaml"
LOW = "equipment/low-brush.yaml"
CONVEYOR = "equipment/conveyor.yaml"
NEW = "observations/2026/11/2026-11-24T0710-d-fenwold.yaml"
GREASED = "{task: grease-bearings}"
COUNTED = "{task: check-speed, at: brush-p2, counted: 84, seconds: 60, found_hz: 44}"


def visit(*entries):
    return (
        "at: 2026-11-24T07:10\nby: d-fenwold\nentries:\n"
        + "".join(f"  - {entry}\n" for entry in entries)
    )  # fmt: skip


CASES = [
    # coverage
    ("tasks/look-over.yaml", "on: {ids: [brush-p2/nozzle-1, brush-p2/cloth, conveyor/chain]}", "on: {machines: blower}",
     [("equipment/brush-p2.yaml", 14, 10, "point-without-task"), ("equipment/brush-p2.yaml", 15, 13, "point-without-task"),
      ("equipment/conveyor.yaml", 5, 10, "point-without-task"), ("tasks/look-over.yaml", 2, 5, "selects-nothing")]),
    (CONVEYOR, "centres: fixed}", "centres: fixed}\n  guard: {kind: guard}", [(CONVEYOR, 6, 10, "point-without-task")]),
    ("tasks/look-over.yaml", "title:", "basis: law\ntitle:", [("tasks/look-over.yaml", 1, 8, "law-without-citation")]),
    (LAST_VISIT, ", counted: 84, seconds: 60", "", [(LAST_VISIT, 7, 5, "reading-missing")]),
    (LAST_VISIT, ", seconds: 60, found_hz: 44", ", seconds: 60", [(LAST_VISIT, 7, 5, "reading-missing")]),
    # drives
    (BRUSH, "reduction: 16, hz_limits: [30, 60]", "reduction: 16, hz_limits: [60, 30]", [(BRUSH, 7, 8, "limits-reversed")]),
    (CONVEYOR, "centres: fixed}", "centres: fixed, bands: {ph: [9, 6]}}", [(CONVEYOR, 5, 67, "limits-reversed")]),
    (CONVEYOR, "take-up: {kind: rotating-bearing}", "take-up: {kind: rotating-bearing, dynamic_load_kn: 35.1, load_kn: 36}", [(CONVEYOR, 6, 69, "load-above-rating")]),
    (BRUSH, "rpm: [70, 80]", "rpm: [80, 70]", [(BRUSH, 9, 32, "limits-reversed")]),
    (BRUSH, "rpm: [70, 80]", "rpm: [70, 80], target_rpm: 81", [(BRUSH, 9, 54, "target-outside-band")]),
    ("setpoints/brush-p2.yaml", "hz: 44", "hz: 61", [(LAST_VISIT, 7, 5, "found-differs"), ("setpoints/brush-p2.yaml", 7, 3, "beyond-drive-limits"), ("setpoints/brush-p2.yaml", 7, 3, "step-too-large")]),
    (LAST_VISIT, "found_hz: 44", "found_hz: 46", [(LAST_VISIT, 7, 5, "found-differs")]),
    (LAST_VISIT, "found_flow_gpm: 3.5", "found_flow_lpm: 15.5", [(LAST_VISIT, 8, 5, "found-differs")]),
    (LAST_VISIT, "{task: look-over}", "{at: brush-p2, turning: with}", [(LAST_VISIT, 9, 29, "turns-wrong-way")]),
    # people
    (LAST_VISIT, "with: [d-fenwold]", "with: [d-fenwold, k-pellin]", [(LAST_VISIT, 3, 7, "person-not-here")]),
    ("site.yaml", "    roles: [technician]\n    qualified: [lockout]", "    roles: [technician]", [(FIRST_VISIT, 5, 12, "not-qualified")]),
    ("site.yaml", "    qualified: [lockout]", "    qualified: [lockout]\n    training: [{for: lockout, from: 2026-11-10}]", [(FIRST_VISIT, 5, 12, "not-qualified")]),
    ("site.yaml", "    roles: [technician]\n    qualified: [lockout]", "    roles: [contractor]\n    qualified: [lockout]", [(FIRST_VISIT, 2, 5, "contractor-without-permit"), (LAST_VISIT, 2, 5, "contractor-without-permit")]),
    (LAST_VISIT, "with: [d-fenwold]", "with: [d-fenwold]\nreturned_by: d-fenwold", [(LAST_VISIT, 4, 14, "returned-by-who-worked")]),
    ("site.yaml", "    approves: [setpoints]\n", "", [(f"setpoints/{drive}.yaml", line, 16, "may-not-approve") for drive, line in (("brush-p2", 6), ("brush-p2", 13), ("low-brush", 6))]),
    ("setpoints/low-brush.yaml", "proposed_by: m-tarrow", "proposed_by: d-fenwold", [("setpoints/low-brush.yaml", 6, 16, "self-approved")]),
    # readings
    (LAST_VISIT, "counted: 84, seconds: 60", "counted: 18, seconds: 13", [(LAST_VISIT, 7, 61, "count-too-short")]),
    (LAST_VISIT, "counted: 84, seconds: 60", "counted: 840, seconds: 60", [(LAST_VISIT, 7, 5, "implausible-reading")]),
    (LAST_VISIT, "counted: 84, seconds: 60", "taps_s: [0, 0.01, 0.02, 0.03, 0.04]", [(LAST_VISIT, 7, 5, "no-speed")]),
    (LAST_VISIT, "counted: 84, seconds: 60", "taps_s: [1, 1, 1, 1, 1]", [(LAST_VISIT, 7, 5, "no-speed")]),
    (LAST_VISIT, "{task: look-over}", "{at: conveyor/chain, pitches: 10, length_in: 47}", [(LAST_VISIT, 9, 5, "implausible-reading")]),
    (LAST_VISIT, "{task: look-over}", "{at: conveyor/chain, pitches: 10, length_in: 39}", [(LAST_VISIT, 9, 5, "implausible-reading")]),
    (LAST_VISIT, "{task: look-over}", "{at: brush-p2/nozzle-1, caught_ml: 2000, seconds: 15}", [(LAST_VISIT, 9, 5, "implausible-reading")]),
    (LAST_VISIT, "{task: look-over}", "{at: brush-p2/cloth, strip_length_mm: 600}", [(LAST_VISIT, 9, 5, "implausible-reading")]),
    (LAST_VISIT, "{task: look-over}", "{task: look-over, at: brush-p2, strip_length_in: 18}", [(LAST_VISIT, 9, 27, "which-point")]),
    # tie-backs
    (LAST_VISIT, "{task: look-over}", "{tied_back: chain off, at: conveyor}", [(LAST_VISIT, 9, 32, "line-tied-back")]),
    (LAST_VISIT, "{task: look-over}", "{tied_back: bent, at: brush-p2, since: 2026-11-18T06:00}", [(LAST_VISIT, 9, 44, "tied-back-later")]),
    (LAST_VISIT, "{task: look-over}", "{tied_back: bent, at: brush-p2}\n  - {tied_back: torn, at: brush-p2}", [(LAST_VISIT, 10, 17, "tied-back-twice")]),
    # times
    (LAST_VISIT, "with: [d-fenwold]", "with: [d-fenwold]\nentered_at: 2026-11-17T06:00", [(LAST_VISIT, 4, 13, "entered-before-done")]),
    (LAST_VISIT, "vehicles: 190110", "vehicles: 18411", [(LAST_VISIT, 4, 20, "meter-runs-back")]),
    (LAST_VISIT, "{task: look-over}", "{in_order: before-opening, tasks: [look-over], of: 3, list: 0a1b2c3d}", [(LAST_VISIT, 9, 65, "round-of-other-places")]),
    (LOW, "in_service: 2026-03-02", "in_service: 2026-11-10", [(FIRST_VISIT, 7, 49, "not-in-service")]),
    (LOW, "in_service: 2026-03-02", "in_service: 2026-03-02\nout_of_service: 2026-11-10", [(LAST_VISIT, 8, 29, "counts-nowhere")]),
]  # fmt: skip


@pytest.mark.parametrize(
    ("path", "old", "new", "asked"),
    [pytest.param(*case, id=f"{case[3][0][3]}: {case[2][:40] or 'left out'}") for case in CASES],
)
def test_one_edit_raises_exactly_its_questions(path, old, new, asked):
    found = found_in(edited(path, old, new))
    assert [(d.position.path, d.position.line, d.position.column, d.rule) for d in found] == asked
    for one in found:
        assert not one.is_error
        assert one.message
        assert one.expected
        assert one.remedy


def rules_with(path, text):
    return [one.rule for one in found_in(with_file(path, text))]


def with_meters(*vehicles):
    """The sound site with further visits on the days after its last, which reads 190110."""
    files = texts_below(SOUND)
    for day, reading in enumerate(vehicles, 18):
        files[f"observations/2026/11/2026-11-{day}T0640-m-tarrow.yaml"] = (
            f"at: 2026-11-{day}T06:40\nby: m-tarrow\nmeters: {{vehicles: {reading}}}\n"
            f"entries:\n  - {GREASED}\n"
        )
    return files


@pytest.mark.parametrize(
    ("vehicles", "wrong", "said", "expected"),
    [
        pytest.param(
            (199120, 191130), [18], "out of line between 190110 in 2026-11-17T0640-m-tarrow and "
            "191130 in 2026-11-19T0640-m-tarrow", "190110 to 191130", id="one too high",
        ),
        pytest.param(
            (19120, 191130), [18], "out of line between 190110 in 2026-11-17T0640-m-tarrow and "
            "191130 in 2026-11-19T0640-m-tarrow", "190110 to 191130", id="one too low",
        ),
        pytest.param(
            (199120, 191130, 191500), [18], "out of line between", "190110 to 191130", id="a digit",
        ),
        pytest.param(
            (120, 1130), [18], "after 190110 in 2026-11-17T0640-m-tarrow: one of them is wrong", "190110 or more here, or 120 or less there", id="a new meter",
        ),
        pytest.param((190110, 190111), [], "", "", id="steady"),
    ],
)  # fmt: skip
def test_a_meter_that_runs_back_is_told_at_the_reading_that_is_wrong(
    vehicles, wrong, said, expected
):
    found = [one for one in found_in(with_meters(*vehicles)) if one.rule == "meter-runs-back"]
    assert [one.position.path.rpartition("/")[2][8:10] for one in found] == [
        f"{day}" for day in wrong
    ]
    assert all(said in one.message and one.expected == expected for one in found)


def test_a_visit_filed_twice_is_asked_about_until_its_copy_is_struck_out():
    files = with_file(NEW, visit(GREASED))
    copy = NEW.replace(".yaml", "~2.yaml")
    files[copy] = files[NEW]
    (found,) = found_in(files)
    assert (found.rule, found.position.path, found.position.line) == ("filed-twice", copy, 4)
    assert "`2026-11-24T0710-d-fenwold`" in found.message
    files[NEW.replace("T0710", "T0711")] = (
        "at: 2026-11-24T07:11\nby: d-fenwold\nentries:\n"
        "  - {corrects: 2026-11-24T0710-d-fenwold~2#1, void: true, reason: filed twice}\n"
    )
    assert found_in(files) == ()


def test_a_drive_at_a_value_only_claimed_approved_is_asked_about_once_with_the_claim():
    path = "setpoints/brush-p2.yaml"
    first, second = texts_below(SOUND)[path].split("- from: 2026-11-10")
    own = second.replace("proposed_by: m-tarrow", "proposed_by: d-fenwold")
    files = with_file(path, f"{first}- from: 2026-11-10{own}")
    files[NEW] = visit(COUNTED)
    found = {(one.position.path, one.rule): one for one in found_in(files)}
    assert sorted(found) == [(NEW, "found-differs"), (path, "self-approved")]
    assert found[NEW, "found-differs"].message == (
        "`brush-p2` was found at 44 Hz, but 48 Hz was approved (change 2 only claims an approval)"
    )
    assert found[path, "self-approved"].message.endswith("this approval does not count")
    assert found[path, "self-approved"].remedy == (
        "let somebody else who may approve do so; once filed, this needs the same change again at "
        "the end of the file"
    )


def test_a_claim_that_a_proper_approval_followed_asks_for_nothing_more():
    path = "setpoints/brush-p2.yaml"
    own = texts_below(SOUND)[path].replace("proposed_by: m-tarrow", "proposed_by: d-fenwold", 1)
    (found,) = found_in(with_file(path, own))
    assert (found.rule, found.position.line) == ("self-approved", 6)
    assert found.remedy.startswith("nothing more to do")


KEY = "ssh-ed25519 AAAAC3NzaC1lZDI1NTE5AAAAIHJvbGxlcnMgdHVybiBhdCBlaWdodHkgYSBtaW51dGUu"


@pytest.mark.parametrize(
    ("first", "second", "rule"),
    [
        (
            "emails: [wash@brackenford.example]",
            "emails: [Wash@brackenford.example]",
            "shared-address",
        ),
        (f"signing_keys: [{KEY} shop]", f"signing_keys: [{KEY} tablet]", "shared-key"),
    ],
)
def test_what_two_people_have_proves_neither(first, second, rule):
    text = texts_below(SOUND)["site.yaml"]
    text = text.replace("name: M. Tarrow", f"name: M. Tarrow\n    {first}")
    (found,) = found_in(with_file("site.yaml", text.replace("Fenwold", f"Fenwold\n    {second}")))
    assert (found.rule, found.position.path, found.position.line) == (rule, "site.yaml", 17)
    assert found.message.startswith("`d-fenwold` has the same ")
    assert found_in(with_file("site.yaml", text)) == ()


def test_a_nameplate_above_the_synchronous_speed():
    """4 poles at 60 Hz turn a field of 1800 r/min."""
    text = texts_below(SOUND)[BRUSH]
    (found,) = found_in(with_file(BRUSH, text.replace("rated_rpm: 1740", "rated_rpm: 1840")))
    assert (found.rule, found.position.line) == ("above-synchronous-speed", 7)
    assert "above 1800 r/min" in found.message
    same = with_file(BRUSH, text.replace("rated_rpm: 1740", "rated_rpm: 1800"))
    assert found_in(same) == ()


def test_a_drive_that_can_be_set_and_has_no_file():
    files = texts_below(SOUND)
    del files["setpoints/low-brush.yaml"]
    (found,) = found_in(files)
    assert (found.rule, found.position.path, found.position.line) == ("no-setting", LOW, 5)
    assert "setpoints/low-brush.yaml" in found.expected


@pytest.mark.parametrize(("hz", "asked"), [(4.4, ["beyond-drive-limits"]), (44, [])])
def test_a_setting_found_beyond_the_limits_where_none_is_approved(hz, asked):
    files = texts_below(SOUND)
    drive = "setpoints/brush-p2.yaml"
    files[drive] = files[drive].replace("  approved_by: d-fenwold\n", "")
    files[LAST_VISIT] = files[LAST_VISIT].replace("found_hz: 44", f"found_hz: {hz}")
    assert [one.rule for one in found_in(files)] == asked


def test_a_visit_after_the_day_of_the_check():
    (found,) = found_in(texts_below(SOUND), date(2026, 11, 16))
    assert (found.rule, found.position.path) == ("in-the-future", LAST_VISIT)
    assert found_in(texts_below(SOUND), date(2026, 11, 17)) == ()


def test_many_visits_after_the_day_of_the_check_are_one_warning():
    later = "observations/2026/11/2026-11-30T0710-d-fenwold.yaml"
    files = with_file(later, visit(GREASED).replace("2026-11-24T07:10", "2026-11-30T07:10"))
    found = [one for one in found_in(files, date(2026, 11, 16)) if one.rule == "in-the-future"]
    (one,) = found
    assert one.position.path == LAST_VISIT
    first = LAST_VISIT.rpartition("/")[2].removesuffix(".yaml")
    assert f"2 visits are after the day of this check, 2026-11-16, from {first} to 2026-11-30T0710-d-fenwold, and" in one.message  # fmt: skip


def test_an_hour_that_the_clocks_skip():
    """In 2026 the clocks of Chicago go from 02:00 to 03:00 on 8 March (IANA tz database, America/Chicago)."""
    text = visit(GREASED).replace("2026-11-24T07:10", "2026-03-08T02:30")
    (found,) = found_in(with_file("observations/2026/03/2026-03-08T0230-d-fenwold.yaml", text))
    assert found.rule == "no-such-local-time"
    assert found.expected == "a time that exists, such as 2026-03-08T03:30"


def test_a_setting_still_as_before_on_the_day_of_the_change_is_no_difference():
    text = visit("{at: brush-p2, found_hz: 48, steps: [{hz: 44, counted: 84, seconds: 60}]}")
    assert rules_with(NEW.replace("11-24", "11-10"), text.replace("11-24", "11-10")) == []


@pytest.mark.parametrize(
    ("entries", "asked"),
    [
        pytest.param("{at: brush-p2, found_hz: 44, left_hz: 46}", ["left-differs", "left-uncounted"], id="moved, not counted, not approved"),
        pytest.param("{at: brush-p2, counted: 84, seconds: 60, found_hz: 44, left_hz: 46}", ["left-differs", "left-uncounted"], id="counted only before it was moved"),
        pytest.param("{at: brush-p2, steps: [{hz: 44, counted: 84, seconds: 60}, {hz: 46, counted: 88, seconds: 60}]}", ["left-differs"], id="counted there, not approved"),
        pytest.param("{at: brush-p2, steps: [{hz: 46, counted: 88, seconds: 60}, {hz: 44, counted: 84, seconds: 60}]}", ["found-differs"], id="put back and counted"),
        pytest.param("{at: brush-p2, steps: [{hz: 44, counted: 84, seconds: 60}, {hz: 46, counted: 88, seconds: 60}], left_hz: 44}", [], id="put back to where a count was made"),
    ],
)  # fmt: skip
def test_a_drive_left_at_another_value(entries, asked):
    assert rules_with(NEW, visit(entries)) == asked


def test_a_site_may_count_a_new_setting_on_another_visit():
    texts = edited("site.yaml", "format: 1\n", "format: 1\npolicy: {count_in_same_visit: false}\n")
    texts[NEW] = visit("{at: brush-p2, found_hz: 44, left_hz: 46}")
    assert [one.rule for one in found_in(texts)] == ["left-differs"]


def test_a_blower_may_turn_faster_than_a_brush():
    """Two-pole motors turn at nearly 3600 r/min on 60 Hz (IEEE/NEMA practice, 120 f / p)."""
    files = with_file("equipment/blower.yaml", "name: Blower\nkind: blower\nstation: 40\n")
    files[NEW] = visit("{at: blower, tachometer_rpm: 3540, accuracy_percent: 0.5}")
    assert found_in(files) == ()


SETTLED = [
    pytest.param("counted: 84, seconds: 60, ", "", "{task: check-speed, at: brush-p2, counted: 84, seconds: 60, found_hz: 44, corrects: 2026-11-17T0640-m-tarrow#2, reason: the count was left out}", "reading-missing", id="the reading is added"),
    pytest.param("counted: 84", "counted: 8400", "{corrects: 2026-11-17T0640-m-tarrow#2, reason: slip, void: true}", "implausible-reading", id="the slip is struck out"),
    pytest.param("found_hz: 44", "found_hz: 54", "{task: check-speed, at: brush-p2, counted: 84, seconds: 60, found_hz: 44, corrects: 2026-11-17T0640-m-tarrow#2, reason: misread}", "found-differs", id="the setting is put right"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "correction", "rule"), SETTLED)
def test_a_correction_settles_the_question(old, new, correction, rule):
    files = edited(LAST_VISIT, old, new)
    assert [one.rule for one in found_in(files)] == [rule]
    assert found_in({**files, NEW: visit(correction)}) == ()


def test_a_correction_that_leaves_out_the_place_is_asked_about():
    """What a correction leaves out is not taken over from its original: it takes its place whole."""
    files = edited(
        FIRST_VISIT,
        "{task: grease-bearings, except: [low-brush]}",
        "{task: grease-bearings, at: conveyor, strokes: 20}",
    )
    again = (
        "{task: grease-bearings, strokes: 3, corrects: 2026-11-03T0640-m-tarrow#1, reason: slip}"
    )
    (found,) = found_in({**files, NEW: visit(again)})
    assert (found.rule, found.position.path, found.position.line) == ("correction-widens", NEW, 4)
    assert (
        "brush-p2/shaft-bearing-top, brush-p2/shaft-bearing-bottom, low-brush/shaft-bearing"
        in found.message
    )
    with_place = again.replace("strokes", "at: conveyor, strokes")
    assert found_in({**files, NEW: visit(with_place)}) == ()


def test_work_is_held_against_the_day_it_was_done_not_the_day_it_was_corrected():
    files = edited(
        LOW, "in_service: 2026-03-02", "in_service: 2026-03-02\nout_of_service: 2026-11-20"
    )
    again = "{task: check-speed, at: low-brush, tachometer_rpm: 84.7, accuracy_percent: 0.5, found_flow_gpm: 3.5, corrects: 2026-11-17T0640-m-tarrow#3, reason: misread}"
    assert found_in({**files, NEW: visit(again)}) == ()


def test_who_corrects_an_entry_need_not_be_qualified_for_the_work():
    strokes = "{task: grease-bearings, strokes: 3, corrects: 2026-11-17T0640-m-tarrow#1, reason: strokes left out}"
    files = edited("site.yaml", "qualified: [lockout, electrical]", "qualified: [electrical]")
    assert found_in({**files, NEW: visit(strokes)}) == ()


def test_the_sound_site_stays_sound_whatever_the_day_after_its_last_visit():
    assert found_in(texts_below(SOUND), AS_OF.replace(year=2036)) == ()


@pytest.mark.parametrize("path", ["setpoints/low-brush.yaml", "tasks/look-over.yaml"])
def test_a_file_at_fault_raises_no_question_about_what_it_would_hold(path):
    assert [
        one.rule for one in found_in(with_file(path, "title: x\nodd: 1\n")) if not one.is_error
    ] == []


def test_no_machine_at_fault_makes_a_task_look_empty():
    files = with_file(
        "tasks/blowers.yaml", "title: Blowers\non: {machines: blower}\nevery: 1 week\n"
    )
    assert [one.rule for one in found_in(files)] == ["selects-nothing"]
    files["equipment/blower.yaml"] = "name: Blower\nkind: blower\nstatoin: 40\n"
    assert [one.rule for one in found_in(files)] == ["unknown-key"]


SETTING = "setpoints/brush-p2.yaml"
BELT = "{changed: belt, at: brush-p2}"


def further(hz: float, *, approved: str = "", evidence: str = "2026-11-17T0640-m-tarrow#2") -> str:
    return (
        f"{texts_below(SOUND)[SETTING]}- from: 2026-11-26\n  hz: {hz}\n  line_rate_per_h: 110\n"
        f"  why: Counted again.\n  evidence: [{evidence}]\n  proposed_by: m-tarrow\n"
        f"  proposed_on: 2026-11-25\n{approved}"
    )


APPROVED = "  approved_by: d-fenwold\n  approved_on: 2026-11-25\n"


class TestAStepThatTheSiteDoesNotAllowAtOnce:
    """44 Hz is in force and 5 Hz is the largest step, so 49 Hz is the last that is asked nothing."""

    def test_that_was_approved_all_the_same(self):
        (found,) = found_in(with_file(SETTING, further(49.5, approved=APPROVED)))
        assert (found.rule, found.position.line) == ("step-too-large", 14)
        assert found.message == (
            "from 44 to 49.5 Hz is more than the site allows at once, and was approved anyway"
        )
        assert found.expected == "a step of at most 5 Hz"

    def test_that_is_proposed(self):
        (found,) = found_in(with_file(SETTING, further(38.5)))
        assert found.message == "from 44 to 38.5 Hz is more than the site allows at once"
        assert found.remedy == "propose less, read the speed there, then go on"

    @pytest.mark.parametrize("hz", [49, 39])
    def test_the_largest_step_itself_is_allowed(self, hz):
        assert found_in(with_file(SETTING, further(hz, approved=APPROVED))) == ()

    def test_a_large_step_of_long_ago_is_past_asking(self):
        text = further(45, approved=APPROVED).replace("hz: 48", "hz: 55")
        assert "step-too-large" not in rules_with(SETTING, text)


class TestEvidenceFromBeforeTheMechanicsChanged:
    @pytest.mark.parametrize("approved", ["", APPROVED], ids=["proposed", "approved"])
    def test_a_reading_older_than_the_new_belt(self, approved):
        files = {**with_file(SETTING, further(45, approved=approved)), NEW: visit(BELT)}
        (found,) = found_in(files)
        assert (found.rule, found.position.line) == ("stale-evidence", 18)
        assert found.message == (
            "`2026-11-17T0640-m-tarrow#2` is older than the change of the belt on 2026-11-24 "
            "(`2026-11-24T0710-d-fenwold#1`)"
        )

    def test_what_was_changed_after_the_approval_speaks_against_nobody(self):
        assert found_in({**texts_below(SOUND), NEW: visit(BELT)}) == ()

    def test_a_reading_of_the_new_belt(self):
        text = further(45, evidence="2026-11-24T0710-d-fenwold#2")
        assert found_in({**with_file(SETTING, text), NEW: visit(BELT, COUNTED)}) == ()

"""What befell the example site between its rounds: the stories that the book should tell.

example_site/README.md lists them with the files that hold them.
"""

from datetime import date
from typing import Any

from sitegen import condition, draws
from sitegen.diary import Diary, DraftVisit
from sitegen.rounds import Example, stream

_BEARING_FAILURES = (
    # day, time, place, minutes stopped, what was found, who mended it at what time
    (date(2025, 10, 25), "15:40", "low-brush-d/shaft-bearing-bottom", 70, "Bearing seized, rust in it"),
    (date(2026, 1, 9), "11:20", "low-brush-d/shaft-bearing-bottom", 55, "Bearing rough and loose on the shaft"),
    (date(2026, 3, 14), "17:05", "low-brush-d/shaft-bearing-bottom", 90, "Bearing seized, inner ring turned on the shaft"),
    (date(2026, 5, 2), "09:50", "wrap-p/shaft-bearing-top", 40, "Bearing howls, cage broken"),
    (date(2026, 5, 30), "13:15", "low-brush-d/shaft-bearing-bottom", 45, "Bearing rough, water ran out of it"),
    (date(2026, 7, 15), "16:30", "top-brush/shaft-bearing-near", 65, "Bearing hot and howling"),
    (date(2026, 8, 11), "10:10", "low-brush-d/shaft-bearing-bottom", 65, "Bearing seized, rust in it"),
    (date(2026, 9, 25), "14:45", "brush-p1/shaft-bearing-bottom", 50, "Bearing rough, seal gone"),
    (date(2026, 10, 20), "12:25", "low-brush-d/shaft-bearing-bottom", 80, "Bearing seized again"),
)  # fmt: skip


def add_incidents(diary: Diary, example: Example) -> None:
    _setting_of_brush_p2(diary, example)
    _drive_found_high(diary)
    _motor_swap(diary)
    _fitting_without_grease(diary)
    _bearings(diary)
    _nozzles(diary)
    _hydraulic_brush(diary)
    _pump_stand(diary)
    _renewals(diary)
    _corrections(diary)
    _work_without_lockout(diary)
    _small_findings(diary)
    _stock(diary)
    _filed_late(diary)
    _stops(diary)
    _tied_back(diary)


def _reading(machine: str, day: date, setting: float, **how: Any) -> dict[str, Any]:
    """A pass count at the brush's true speed of the day."""
    rng = stream("incident", machine, day, setting)
    rpm = condition.speed_rpm(machine, day, setting)
    return draws.pass_count(rng, rpm, how.pop("seconds", 30), **how)


def _replace(visit: DraftVisit, *, at: str, task: str, entry: dict[str, Any]) -> str:
    number = visit.number_of(task=task, at=at)
    visit.entries[number - 1] = {"task": task, "at": at, **entry}
    return f"{visit.ident}#{number}"


def _setting_of_brush_p2(diary: Diary, example: Example) -> None:
    """Three settings: the card's, one for a speed above the band, one for new strips."""
    brush = "brush-p2"
    day = date(2025, 10, 9)
    visit = diary.open(day, "09:10", "m-osterby")
    visit.add(at=brush, **_reading(brush, day, 48.0, seconds=60), found_hz=48.0)
    rng = stream("incident", "turns", day)
    rpm = condition.speed_rpm(brush, day, 48.0)
    visit.add(at=brush, **draws.timed_turns(rng, rpm, 40), found_hz=48.0)
    day = date(2025, 10, 13)
    visit = diary.open(day, "20:15", "t-varrick")
    visit.add(
        at=brush,
        found_hz=48.0,
        steps=[{"hz": 44.5, **_reading(brush, day, 44.5, seconds=60)}],
        note="Set after closing for tomorrow, as approved. Card on the panel changed.",
    )
    day = condition.STRIPS_RENEWED
    visit = diary.open(day, "20:30", "m-osterby", with_=["t-varrick"])
    visit.add(at=f"{brush}/cloth", changed="brush-set", part="strip-set-side", used=1, minutes=70)
    visit.add(at=f"{brush}/gearbox", changed="reduction", note="Worn pulley renewed as well.")
    day = date(2026, 5, 21)
    visit = diary.open(day, "08:50", "p-dunmarsh")
    rng = stream("incident", "turns", day)
    rpm = condition.speed_rpm(brush, day, 44.5)
    visit.add(at=brush, **draws.timed_turns(rng, rpm, 40), found_hz=44.5)
    visit.add(at=brush, **_reading(brush, day, 44.5, seconds=60), found_hz=44.5)
    day = date(2026, 6, 8)
    visit = diary.open(day, "20:10", "p-dunmarsh")
    rng = stream("incident", "turns", day)
    rpm = condition.speed_rpm(brush, day, 42.5)
    visit.add(
        at=brush,
        found_hz=44.5,
        steps=[{"hz": 42.5, **draws.timed_turns(rng, rpm, 40)}],
        note="Set after closing for tomorrow, as approved.",
    )


def _drive_found_high(diary: Diary) -> None:
    day = date(2026, 3, 18)
    visit = diary.on(day, "check-brush-speed")
    _replace(
        visit,
        at="brush-d1",
        task="check-brush-speed",
        entry={**_reading("brush-d1", day, 47.0), "found_hz": 47.0},
    )
    found = visit.add(
        finding="Drive stood at 47 Hz, approved is 44.5, nobody knows why",
        at="brush-d1",
        urgency="soon",
    )
    visit = diary.open(day, "11:30", "t-varrick")
    visit.add(
        closes=found,
        at="brush-d1",
        **_reading("brush-d1", day, 44.5, seconds=60),
        left_hz=44.5,
        note="Keypad had no code. All drives of panel A have one now.",
    )


def _motor_swap(diary: Diary) -> None:
    """Insulation fell in February, the current rose in March, the motor burnt in April."""
    brush, motor = "brush-d2", "brush-d2/motor"
    low = diary.on(date(2026, 2, 10), "test-insulation").add(
        finding="Insulation of the motor is down to 2 megohms", at=motor, urgency="planned"
    )
    high = diary.on(date(2026, 3, 10), "measure-motor-currents").add(
        finding="Motor takes more than its full-load current", at=motor, urgency="soon"
    )
    swapped = condition.MOTOR_SWAPPED
    visit = diary.open(swapped, "15:10", "m-osterby")
    burnt = visit.add(
        finding="Motor burnt out, brush tied back",
        at=motor,
        urgency="now",
        failed=True,
        stopped_minutes=35,
    )
    visit = diary.open(swapped, "20:40", "p-dunmarsh", with_=["m-osterby"])
    visit.add(closes=burnt, at=motor, changed="motor", minutes=95)
    visit.add(closes=low, at=motor, note="New motor: 900 megohms.")
    visit.add(closes=high, at=motor)
    visit.add(at=motor, insulation_mohm=900)
    morning = date(2026, 4, 21)
    visit = diary.open(morning, "06:50", "m-osterby")
    visit.add(task="check-turning-sense", at=brush, turning="with")
    backwards = visit.add(
        finding="Turns with the travel since the motor was swapped", at=brush, urgency="now"
    )
    visit = diary.open(morning, "07:20", "p-dunmarsh")
    visit.add(
        closes=backwards,
        at=brush,
        note="Two motor leads were crossed. Locked out, drive's charge waited for, crossed back.",
    )
    visit.add(task="check-turning-sense", at=brush, turning="against")
    visit.add(at=brush, **_reading(brush, morning, 44.0, seconds=60), found_hz=44.0)


def _fitting_without_grease(diary: Diary) -> None:
    point = "wrap-d/pivot-bearing-top"
    visit = diary.on(date(2026, 2, 12), "grease-pivot-bearings")
    number = visit.number_of(task="grease-pivot-bearings")
    visit.entries[number - 1]["except"] = [point]
    found = visit.add(finding="Fitting takes no grease", at=point, urgency="soon")
    visit = diary.open(date(2026, 2, 17), "20:35", "m-osterby")
    visit.add(closes=found, at=point, changed="fitting", part="grease-fitting", used=1)
    visit.add(task="grease-pivot-bearings", at=point, strokes=1)


def _bearings(diary: Diary) -> None:
    for day, at, place, stopped, words in _BEARING_FAILURES:
        finder = "m-osterby" if day.weekday() in {0, 2, 4} else "p-dunmarsh"
        visit = diary.open(day, at, finder)
        found = visit.add(
            finding=words, at=place, urgency="now", failed=True, stopped_minutes=stopped
        )
        visit = diary.open(day, "21:05" if day.weekday() > 3 else "20:05", "m-osterby")
        visit.add(closes=found, at=place, changed="bearing", part="bearing-6210", used=1)
        visit.add(task="grease-shaft-bearings", at=place, strokes=6, note="First fill.")


def _nozzles(diary: Diary) -> None:
    clogged = diary.on(date(2026, 3, 13), "catch-test-nozzles").add(
        finding="Nozzle gives little more than half its flow, clogged",
        at="soak-arch/nozzle-2",
        urgency="soon",
    )
    day = date(2026, 3, 14)
    visit = diary.open(day, "05:35", "p-dunmarsh")
    visit.add(closes=clogged, at="soak-arch/nozzle-2", note="Scale. Soaked in vinegar, rinsed.")
    caught = draws.catch(stream("incident", day), 0.505, at_psi=40, pressure_psi=41, seconds=20)
    visit.add(task="catch-test-nozzles", at="soak-arch/nozzle-2", **caught)
    worn = diary.on(date(2026, 9, 11), "catch-test-nozzles").add(
        finding="Nozzle gives more than a tenth over its new flow, worn",
        at="rinse-arch/nozzle-3",
        urgency="planned",
    )
    day = condition.NOZZLE_RENEWED
    visit = diary.open(day, "05:50", "m-osterby")
    visit.add(closes=worn, at="rinse-arch/nozzle-3", changed="nozzle", part="nozzle-fan-40", used=1)
    caught = draws.catch(stream("incident", day), 0.8, at_psi=60, pressure_psi=60, seconds=20)
    visit.add(task="catch-test-nozzles", at="rinse-arch/nozzle-3", **caught)


def _hydraulic_brush(diary: Diary) -> None:
    """Slower each month at the same flow; still open, with a proposal that nobody approved."""
    brush = "low-brush-p"
    day = date(2026, 11, 19)
    visit = diary.open(day, "09:20", "m-osterby")
    rng = stream("incident", "turns", day)
    rpm = condition.speed_rpm(brush, day, 3.8)
    visit.add(at=brush, **draws.timed_turns(rng, rpm, 40), found_flow_gpm=3.8)
    visit.add(at=brush, **_reading(brush, day, 3.8, seconds=60), found_flow_gpm=3.8)
    visit.add(
        finding="Slows month by month at the same flow, hydraulic motor is wearing",
        at=f"{brush}/hydraulic-motor",
        urgency="soon",
    )


def _pump_stand(diary: Diary) -> None:
    day = condition.BELT_RENEWED
    visit = diary.open(day, "20:20", "m-osterby")
    visit.add(at="pump-stand-1/belt", changed="belt", part="belt-b", used=1)
    visit.add(at="pump-stand-1/belt", deflection_in=0.25, force_lbf=4.5)
    found = diary.on(date(2026, 10, 2), "read-pump-pressures").add(
        finding="Pressure falls, packing drips", at="pump-stand-1/packing", urgency="soon"
    )
    visit = diary.open(condition.PACKING_RENEWED, "20:25", "m-osterby")
    visit.add(closes=found, at="pump-stand-1/packing", changed="other", note="New packing set.")
    visit.add(at="pump-stand-1/gauge", pressure_psi=900)


def _renewals(diary: Diary) -> None:
    bouncing = diary.open(date(2026, 7, 20), "09:00", "m-osterby").add(
        finding="Arm bounces twice, damper is spent", at="brush-d1/damper", urgency="planned"
    )
    visit = diary.open(condition.DAMPER_RENEWED, "20:30", "m-osterby")
    visit.add(closes=bouncing, at="brush-d1/damper", changed="damper")
    visit.add(task="check-dampers", at="brush-d1/damper", bounces=0)


def _corrections(diary: Diary) -> None:
    visit = diary.on(date(2025, 11, 12), "check-brush-speed")
    number = visit.number_of(task="check-brush-speed", at="brush-p1")
    true = {"counted": 46, "seconds": 30, "found_hz": 44.0}
    _replace(visit, at="brush-p1", task="check-brush-speed", entry={**true, "counted": 64})
    diary.open(date(2025, 11, 13), "07:10", "p-dunmarsh").add(
        task="check-brush-speed",
        at="brush-p1",
        **true,
        corrects=f"{visit.ident}#{number}",
        reason="Digits swapped when typing, the slip of paper says 46.",
    )
    day = date(2026, 5, 6)
    visit = diary.open(day, "16:20", "p-dunmarsh")
    wrong = visit.add(at="brush-p1/gearbox", temperature_f=141)
    visit = diary.open(date(2026, 5, 7), "07:15", "p-dunmarsh")
    visit.add(corrects=wrong, void=True, reason="Wrong brush, it was P2.")
    visit.add(at="brush-p2/gearbox", temperature_f=141, note="Taken on 6 May at 16:20.")
    day = date(2026, 7, 1)
    visit = diary.open(day, "13:20", "p-dunmarsh")
    wrong = visit.add(part="nozzle-fan-40", on_hand=21)
    again = diary.open(date(2026, 7, 2), "13:05", "p-dunmarsh").add(
        part="nozzle-fan-40",
        on_hand=11,
        corrects=wrong,
        reason="Counted the bag of wheel nozzles with them.",
    )
    diary.open(date(2026, 7, 3), "13:30", "t-varrick").add(
        part="nozzle-fan-40",
        on_hand=12,
        corrects=again,
        reason="One more in the tool box.",
    )


def _work_without_lockout(diary: Diary) -> None:
    """The one lockout task that the newcomer did alone; the check warns of it."""
    visit = diary.open(date(2026, 6, 20), "05:55", "k-yelloway")
    visit.add(task="grease-shaft-bearings", at="brush-p1", strokes=3)
    diary.open(date(2026, 6, 22), "08:00", "t-varrick").add(
        finding="Brush P1 was greased by a person without lockout training",
        at="brush-p1",
        urgency="now",
    )
    diary.open(date(2026, 6, 22), "16:00", "t-varrick").add(
        closes="2026-06-22T0800-t-varrick#1",
        at="brush-p1",
        note="Talked through with everybody. No grease gun without a lock. Training booked.",
    )


def _small_findings(diary: Diary) -> None:
    """Everyday findings, closed after some days or still open."""
    for day, place, words, urgency, closed, at, mended, note in (
        (date(2025, 9, 29), "conveyor/bolts", "Rail bolt missing at the third post", "now", date(2025, 9, 29), "20:10", "m-osterby", "New bolt, thread locked."),
        (date(2025, 10, 24), "correlator/photo-eye-entry", "Lens broken", "soon", date(2025, 10, 27), "13:00", "p-dunmarsh", "New eye."),
        (date(2025, 12, 3), "curtain-1/cloth", "Two strips torn", "planned", date(2025, 12, 15), "20:40", "m-osterby", "Two strips renewed."),
        (date(2026, 1, 19), "wheel-arch/nozzle-d2", "Sprays to one side", "soon", date(2026, 1, 22), "05:40", "p-dunmarsh", "Cleaned."),
        (date(2026, 4, 10), "blower-2/inlet-screen", "Screen torn off at one corner", "soon", date(2026, 4, 11), "05:15", "p-dunmarsh", "Locked out, riveted."),
        (date(2026, 4, 29), "buffer/cloth", "Leaves shreds of felt on the glass", "planned", date(2026, 5, 2), "05:50", "m-osterby", "One torn strip renewed."),
        (date(2026, 6, 5), "reclaim/strainer", "Basket cracked", "planned", date(2026, 6, 24), "20:30", "m-osterby", "New basket."),
        (date(2026, 8, 3), "stop-circuit/stop-mid-passenger", "Pull cord does not stop the line", "now", date(2026, 8, 3), "07:00", "p-dunmarsh", "Cord had slipped off its pulley. Line opened after all five stops were tested."),
        (date(2026, 9, 28), "compressor/receiver-drain", "Drain does not shut", "soon", date(2026, 9, 30), "20:10", "m-osterby", "New drain valve."),
    ):  # fmt: skip
        visit = diary.on(day, "read-air-pressure")
        found = visit.add(finding=words, at=place, urgency=urgency)
        mend = diary.open(closed, at, mended)
        mend.add(closes=found, at=place, note=note)
    for day, place, words, urgency in (
        (date(2026, 10, 12), "conveyor/rail", "Wear strip near its line at the fourth mark", "planned"),
        (date(2026, 11, 10), "wax-arch/nozzle-1", "Dribbles after the valve has shut", "planned"),
        (date(2026, 11, 21), "brush-d1/gearbox", "Sweats oil at the output seal", "soon"),
    ):  # fmt: skip
        visit = diary.on(day, "read-air-pressure")
        visit.add(finding=words, at=place, urgency=urgency)


def _stock(diary: Diary) -> None:
    for day, part, received in (
        (date(2026, 1, 20), "bearing-6210", 4),
        (date(2026, 3, 24), "grease-ep2", 3970),
        (date(2026, 4, 14), "hydraulic-oil-46", 60),
        (date(2026, 4, 14), "gear-oil-220", 20),
        (date(2026, 5, 26), "chain-oil", 40),
        (date(2026, 6, 2), "bearing-6210", 4),
        (date(2026, 6, 2), "strip-set-side", 1),
        (date(2026, 6, 9), "ro-filter", 6),
        (date(2026, 8, 18), "grease-ep2", 1985),
        (date(2026, 9, 15), "belt-b", 1),
    ):
        at = "14:10" if part != "gear-oil-220" else "14:15"
        diary.open(day, at, "t-varrick" if part != "strip-set-side" else "m-osterby").add(
            part=part, received=received
        )
    for day, part, ordered in (
        (date(2026, 1, 9), "bearing-6210", 4),
        (date(2026, 3, 17), "grease-ep2", 3970),
        (date(2026, 5, 20), "bearing-6210", 4),
        (date(2026, 5, 29), "ro-filter", 6),
        (date(2026, 8, 12), "grease-ep2", 1985),
        (date(2026, 9, 2), "belt-b", 1),
        (date(2026, 11, 12), "bearing-6210", 2),
    ):
        diary.open(day, "15:20", "t-varrick").add(part=part, ordered=ordered)
    counts = diary.open(date(2026, 10, 30), "14:00", "t-varrick", note="Yearly count.")
    for part, on_hand in (
        ("grease-ep2", 2510),
        ("bearing-6210", 3),
        ("nozzle-fan-40", 11),
        ("grease-fitting", 24),
        ("belt-b", 3),
        ("strip-set-side", 2),
        ("gear-oil-220", 17),
        ("hydraulic-oil-46", 80),
        ("chain-oil", 28),
        ("intake-filter", 0),
        ("ro-filter", 4),
    ):
        counts.add(part=part, on_hand=on_hand)


def _filed_late(diary: Diary) -> None:
    """Two visits that were written down days after."""
    diary.on(date(2026, 3, 27), "clean-strainers").heading["entered_at"] = "2026-03-31T08:05"
    diary.on(date(2026, 8, 21), "check-belts").heading["entered_at"] = "2026-08-25T17:40"


_STOPS = (
    # day, time, cause, minutes, machine or none, note
    (date(2025, 11, 7), "17:20", "vehicle", 14, "conveyor", "Front wheel off the rail; backed out by hand."),
    (date(2025, 12, 20), "15:05", "vehicle", 9, "", "Roof box; sent back from the entry."),
    (date(2026, 1, 27), "08:10", "supply", 95, "", "Main frozen in the street."),
    (date(2026, 2, 21), "13:40", "operator", 6, "", "Stop pressed by a leaning elbow."),
    (date(2026, 4, 11), "12:30", "vehicle", 22, "conveyor", "Brake on, roller jumped."),
    (date(2026, 5, 23), "16:15", "supply", 40, "", "Power of the street gone."),
    (date(2026, 6, 20), "11:50", "vehicle", 17, "wrap-d", "Loose trim wound in; cut free under lockout."),
    (date(2026, 7, 28), "14:25", "operator", 12, "", "Nobody at the entry."),
    (date(2026, 9, 12), "10:35", "vehicle", 11, "conveyor", "Wheel off the rail."),
    (date(2026, 10, 9), "15:30", "vehicle", 19, "top-brush", "Pick-up with a tool rack; sent on at hand speed."),
    (date(2026, 10, 15), "14:00", "planned", 30, "", "Fire drill of the whole yard."),
    (date(2026, 11, 14), "12:10", "vehicle", 8, "", "Would not go into neutral."),
)  # fmt: skip


def _tied_back(diary: Diary) -> None:
    """A machine that the line ran without for two days."""
    tied = diary.open(date(2026, 10, 21), "09:40", "m-osterby").add(
        tied_back="Driver arm bent by a loose hub cap",
        at="tyre-dresser",
    )
    visit = diary.open(date(2026, 10, 23), "05:40", "p-dunmarsh")
    visit.add(
        closes=tied,
        at="tyre-dresser",
        minutes=50,
        note="Arm straightened. Moved by hand, then run empty, before the line was opened.",
    )


def _stops(diary: Diary) -> None:
    """The line stood, and no part had failed."""
    for day, time, cause, minutes, machine, note in _STOPS:
        where = {"at": machine} if machine else {}
        visit = diary.open(day, time, "t-varrick")
        visit.add(stop=cause, stopped_minutes=minutes, **where, note=note)

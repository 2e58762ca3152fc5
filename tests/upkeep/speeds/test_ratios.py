import math
from random import Random

import pytest
from sitegen import draws
from small_site import ELECTRIC, HYDRAULIC, ledger_of, on, visit

from ledger.upkeep.speeds.found import speed_results
from ledger.upkeep.speeds.ratios import dial_u, drive_ratio, fit_of, last_reset
from ledger.upkeep.speeds.words import format_ratio

SITE = ledger_of().site


def read(rpm, hz, *, turns=40, **rest):
    """An entry that times whole turns at a setting."""
    return {"at": "brush", "turns": turns, "seconds": 60 * turns / rpm, "found_hz": hz, **rest}


def ratio_of(visits, machine="brush", *, before=None, **rest):
    ledger = ledger_of(visits, **rest)
    results = speed_results(ledger)
    entry = None if before is None else next(e for e in ledger.entries if str(e.ref) == before)
    return drive_ratio(ledger, ledger.machines[machine], results, before=entry)


def test_readings_rule_over_the_nameplate():
    ratio = ratio_of([visit(0, read(81, 45)), visit(7, read(90, 50))])

    assert ratio.fit.rpm_per_unit == pytest.approx(1.8)
    assert not ratio.fit.used_prior
    assert ratio.prior.value == pytest.approx(1740 / 60 / 16)
    assert ratio.speed_at(40).rpm == pytest.approx(72)


def test_without_a_reading_the_nameplate_serves_widely():
    ratio = ratio_of([])

    assert ratio.used == ()
    assert ratio.fit.rpm_per_unit == pytest.approx(1.8125)
    assert ratio.fit.u_rpm_per_unit == pytest.approx(0.05 * 1.8125)


def test_one_reading_joins_the_nameplate():
    ratio = ratio_of([visit(0, read(81, 45))])
    assert ratio.fit.used_prior
    assert 1.8 < ratio.fit.rpm_per_unit < 1.8125


def test_without_reading_or_nameplate_nothing_is_known():
    drive = {k: v for k, v in ELECTRIC["drive"].items() if k != "reduction"}
    bare = {**ELECTRIC, "drive": drive}
    ratio = ratio_of([], machines={"brush": bare})

    assert ratio.fit is None
    assert ratio.speed_at(45) is None
    assert ratio.slip_rpm == 0


def test_a_nameplate_above_synchronous_speed_is_not_used():
    """4 poles at 60 Hz turn 1800 r/min in step (IEC 60034-1)."""
    drive = {**ELECTRIC["drive"], "rated_rpm": 1840}
    machines = {"brush": {**ELECTRIC, "drive": drive}}
    ratio = ratio_of([], machines=machines)

    assert (ratio.fit, ratio.prior, ratio.slip_rpm) == (None, None, 0)
    read_once = ratio_of([visit(0, read(81, 45))], machines=machines)
    assert not read_once.fit.used_prior
    for told in (ratio, read_once):
        assert "The nameplate is not used: 1840 r/min is above 1800" in format_ratio(told, SITE)


def test_slip_at_the_shaft_is_the_motors_over_the_reduction():
    """4 poles at 60 Hz turn 1800 r/min in step (IEC 60034-1); 1740 at load, so 60 lost."""
    assert ratio_of([]).slip_rpm == pytest.approx(60 / 16)


@pytest.mark.parametrize(
    "changed", ["motor", "belt", "reduction", "gearbox", "brush-set", "drive", "hydraulic-motor"]
)
def test_a_change_of_the_mechanics_sets_earlier_readings_aside(changed):
    ratio = ratio_of(
        [
            visit(0, read(90, 45)),
            visit(7, {"at": "brush", "changed": changed}),
            visit(8, read(81, 45), read(83, 46)),
        ]
    )
    assert len(ratio.set_aside) == 1
    assert ratio.since.changed == changed
    assert [round(result.speed.rpm) for result in ratio.used] == [81, 83]


def test_a_change_in_the_same_visit_counts_in_the_order_of_its_entries():
    ratio = ratio_of([visit(0, read(90, 45), {"at": "brush", "changed": "motor"}, read(81, 45))])
    assert [round(result.speed.rpm) for result in ratio.used] == [81]


def test_another_part_changes_nothing():
    visits = [visit(0, read(81, 45)), visit(1, {"at": "brush/nozzle", "changed": "nozzle"})]
    ratio = ratio_of(visits)
    assert (len(ratio.used), ratio.since) == (1, None)


def test_a_reading_corrected_after_the_change_still_belongs_before_it():
    slip = {
        "corrects": "2026-01-05T1000-a-holt#1",
        "reason": "Miscounted.",
        **read(91, 45),
    }
    ratio = ratio_of(
        [visit(0, read(90, 45)), visit(7, {"at": "brush", "changed": "motor"}), visit(8, slip)]
    )
    assert ratio.used == ()
    assert len(ratio.set_aside) == 1


def test_readings_without_setting_or_speed_do_not_count():
    ratio = ratio_of(
        [
            visit(
                0,
                {"at": "brush", "turns": 20, "seconds": 15},
                {"at": "brush", "taps_s": [0, 0.75, 1.5, 9.0, 9.75], "found_hz": 45},
            )
        ]
    )
    assert ratio.used == ()


def test_before_an_entry_only_what_was_known_then():
    visits = [visit(day, read(80 + day, 45)) for day in range(4)]
    ratio = ratio_of(visits, before="2026-01-07T1000-a-holt#1")

    assert [round(result.speed.rpm) for result in ratio.used] == [80, 81]


def test_a_change_that_comes_later_is_not_yet_known():
    visits = [visit(0, read(80, 45)), visit(2, {"at": "brush", "changed": "motor"})]
    ledger = ledger_of([*visits, visit(3, read(70, 45))])
    machine = ledger.machines["brush"]
    first, change, last = ledger.entries

    assert last_reset(ledger, machine, first) is None
    assert last_reset(ledger, machine, last) == change
    assert last_reset(ledger, machine) == change


def test_a_wild_reading_is_named_and_stays_in():
    """A fence-post fault in a 10 s count is 6 r/min."""
    visits = [visit(day, read(81 if day != 5 else 87, 45)) for day in range(12)]
    ratio = ratio_of(visits)

    assert ratio.fit.disagreeing == ("2026-01-10T1000-a-holt#1",)
    assert len(ratio.used) == 12
    assert ratio.outgrown == ()


def wearing(loss_share, weeks=40):
    """A hydraulic brush at one flow whose speed falls by a share over the weeks."""
    rng = Random(4)
    return [
        visit(
            7 * week,
            {
                "at": "low",
                **draws.timed_turns(rng, 85 * (1 - loss_share * week / weeks), 40),
                "found_flow_lpm": 14.4,
            },
        )
        for week in range(weeks)
    ]


def test_a_shaft_that_slows_is_predicted_as_it_runs_now():
    ratio = ratio_of(wearing(0.10), machine="low")

    assert len(ratio.outgrown) + len(ratio.used) == 40
    for weeks in (39, 48):
        predicted = ratio.on(on(7 * weeks)).speed_at(14.4)
        assert abs(predicted.rpm - 85 * (1 - 0.10 * weeks / 40)) < predicted.expanded() < 0.7


def test_a_step_is_no_slope():
    """A belt that slipped once: the readings since count, and make no line."""
    ratio = ratio_of([visit(7 * week, read(81 if week < 20 else 78, 45)) for week in range(40)])

    assert [round(result.speed.rpm) for result in ratio.used] == [78] * 20
    assert ratio.line is None


def test_a_dial_left_alone_says_how_its_shaft_slows_without_its_step():
    ratio = ratio_of(wearing(0.10), machine="low")

    left, anew = ratio.speed_at(14.4), ratio.speed_at(14.4001)
    dial_rpm = left.rpm / 14.4 * dial_u(ratio.dial_step)
    assert dial_rpm > left.u_rpm / 2
    # Once as it stood all along, once as it is set anew.
    assert anew.u_rpm == pytest.approx(math.hypot(left.u_rpm, dial_rpm, dial_rpm), rel=0.05)


def test_a_steady_shaft_keeps_every_reading():
    ratio = ratio_of(wearing(0.0), machine="low")
    assert ratio.outgrown == ()
    assert len(ratio.used) == 40


def test_a_fall_that_may_be_chance_adds_to_the_doubt_of_later_days():
    """Twelve weekly readings that fall by 0.5 r/min in all; at their middle day by hand."""
    ratio = ratio_of([visit(7 * week, read(80.25 - week / 22, 45)) for week in range(12)])
    assert ratio.line is None

    after_weeks = 4
    later = ratio.on(on(7 * (11 + after_weeks))).speed_at(45)
    assert later.rpm == pytest.approx(ratio.speed_at(45).rpm)
    fallen = (5.5 + after_weeks) / 22
    assert later.u_rpm == pytest.approx(math.hypot(ratio.speed_at(45).u_rpm, fallen), rel=0.02)
    assert ratio.on(on(7 * 15)).on(on(7 * 15)) == ratio.on(on(7 * 15))


def test_a_steady_shaft_is_as_sure_later_as_on_the_last_day():
    ratio = ratio_of([visit(7 * week, read(80 + 0.4 * (-1) ** week, 45)) for week in range(12)])

    assert ratio.on(on(7 * 30)).speed_at(45) == ratio.speed_at(45)


def test_the_nameplate_of_a_hydraulic_motor():
    """40 L/min, efficiency 0.95, 160 cm³ give 237.5 r/min (gear motor makers' formula)."""
    ratio = ratio_of([], machine="low")
    assert ratio.unit == "L/min"
    assert ratio.speed_at(40).rpm == pytest.approx(237.5)


def test_a_reduction_behind_a_hydraulic_motor():
    drive = {**HYDRAULIC["drive"], "reduction": 2}
    ratio = ratio_of([], "low", machines={"low": {**HYDRAULIC, "drive": drive}})
    assert ratio.speed_at(40).rpm == pytest.approx(237.5 / 2)


def test_fit_of_nothing_is_none():
    assert fit_of([]) is None

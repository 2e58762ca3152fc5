import json
import re
from random import Random

import pytest
from sitegen import draws
from small_site import ELECTRIC, HYDRAULIC, ledger_of, on, setpoint, visit

from ledger.book import svg, terminal
from ledger.book.blocks import Caution, Heading, Mark, Picture, Table
from ledger.book.words import in_shown_unit
from ledger.upkeep.register.found import register
from ledger.upkeep.speeds.found import speed_results
from ledger.upkeep.tuning.found import outlook_at, tune, tunings
from ledger.upkeep.tuning.page import drive_blocks, settings_page, tune_page, tuning_rows
from ledger.upkeep.tuning.plot import settings_plot
from ledger.upkeep.tuning.words import format_step, from_shown_unit, tuning_row


def read(rpm, hz, *, turns=40):
    return {"at": "brush", "turns": turns, "seconds": 60 * turns / rpm, "found_hz": hz}


SURE = [visit(day, read(81, 45)) for day in range(6)]
BOTH = {"brush": ELECTRIC, "low": HYDRAULIC}


def tuned(visits=SURE, *, setpoints=(), machine="brush", rates=(), target=None, **rest):
    ledger = ledger_of(visits, setpoints=setpoints, **rest)
    tuning = tune(
        ledger,
        ledger.machines[machine],
        speed_results(ledger),
        line_rates_per_h=rates,
        target_rpm=target,
    )
    return ledger, tuning


def page_of(ledger):
    results = speed_results(ledger)
    lines = register(ledger, results)
    return settings_page([tuning_rows(ledger, tunings(ledger, results), lines, results)])


def blocks_of(*args, **rest):
    ledger, tuning = tuned(*args, **rest)
    return list(drive_blocks(ledger, tuning, []))


def said(*args, at=None, **kwargs):
    """The words of the command's page, on one line each, spaces folded."""
    ledger, tuning = tuned(*args, **kwargs)
    asked = []
    if at is not None:
        asked = [outlook_at(tuning.machine, tuning.ratio, at, 120)]
    text = terminal.render(tune_page(ledger, tuning, asked, at), 400)
    return "\n".join(" ".join(line.split()) for line in text.splitlines())


def test_one_table_of_line_rates_for_every_drive():
    ledger = ledger_of(SURE, machines=BOTH)
    page = page_of(ledger)

    headings = [b.text for b in page.blocks if isinstance(b, Heading)]
    assert headings == ["Found and read since", "Side brush", "Low brush"]
    assert page.path == "tuning.md"
    assert page.as_of == "", "it changes only when a source does"
    assert any(isinstance(block, Caution) for block in page.blocks)


def test_beside_every_picture_stands_a_table():
    ledger = ledger_of(SURE, machines=BOTH)
    blocks = page_of(ledger).blocks
    for before, after in zip(blocks, [*blocks[1:], None], strict=True):
        if isinstance(before, Picture):
            assert isinstance(after, Table)


def test_setting_prediction_chance_and_way_from_what_is_in_force():
    text = said(setpoints=[setpoint(0, 43)])
    assert "In force: 43 Hz from 2026-01-05 for 110 vehicles an hour; predicted 77.40 ±" in text
    assert "110 74–86, 80 44.5 Hz +1.5 Hz 80.10 ±" in text
    assert "90 70–80, 75 41.5 Hz −1.5 Hz 74.70 ±" in text


@pytest.mark.parametrize(
    ("a_week", "sentence"),
    [
        (-0.2, "At 45 Hz the speed still falls 0.87 r/min a month: what is predicted here is for 2026-03-23, and lower after that."),
        (0.2, "At 45 Hz the speed still rises 0.87 r/min a month: what is predicted here is for 2026-03-23, and higher after that."),
        (0.0, ""),
    ],
    ids=["falls", "rises", "steady"],
)  # fmt: skip
def test_a_speed_that_still_moves_is_told_for_the_day_of_its_last_reading(a_week, sentence):
    """0.2 r/min a week are 0.2 / 7 · 30.44 = 0.870 r/min a month."""
    weekly = [visit(7 * n, read(81 + a_week * n, 45)) for n in range(12)]
    ledger, tuning = tuned(weekly, setpoints=[setpoint(0, 45)])

    text = " ".join(terminal.render(page_of(ledger), 4000).split())
    assert sentence in text
    assert ("the speed still" in text) is bool(sentence)
    assert tuning.in_force.speed.rpm == pytest.approx(81 + 11 * a_week)


def test_a_setting_for_a_shaft_that_slows_is_for_the_day_asked():
    """Four weeks on, at 0.2 r/min a week: 81 - 15 · 0.2 = 78 at 45 Hz, so 80 takes 46.15."""
    weekly = [visit(7 * n, read(81 - 0.2 * n, 45)) for n in range(12)]
    ledger = ledger_of(weekly)
    tuning = tune(
        ledger,
        ledger.machines["brush"],
        speed_results(ledger),
        line_rates_per_h=[110],
        as_of=on(15 * 7),
    )

    (at,) = tuning.rates
    assert at.exact == pytest.approx(80 / 78 * 45)
    assert at.range.low < at.exact < at.range.high


def test_a_setting_that_was_read_is_told_from_one_that_is_only_predicted():
    rows = {
        row[0]: row
        for block in blocks_of([*SURE, visit(9, read(80.1, 44.5))])
        if isinstance(block, Table) and block.columns[0].title == "Vehicles/h"
        for row in block.rows
    }

    assert rows["90"][6] == "not yet"
    assert re.fullmatch(r"80\.10 ± 0\.\d+ \(1\)", rows["110"][6])


def test_the_setting_in_force_is_named_as_such():
    assert "as in force" in said(setpoints=[setpoint(0, 44.5)])


def test_without_a_setting_in_force_there_is_no_way_from_it():
    assert "No approved setting is in force." in said()


def test_it_never_says_safe_and_always_defers():
    text = said()
    assert "safe" not in text
    assert "! A setting is changed by a person qualified for the drive" in text
    assert "makers" in text


def test_the_nameplate_alone_asks_for_a_reading():
    text = said([])
    assert "by the nameplate alone: read the speed to be sure." in text
    assert "One more reading at 44 Hz (110 vehicles an hour)" in text
    assert "60 s count" in text


def test_where_enough_is_known_no_more_is_asked_for():
    text = said()
    assert "Enough is known: one more reading would change no setting." in text
    assert "One more reading" not in text


def test_readings_that_disagree_are_named():
    visits = [visit(day, read(81 if day != 5 else 87, 45)) for day in range(12)]
    text = said(visits)
    assert "these disagree with the others: 2026-01-10T1000-a-holt#1" in text


def test_a_changed_motor_is_told_as_the_start():
    visits = [*SURE, visit(10, {"at": "brush", "changed": "motor"}), visit(11, read(85, 45))]
    assert "from 1 reading and the nameplate since 2026-01-15 (motor changed)" in said(visits)


def test_limits_of_the_drive_and_the_site_are_explained():
    low = {"brush": {**ELECTRIC, "drive": {**ELECTRIC["drive"], "hz_limits": [25, 40]}}}
    text = said(machines=low, setpoints=[setpoint(0, 30)], rates=(110,))
    assert "the drive's highest setting keeps it from the target: 44.44 Hz would give it" in text
    assert "larger than the site allows at once (5 Hz): go in steps" in text


def test_a_target_outside_the_band_is_said_to_be_so():
    assert "r/min lies outside the band of" in said(rates=(110,), target=95)


def test_a_motor_that_would_run_slow_on_its_own_fan_is_cautioned():
    slow = {"brush": {**ELECTRIC, "drive": {**ELECTRIC["drive"], "hz_limits": [15, 60]}}}
    text = said([visit(d, read(160, 45)) for d in range(3)], machines=slow, rates=(110,))
    assert "a motor cooled by its own fan may run hot" in text


def test_the_other_bracket_is_told_where_it_would_change_the_setting():
    """For 30 r/min, far below the 45 Hz of the readings, and not for 80 near them."""
    told = "If the motor's slip did not change with frequency"
    low = {"brush": {**ELECTRIC, "drive": {**ELECTRIC["drive"], "hz_limits": [10, 60]}}}

    assert told in said(machines=low, target=30)
    assert told not in said(rates=(110,))


def test_a_setting_in_force_that_is_in_band_needs_no_change():
    """44 Hz give 79.2 r/min, in band of 74 to 86; 44.5 Hz are nearer to the target of 80."""
    in_band = said(setpoints=[setpoint(0, 44)], rates=(110,))
    out = said(setpoints=[setpoint(0, 40)], rates=(110,))

    assert "no change is needed: 44 Hz, in force, is in band, and 44.5 Hz would only" in in_band
    assert "no change is needed" not in out


COUNTS_APART = [
    visit(0, {"at": "brush", "counted": 38, "seconds": 30, "found_hz": 45}),
    visit(1, {"at": "brush", "counted": 41, "seconds": 30, "found_hz": 45}),
]


def test_two_counts_that_disagree_ask_for_more_counts_and_no_step():
    text = said(COUNTS_APART, setpoints=[setpoint(0, 45)])

    assert text.splitlines()[3].startswith(
        "Time whole turns: 20 turns from pass to pass at 45 Hz, 3 times would do"
    )
    assert "No setting can be chosen from that." in text
    assert "Set to" not in text
    assert "Predicted" not in text
    assert "38 passes in 30 s" in text
    assert "41 passes in 30 s" in text


def test_counts_that_no_counting_would_settle_send_one_to_look():
    visits = [visit(0, read(40, 45)), visit(1, read(120, 45))]

    assert "Find out why they disagree, then time it again" in said(visits)


def test_a_remedy_is_named_only_where_it_settles_something():
    """At a target close to the end of the band no single reading can tell."""
    text = said([visit(0, read(81, 45, turns=2))], rates=(110,), target=85.9)

    assert "no one reading settles it" in text
    assert "One more reading" not in text


def test_beyond_the_band_no_setting_in_force_is_as_good():
    text = said(setpoints=[setpoint(0, 44.5)], rates=(110,), target=100)

    assert "the target of 100 r/min lies outside the band of 74–86" in text
    assert "no change is needed" not in text


def test_what_speed_at_a_setting():
    text = said(at=50)
    assert "At 50 Hz" in text
    assert "120 74–86 90.00 ±" in text


def flows(loss=0.0, weeks=30):
    rng = Random(5)
    return [
        visit(
            7 * week,
            {
                "at": "low",
                **draws.timed_turns(rng, 85 * (1 - loss * week / weeks), 60),
                "found_flow_lpm": 14.4,
            },
        )
        for week in range(weeks)
    ]


def test_wear_of_an_oil_motor_is_told_before_more_oil_is_given():
    text = said(flows(0.08), machine="low", machines=BOTH)
    assert "a falling speed at the same flow is wear" in text
    assert "the speed still falls" in text
    assert "no wear shows" in said(flows(), machine="low", machines=BOTH)


def test_a_worn_oil_motor_leads_to_its_finding():
    worn = said(flows(loss=0.08), machine="low", machines=BOTH)
    assert "The oil motor is worn: file a finding of it before the flow is raised." in worn
    finding = visit(300, {"finding": "Slows at one flow.", "at": "low"})
    told = said([*flows(loss=0.08), finding], machine="low", machines=BOTH)
    assert "The oil motor is worn. Before a higher flow, settle the finding of 2026-" in told
    assert told.index("Slows at one flow") < told.index("Vehicles/h")
    assert "The oil motor is worn" not in said(flows(), machine="low", machines=BOTH)


def test_flows_are_shown_in_the_sites_unit():
    si = said(flows(), machine="low", machines=BOTH)
    us = said(flows(), machine="low", machines=BOTH, site={"units": "us"})
    assert "14.1 L/min" in si
    assert "r/min per L/min" in si
    assert "3.72 gpm" in us
    assert "r/min per gpm" in us


def test_units_go_there_and_back():
    ledger = ledger_of(site={"units": "us"})
    assert in_shown_unit(3.785411784, "L/min", ledger.site) == pytest.approx(1)
    assert from_shown_unit(1, "L/min", ledger.site) == pytest.approx(3.785411784)
    assert in_shown_unit(45, "Hz", ledger.site) == 45


@pytest.mark.parametrize(
    ("step", "shown"), [(1.5, "+1.5 Hz"), (-2, "−2 Hz"), (0, "as in force"), (1e-9, "as in force")]
)
def test_steps_are_signed(step, shown):
    assert format_step(step, "Hz", ledger_of().site) == shown


class TestPlot:
    def plot(self, visits=SURE, **rest):
        ledger, tuning = tuned(visits, **rest)
        return settings_plot(ledger, tuning)

    def test_readings_band_line_and_setting_in_force(self):
        plot = self.plot(setpoints=[setpoint(0, 43)])
        used, recommended = (group for group in plot.samples if group.points)

        assert (used.name, len(used.points)) == ("readings in use", 6)
        assert used.points[0].half_width > 0
        assert [point.x for point in recommended.points] == [41.5, 44.5]
        assert (plot.zones[0].low, plot.zones[0].high) == (74, 86)
        assert [(event.x, event.label) for event in plot.events] == [(43, "in force 43 Hz")]
        (left, low), (right, high) = plot.curves[0].corners
        # The drive's own limits, and the bands of both line rates with as much room around them.
        assert (left, right) == plot.x.span == (25, 60)
        assert plot.y.span == (54, 102)
        assert (low / left, high / right) == pytest.approx((1.8, 1.8))

    def test_what_disagrees_and_what_no_longer_counts_have_marks_of_their_own(self):
        visits = [visit(day, read(81 if day != 9 else 90, 45)) for day in range(12)]
        changed = [visit(12, {"at": "brush", "changed": "belt"}), visit(13, read(85, 45))]
        marks = {group.name: group.mark for group in self.plot(visits).samples}
        assert marks["disagree"] is Mark.CROSS
        later = {group.name: len(group.points) for group in self.plot([*visits, *changed]).samples}
        assert later["no longer counted"] == 12
        assert later["readings in use"] == 1

    def test_axes_name_quantity_and_unit(self):
        plot = self.plot(flows(), machine="low", machines=BOTH, site={"units": "us"})
        assert (plot.x.label, plot.y.label) == ("setting, gpm", "shaft speed, r/min")

    def test_it_draws(self):
        assert svg.render(self.plot()).startswith("<svg")


def test_a_drive_without_any_ratio_says_so_and_draws_nothing():
    drive = {k: v for k, v in ELECTRIC["drive"].items() if k != "reduction"}
    blocks = blocks_of([], machines={"brush": {**ELECTRIC, "drive": drive}})
    assert not any(isinstance(block, Picture | Table) for block in blocks)
    assert "read the speed once" in terminal.plain(blocks[0].spans)


def test_the_row_holds_what_the_page_says():
    _, tuning = tuned(setpoints=[setpoint(0, 43)])
    asked = [outlook_at(tuning.machine, tuning.ratio, 50, 120)]
    row = json.loads(json.dumps(tuning_row(tuning, asked), allow_nan=False))

    assert row["ratio"]["rpm_per_unit"] == pytest.approx(1.8)
    assert [rate["setting"] for rate in row["recommended"]] == [41.5, 44.5]
    assert row["at"][0]["predicted_rpm"] == pytest.approx(90)
    assert row["setting_in_force"] == 43
    assert len(row["ratio"]["readings"]) == 6


def test_a_range_without_an_end_is_null_in_json():
    wide = {"brush": {**ELECTRIC, "speed_band": [{"line_rate_per_h": 110, "rpm": [1, 400]}]}}
    visits = [
        visit(day, {"at": "brush", "counted": counted, "seconds": 10, "found_hz": 45})
        for day, counted in enumerate((5, 30, 5, 30))
    ]
    _, tuning = tuned(visits, machines=wide)
    row = json.loads(json.dumps(tuning_row(tuning, ()), allow_nan=False))
    assert row["recommended"][0]["exact_setting_high"] is None
    assert "above" in said(visits, machines=wide)


def test_an_approved_setting_to_come_is_named_beside_the_one_in_force():
    ledger = ledger_of(SURE, setpoints=[setpoint(0, 45), setpoint(9, 44)])
    text = " ".join(terminal.render(page_of(ledger), 400).split())
    assert "In force: 45 Hz from 2026-01-05" in text
    assert "; 44 Hz approved from 2026-01-14." in text

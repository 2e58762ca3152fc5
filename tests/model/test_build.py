"""What the files say becomes values with units in their names: once, at the edge, and exactly."""

from dataclasses import FrozenInstanceError, fields
from datetime import UTC, date, datetime, time

import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_site import ELECTRIC, HYDRAULIC, ledger_of, setpoint, visit
from sound_site import FIRST_VISIT, LAST_VISIT, SOUND, edited, ledger_in, texts_below, with_file

from ledger.model.machines import ElectricDrive, HydraulicDrive
from ledger.model.readings import (
    BELT_DEFLECTION,
    CATCH,
    CHAIN_LENGTH,
    CURRENT,
    PRESSURE,
    READINGS,
    STRIP,
    TEMPERATURE,
)
from ledger.model.references import EntryRef, Place
from ledger.model.visits import PassCount, TimedTurns, VideoTurns

INCH_MM = 25.4  # exact, NIST SP 811 appendix B.8
GALLON_L = 3.785411784  # exact, NIST SP 811 appendix B.8
PSI_KPA = 6.894757293168361  # NIST SP 811 appendix B.8, 6.894 757
HP_KW = 0.7456998715822702  # 550 ft lbf/s, NIST SP 811 appendix B.8, 0.745 699 9
FLUID_OUNCE_ML = 29.5735295625  # exact, NIST SP 811 appendix B.8
POUND_FORCE_N = 4.4482216152605  # exact, NIST SP 811 appendix B.8


def brush_of(**changes):
    return ledger_of(machines={"brush": {**ELECTRIC, **changes}}).machines["brush"]


def read(**keys):
    point = {
        "length_mm": "chain",
        "length_in": "chain",
        "caught_ml": "nozzle",
        "caught_oz": "nozzle",
    }
    machine = "low" if any("_flow_" in key for key in keys) else "brush"
    at = next((f"brush/{kind}" for key, kind in point.items() if key in keys), machine)
    (entry,) = ledger_of([visit(0, {"at": at, **keys})]).standing
    return entry


class TestQuantities:
    """US and SI keys of one quantity give one value."""

    @pytest.mark.parametrize(
        ("us", "si", "value"),
        [
            ({"caught_oz": 10, "seconds": 15}, {"caught_ml": 10 * FLUID_OUNCE_ML, "seconds": 15}, lambda r: r[CATCH].volume_l),
            ({"length_in": 47, "pitches": 10}, {"length_mm": 47 * INCH_MM, "pitches": 10}, lambda r: r[CHAIN_LENGTH].length_mm),
            ({"deflection_in": 0.5}, {"deflection_mm": 0.5 * INCH_MM}, lambda r: r[BELT_DEFLECTION].deflection_mm),
            ({"deflection_in": 0.5, "force_lbf": 4}, {"deflection_in": 0.5, "force_n": 4 * POUND_FORCE_N}, lambda r: r[BELT_DEFLECTION].force_n),
            ({"strip_length_in": 18}, {"strip_length_mm": 18 * INCH_MM}, lambda r: r[STRIP]),
            ({"pressure_psi": 40}, {"pressure_kpa": 40 * PSI_KPA}, lambda r: r[PRESSURE]),
            ({"temperature_f": 212}, {"temperature_c": 100}, lambda r: r[TEMPERATURE]),
            ({"temperature_f": -40}, {"temperature_c": -40}, lambda r: r[TEMPERATURE]),
        ],
        ids=lambda case: next(iter(case)) if isinstance(case, dict) else "",
    )  # fmt: skip
    def test_of_a_reading(self, us, si, value):
        assert value(read(**us).readings) == pytest.approx(value(read(**si).readings), rel=1e-9)
        # The SI key holds the published factor, so the value is known as well as equal.
        assert value(read(**si).readings) is not None

    def test_of_settings_as_found_and_left(self):
        us = read(found_flow_gpm=4, left_flow_gpm=3).setting
        assert (us.unit, us.found, us.left) == (
            "L/min",
            pytest.approx(4 * GALLON_L),
            pytest.approx(3 * GALLON_L),
        )
        si = read(left_flow_lpm=12.5).setting
        assert (si.unit, si.found, si.left) == ("L/min", None, 12.5)
        assert (si.counted_at, si.stands_at) == (12.5, 12.5)
        hz = read(found_hz=48, left_hz=44.5).setting
        assert (hz.unit, hz.found, hz.counted_at, hz.stands_at) == ("Hz", 48, 48, 44.5)
        assert read(found_hz=48).setting.stands_at == 48

    def test_of_a_tuning_session(self):
        steps = [{"hz": 38, "counted": 31, "seconds": 30}, {"hz": 41.5, "turns": 20, "seconds": 18}]
        session = read(steps=steps)
        assert [step.setting for step in session.steps] == [38, 41.5]
        assert (session.speed, session.reads_speed) == (None, True)
        assert (session.setting.found, session.setting.left) == (38, 41.5)
        moved = read(found_hz=36, steps=steps, left_hz=38).setting
        assert (moved.unit, moved.found, moved.left) == ("Hz", 36, 38)
        oil = read(found_flow_gpm=3, steps=[{"flow_gpm": 4, "counted": 31, "seconds": 30}])
        assert oil.steps[0].setting == pytest.approx(4 * GALLON_L)
        assert (oil.setting.unit, oil.setting.found, oil.setting.left) == (
            "L/min",
            pytest.approx(3 * GALLON_L),
            pytest.approx(4 * GALLON_L),
        )

    def test_of_a_drive(self):
        us = brush_of(drive={"type": "electric", "motor_hp": 3}).drive
        assert us == ElectricDrive(motor_kw=pytest.approx(3 * HP_KW))
        oil = brush_of(
            drive={
                "type": "hydraulic",
                "motor_in3": 9.8,
                "flow_limits_gpm": [2, 5],
                "pressure_psi": 900,
            }
        ).drive
        assert oil == HydraulicDrive(
            motor_cm3=pytest.approx(9.8 * INCH_MM**3 / 1000),
            flow_limits_lpm=pytest.approx((2 * GALLON_L, 5 * GALLON_L)),
            flow_step_lpm=pytest.approx(0.1 * GALLON_L),
            pressure_kpa=pytest.approx(900 * PSI_KPA),
        )  # fmt: skip

    def test_of_points(self):
        points = brush_of(points={
            "n-us": {"kind": "nozzle", "flow_gpm": 0.5, "at_psi": 40},
            "n-half": {"kind": "nozzle"},
            "c": {"kind": "chain", "pitch_in": 4},
            "b": {"kind": "belt", "span_in": 20},
            "cl": {"kind": "cloth", "new_length_in": 20, "worn_length_in": 16},
            "g": {"kind": "guard"},
        }).points  # fmt: skip
        assert points["n-us"].rating.flow_lpm == pytest.approx(0.5 * GALLON_L)
        assert points["n-us"].rating.at_kpa == pytest.approx(40 * PSI_KPA)
        assert points["n-half"].rating is None
        assert (points["c"].rating.pitch_mm, points["c"].rating.adjustable) == (
            pytest.approx(101.6),
            True,
        )
        assert points["b"].rating.span_mm == pytest.approx(508)
        assert (points["cl"].rating.new_length_mm, points["cl"].rating.worn_length_mm) == (
            pytest.approx(508),
            pytest.approx(406.4),
        )
        assert points["g"].rating is None
        assert points["n-us"].name == "N us"

    def test_of_the_line(self):
        line = ledger_of(
            site={
                "line": {
                    "line_rate_per_h": 100,
                    "line_rates_per_h": [80],
                    "chain_speed_ft_per_min": 38.5,
                    "vehicle_pitch_ft": 21,
                }
            }
        ).site.line
        assert line.line_rates_per_h == (80, 100)
        assert line.chain_speed_m_per_s == pytest.approx(38.5 * 0.3048 / 60)
        assert line.vehicle_pitch_m == pytest.approx(21 * 0.3048)

    def test_of_a_setting(self):
        files = edited("setpoints/low-brush.yaml", "flow_gpm: 3.5", "flow_lpm: 13.25")
        assert ledger_in(files).setpoints["low-brush"].in_force.value == 13.25
        change = ledger_in(texts_below(SOUND)).setpoints["low-brush"].in_force
        assert (change.value, change.unit) == (pytest.approx(3.5 * GALLON_L), "L/min")

    @given(st.floats(0.1, 119))
    def test_a_length_survives_the_way_there_and_back(self, inches):
        length_mm = read(strip_length_in=inches).readings[STRIP]
        assert length_mm / INCH_MM == pytest.approx(inches, rel=1e-12)


class TestReadings:
    def test_each_way_of_reading_a_speed_is_one_kind_of_value(self):
        assert read(counted=38, seconds=30, start="on-pass", passes_per_turn=2).speed == PassCount(
            passes=38, seconds=30, start="on-pass", passes_per_turn=2
        )
        assert read(turns=20, seconds=13.05).speed == TimedTurns(turns=20, seconds=13.05)
        assert read(turns=20, frames=660, fps=29.97).speed == VideoTurns(
            turns=20, frames=660, fps=29.97
        )
        assert read(taps_s=[0, 1, 2, 3, 4]).speed.times_s == (0, 1, 2, 3, 4)
        assert (read(tachometer_rpm=80, accuracy_rpm=1).speed.rpm, read(temperature_c=1).speed) == (
            80,
            None,
        )

    def test_what_was_not_read_is_none_and_nought_is_a_reading(self):
        readings = read(current_a=0).readings
        assert readings[CURRENT] == 0
        assert all(readings[kind] is None for kind in READINGS if kind is not CURRENT)


class TestTimes:
    def test_a_time_without_an_offset_is_local_to_the_site(self):
        ledger = ledger_in(texts_below(SOUND))
        first = ledger.visits[0]
        # Chicago keeps UTC-6 from the first Sunday of November 2026 (IANA tz database).
        assert first.when.astimezone(UTC) == datetime(2026, 11, 3, 12, 40, tzinfo=UTC)
        assert first.day == date(2026, 11, 3)

    def test_an_offset_decides_the_instant_and_the_site_the_day(self):
        path = "observations/2026/11/2026-11-24T2210-m-tarrow.yaml"
        text = "at: 2026-11-25T04:10Z\nby: m-tarrow\nentries:\n  - {task: look-over}\n"
        (found,) = [v for v in ledger_in(with_file(path, text)).visits if v.path == path]
        assert (found.day, found.entries[0].day) == (date(2026, 11, 24), date(2026, 11, 24))

    def test_visits_stand_by_time_whatever_their_file_is_called(self):
        ledger = ledger_in(
            with_file(
                "observations/2026/11/2026-11-02T2350-d-fenwold.yaml",
                "at: 2026-11-02T23:50\nby: d-fenwold\nentries:\n  - {task: look-over}\n",
            )
        )
        assert [v.when for v in ledger.visits] == sorted(v.when for v in ledger.visits)

    def test_the_hours_of_a_site(self):
        open_hours = ledger_of(
            site={"hours": {"monday": "06:00-24:00", "tuesday": "closed"}}
        ).site.open_hours
        assert open_hours == {0: (time(6), time(23, 59, 59))}
        assert sorted(ledger_of().site.open_hours) == [0, 1, 2, 3, 4]

    def test_a_site_that_says_nothing_of_hours_is_open_every_day(self):
        assert sorted(ledger_in(texts_below(SOUND)).site.open_hours) == list(range(7))


ALL = [
    "conveyor/take-up",
    "brush-p2/shaft-bearing-top",
    "brush-p2/shaft-bearing-bottom",
    "low-brush/shaft-bearing",
]


class TestPlaces:
    """An entry stands for the places that its task selects, where it names no point."""

    def places(self, entry, path="observations/2026/11/2026-11-24T0710-d-fenwold.yaml", files=None):
        text = f"at: 2026-11-24T07:10\nby: d-fenwold\nentries:\n  - {entry}\n"
        ledger = ledger_in({**(files or texts_below(SOUND)), path: text})
        return [
            str(place) for place in ledger.entry[EntryRef("2026-11-24T0710-d-fenwold", 1)].places
        ]

    @pytest.mark.parametrize(
        ("entry", "places"),
        [
            pytest.param("{task: grease-bearings}", ALL, id="no place: all, in walking order"),
            pytest.param("{task: grease-bearings, at: brush-p2}", ALL[1:3], id="a machine: its selected points"),
            pytest.param("{task: grease-bearings, at: brush-p2/shaft-bearing-bottom}", ALL[2:3], id="one point"),
            pytest.param("{task: grease-bearings, at: [low-brush, conveyor]}", [ALL[3], ALL[0]], id="a list: as named"),
            pytest.param("{task: grease-bearings, at: [brush-p2, brush-p2/shaft-bearing-top]}", ALL[1:3], id="a point named twice counts once"),
            pytest.param("{task: grease-bearings, except: [brush-p2]}", [ALL[0], ALL[3]], id="all but a machine"),
            pytest.param("{task: grease-bearings, except: [brush-p2/shaft-bearing-top]}", [ALL[0], *ALL[2:]], id="all but a point"),
            pytest.param("{task: check-speed, at: brush-p2, counted: 84, seconds: 60, found_hz: 44}", ["brush-p2"], id="a task of machines: the machine"),
            pytest.param("{task: check-speed, at: brush-p2/cloth, outcome: not-done, reason: no time}", ["brush-p2/cloth"], id="a task of machines: a point of one"),
            pytest.param("{finding: loud, at: brush-p2}", ["brush-p2"], id="no task: as named"),
            pytest.param("{part: grease-ep2, on_hand: 1}", [], id="nothing at all"),
        ],
    )  # fmt: skip
    def test_the_places_of_an_entry(self, entry, places):
        assert self.places(entry) == places

    def test_no_place_leaves_out_what_is_not_in_use_that_day(self):
        files = edited(
            "equipment/low-brush.yaml",
            "in_service: 2026-03-02",
            "in_service: 2026-03-02\nout_of_service: 2026-11-24",
        )
        assert self.places("{task: grease-bearings}", files=files) == ALL[:3]


class TestSelection:
    @pytest.mark.parametrize(
        ("on", "places"),
        [
            ({"points": "rotating-bearing"}, ["brush/bearing-top", "brush/bearing-bottom"]),
            ({"points": ["nozzle", "cloth"]}, ["brush/cloth", "brush/nozzle"]),
            ({"machines": ["low-brush", "side-brush"]}, ["brush", "low"]),
            ({"machines": "low-brush", "points": "rotating-bearing"}, []),
            ({"machines": "side-brush", "points": "motor"}, ["brush/motor"]),
            ({"ids": ["low", "brush/gauge", "brush"]}, ["brush", "brush/gauge", "low"]),
            ({"points": "rotating-bearing", "except": ["brush/bearing-top"]}, ["brush/bearing-bottom"]),
            ({"machines": ["low-brush", "side-brush"], "except": ["brush"]}, ["low"]),
        ],
        ids=str,
    )  # fmt: skip
    def test_a_task_selects_in_walking_order(self, on, places):
        task = {"title": "T", "on": on, "every": "1 week"}
        assert [str(place) for place in ledger_of(tasks={"t": task}).tasks["t"].places] == places

    def test_machines_stand_by_station_then_by_id(self):
        machines = {
            "z": {**HYDRAULIC, "station": 1},
            "b": {**HYDRAULIC, "station": 2},
            "a": {**HYDRAULIC, "station": 2},
        }
        assert list(ledger_of(machines=machines).machines) == ["z", "a", "b"]

    def test_a_task_that_locks_out_needs_the_qualification(self):
        task = {
            "title": "T",
            "on": {"ids": ["low"]},
            "every": "1 week",
            "lockout": True,
            "qualified": ["electrical"],
        }
        assert ledger_of(tasks={"t": task}).tasks["t"].needs == {"lockout", "electrical"}


class TestSettings:
    def test_in_force_is_the_newest_approved_and_a_proposal_stands_apart(self):
        open_one = {key: value for key, value in setpoint(20, 40).items() if key != "approved_by"}
        withdrawn = {**open_one, "hz": 39, "withdrawn": "Measured again."}
        drive = ledger_of(
            setpoints=[setpoint(0, 48), setpoint(10, 44), open_one, withdrawn]
        ).setpoints["brush"]
        assert (drive.in_force.value, [c.value for c in drive.proposals]) == (44, [40])
        assert [drive.on(date(2026, 1, day)).value for day in (5, 14, 15, 31)] == [48, 48, 44, 44]
        assert drive.on(date(2026, 1, 4)) is None


@pytest.mark.parametrize(
    "text", ["visit", "visit#", "#1", "visit#0", "visit#x", "visit#-1", "visit#1.0", "visit#١"]
)
def test_what_is_no_reference_to_an_entry(text):
    with pytest.raises(ValueError, match="not visit#number"):
        EntryRef.parse(text)


@given(st.from_regex(r"[a-z0-9T-]{1,20}", fullmatch=True), st.integers(1, 9999))
def test_a_reference_reads_back_as_written(stem, number):
    assert EntryRef.parse(str(EntryRef(stem, number))) == EntryRef(stem, number)


@given(
    st.from_regex(r"[a-z0-9]{1,9}", fullmatch=True), st.from_regex(r"[a-z0-9]{0,9}", fullmatch=True)
)
def test_a_place_reads_back_as_written(machine, point):
    assert Place.parse(str(Place(machine, point))) == Place(machine, point)


def test_a_place_of_the_two_longest_names_is_a_place():
    machine, point = "m" * 80, "p" * 80
    place = f"{machine}/{point}"
    ledger = ledger_of(
        [visit(0, {"task": "look", "at": place}, {"task": "look", "at": machine})],
        machines={machine: ELECTRIC | {"points": {point: {"kind": "gauge"}, "motor": {"kind": "motor"}}}},
        tasks={"look": {"title": "Look", "on": {"ids": [place]}, "every": "1 week"}},
    )  # fmt: skip
    assert [entry.places for entry in ledger.entries] == [(Place(machine, point),)] * 2


def test_the_whole_ledger_is_frozen():
    ledger = ledger_in(texts_below(SOUND))
    for value in (
        ledger,
        ledger.site,
        ledger.site.policy,
        ledger.visits[0],
        ledger.entries[0],
        ledger.machines["brush-p2"],
        ledger.tasks["look-over"],
        ledger.parts["grease-ep2"],
    ):
        with pytest.raises(FrozenInstanceError):
            setattr(value, fields(value)[0].name, None)


def test_the_order_of_the_files_decides_nothing():
    files = texts_below(SOUND)
    assert ledger_in(dict(reversed(files.items()))) == ledger_in(files)
    assert [v.path for v in ledger_in(files).visits] == [FIRST_VISIT, LAST_VISIT]

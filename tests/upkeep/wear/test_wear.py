import math
from random import Random

import pytest
from small_site import ELECTRIC, ledger_of, on, visit

from ledger.compute.numbers import NotEnoughData
from ledger.compute.trend import NoTrend, StripForecast
from ledger.compute.wear import WearVerdict
from ledger.model.references import Place
from ledger.upkeep.drift.outlook import Crossing
from ledger.upkeep.drift.series import belt_limits_mm
from ledger.upkeep.wear.found import NotJudged, Wear, wear, wear_of

NOZZLE = {"kind": "nozzle", "flow_lpm": 2.0, "at_kpa": 300}
MACHINE = {
    "name": "Arch",
    "kind": "rinse-arch",
    "station": 30,
    "points": {
        "nozzle-1": NOZZLE,
        "nozzle-2": NOZZLE,
        "nozzle-3": NOZZLE,
        "chain": {"kind": "chain", "pitch_mm": 100, "centres": "fixed"},
        "belt": {"kind": "belt", "span_mm": 640},
        "cloth": {"kind": "cloth", "new_length_mm": 500, "worn_length_mm": 400},
        "damper": {"kind": "damper"},
    },
}


def catch(share, *, nozzle=1, pressure=300):
    """A catch of 60 s that a nozzle of 2 L/min gives at a share of its new flow."""
    litres = 2.0 * share * math.sqrt(pressure / 300)
    return {
        "at": f"arch/nozzle-{nozzle}",
        "caught_ml": round(1000 * litres),
        "seconds": 60,
        "pressure_kpa": pressure,
    }


def judged(*visits, machine=MACHINE) -> Wear:
    return wear(ledger_of(visits, machines={"arch": machine}))


def verdict(*visits, machine=MACHINE):
    (item,) = judged(*visits, machine=machine).items
    return item.judgement


@pytest.mark.parametrize(
    ("share", "expected"),
    [
        pytest.param(1.0, WearVerdict.SOUND, id="as new"),
        pytest.param(1.15, WearVerdict.WORN, id="15 % over"),
        pytest.param(0.6, WearVerdict.CLOGGED, id="well under"),
        pytest.param(0.0, WearVerdict.CLOGGED, id="nothing caught"),
        pytest.param(1.1, WearVerdict.CATCH_LONGER, id="at the limit"),
    ],
)
@pytest.mark.parametrize("pressure", [150, 300, 450])
def test_a_nozzle_is_judged_at_its_rated_pressure(share, expected, pressure):
    assert verdict(visit(1, catch(share, pressure=pressure))) is expected


def test_a_catch_without_the_nozzle_s_rating_makes_no_verdict():
    unrated = MACHINE | {"points": MACHINE["points"] | {"nozzle-1": {"kind": "nozzle"}}}

    found = judged(visit(1, catch(1.0)), machine=unrated)

    assert found.items == ()
    assert Place("arch", "nozzle-1") in found.never["nozzle"]


def test_a_clogged_nozzle_hides_a_worn_one_in_the_average():
    """125 %, 75 % and 100 % make 100 %."""
    found = judged(visit(1, catch(1.25, nozzle=1), catch(0.75, nozzle=2), catch(1.0, nozzle=3)))

    (group,) = found.nozzles
    assert group.mean_share == pytest.approx(1.0, abs=0.001)
    assert group.hides
    assert [item.judgement for item in group.items] == [
        WearVerdict.WORN,
        WearVerdict.CLOGGED,
        WearVerdict.SOUND,
    ]


def test_sound_nozzles_hide_nothing():
    (group,) = judged(visit(1, catch(1.02), catch(0.98, nozzle=2))).nozzles

    assert not group.hides


def test_the_last_catch_of_a_day_counts_and_not_the_largest():
    """Clogged in the morning, cleaned and caught again."""
    morning = visit(1, catch(1.2), time="06:00")
    noon = visit(1, catch(1.0), time="12:00")

    assert verdict(morning, noon) is WearVerdict.SOUND


def test_catches_of_one_visit_are_one_reading():
    (item,) = judged(visit(1, catch(1.10), catch(1.108)), visit(8, catch(1.0))).items

    first, _ = item.result.series.readings
    assert first.measured.value == pytest.approx(110.4, abs=0.01)
    assert [entry.number for entry in first.entries] == [1, 2]


def test_a_part_renewed_since_its_last_reading_is_not_judged_by_it():
    worn = visit(1, catch(1.2))
    changed = visit(2, {"changed": "nozzle", "at": "arch/nozzle-1"})

    (group,) = judged(worn, changed).nozzles

    assert group.items[0].judgement is NotJudged.RENEWED
    assert not group.items[0].needs_work
    assert not group.hides
    assert verdict(worn, changed, visit(3, catch(1.0))) is WearVerdict.SOUND


@pytest.mark.parametrize(
    ("percent", "pitches", "expected"),
    [
        pytest.param(1.0, 20, WearVerdict.WITHIN, id="below 1.5 % on fixed centres"),
        pytest.param(2.0, 20, WearVerdict.WORN, id="above"),
        pytest.param(1.5, 20, WearVerdict.MORE_PITCHES, id="at the limit"),
    ],
)
def test_a_chain_is_held_to_the_limit_of_its_centres(percent, pitches, expected):
    length = round(pitches * 100 * (1 + percent / 100), 1)

    assert verdict(visit(1, {"at": "arch/chain", "pitches": pitches, "length_mm": length})) is (
        expected
    )


def test_an_adjustable_chain_may_be_twice_as_long():
    adjustable = {"kind": "chain", "pitch_mm": 100, "centres": "adjustable"}
    machine = MACHINE | {"points": MACHINE["points"] | {"chain": adjustable}}

    found = verdict(
        visit(1, {"at": "arch/chain", "pitches": 20, "length_mm": 2040}), machine=machine
    )

    assert found is WearVerdict.WITHIN


@pytest.mark.parametrize(
    ("keys", "expected"),
    [
        pytest.param({}, WearVerdict.WORN, id="roller chain on fixed centres"),
        pytest.param({"links": "rivetless"}, WearVerdict.WITHIN, id="3 %, own rule, no source"),
        pytest.param(
            {"links": "rivetless", "worn_percent": 2}, WearVerdict.WORN, id="the maker's limit"
        ),
    ],
)
def test_limits_of_roller_chain_do_not_hold_for_a_rivetless_one(keys, expected):
    """10 pitches of 4.000 in over 40.85 in are 2.13 % longer (computed)."""
    chain = {"kind": "chain", "pitch_in": 4, "centres": "fixed", **keys}
    machine = MACHINE | {"points": MACHINE["points"] | {"chain": chain}}
    read = visit(1, {"at": "arch/chain", "pitches": 10, "length_in": 40.85})
    assert verdict(read, machine=machine) is expected


def test_a_belt_s_limits_are_a_64th_of_its_span_by_force():
    """640 mm: 10 mm due, under 1.25 times normal force from 10 * 1.25/1.5 to 12.5 mm."""
    assert belt_limits_mm(640) == pytest.approx((10 * 1.25 / 1.5, 12.5))


@pytest.mark.parametrize("force", [{}, {"force_n": 20}, {"force_n": 45}])
@pytest.mark.parametrize(
    ("deflection_mm", "expected"),
    [
        pytest.param(7.0, WearVerdict.TIGHT, id="gives too little"),
        pytest.param(10.0, WearVerdict.GOOD, id="as due"),
        pytest.param(12.5, WearVerdict.CANNOT_TELL, id="at the limit"),
        pytest.param(14.0, WearVerdict.SLACK, id="gives too much"),
    ],
)
def test_a_belt_is_judged_by_what_it_gives_whatever_the_force_was(deflection_mm, expected, force):
    assert verdict(visit(1, {"at": "arch/belt", "deflection_mm": deflection_mm, **force})) is (
        expected
    )


def test_a_belt_without_a_span_has_no_limit():
    machine = MACHINE | {"points": {"belt": {"kind": "belt"}}}

    assert verdict(visit(1, {"at": "arch/belt", "deflection_mm": 9}), machine=machine) is (
        NotJudged.NO_LIMIT
    )


@pytest.mark.parametrize(
    ("length_mm", "expected"),
    [
        pytest.param(450, WearVerdict.WITHIN, id="long enough"),
        pytest.param(405, WearVerdict.MORE_STRIPS, id="a reading's uncertainty from it"),
        pytest.param(380, WearVerdict.WORN, id="too short"),
    ],
)
def test_cloth_is_held_to_its_worn_length(length_mm, expected):
    assert verdict(visit(1, {"at": "arch/cloth", "strip_length_mm": length_mm})) is expected


def test_cloth_without_a_worn_length_has_no_verdict():
    machine = MACHINE | {"points": {"cloth": {"kind": "cloth", "new_length_mm": 500}}}

    assert verdict(visit(1, {"at": "arch/cloth", "strip_length_mm": 300}), machine=machine) is (
        NotJudged.NO_LIMIT
    )


def test_strips_are_forecast_by_vehicles_and_the_date_holds_the_truth():
    """2 mm a thousand vehicles, 200 a day: from 490 mm the limit of 400 is reached on day 225."""
    rng = Random(5)
    visits = [
        visit(
            day,
            {"at": "arch/cloth", "strip_length_mm": round(490 - 0.4 * day + rng.gauss(0, 3))},
            meters={"vehicles": 200 * day},
        )
        for day in range(0, 200, 14)
    ]

    (item,) = judged(*visits).by_kind["cloth"]

    outlook = item.result.outlook
    assert isinstance(outlook, StripForecast)
    assert outlook.line.lower <= -2 <= outlook.line.upper
    assert outlook.earliest <= on(225) <= outlook.latest


def test_a_chain_s_limit_is_dated():
    """From 0.5 % a thousandth of it each day: 1.5 % on day 1000."""
    visits = [
        visit(day, {"at": "arch/chain", "pitches": 20, "length_mm": round(2010 + 0.02 * day)})
        for day in range(0, 700, 28)
    ]

    (item,) = judged(*visits).by_kind["chain"]

    assert isinstance(item.result.outlook, Crossing)
    assert item.result.outlook.earliest <= on(1000) <= item.result.outlook.latest


def test_a_few_readings_say_not_enough_data_and_a_steady_row_no_trend():
    few = judged(*(visit(day, catch(1.0)) for day in range(4))).items[0]
    steady = judged(*(visit(day, catch(1.0 + 0.01 * (-1) ** day)) for day in range(12))).items[0]

    assert isinstance(few.result.outlook, NotEnoughData)
    assert isinstance(steady.result.outlook, NoTrend)


@pytest.mark.parametrize(
    ("bounces", "expected"),
    [
        pytest.param(0, WearVerdict.RETURNS, id="none"),
        pytest.param(1, WearVerdict.RETURNS, id="settles once"),
        pytest.param(2, WearVerdict.BOUNCES, id="twice"),
    ],
)
def test_a_damper_may_settle_once(bounces, expected):
    (damper,) = judged(visit(1, {"at": "arch/damper", "bounces": bounces})).dampers

    assert damper.verdict is expected


def test_a_damper_renewed_since_has_no_verdict():
    (damper,) = judged(
        visit(1, {"at": "arch/damper", "bounces": 3}),
        visit(2, {"changed": "damper", "at": "arch/damper"}),
    ).dampers

    assert damper.verdict is None


def test_what_was_never_measured_is_named():
    found = judged(visit(1, catch(1.0)))

    assert found.never == {
        "nozzle": (Place("arch", "nozzle-2"), Place("arch", "nozzle-3")),
        "chain": (Place("arch", "chain"),),
        "belt": (Place("arch", "belt"),),
        "cloth": (Place("arch", "cloth"),),
        "damper": (Place("arch", "damper"),),
    }


def test_a_machine_out_of_service_is_left_out():
    gone = MACHINE | {"out_of_service": on(5).isoformat()}
    ledger = ledger_of(
        [visit(1, catch(1.0)), visit(9, {"at": "brush", "temperature_c": 20})],
        machines={"arch": gone, "brush": ELECTRIC | {"points": {}}},
    )

    found = wear(ledger)

    assert (found.items, found.never) == ((), {})


def test_one_machine_s_share_of_it():
    two = {"arch": MACHINE, "other": MACHINE | {"station": 31}}
    everything = [catch(1.0), {"at": "arch/damper", "bounces": 0}]
    found = wear(ledger_of([visit(1, *everything)], machines=two))

    own = wear_of(found, "other")

    assert (own.items, own.dampers) == ((), ())
    assert {place.machine for places in own.never.values() for place in places} == {"other"}
    assert wear_of(found, "arch").items == found.items


def test_a_site_without_visits_has_only_what_was_never_measured():
    assert judged().items == ()
    assert len(judged().never["nozzle"]) == 3

"""Water and chemistry held to worked examples.

Unless the id names another source, the numbers are worked examples computed apart from this program
(scipy 1.17, CODATA constants) of the formulas as their sources print them.
"""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.compute import figures as water
from ledger.compute.figures import DROP_U
from ledger.compute.numbers import Estimate, convert, worked_out


def l(gallons):  # noqa: E743 - litres of US gallons
    return convert(gallons, "gal", "l")


RESIN_G = convert(90_000, "grains", "g")

CASES = [
    pytest.param(convert(1, "gpg", "mg_l"), 17.118, 1e-3, id="a US grain a gallon, mg/L; tables round to 17.1 (wiktel.com/standards/hardnes.htm)"),
    pytest.param(water.softener_run_l(RESIN_G, 15, convert(12, "gpg", "mg_l")), l(6375), 1e-3, id="90 000 grains, 12 gpg, 15 % reserve: 6375 gal"),
    *(pytest.param(convert(1, "gpg", "mg_l") / mg_l, n, 1e-4, id=f"a US grain a gallon in {of}, by their definitions (waternitylab.com/water-hardness-units)") for of, mg_l, n in (("mmol/L", 100.09, 0.17103), ("German degrees", 17.848, 0.9591), ("French degrees", 10, 1.7118), ("English degrees", 14.254, 1.2009))),
    pytest.param(l(6375), 24_132, 0.5, id="the same in litres: 24 132"),
    pytest.param(1 - (1 - water.rejection(480, 14)) / water.feed_side_factor(0.6), 0.9809, 5e-5, id="rejection against the mean feed side: 98.09 % (ASTM D4516)"),
    pytest.param(-water.net_pressure_kpa(0, 0, 650, 0.6) / water.feed_side_factor(0.6), convert(4.16, "psi", "kpa"), 5e-3, id="650 µS/cm by 0.64: 416 mg/L, 4.16 psi (askvity.info, apsscientific.com)"),
    pytest.param(water.recovery(4.2, 2.8), 0.600, 1e-9, id="4.2 of 7.0 gpm (industrialwateradvisory.com)"),
    pytest.param(water.rejection(480, 14), 0.9708, 5e-5, id="480 to 14 µS/cm (industrialwateradvisory.com)"),
    pytest.param(water.feed_side_factor(0.6), 1.5272, 5e-5, id="mean feed side at 60 % recovery (ASTM D4516)"),
    *(pytest.param(water.temperature_factor(t), f, 5e-5, id=f"temperature factor at {t} °C (industrialwateradvisory.com)") for t, f in ((5, 0.4827), (10, 0.5847), (15, 0.7036), (20, 0.8413), (25, 1.0), (30, 1.1572))),
    *(pytest.param(water.temperature_factor(t), math.exp(k * (1 / 298.15 - 1 / (273.15 + t))), 1e-9, id=f"{t} °C by the formula of membrane makers") for t, k in ((0, 3020), (25.2, 2640))),
    pytest.param(water.feed_side_factor(0.005), 1 + 0.005 / 2 + 0.005**2 / 3, 1e-6, id="ln(1/(1-Y))/Y of a small Y by its series"),
    pytest.param(water.normalised_flow(4.2, 12, 165, 150), 6.06, 5e-3, id="4.2 gpm at 12 °C, 165 psi against 150 (ASTM D4516)"),
    pytest.param(water.net_pressure_kpa(1000, 900, 0, 0.6), 950, 1e-9, id="without salt: feed less half of the drop"),
    pytest.param(water.net_pressure_kpa(0, 0, 300 / 0.64, 0.6), -convert(4.58, "psi", "kpa"), 0.02, id="TDS 300 mg/L, mean feed side 1.527: osmotic 4.58 psi (apsscientific.com)"),
    pytest.param(water.percent_of_dilution(64), 1.538, 5e-4, id="64 parts added (physicsgurus.com)"),
    *(pytest.param(1.28 * water.percent_of_dilution(n), oz, 5e-4, id=f"{n} parts added: {oz} fl oz in a finished gallon") for n, oz in ((64, 1.969), (63, 2.0))),
    pytest.param(water.percent_of_dilution(63), 1.5625, 1e-9, id="1 part in 64 (scienceinsights.org)"),
    *(pytest.param(1 - water.percent_of_dilution(n) / water.percent_of_dilution(n - 1), r, 6e-4, id=f"1:{n} read both ways differs by 1/(n + 1)") for n, r in ((10, 0.091), (32, 0.030), (64, 0.015), (128, 0.008))),
    pytest.param(1 + water.parts_by_titration(7, 2, 12, 49), 100, 1e-9, id="reference 1 in 50 takes 12 drops, sample 7, blank 2: 1 in 100 (carwash.com/articles/print/88332)"),
    pytest.param(convert(water.dose_ml(convert(3.0, "gpm", "l_min"), 14, 63), "ml", "floz"), 1.400, 5e-4, id="3.0 gpm, 14 s, 1 in 64: 1.400 fl oz"),
    pytest.param(water.dose_ml(convert(3.0, "gpm", "l_min"), 14, 63), 41.4, 0.05, id="the same in mL: 41.4"),
    pytest.param(water.dose_ml(convert(3.0, "gpm", "l_min"), 14, 64), 40.8, 0.05, id="the same, 64 parts added: 40.8 mL"),
    pytest.param(convert(water.drum_l(25.4, 22.5 * 25.4), "l", "gal"), 1.7212, 5e-5, id="a drum of 22.5 in: 1.7212 gal an inch"),
    pytest.param(convert(water.per_vehicle(water.drum_l(8 * 25.4, 22.5 * 25.4), 1840), "l", "floz"), 0.958, 5e-4, id="8.0 in over 1840 vehicles: 0.958 fl oz"),
    pytest.param(water.per_vehicle(48_250, 2130), 22.65, 5e-3, id="48 250 gal over 2130 vehicles"),
    pytest.param(water.per_vehicle(3124.0 - 2871.5, 1512), 0.1670, 5e-5, id="3124.0 less 2871.5 kWh over 1512 vehicles"),
    pytest.param(water.reclaim_share(18, 62 - 18), 0.71, 5e-3, id="18 fresh of 62"),
]  # fmt: skip


@pytest.mark.parametrize(("value", "published", "within"), CASES)
def test_worked_examples(value, published, within):
    assert value == pytest.approx(published, abs=within)


def drops(*counts):
    return [Estimate(value=count, u=DROP_U) for count in counts]


def test_five_drops_cannot_prove_a_tenth():
    """Ratio 2.00 ± 0.18 (k = 1, 9.1 %) where each sample has a blank of its own: worked example."""
    ratio = worked_out(lambda d0, b0, d, b: (d0 - b0) / (d - b), *drops(12, 2, 7, 2))
    assert (ratio.value, ratio.u) == (2.0, pytest.approx(0.18, abs=5e-3))
    one_blank = worked_out(lambda d0, d, b: (d0 - b) / (d - b), *drops(12, 7, 2))
    assert one_blank.u / one_blank.value > 0.07
    more = worked_out(lambda d0, d, b: (d0 - b) / (d - b), *drops(32, 17, 2))
    assert 2 * more.u / more.value < 0.06


def test_two_drum_readings_to_a_quarter_inch_are_good_to_1_3_percent():
    """8.0 in: worked example."""
    u = 6.35 / math.sqrt(12)
    fell = worked_out(
        lambda a, b: a - b, Estimate(value=28 * 25.4, u=u), Estimate(value=20 * 25.4, u=u)
    )
    assert fell.u / fell.value == pytest.approx(0.013, abs=5e-4)


@given(
    values=st.lists(st.floats(1, 100), min_size=3, max_size=3),
    us=st.lists(st.floats(0, 1), min_size=3, max_size=3),
    factors=st.lists(st.floats(-5, 5), min_size=3, max_size=3),
)
def test_a_sum_has_the_combined_uncertainty_of_the_guide(values, us, factors):
    """u² = Σ c² u² for a sum (JCGM 100:2008, 5.1.2)."""
    found = worked_out(
        lambda *x: math.fsum(c * one for c, one in zip(factors, x, strict=True)),
        *(Estimate(value=v, u=u) for v, u in zip(values, us, strict=True)),
    )
    expected = math.hypot(*(c * u for c, u in zip(factors, us, strict=True)))
    assert found.u == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize(
    "call",
    [
        lambda: Estimate(value=1, u=-1),
        lambda: water.softener_run_l(5000, 0, 0),
        lambda: water.recovery(4, 0),
        lambda: water.rejection(0, 10),
        lambda: water.feed_side_factor(1),
        lambda: water.temperature_factor(-1),
        lambda: water.temperature_factor(100.5),
        lambda: water.normalised_flow(4, 25, 0, 100),
        lambda: water.percent_of_dilution(-1),
        lambda: water.parts_by_titration(2, 2, 12, 64),
        lambda: water.per_vehicle(1, 0),
        lambda: water.reclaim_share(0, 0),
    ],
)
def test_what_is_not_defined_is_refused(call):
    with pytest.raises(ValueError, match="expected"):
        call()


def test_a_value_is_exact_unless_more_is_said():
    assert Estimate(value=1.0).u == 0

"""The mean of readings that share errors, against generalised least squares and GUM's examples."""

import math
import random
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.compute.ratio import (
    RatioReading,
    SharedPart,
    apart_from_others,
    fit_ratio,
    reading_of,
)
from ledger.compute.shared import Shared, SharingReading, shared_mean
from ledger.compute.speed import from_pass_count, from_tachometer

TWELVE = (85.1, 84.8, 85.3, 84.9, 85.0, 85.2, 84.7, 85.1, 84.9, 85.0, 85.3, 84.8)
ONE_PERCENT, HALF_PERCENT = 0.01 / math.sqrt(3), 0.005 / math.sqrt(3)


def read(speeds, *, hz=42.5, u=0.20, scale=ONE_PERCENT, key="scale a"):
    settings_hz = hz if isinstance(hz, tuple) else (hz,) * len(speeds)
    return [
        RatioReading(
            setting=setting, rpm=rpm, u_rpm=u, key=f"{key} {number}", shared=(SharedPart(key=key, u=scale),)
        )
        for number, (rpm, setting) in enumerate(zip(speeds, settings_hz, strict=True))
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("count", "ratio", "u", "chi2"),
    [
        pytest.param(1, 2.0023529, 0.0124817, 0, id="one reading: GTC 1.5.1, numpy"),
        pytest.param(4, 2.0005882, 0.0117876, 3.6875, id="four: GTC 1.5.1, uncertainties 3.2.3"),
        pytest.param(12, 2.0001961, 0.0116278, 10.7292, id="twelve: GTC 1.5.1, numpy"),
    ],
)
def test_one_instrument_never_gets_surer_than_its_scale(count, ratio, u, chi2):
    fit = fit_ratio(read(TWELVE[:count]))
    assert fit.rpm_per_unit == pytest.approx(ratio, abs=5e-8)
    assert fit.u_rpm_per_unit == pytest.approx(u, abs=5e-8)
    assert fit.chi2 == pytest.approx(chi2, abs=5e-5)
    assert fit.u_rpm_per_unit > ratio * ONE_PERCENT


def test_one_reading_alone_scatters_as_it_should():
    assert fit_ratio(read(TWELVE[:1])).birge_ratio == 1


def test_readings_at_several_settings():
    """numpy and GTC 1.5.1, generalised least squares."""
    fit = fit_ratio(read((80.3, 85.1, 90.2, 99.9), hz=(40, 42.5, 45, 50)))
    assert fit.rpm_per_unit == pytest.approx(2.0025531915, rel=1e-9)
    assert fit.u_rpm_per_unit == pytest.approx(0.0117778316, rel=1e-8)
    assert fit.shares == (("scale a", pytest.approx(2.0025531915 * ONE_PERCENT)),)


def test_two_instruments_count_by_their_whole_uncertainty():
    """numpy and GTC 1.5.1: the surer one leads, whatever the number of readings of the other."""
    both = [*read(TWELVE[:8]), *read((84.3, 84.5), scale=HALF_PERCENT, key="scale b")]
    fit = fit_ratio(both)
    assert fit.rpm_per_unit == pytest.approx(1.9894343, abs=5e-7)
    assert fit.u_rpm_per_unit == pytest.approx(0.0057617, abs=5e-7)
    assert fit.apart == ()


def kin(readings):
    return [replace(r, shared=tuple(replace(p, kin="scale") for p in r.shared)) for r in readings]


def test_of_two_instruments_that_may_err_alike_the_better_one_alone():
    """Weighted by 0.2464580 and 0.7535420 their scales would add up to 0.0079 (GUM 5.2.2, note 1);
    of B alone √(0.2²/2 + (0.5 % of 84.4/√3)²)/42.5 is 0.0066285."""
    both = [*read(TWELVE[:8]), *read((84.3, 84.5), scale=HALF_PERCENT, key="scale b")]
    fit = fit_ratio(kin(both))
    assert fit.rpm_per_unit == pytest.approx(1.9858824, abs=5e-7)
    assert fit.u_rpm_per_unit == pytest.approx(0.0066285, abs=5e-7)
    assert fit.centre_setting == pytest.approx(42.5)


def test_what_two_instruments_may_err_alike_by_is_added_up():
    """By hand: 2 r/min of its own each averages out, the 1 % of either does not."""
    both = [*read((85.0,), u=2.0), *read((85.0,), u=2.0, key="scale b")]
    own, scale = 2.0 / 42.5 / math.sqrt(2), 2.0 * ONE_PERCENT
    assert fit_ratio(both).u_rpm_per_unit == pytest.approx(math.hypot(own, scale / math.sqrt(2)))
    assert fit_ratio(kin(both)).u_rpm_per_unit == pytest.approx(math.hypot(own, scale))


def test_two_instruments_that_disagree_are_named():
    both = [*read(TWELVE[:3]), *read((82.0, 82.1), scale=HALF_PERCENT, key="scale b")]
    assert fit_ratio(both).apart == ("scale a", "scale b")


@pytest.mark.parametrize(("apart", "named"), [(1.998, ()), (2.002, (0, 1))])
def test_two_values_are_apart_from_two_standard_uncertainties_on(apart, named):
    """k = 2 for one comparison, of a difference with u √2 (ISO 13528)."""
    assert apart_from_others([(0.0, 1.0), (apart * math.sqrt(2), 1.0)]) == named


def test_a_gross_reading_does_not_accuse_its_instrument():
    both = [*read((85.0, 85.1, 84.9, 70.0, 85.0)), *read((84.8, 85.0), key="scale b")]
    assert (fit_ratio(both).apart, fit_ratio(both).disagreeing) == ((), ("scale a 3",))


def test_of_two_instruments_with_a_reading_each_the_readings_are_named():
    fit = fit_ratio([*read((85.0,)), *read((82.0,), scale=HALF_PERCENT, key="scale b")])
    assert (fit.apart, fit.disagreeing) == ((), ("scale a 0", "scale b 0"))


def test_ten_resistors_on_one_standard():
    """GUM 5.2.2, example: ten resistors of 1000 ohm, each compared with one standard of u 100 mohm,
    in series: 1.0 ohm and not 0.32 (value recalled; GTC 1.5.1 gives 1.0000)."""
    mean = shared_mean(
        [
            SharingReading(value=1000.0, u_own=1e-6, shared=(Shared(key="standard", u=0.1),))
            for _ in range(10)
        ]
    )
    assert 10 * mean.u == pytest.approx(1.0, abs=1e-6)


# Recalled, not read.
GUM_443_C = [
    *(96.90, 98.18, 98.25, 98.61, 99.03, 99.49, 99.56, 99.74, 99.89, 100.07),
    *(100.33, 100.42, 100.68, 100.95, 101.11, 101.20, 101.57, 101.84, 102.36, 102.72),
]


def test_the_twenty_temperatures_of_gum_4_4_3():
    """GUM table 1: mean 100.145 °C, s = 1.489 °C, s of the mean 0.333 °C, with 19 degrees of
    freedom: all scatter, where next to none is stated."""
    mean = shared_mean([SharingReading(value=t, u_own=0.001) for t in GUM_443_C])

    assert mean.value == pytest.approx(100.145, abs=5e-4)
    assert 0.001 * mean.birge_ratio == pytest.approx(1.489, abs=5e-4)
    assert mean.u == pytest.approx(0.333, abs=5e-4)
    assert mean.dof == pytest.approx(19)


def test_the_voltmeter_of_gum_4_3_7_and_5_1_5():
    """0.928 571 V, in µV: the maker's 15 either way are u = 8.7; with 12 of its own, 15. Recalled,
    not read."""
    (maker,) = from_tachometer(928_571, accuracy_rpm=15).shared
    shown = SharingReading(
        value=928_571, u_own=12, shared=(Shared(key=maker.source, u=maker.u_rpm),)
    )

    assert maker.u_rpm == pytest.approx(8.7, abs=0.05)
    assert shared_mean([shown]).u == pytest.approx(15, abs=0.5)
    assert shared_mean([shown] * 1000).u == pytest.approx(8.7, abs=0.05)


def test_the_mean_does_not_fall_below_all_readings():
    """Peelle's puzzle: 1.5 and 1.0, 10 % own and 20 % common. At the fit 1.25 ± 0.265; with the
    errors of the measured values the answer would be 0.88 ± 0.22 (recalled; computed 0.88235)."""
    fitted = shared_mean(
        [
            SharingReading(value=v, u_own=0.125, shared=(Shared(key="common", u=0.25),))
            for v in (1.5, 1.0)
        ]
    )
    assert fitted.value == pytest.approx(1.25)
    # The two are 2.8 own standard uncertainties apart, which the own part alone answers for.
    assert fitted.inflated
    own = fitted.u_own / fitted.birge_ratio
    assert math.hypot(own, fitted.u_shared) == pytest.approx(0.265, abs=5e-4)


parts = st.dictionaries(st.sampled_from("abc"), st.floats(0.01, 1), max_size=2).map(
    lambda found: tuple(Shared(key=key, u=u) for key, u in found.items())
)
sharing = st.lists(
    st.builds(
        lambda value, u_own, shared: SharingReading(value=value, u_own=u_own, shared=shared),
        st.floats(60, 90), st.floats(0.1, 2), parts,
    ),
    min_size=1,
    max_size=8,
)  # fmt: skip


@given(sharing)
def test_the_variance_is_that_of_the_whole_covariance(readings):
    """a'Va with the full matrix, by numpy."""
    mean = shared_mean(readings)
    keys = sorted({one.key for reading in readings for one in reading.shared})
    by_key = [{one.key: one.u for one in reading.shared} for reading in readings]
    effects = np.array([[found.get(key, 0) for key in keys] for found in by_key])
    grown = mean.birge_ratio if mean.inflated else 1
    own = np.diag([(grown * reading.u_own) ** 2 for reading in readings])
    weights = np.array(mean.weights)
    whole = own + (effects @ effects.T if keys else 0)
    assert weights.sum() == pytest.approx(1)
    assert mean.value == pytest.approx(weights @ [reading.value for reading in readings])
    assert mean.u == pytest.approx(math.sqrt(weights @ whole @ weights))


@given(sharing)
def test_a_mean_lies_among_its_readings(readings):
    values = [reading.value for reading in readings]
    assert min(values) - 1e-9 <= shared_mean(readings).value <= max(values) + 1e-9


def test_coverage_of_readings_of_one_instrument():
    """95.45 % is stated; as independent readings they would hold it in about one case in three."""
    source = random.Random(26)
    shared = independent = 0
    for _ in range(1500):
        scale = source.uniform(-0.01, 0.01)
        speeds = [62 * (1 + scale) + source.gauss(0, 0.1) for _ in range(12)]
        fit = fit_ratio(read(speeds, hz=38, u=0.1))
        shared += abs(fit.rpm_per_unit - 62 / 38) <= fit.expanded()
        alone = fit_ratio(
            [RatioReading(setting=38, rpm=s, u_rpm=0.37, key=str(n)) for n, s in enumerate(speeds)]
        )
        independent += abs(alone.rpm_per_unit - 62 / 38) <= alone.expanded()
    assert shared / 1500 > 0.95
    assert independent / 1500 < 0.45


def coverage_on_pass(count, rows=1200):
    """Counts of one length that start on a pass, at a speed between 60 and 100 r/min."""
    source = random.Random(7)
    held, wide = 0, []
    for _ in range(rows):
        rpm, late_s = source.uniform(60, 100), source.gauss(0.11, 0.06)
        readings = []
        for number in range(count):
            window = 30 + late_s + source.gauss(0, 0.10)
            speed = from_pass_count(math.floor(rpm / 60 * window), 30, start="on-pass")
            shared = tuple(
                SharedPart(key=part.source, u=part.u_rpm, is_relative=False)
                for part in speed.shared
            )
            readings.append(reading_of(str(number), 1.0, speed, shared))
        fit = fit_ratio(readings)
        held += abs(fit.rpm_per_unit - rpm) <= fit.expanded()
        wide.append(fit.expanded())
    return held / rows, sorted(wide)[rows // 2]


@pytest.mark.parametrize(
    ("count", "width"),
    [pytest.param(1, 1.31, id="one"), pytest.param(4, 1.22, id="four"), pytest.param(12, 1.21, id="twelve")],
)  # fmt: skip
def test_coverage_of_counts_of_one_length_that_start_on_a_pass(count, width):
    """As independent readings twelve would hold the truth in 62 of 100 cases."""
    held, half_width = coverage_on_pass(count)
    assert held > 0.94
    assert half_width == pytest.approx(width, abs=0.03)


def test_of_three_the_one_apart_is_named_alone():
    assert apart_from_others([(62.0, 0.2), (62.1, 0.2), (64.5, 0.2)]) == (2,)


def test_a_reading_without_uncertainty_of_its_own_is_refused():
    with pytest.raises(ValueError, match="above 0"):
        shared_mean([SharingReading(value=62, u_own=0, shared=(Shared(key="a", u=1),))])
    with pytest.raises(ValueError, match="at least one"):
        shared_mean([])


@pytest.mark.parametrize(("e", "named"), [(0.995, ()), (1.005, (0, 1))])
def test_two_values_are_apart_from_an_e_number_of_one_on(e, named):
    """Of u 1 each, at k = 2: E_n = d/(2 √2)."""
    assert apart_from_others([(0.0, 1.0), (e * 2 * math.sqrt(2), 1.0)]) == named


# Table H.2 of the GUM: potential in V, current in mA, phase in rad. Recalled, not read.
GUM_H2 = [
    *((5.007, 19.663, 1.0456), (4.994, 19.639, 1.0438), (5.005, 19.640, 1.0468)),
    *((4.990, 19.685, 1.0428), (4.999, 19.678, 1.0433)),
]


@pytest.mark.parametrize(
    ("of", "value", "u"),
    [
        pytest.param(lambda v, i, p: 1000 * v / i * math.cos(p), 127.732, 0.071, id="resistance"),
        pytest.param(lambda v, i, p: 1000 * v / i * math.sin(p), 219.847, 0.295, id="reactance"),
        pytest.param(lambda v, i, _: 1000 * v / i, 254.260, 0.236, id="impedance"),
    ],
)
def test_the_impedance_of_gum_h2(of, value, u):
    """Its second approach, H.2.4: each set of readings for itself."""
    mean = shared_mean([SharingReading(value=of(*one), u_own=1e-6) for one in GUM_H2])

    assert mean.value == pytest.approx(value, abs=5e-4)
    assert mean.u == pytest.approx(u, abs=5e-4)


# Table H.9 of the GUM: daily means of a Zener standard above 10 V, in uV. Recalled, not read.
GUM_H5 = [172, 116, 13, 144, 106, 31, 60, 125, 163, 41]


def test_the_zener_standard_of_gum_h5():
    """Within a day 85 uV of five readings each; between days it scatters by more: F = 2.25 is
    beyond chance, and the mean has u 57/√10 = 18 uV."""
    mean = shared_mean([SharingReading(value=v, u_own=85 / math.sqrt(5)) for v in GUM_H5])

    assert mean.inflated
    assert mean.birge_ratio**2 == pytest.approx(2.25, abs=0.01)
    assert mean.value == pytest.approx(97, abs=0.2)
    assert mean.u == pytest.approx(18, abs=0.1)

"""Speed per unit of setting: the fit, its consistency, its prior and its prediction."""

import math
import random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import optimize, stats
from uncertainties import ufloat

from ledger.compute.numbers import Estimate
from ledger.compute.ratio import (
    RatioReading,
    SharedPart,
    fit_ratio,
    predict,
    reading_of,
    setting_for,
)
from ledger.compute.speed import Speed, from_pass_count, from_taps

NAMEPLATE = Estimate(value=1.70, u=0.085)


def rows(*triples):
    return [
        RatioReading(setting=hz, rpm=rpm, u_rpm=u, key=f"r{index}")
        for index, (hz, rpm, u) in enumerate(triples)
    ]


readings = st.lists(
    st.tuples(st.floats(20, 60), st.floats(60, 95), st.floats(0.1, 3)), min_size=1, max_size=12
).map(lambda triples: rows(*triples))


@given(readings)
def test_the_fit_is_scipys_weighted_least_squares(some):
    fit = fit_ratio(some)
    hz = np.array([r.setting for r in some])
    rpm = np.array([r.rpm for r in some])
    u = np.array([r.u_rpm for r in some])
    (slope,), covariance = optimize.curve_fit(
        lambda f, k: k * f, hz, rpm, p0=[1.7], sigma=u, absolute_sigma=True
    )
    assert fit.rpm_per_unit == pytest.approx(slope, rel=1e-6)
    expected_u = math.sqrt(covariance[0, 0])
    assert fit.u_rpm_per_unit / (fit.birge_ratio if fit.inflated else 1) == pytest.approx(
        expected_u, rel=1e-6
    )
    assert fit.chi2 == pytest.approx((((rpm - slope * hz) / u) ** 2).sum(), rel=1e-5, abs=1e-6)


def test_two_equal_readings_halve_the_variance():
    one = fit_ratio(rows((44, 76, 1)))
    two = fit_ratio(rows((44, 76, 1), (44, 76, 1)))
    assert one.u_rpm_per_unit == pytest.approx(1 / 44)
    assert two.u_rpm_per_unit == pytest.approx(1 / 44 / math.sqrt(2))


@given(readings, st.floats(0.1, 10))
def test_scaling_all_uncertainties_scales_the_answer_and_moves_nothing(some, scale):
    scaled = [
        RatioReading(setting=r.setting, rpm=r.rpm, u_rpm=scale * r.u_rpm, key=r.key) for r in some
    ]
    assert fit_ratio(scaled).rpm_per_unit == pytest.approx(fit_ratio(some).rpm_per_unit)
    assert fit_ratio(scaled).chi2 == pytest.approx(fit_ratio(some).chi2 / scale**2)


@given(st.permutations(rows((40, 70, 1), (44, 76, 1), (48, 70, 1), (50, 86, 2))))
def test_the_order_of_the_readings_does_not_matter(some):
    fit = fit_ratio(some)
    assert fit.disagreeing == ("r2",)
    assert fit.rpm_per_unit == pytest.approx(
        fit_ratio(sorted(some, key=lambda r: r.key)).rpm_per_unit
    )


def test_consistent_readings_keep_their_uncertainty():
    fit = fit_ratio(rows((40, 69.4, 1.2), (44, 77.0, 1.2), (48, 83.5, 1.2)))
    assert not fit.inflated
    assert fit.disagreeing == ()
    assert fit.dof == math.inf
    assert fit.u_rpm_per_unit == pytest.approx(1.2 / math.sqrt(40**2 + 44**2 + 48**2))


def test_a_gross_reading_is_named_alone_and_widens_the_answer():
    """A count of two marks taken for one doubles the speed."""
    good = rows((40, 69.4, 1.2), (44, 77.0, 1.2), (48, 83.5, 1.2))
    doubled = RatioReading(setting=44, rpm=152.0, u_rpm=1.2, key="2026-03-01T0700-x#1")
    fit = fit_ratio([*good, doubled])
    assert fit.disagreeing == ("2026-03-01T0700-x#1",)
    assert fit.inflated
    assert fit.birge_ratio == pytest.approx(math.sqrt(fit.chi2 / 3))
    assert fit.dof == 3
    assert fit.u_rpm_per_unit > 10 * fit_ratio(good).u_rpm_per_unit


def test_of_two_that_disagree_both_are_named():
    fit = fit_ratio(rows((44, 76, 0.5), (44, 80, 0.5)))
    assert fit.disagreeing == ("r0", "r1")


def test_a_reading_far_surer_than_the_rest_does_not_drown_them():
    fit = fit_ratio(rows((44, 77, 1e-9), (44, 78, 3), (44, 110, 3), (44, 76, 3)))
    assert fit.disagreeing == ("r2",)


def test_a_single_reading_accuses_nobody():
    fit = fit_ratio(rows((44, 76, 0.5)))
    assert (fit.chi2, fit.chi2_dof, fit.disagreeing, fit.inflated) == (0, 0, (), False)


def test_without_a_reading_the_nameplate_is_all_there_is():
    fit = fit_ratio([], NAMEPLATE)
    assert (fit.rpm_per_unit, fit.u_rpm_per_unit) == (1.70, 0.085)
    assert fit.used_prior
    assert (fit.readings, fit.chi2, fit.chi2_dof, fit.birge_ratio) == (0, 0, 0, 1)
    assert predict(fit, 50, slip_rpm=5).rpm == pytest.approx(85)


def test_one_reading_and_the_nameplate_are_joined():
    fit = fit_ratio(rows((44, 76, 1.7)), NAMEPLATE)
    reading, plate = ufloat(76 / 44, 1.7 / 44), ufloat(1.70, 0.085)
    weights = [1 / reading.s**2, 1 / plate.s**2]
    expected = np.average([reading.n, plate.n], weights=weights)
    assert fit.used_prior
    assert fit.rpm_per_unit == pytest.approx(expected)
    assert fit.u_rpm_per_unit == pytest.approx(1 / math.sqrt(sum(weights)))


def test_one_reading_that_contradicts_the_nameplate_rules_alone():
    fit = fit_ratio(rows((44, 120, 1.7)), NAMEPLATE)
    assert fit.prior_disagrees
    assert not fit.used_prior
    assert fit.rpm_per_unit == pytest.approx(120 / 44)


def test_from_two_readings_on_the_nameplate_only_bears_witness():
    some = rows((44, 120, 1.7), (48, 131, 1.7))
    assert fit_ratio(some, NAMEPLATE).rpm_per_unit == fit_ratio(some).rpm_per_unit
    assert fit_ratio(some, NAMEPLATE).prior_disagrees
    alike = rows((44, 75, 1.7), (48, 82, 1.7))
    assert not fit_ratio(alike, NAMEPLATE).used_prior


def test_prediction_by_ratio_and_constant_slip_as_the_bracket():
    """Motor 1750 r/min at 60 Hz, 4 poles: at 36 Hz, 1050 by ratio and 1030 by constant slip."""
    fit = fit_ratio(rows((60, 1750, 1e-6)))
    speed = predict(fit, 36, slip_rpm=50)
    assert speed.rpm == pytest.approx(1050)
    by_constant_slip = 120 * 36 / 4 - 50
    assert speed.u_rpm == pytest.approx((1050 - by_constant_slip) / math.sqrt(3), rel=1e-6)
    assert predict(fit, 60, slip_rpm=50).u_rpm == pytest.approx(1e-6)


@given(st.floats(1, 5), st.lists(st.floats(30, 60), min_size=1, max_size=5), st.floats(20, 60))
def test_the_bracket_is_the_gap_to_a_shaft_of_constant_slip(slip, settings, hz):
    """Readings of a shaft with constant slip: ratio and truth differ by the bracket, exactly."""
    shaft = rows(*((f, 1.8 * f - slip, 1e-3) for f in settings))
    fit = fit_ratio(shaft)
    gap = predict(fit, hz).rpm - (1.8 * hz - slip)
    assert gap == pytest.approx(slip * (1 - hz / fit.centre_setting), abs=1e-6)


@given(st.floats(10, 60), st.floats(10, 100))
def test_setting_and_prediction_are_inverse(hz, rpm):
    fit = fit_ratio(rows((44, 76, 1)))
    assert setting_for(fit, predict(fit, hz).rpm) == pytest.approx(hz)
    assert predict(fit, setting_for(fit, rpm)).rpm == pytest.approx(rpm)


def test_a_doubtful_setting_widens_a_reading():
    exact = RatioReading(setting=40, rpm=240, u_rpm=1, key="a")
    dial = SharedPart(key="dial", u=0.8 / 40)
    doubtful = RatioReading(setting=40, rpm=240, u_rpm=1, key="a", shared=(dial,))
    expected = ufloat(240, 1) / ufloat(40, 0.8)
    assert fit_ratio([doubtful]).u_rpm_per_unit == pytest.approx(expected.s)
    assert fit_ratio([exact]).u_rpm_per_unit == pytest.approx(1 / 40)


def test_few_taps_weigh_less():
    tapped = from_taps([0, 0.8, 1.62, 2.38, 3.2]).speed
    reading = reading_of("tapped", 44, tapped)
    assert reading.u_rpm == pytest.approx(tapped.u_rpm * stats.t.ppf(0.97725, 3) / 2, rel=1e-4)
    assert reading_of("plain", 44, Speed(rpm=75, u_rpm=1)).u_rpm == 1


def test_coverage_of_the_ratio_from_hand_counts():
    """Counts as people make them: the stated interval holds the truth, and few are accused."""
    source = random.Random(5)
    inside = accused = 0
    sites = 600
    for _ in range(sites):
        true = source.uniform(1.5, 2.0)
        some = []
        for index in range(6):
            hz = round(source.uniform(38, 50), 1)
            window = 30 + source.gauss(0, 0.10)
            counted = math.floor(source.random() + true * hz / 60 * window)
            some.append(reading_of(f"r{index}", hz, from_pass_count(counted, 30)))
        fit = fit_ratio(some)
        inside += abs(fit.rpm_per_unit - true) <= fit.expanded()
        accused += bool(fit.disagreeing)
    assert inside / sites >= 0.93
    assert accused / sites <= 0.07


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: fit_ratio([]), "at least one reading or a nameplate"),
        (lambda: fit_ratio(rows((44, 76, 1)) * 2), "a key of its own"),
        (lambda: rows((0, 76, 1)), "above 0 in the reading r0"),
        (lambda: rows((44, 76, 0)), "above 0 in the reading r0"),
        (lambda: rows((44, math.nan, 1)), "finite numbers in the reading r0"),
    ],
)
def test_what_cannot_be_fitted_is_refused(call, words):
    with pytest.raises(ValueError, match=words):
        call()


def test_a_nameplate_alone_shares_no_error():
    assert fit_ratio([], Estimate(value=2.0, u=0.1)).u_shared == 0

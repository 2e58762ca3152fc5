"""The Weibull fit against its exact distribution, NIST, Lieblein and Zelen, and libraries."""

import math
import random

import numpy as np
import pytest
from campaign import examples
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from reliability.Fitters import Fit_Weibull_2P
from scipy import special, stats

from ledger.compute.numbers import NotEnoughData
from ledger.compute.weibull import Life, WeibullFit, mean_life, reliability, weibull_fit

# NIST/SEMATECH e-Handbook 8.4.1.3: ten failures, ten more still running at 500 h.
NIST_FAILED = [54, 187, 216, 240, 244, 335, 361, 373, 375, 386]
# J. Lieblein and M. Zelen, J. Res. NBS 57, 1956: millions of turns of 23 ball bearings, with the
# 48.40 that surpyval's data set has; many reprints have 48.48, which gives 2.1021 and 81.878.
BALL_BEARINGS = [
    17.88, 28.92, 33.00, 41.52, 42.12, 45.60, 48.40, 51.84, 51.96, 54.12, 55.56, 67.80,
    68.64, 68.64, 68.88, 84.12, 93.12, 98.64, 105.12, 105.84, 127.92, 128.04, 173.40,
]  # fmt: skip

CASES = [
    pytest.param(NIST_FAILED, [500] * 10, id="nist-8.4.1.3"),
    pytest.param(BALL_BEARINGS, [], id="lieblein-zelen"),
    pytest.param([210, 340, 500], [100, 620], id="three-failures"),
]

lives_of_parts = st.lists(
    st.tuples(st.floats(1, 1000), st.booleans()), min_size=3, max_size=25
).map(lambda rows: [Life(hours=h, failed=f) for h, f in rows])


def parts(failed, running=()) -> list[Life]:
    return [Life(hours=h, failed=True) for h in failed] + [
        Life(hours=h, failed=False) for h in running
    ]


def fit_of(lives, **options) -> WeibullFit:
    fit = weibull_fit(lives, **options)
    assert isinstance(fit, WeibullFit)
    return fit


def posterior(lives, e_scale=None):
    """The conditional distribution by a fine grid of numpy and scipy's gamma function.

    Quantiles of the shape, or the chance that the scale is below `e_scale`.
    """
    hours = np.array([life.hours for life in lives])
    failed = np.array([life.failed for life in lives])
    entered = np.array([life.entered_h for life in lives if life.entered_h])
    longest = hours.max()
    log_shape = np.linspace(-16, 5, 120_001)
    shape = np.exp(log_shape)
    total = sum(np.exp(shape * math.log(h / longest)) for h in hours)
    total = total - sum(np.exp(shape * math.log(a / longest)) for a in entered)
    r = failed.sum()
    density = (
        (r - 1) * log_shape + shape * np.log(hours[failed] / longest).sum() - r * np.log(total)
    )
    weight = np.exp(density - density.max())
    weight /= weight.sum()
    if e_scale is None:
        return lambda share: np.exp(np.interp(share, np.cumsum(weight) - weight / 2, log_shape))
    power = np.exp(np.minimum(shape * math.log(longest / e_scale), 700))
    return float(weight @ special.gammaincc(r, total * power))


def test_four_failures_and_two_survivors():
    """Median and 95 % limits of the shape worked out before with scipy's quad."""
    fit = fit_of(parts([310, 455, 520, 610], [700, 700]))

    assert fit.shape == pytest.approx(2.31816, abs=2e-5)
    assert fit.shape_lower == pytest.approx(0.60580, abs=2e-5)
    assert fit.shape_upper == pytest.approx(5.50809, abs=2e-4)
    assert fit.scale_h == pytest.approx(707.7, abs=0.05)
    assert fit.scale_lower_h == pytest.approx(462.3, abs=0.05)
    assert fit.scale_upper_h == pytest.approx(2105.165, abs=0.01)
    one_sided = fit_of(parts([310, 455, 520, 610], [700, 700]), level=0.9)
    assert one_sided.shape_lower == pytest.approx(0.78828, abs=2e-5)
    assert (fit.lives, fit.failures) == (6, 4)
    no_wear = sum(knot.weight for knot in fit.knots if knot.shape < 1)
    assert no_wear == pytest.approx(0.09076, abs=1e-3)


def test_a_known_age_at_the_start_is_no_life_from_new():
    """The part of 610 h was 200 h old when the watch began; taken as 410 h it shortens all."""
    others = parts([310, 455, 520], [700, 700])
    entered = fit_of([*others, Life(hours=610, failed=True, entered_h=200)])
    wrongly = fit_of([*others, Life(hours=410, failed=True)])
    whole = fit_of([*others, Life(hours=610, failed=True)])

    assert entered.shape == pytest.approx(
        posterior([*others, Life(hours=610, failed=True, entered_h=200)])(0.5), rel=1e-4
    )
    assert wrongly.scale_h < entered.scale_h < whole.scale_h * 1.05


@pytest.mark.parametrize(("failed", "running"), CASES)
@pytest.mark.parametrize("level", [0.8, 0.95])
def test_limits_are_those_of_the_exact_distribution(failed, running, level):
    lives = parts(failed, running)
    fit = fit_of(lives, level=level)
    shape = posterior(lives)
    tail = (1 - level) / 2

    assert fit.shape_lower == pytest.approx(shape(tail), rel=1e-4)
    assert fit.shape == pytest.approx(shape(0.5), rel=1e-4)
    assert fit.shape_upper == pytest.approx(shape(1 - tail), rel=1e-4)
    assert posterior(lives, fit.scale_lower_h) == pytest.approx(tail, rel=1e-5)
    assert posterior(lives, fit.scale_h) == pytest.approx(0.5, rel=1e-5)
    assert posterior(lives, fit.scale_upper_h) == pytest.approx(1 - tail, rel=1e-5)


def test_many_failures_are_fitted_as_the_reliability_library_does():
    """Its fit is the most likely one and its limits those of the Fisher information."""
    lives = [1000 * (-math.log(1 - (k + 0.5) / 400)) ** 0.5 for k in range(400)]
    reference = Fit_Weibull_2P(failures=lives, print_results=False, show_probability_plot=False)
    fit = fit_of(parts(lives))

    assert fit.shape == pytest.approx(reference.beta, rel=3e-3)
    assert fit.scale_h == pytest.approx(reference.alpha, rel=3e-3)
    assert fit.shape_lower == pytest.approx(reference.beta_lower, rel=4e-3)
    assert fit.shape_upper == pytest.approx(reference.beta_upper, rel=4e-3)
    assert fit.scale_lower_h == pytest.approx(reference.alpha_lower, rel=3e-3)
    assert fit.scale_upper_h == pytest.approx(reference.alpha_upper, rel=3e-3)


@pytest.mark.parametrize(
    ("failed", "running", "shape", "scale"),
    [
        pytest.param(NIST_FAILED, [500] * 10, 1.7208, 606.53, id="nist-8.4.1.3"),
        pytest.param(BALL_BEARINGS, [], 2.1018, 81.874, id="lieblein-zelen-by-surpyval"),
    ],
)
def test_the_most_likely_fit_lies_well_inside_the_limits(failed, running, shape, scale):
    """The published fits are the most likely ones, a little above the middle for the shape."""
    fit = fit_of(parts(failed, running), level=0.5)

    assert fit.shape_lower < fit.shape < shape < fit.shape_upper
    assert fit.scale_lower_h < scale < fit.scale_upper_h


@pytest.mark.parametrize(("ended", "of"), [(3, 3), (5, 10)])
def test_limits_hold_the_truth_as_often_as_they_say(ended, of):
    """Complete lives, and those ended by a number of failures: 95 % exactly."""
    rng = random.Random(9)
    rounds, held_shape, held_scale = examples(100), 0, 0
    for _ in range(rounds):
        ages = sorted(rng.weibullvariate(1000, 2) for _ in range(of))
        fit = fit_of(parts(ages[:ended], [ages[ended - 1]] * (of - ended)))
        held_shape += fit.shape_lower <= 2 <= fit.shape_upper
        held_scale += fit.scale_lower_h <= 1000 <= fit.scale_upper_h

    noise = 4 * math.sqrt(0.95 * 0.05 / rounds)
    assert held_shape / rounds == pytest.approx(0.95, abs=noise)
    assert held_scale / rounds == pytest.approx(0.95, abs=noise)


@settings(max_examples=examples(40))
@given(lives_of_parts, st.floats(0.01, 100))
def test_scale_follows_the_unit_and_shape_does_not(lives, factor):
    fit = weibull_fit(lives)
    assume(isinstance(fit, WeibullFit) and fit.shape < 1000)
    changed = fit_of([Life(hours=factor * v.hours, failed=v.failed) for v in lives])

    assert changed.shape == pytest.approx(fit.shape, rel=1e-5)
    assert changed.scale_lower_h == pytest.approx(factor * fit.scale_lower_h, rel=1e-5)
    assert fit.shape_lower < fit.shape < fit.shape_upper


@settings(max_examples=examples(30))
@given(st.floats(0.5, 6), st.floats(10, 1e5))
def test_lives_at_the_quantiles_give_the_distribution_back(shape, scale):
    lives = parts(scale * (-math.log(1 - (k + 0.5) / 200)) ** (1 / shape) for k in range(200))
    fit = fit_of(lives)

    assert fit.shape == pytest.approx(shape, rel=0.02)
    assert fit.scale_h == pytest.approx(scale, rel=0.02)


@given(st.floats(0.2, 20), st.floats(1, 1e5), st.floats(0, 1e6))
def test_reliability_and_mean_life_are_scipys(shape, scale, hours):
    reference = stats.weibull_min(shape, scale=scale)

    assert reliability(hours, shape=shape, scale_h=scale) == pytest.approx(
        reference.sf(hours), rel=1e-9, abs=1e-300
    )
    assert mean_life(shape=shape, scale_h=scale) == pytest.approx(reference.mean(), rel=1e-9)


def test_a_mean_life_is_finite_as_long_as_its_gamma_function_is():
    assert mean_life(shape=1 / 169, scale_h=1) == pytest.approx(math.gamma(170))
    assert mean_life(shape=1 / 170, scale_h=1) == math.inf


def test_reliability_at_its_marks():
    """At η the share is 1/e whatever the shape."""
    assert reliability(0, shape=1.7, scale_h=600) == 1
    assert reliability(600, shape=1.7, scale_h=600) == pytest.approx(1 / math.e)
    assert reliability(1e12, shape=1.7, scale_h=600) == 0
    assert reliability(1e300, shape=1e6, scale_h=1e-3) == 0
    assert math.isinf(mean_life(shape=0.001, scale_h=1))


def test_two_failures_are_too_few():
    answer = weibull_fit(parts([100, 200], [300] * 50))

    assert isinstance(answer, NotEnoughData)
    assert (answer.have, answer.need) == (2, 3)


def test_failures_all_at_the_longest_life_set_no_bound():
    assert isinstance(weibull_fit(parts([200] * 5, [100, 200])), NotEnoughData)


@pytest.mark.parametrize(
    "ask",
    [
        lambda: Life(hours=0, failed=True),
        lambda: Life(hours=math.inf, failed=True),
        lambda: Life(hours=10, failed=True, entered_h=10),
        lambda: Life(hours=10, failed=True, entered_h=-1),
        lambda: weibull_fit(parts(NIST_FAILED), level=1),
        lambda: reliability(-1, shape=1, scale_h=1),
        lambda: mean_life(shape=0, scale_h=1),
    ],
)
def test_questions_without_meaning_are_refused(ask):
    with pytest.raises(ValueError, match="expected"):
        ask()

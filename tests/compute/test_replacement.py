"""Age replacement against a plain search, the reliability library and its limits."""

import math
import random
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from reliability.Repairable_systems import optimal_replacement_time
from scipy import integrate, optimize, special, stats

from ledger.compute.weibull import (
    AgeAdvice,
    Life,
    ReplaceAtAge,
    RunToFailure,
    WeibullFit,
    age_advice,
    age_replacement_cost,
    best_replacement_age,
    reliability,
    weibull_fit,
)

shapes = st.floats(1.2, 8)
scales = st.floats(10, 1e5)
ratios = st.floats(2, 200)


def answer_of(shape, scale, planned, failure) -> ReplaceAtAge | RunToFailure:
    return best_replacement_age(
        shape=shape, scale_h=scale, planned_cost=planned, failure_cost=failure
    )


def age_of(shape, scale, planned, failure) -> ReplaceAtAge:
    answer = answer_of(shape, scale, planned, failure)
    assert isinstance(answer, ReplaceAtAge)
    return answer


def test_costs_of_one_and_five():
    """Shape 2.5, scale 1000: 493.047 h at 0.00346204, by scipy."""
    best = age_of(2.5, 1000, 1, 5)

    assert best.age_h == pytest.approx(493.047, abs=5e-4)
    assert best.cost_per_h == pytest.approx(0.00346204, abs=5e-9)
    assert best.run_to_failure_cost_per_h == pytest.approx(5 / (1000 * math.gamma(1.4)))
    saving = best.run_to_failure_cost_per_h - best.cost_per_h
    assert saving == pytest.approx(0.0021732597, abs=1e-9)


def test_age_is_the_reliability_librarys():
    reference = optimal_replacement_time(
        cost_PM=1,
        cost_CM=5,
        weibull_alpha=1000,
        weibull_beta=2.5,
        q=0,
        print_results=False,
        show_time_plot=False,
        show_ratio_plot=False,
    )

    # The reference looks along a grid of steps.
    assert age_of(2.5, 1000, 1, 5).age_h == pytest.approx(reference.ORT, rel=2e-3)
    assert age_of(2.5, 1000, 1, 5).cost_per_h == pytest.approx(reference.min_cost, rel=1e-4)


@given(shapes, ratios)
def test_no_other_age_is_cheaper(shape, ratio):
    best = answer_of(shape, 1000, 1, ratio)
    assume(isinstance(best, ReplaceAtAge))

    def cost(log_age):
        return age_replacement_cost(
            math.exp(log_age), shape=shape, scale_h=1000, planned_cost=1, failure_cost=ratio
        )

    at = math.log(best.age_h)
    found = optimize.minimize_scalar(cost, bounds=(at - 2, at + 2), method="bounded")
    assert best.cost_per_h <= found.fun * (1 + 1e-9)
    assert best.run_to_failure_cost_per_h - best.cost_per_h >= -1e-12


@given(shapes, ratios, st.floats(10, 3000))
def test_cost_is_the_quotient_of_its_integrals(shape, ratio, age):
    def alive(t):
        return reliability(t, shape=shape, scale_h=1000)

    uptime = integrate.quad(alive, 0, age, epsabs=1e-10)[0]
    expected = (alive(age) + ratio * (1 - alive(age))) / uptime

    assert age_replacement_cost(
        age, shape=shape, scale_h=1000, planned_cost=1, failure_cost=ratio
    ) == pytest.approx(expected, rel=1e-7)


@given(shapes, scales, ratios, st.floats(0.01, 100), st.floats(0.01, 100))
def test_age_follows_the_unit_of_time_and_not_the_currency(shape, scale, ratio, hours, money):
    plain = answer_of(shape, scale, 1, ratio)
    changed = answer_of(shape, scale * hours, money, ratio * money)

    assume(isinstance(plain, ReplaceAtAge) and isinstance(changed, ReplaceAtAge))
    assert changed.age_h == pytest.approx(hours * plain.age_h, rel=1e-6)
    assert changed.cost_per_h == pytest.approx(plain.cost_per_h * money / hours, rel=1e-6)


@given(shapes, ratios, st.floats(1.01, 10))
def test_a_dearer_failure_means_an_earlier_replacement(shape, ratio, factor):
    cheap, dear = answer_of(shape, 1000, 1, ratio), answer_of(shape, 1000, 1, ratio * factor)

    assume(isinstance(cheap, ReplaceAtAge))
    assert isinstance(dear, ReplaceAtAge)
    assert dear.age_h < cheap.age_h


def test_never_replacing_is_running_to_failure():
    assert age_replacement_cost(
        math.inf, shape=2.5, scale_h=1000, planned_cost=1, failure_cost=5
    ) == pytest.approx(age_of(2.5, 1000, 1, 5).run_to_failure_cost_per_h)


@pytest.mark.parametrize(
    ("shape", "planned", "failure", "reason"),
    [
        (1.0, 1, 5, "no wear"),
        (0.6, 1, 5, "no wear"),
        (2.5, 5, 5, "a failure costs no more"),
        (2.5, 6, 5, "a failure costs no more"),
        (1.05, 1, 5, "hardly any part reaches"),
        (2.0, 4.99, 5, "hardly any part reaches"),
    ],
)
def test_where_no_age_pays(shape, planned, failure, reason):
    answer = answer_of(shape, 1000, planned, failure)

    assert isinstance(answer, RunToFailure)
    assert reason in answer.reason
    assert answer.cost_per_h == pytest.approx(failure / (1000 * math.gamma(1 + 1 / shape)))


@pytest.mark.parametrize(("more", "pays"), [(-0.005, True), (0.005, False)])
def test_an_age_pays_as_long_as_one_part_in_a_million_reaches_it(more, pays):
    """Shape 2 and R = 1e-6: h(t) ∫R + R = 2 √x Γ(1.5) P(1/2, x) + R, x = ln 1e6."""
    x = math.log(1e6)
    wanted = 2 * math.sqrt(x) * math.gamma(1.5) * special.gammainc(0.5, x) + 1e-6 + more
    answer = answer_of(2.0, 1000, 1 - 1 / wanted, 1)

    assert isinstance(answer, ReplaceAtAge) == pays


@pytest.mark.parametrize(
    "numbers", [(0, 1, 1, 1), (2, 0, 1, 1), (2, 1, 0, 1), (2, 1, 1, math.inf), (math.nan, 1, 1, 1)]
)
def test_numbers_without_meaning_are_refused(numbers):
    with pytest.raises(ValueError, match="expected"):
        answer_of(*numbers)


def test_an_age_of_nothing_is_refused():
    with pytest.raises(ValueError, match="age"):
        age_replacement_cost(0, shape=2, scale_h=1, planned_cost=1, failure_cost=2)


def parts(failed, running=()) -> list[Life]:
    return [Life(hours=h, failed=True) for h in failed] + [
        Life(hours=h, failed=False) for h in running
    ]


def advice_of(failed, running=(), *, planned=200, failure=1000) -> AgeAdvice:
    fit = weibull_fit(parts(failed, running))
    assert isinstance(fit, WeibullFit)
    advice = age_advice(fit, planned_cost=planned, failure_cost=failure)
    assert isinstance(advice, AgeAdvice)
    return advice


def test_lives_that_are_much_alike_earn_an_age():
    advice = advice_of([930, 960, 1000, 1010, 1040, 1080])

    assert advice.is_advised
    assert advice.saves > 0.99
    assert 500 < advice.age.age_h < 930
    assert 0 < advice.saving_lower < advice.saving < advice.saving_upper < 0.8


def test_four_lives_that_seem_to_wear_earn_none():
    """Their middle shape is 2.3, and 1 lies well inside its limits."""
    advice = advice_of([310, 455, 520, 610], [700, 700])

    assert not advice.is_advised
    assert advice.saves == pytest.approx(0.80, abs=0.02)
    assert advice.saving_lower < 0


def test_what_an_age_saves_against_drawn_shapes_and_scales():
    """The lives' distribution drawn by scipy, and the cost of Barlow and Hunter for each draw."""
    failed = [700, 850, 1000, 1200]
    advice = advice_of(failed)
    rng = np.random.default_rng(3)
    log_shape = np.linspace(-8, 4, 4001)
    shape = np.exp(log_shape)
    share = np.array(failed) / 1200
    total = sum(np.exp(shape * math.log(s)) for s in share)
    density = 3 * log_shape + shape * np.log(share).sum() - 4 * np.log(total)
    weight = np.exp(density - density.max())
    savings = []
    for b in rng.choice(shape, size=4000, p=weight / weight.sum()):
        scale = 1200 * (sum(s**b for s in share) / rng.gamma(4)) ** (1 / b)
        cost = {"shape": b, "scale_h": scale, "planned_cost": 200, "failure_cost": 1000}
        by_age = age_replacement_cost(advice.age.age_h, **cost)
        savings.append(1 - by_age / age_replacement_cost(math.inf, **cost))

    assert advice.saves == pytest.approx(np.mean(np.array(savings) > 0), abs=0.02)
    assert advice.saving == pytest.approx(np.median(savings), abs=0.02)
    assert advice.saving_lower == pytest.approx(np.quantile(savings, 0.05), abs=0.08)
    assert advice.saving_upper == pytest.approx(np.quantile(savings, 0.95), abs=0.02)


@pytest.mark.parametrize(("saves", "advised"), [(0.95, True), (0.9499, False)])
def test_an_age_is_advised_from_95_percent_on(saves, advised):
    found = advice_of([930, 960, 1000, 1010, 1040, 1080])

    assert replace(found, saves=saves).is_advised == advised


def test_without_a_dearer_failure_there_is_nothing_to_advise():
    fit = weibull_fit(parts([930, 960, 1000, 1010]))
    assert isinstance(fit, WeibullFit)

    assert isinstance(age_advice(fit, planned_cost=200, failure_cost=200), RunToFailure)


def test_ages_are_seldom_advised_where_nothing_wears():
    """Six failures of constant rate: 1.6 % expected, against 69 % by the fitted shape alone."""
    rng = random.Random(4)
    advised = 0
    for _ in range(40):
        fit = weibull_fit(parts([rng.expovariate(1) for _ in range(6)]))
        assert isinstance(fit, WeibullFit)
        advice = age_advice(fit, planned_cost=1, failure_cost=5)
        advised += isinstance(advice, AgeAdvice) and advice.is_advised

    assert advised <= 4


def test_the_ends_of_a_saving_are_those_of_every_shape_and_scale_weighed():
    """The twentieths of the gamma distribution at each shape of the fit, sorted and weighed."""
    failed = [700, 850, 1000, 1200]
    fit = weibull_fit(parts(failed))
    assert isinstance(fit, WeibullFit)
    advice = advice_of(failed)
    rows = []
    for knot in fit.knots:
        for place in range(20):
            gamma = stats.gamma.ppf((place + 0.5) / 20, 4)
            # (t/η)^β with η^β = total/gamma, so that no scale overflows.
            power = (advice.age.age_h / 1200) ** knot.shape * gamma / knot.total
            survives = math.exp(-power)
            used = special.gammainc(1 / knot.shape, power)
            cost = 0.2 * survives + 1 - survives
            rows.append((1 - cost / used if used else -math.inf, knot.weight / 20))
    rows.sort()
    reached = np.cumsum([weight for _, weight in rows])

    for share, found in (
        (0.05, advice.saving_lower),
        (0.5, advice.saving),
        (0.95, advice.saving_upper),
    ):
        assert found == pytest.approx(rows[int(np.searchsorted(reached, share))][0], rel=1e-6)

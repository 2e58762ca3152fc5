"""Speed from counts, timed turns, tachometer and film, against published and computed values."""

import math
import random
import statistics

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from uncertainties import ufloat

from ledger.compute.speed import (
    COVERAGE,
    HAND_TIMING_U_S,
    ErrorSource,
    SharedError,
    Speed,
    coverage_factor,
    from_pass_count,
    from_tachometer,
    from_timed_turns,
    from_video,
    of_repeats,
    own_u_rpm,
    u_of_pass_count,
    u_of_timed_turns,
)

passes = st.integers(1, 500)
seconds = st.floats(2, 600)
marks = st.integers(1, 24)
u_time = st.floats(0.001, 0.5)


@pytest.mark.parametrize(
    ("speed", "rpm", "u", "expanded"),
    [
        pytest.param(
            from_pass_count(23, 15, u_seconds=0),
            92.0,
            1.63299,
            3.26599,
            id="23 passes in 15 s, exact watch: uncertainties 3.2.3",
        ),
        pytest.param(
            from_pass_count(23, 15),
            92.0,
            1.74438,
            3.48875,
            id="23 passes in 15 s, u_T 0.10 s: uncertainties 3.2.3 and GTC 1.5.1",
        ),
        pytest.param(
            from_timed_turns(20, 13.05),
            91.954,
            0.70463,
            1.40925,
            id="20 turns in 13.05 s: uncertainties 3.2.3",
        ),
        pytest.param(
            from_timed_turns(100, 60),
            100.0,
            0.16667,
            0.33333,
            id="100 turns in 60 s: uncertainties 3.2.3",
        ),
    ],
)
def test_reference_values(speed, rpm, u, expanded):
    assert speed.rpm == pytest.approx(rpm, abs=5e-4)
    assert speed.u_own_rpm == pytest.approx(u, abs=5e-6)
    # 1.40925 is printed cut, not rounded: 1.409257.
    assert 2 * speed.u_own_rpm == pytest.approx(expanded, abs=1e-5)


@pytest.mark.parametrize(
    ("speed", "shared"),
    [
        pytest.param(from_pass_count(31, 30), {"press": 62 * 0.05 / 30}, id="a hand's press, 0.05 s"),
        pytest.param(from_timed_turns(31, 30), {"press": 62 * 0.05 / 30}, id="the same for turns"),
        pytest.param(
            from_pass_count(31, 30, start="on-pass"),
            {"press": 60 * 31.5 / 30.11 * 0.06 / 30.11, "phase": 60 / 30.11 / math.sqrt(12)},
            id="started on a pass: lateness 0.06 s, and the phase (GUM 4.3.7)",
        ),
        pytest.param(
            from_tachometer(62, accuracy_percent=1), {"scale": 0.62 / math.sqrt(3)}, id="a scale"
        ),
        pytest.param(
            from_video(31, 900, 30), {"rate": 62 * 0.001 / math.sqrt(3)}, id="a nominal frame rate"
        ),
        pytest.param(from_video(31, 900, 29.97), {"rate": 61.938 * 1e-4}, id="a stated frame rate"),
        pytest.param(from_pass_count(31, 30, u_seconds=0), {"press": 0}, id="an exact watch"),
    ],
)  # fmt: skip
def test_what_readings_err_by_together(speed, shared):
    assert {part.source: part.u_rpm for part in speed.shared} == pytest.approx(shared)
    assert speed.u_rpm == pytest.approx(math.hypot(speed.u_own_rpm, speed.u_shared_rpm))


def test_a_speed_that_shares_nothing_errs_alone_by_half_of_its_u():
    """Of 5 degrees of freedom k is 2.65 (GUM table G.2)."""
    assert own_u_rpm(Speed(rpm=80, u_rpm=1.0, dof=5)) == pytest.approx(2.65 / 2, abs=0.003)


def test_the_end_gauge_of_gum_h1():
    """u 32 nm with 16 degrees of freedom: U 93 nm at 99 % (H.1.6, recalled)."""
    assert 32 * coverage_factor(16, 0.99) == pytest.approx(93, abs=0.5)


@pytest.mark.parametrize(
    ("start", "half_width_rule"),
    [
        pytest.param("random", 0.408248, id="GUM 4.3.9, triangle of half-width 1"),
        pytest.param("on-pass", 0.288675, id="GUM 4.3.7, rectangle of half-width 1/2"),
    ],
)
def test_the_count_alone_has_the_uncertainty_of_the_gum(start, half_width_rule):
    window = 60 + (0.11 if start == "on-pass" else 0)
    speed = from_pass_count(16, 60, start=start, u_seconds=0)
    assert speed.u_rpm == pytest.approx(half_width_rule * 60 / window, abs=5e-7)


@pytest.mark.parametrize(
    ("counted", "rpm"),
    [
        pytest.param(12, 72, id="12 passes in 10 s: common practice, no source"),
        pytest.param(16, 96, id="16 passes in 10 s: common practice, no source"),
    ],
)
def test_the_trades_times_six(counted, rpm):
    assert from_pass_count(counted, 10).rpm == rpm


def test_counting_the_starting_pass_is_the_fence_post_fault():
    right = from_pass_count(13, 10, start="on-pass")
    fault = from_pass_count(14, 10, start="on-pass")
    assert fault.rpm - right.rpm == pytest.approx(60 / 10.11)


def test_no_ten_second_hand_count_proves_a_band_of_ten_rpm():
    assert 2 * from_pass_count(13, 10).u_own_rpm == pytest.approx(5.14, abs=0.01)
    assert from_pass_count(13, 10, u_seconds=0).expanded() == pytest.approx(4.90, abs=0.01)
    assert 2 * from_pass_count(13, 10).expanded() > 10


@pytest.mark.parametrize(
    ("dof", "k"),
    [
        pytest.param(1, 13.97, id="GUM table G.2, 95.45 %, 1"),
        pytest.param(2, 4.53, id="GUM table G.2, 95.45 %, 2"),
        pytest.param(3, 3.31, id="GUM table G.2, 95.45 %, 3"),
        pytest.param(5, 2.65, id="GUM table G.2, 95.45 %, 5"),
        pytest.param(8, 2.37, id="GUM table G.2, 95.45 %, 8"),
        pytest.param(18, 2.15, id="GUM table G.2, 95.45 %, 18"),
        pytest.param(100, 2.025, id="GUM table G.2, 95.45 %, 100"),
        pytest.param(math.inf, 2.0, id="GUM table G.2, 95.45 %, infinity"),
    ],
)
def test_coverage_factor_is_the_table_of_the_gum(dof, k):
    assert coverage_factor(dof) == pytest.approx(k, abs=0.0051)


def test_other_coverage_of_a_normal_distribution():
    """GUM table G.2, 99 %, infinity."""
    assert coverage_factor(math.inf, 0.99) == pytest.approx(2.576, abs=5e-4)


def test_the_expanded_uncertainty_of_gum_h1():
    # u = 31.66 nm with 16.76 effective degrees of freedom, cut to 16: t(99 %) = 2.92, U = 93 nm.
    end_gauge = Speed(rpm=50_000_838, u_rpm=31.66, dof=16)
    assert end_gauge.expanded(0.99) == pytest.approx(92.5, abs=0.5)
    assert coverage_factor(16.76, 0.99) == pytest.approx(2.90, abs=0.01)


def test_the_coverage_of_k_2():
    assert pytest.approx(0.9545, abs=5e-5) == COVERAGE


@given(passes, seconds, marks, u_time)
def test_pass_count_is_the_propagation_of_the_uncertainties_library(n, t, p, u_t):
    for start, offset, late, u_n, bias in (
        ("random", 0, 0, 6**-0.5, 0.5),
        ("on-pass", 0.5, 0.11, 12**-0.5, 0.6),
    ):
        timed = ufloat(t, u_t) + ufloat(late, bias * u_t)
        expected = 60 * ufloat(n + offset, u_n) / (timed * p)
        speed = from_pass_count(n, t, passes_per_turn=p, start=start, u_seconds=u_t)
        assert speed.rpm == pytest.approx(expected.n, rel=1e-12)
        assert speed.u_rpm == pytest.approx(expected.s, rel=1e-9)


@given(passes, seconds, marks, u_time)
def test_timed_turns_are_the_propagation_of_the_uncertainties_library(n, t, p, u_t):
    expected = 60 * n / ((ufloat(t, u_t) + ufloat(0, u_t / 2)) * p)
    speed = from_timed_turns(n, t, passes_per_turn=p, u_seconds=u_t)
    assert speed.rpm == pytest.approx(expected.n, rel=1e-12)
    assert speed.u_rpm == pytest.approx(expected.s, rel=1e-9, abs=1e-15)


@given(passes, seconds, marks)
def test_marks_divide_the_speed_and_its_counting_uncertainty(n, t, p):
    one = from_pass_count(n, t, u_seconds=0)
    several = from_pass_count(n, t, passes_per_turn=p, u_seconds=0)
    assert several.rpm * p == pytest.approx(one.rpm)
    assert several.u_rpm * p == pytest.approx(one.u_rpm)


@given(st.floats(20, 120), seconds, st.sampled_from(["random", "on-pass"]))
def test_a_longer_count_is_never_less_certain(rpm, t, start):
    assert u_of_pass_count(rpm, t + 1, start=start) < u_of_pass_count(rpm, t, start=start)
    assert u_of_timed_turns(rpm, t + 1) < u_of_timed_turns(rpm, t)


@pytest.mark.parametrize("start", ["random", "on-pass"])
@pytest.mark.parametrize("passes_per_turn", [1, 3])
def test_monte_carlo_of_the_count_model(start, passes_per_turn):
    """Shafts of many speeds, counted as a person counts: no bias, and the stated spread."""
    source = random.Random(20261125)
    errors = []
    ratio = []
    for _ in range(8000):
        rpm = source.uniform(60, 95)
        window = 10.0 + source.gauss(0, HAND_TIMING_U_S)
        # What this person always errs by; on a pass the start alone, which is pressed late.
        window += source.gauss(0.11, 0.06) if start == "on-pass" else source.gauss(0, 0.05)
        phase = source.random() if start == "random" else 0.0
        counted = math.floor(phase + rpm * passes_per_turn / 60 * window)
        speed = from_pass_count(counted, 10, passes_per_turn=passes_per_turn, start=start)
        errors.append(speed.rpm - rpm)
        ratio.append((speed.rpm - rpm) / speed.u_rpm)
    standard_error = statistics.stdev(errors) / math.sqrt(len(errors))
    assert abs(statistics.fmean(errors)) < 4 * standard_error
    assert statistics.pstdev(ratio) == pytest.approx(1, abs=0.03)
    covered = sum(abs(z) <= 2 for z in ratio) / len(ratio)
    assert covered >= 0.945


def test_repeats_that_start_on_a_pass_scatter_as_stated():
    """Over all phases, by jumps of a whole pass now and then."""
    source = random.Random(12)
    own, stated = [], []
    for _ in range(4000):
        rpm = source.uniform(60, 95)
        speeds = [
            from_pass_count(
                math.floor(rpm / 60 * (30.11 + source.gauss(0, 0.10))), 30, start="on-pass"
            )
            for _ in range(2)
        ]
        own.append((speeds[0].rpm - speeds[1].rpm) ** 2 / 2)
        stated.append(of_repeats(speeds[0]).u_own_rpm ** 2)
    assert statistics.fmean(own) == pytest.approx(statistics.fmean(stated), rel=0.08)


@pytest.mark.parametrize(
    ("own", "left"),
    [
        pytest.param(0.3, 0.216422, id="√(0.5² - (0.5 · 0.3 √(12/π) - 0.3²)), by hand"),
        pytest.param(1.0, 0.5, id="a hand that scatters by more than the jumps"),
    ],
)
def test_jumps_of_a_pass_leave_less_of_the_phase(own, left):
    phase = SharedError(source=ErrorSource.PHASE, u_rpm=0.5, is_relative=False)
    speed = Speed(rpm=80, u_rpm=math.hypot(own, 0.5), shared=(phase,))
    assert of_repeats(speed).u_shared_rpm == pytest.approx(left, abs=5e-7)


def test_the_uncorrected_on_pass_count_would_be_biased():
    source = random.Random(7)
    errors = [
        from_pass_count(math.floor(rpm / 60 * 10), 10, start="random").rpm - rpm
        for rpm in (source.uniform(60, 95) for _ in range(4000))
    ]
    assert statistics.fmean(errors) == pytest.approx(-3, abs=0.15)


@pytest.mark.parametrize("rpm", [70, 73, 81, 84.5])
def test_repeated_counts_scatter_by_the_fraction_left_over(rpm):
    source = random.Random(3)
    turns = rpm / 60 * 10
    fraction = turns - math.floor(turns)
    counts = [math.floor(source.random() + turns) for _ in range(20000)]
    expected = math.sqrt(fraction * (1 - fraction))
    assert statistics.pstdev(counts) == pytest.approx(expected, abs=0.01)


def test_tachometer_is_held_to_its_own_accuracy():
    one = from_tachometer(80, accuracy_percent=0.5)
    assert one.u_shared_rpm == pytest.approx(stats.uniform(-0.4, 0.8).std())
    assert one.u_own_rpm == pytest.approx(math.hypot(stats.uniform(-0.05, 0.1).std(), 0.16))
    both = from_tachometer(80, accuracy_percent=0.05, accuracy_rpm=0.1, step_rpm=0)
    assert both.u_rpm == pytest.approx(
        math.hypot(stats.uniform(-0.04, 0.08).std(), stats.uniform(-0.1, 0.2).std(), 0.16)
    )


def test_film_at_ntsc_rate_is_not_thirty():
    exact = from_video(10, 240, 30000 / 1001)
    rounded = from_video(10, 240, 30)
    assert exact.rpm == pytest.approx(74.925, abs=5e-4)
    assert rounded.rpm / exact.rpm - 1 == pytest.approx(0.001)
    assert exact.u_own_rpm == pytest.approx(exact.rpm * stats.triang(0.5, -1, 2).std() / 240)


def test_film_carries_the_uncertainty_of_its_rate():
    """A nominal rate to one part in a thousand either way, evenly; another to one in ten thousand."""
    for stated, u_rate in ((30, 30 * 0.001 / 3**0.5), (29.97, 29.97e-4)):
        expected = 60 * 10 * ufloat(stated, u_rate) / ufloat(240, 6**-0.5)
        assert from_video(10, 240, stated).u_rpm == pytest.approx(expected.s)


def test_monte_carlo_of_film():
    frames = np.random.default_rng(11)
    rate, rpm, turns = 30.0, 83.0, 12
    start = frames.uniform(0, 1, 20000)
    length = turns * 60 / rpm * rate
    counted = np.floor(start + length)
    speeds = 60 * turns * rate / counted
    claimed = from_video(turns, round(length), rate).u_rpm
    assert abs(speeds.mean() - rpm) < 0.05
    assert speeds.std() <= 1.25 * claimed


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: from_pass_count(0, 10), "passes to be a whole number of 1 or more"),
        (lambda: from_pass_count(12.5, 10), "passes to be a whole number"),
        (lambda: from_pass_count(12, 0), "seconds to be a number above 0"),
        (lambda: from_pass_count(12, math.nan), "seconds to be a number above 0"),
        (lambda: from_pass_count(12, 10, passes_per_turn=0), "passes_per_turn"),
        (lambda: from_pass_count(12, 10, start="later"), "'random' or 'on-pass'"),
        (lambda: from_pass_count(12, 10, u_seconds=-1), "u_seconds"),
        (lambda: from_timed_turns(0, 10), "turns to be a whole number"),
        (lambda: from_timed_turns(20, -1), "seconds to be a number above 0"),
        (lambda: from_timed_turns(20, 10, u_seconds=-1), "u_seconds"),
        (lambda: from_tachometer(80), "stated accuracy"),
        (lambda: from_tachometer(0, accuracy_rpm=1), "rpm to be a number above 0"),
        (lambda: from_tachometer(80, accuracy_percent=-1), "accuracy_percent"),
        (lambda: from_video(10, 240, 0), "frames_per_second"),
        (lambda: from_video(10, 0, 30), "frames to be a whole number"),
        (lambda: coverage_factor(5, 1.0), "coverage to be between 0 and 1"),
        (lambda: coverage_factor(0), "dof"),
    ],
)
def test_a_reading_that_cannot_be_is_refused_in_clear_words(call, words):
    with pytest.raises(ValueError, match=words):
        call()

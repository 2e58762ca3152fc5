"""The page's numbers and the ledger's agree to the last shown digit.

The vectors are the ledger's own (tests/compute/test_speed_vectors.py); beside them, rows of taps
at random are computed in both languages.
"""

import json
import math
import random
from pathlib import Path

import pytest

from ledger.compute.band import Band, BandPoint, band_at, p_in_band, verdict_of
from ledger.compute.distributions import t_cdf, t_quantile
from ledger.compute.numbers import shown, shown_probability, significant
from ledger.compute.speed import COVERAGE, from_taps

VECTORS = json.loads(
    (Path(__file__).parents[1] / "vectors" / "speed.json").read_text(encoding="utf-8")
)

READ = """
function readVector({method, given}) {
  const way = {
    passesPerTurn: given.passes_per_turn, start: given.start, uSeconds: given.u_seconds,
  };
  switch (method) {
    case "count": return {speed: speedFromCount(given.passes, given.seconds, way)};
    case "turns": return {speed: speedFromTurns(given.turns, given.seconds, way)};
    case "taps": return speedFromTaps(given.times_s, way);
    case "tachometer":
      return {speed: speedFromTachometer(
        given.rpm, {
          percent: given.accuracy_percent, absolute: given.accuracy_rpm, step: given.step_rpm,
        })};
    case "video":
      return {speed: speedFromFilm(given.turns, given.frames, given.frames_per_second)};
  }
}
"""

ANSWER = (
    "(vector) => {"
    + READ
    + """
  const found = readVector(vector);
  const {speed} = found;
  const answer = {
    rpm: speed.rpm, u_rpm: speed.u, shared_rpm: speed.shared, dof: speed.dof === Infinity ? null : speed.dof,
    expanded_rpm: expandedOf(speed), shown: shownSpeed(speed),
  };
  if (vector.method === "taps") {
    const {kept, missed, doubled, jitter, wander, ownBeat, doubt} = found;
    Object.assign(answer, {kept, missed, doubled, jitter_s: jitter, wander, own_beat: ownBeat, doubt});
  }
  if (vector.band_rpm) {
    const [low, high] = vector.band_rpm;
    const way = vector.method === "count" ? {
      passesPerTurn: vector.given.passes_per_turn, start: vector.given.start,
      uSeconds: vector.given.u_seconds,
    } : {};
    Object.assign(answer, {
      p_in_band: pInBand(speed, {low, high}), verdict: verdictOf(speed, {low, high}),
      seconds_by_count: secondsToDecideByCount(speed.rpm, {low, high}, way),
      seconds_by_turns: secondsToDecideByTurns(speed.rpm, {low, high}, {}),
    });
  }
  return answer;
}"""
)


@pytest.mark.parametrize("vector", VECTORS["readings"], ids=lambda vector: vector["id"])
def test_a_reading_comes_to_the_same(page, vector):
    expected = vector["expect"]
    answer = page.evaluate(ANSWER, vector)
    assert answer.keys() == expected.keys()
    for name, value in expected.items():
        if name == "p_in_band":
            assert answer[name] == pytest.approx(value, abs=1e-9)
        elif isinstance(value, float):
            assert answer[name] == pytest.approx(value, rel=1e-9)
        else:
            assert answer[name] == value, name


@pytest.mark.parametrize("vector", VECTORS["refused"], ids=lambda vector: vector["id"])
def test_what_is_no_reading_is_refused(page, vector):
    refused = page.evaluate(
        "(vector) => {"
        + READ
        + "try { readVector(vector); } catch (e) { return e instanceof SpeedError; } return false; }",
        vector,
    )
    assert refused


SESSIONS = json.loads(
    (Path(__file__).parents[1] / "vectors" / "session.json").read_text(encoding="utf-8")
)

ADVISED = """({drive, band, target, steps, stem}) =>
  adviceAfter(drive, band, target, sessionCounts(steps, stem, 0.1))"""


@pytest.mark.parametrize("case", SESSIONS, ids=lambda case: case["id"])
def test_a_session_is_told_the_same(page, case):
    assert page.evaluate(ADVISED, case) == case["expect"]


def test_numbers_are_shown_with_the_same_digits(page):
    for case in VECTORS["fixed"]:
        assert page.evaluate("(c) => fixed(c.value, c.places)", case) == case["text"]
    for case in VECTORS["shown"]:
        assert page.evaluate("(c) => shown(c.value, c.expanded)", case) == case["text"]
    for case in VECTORS["probability"]:
        assert page.evaluate("(c) => shownProbability(c.p)", case) == case["text"]


def test_random_numbers_are_shown_with_the_same_digits(page):
    chance = random.Random(7)
    pairs = [
        (chance.uniform(-1, 1) * 10 ** chance.uniform(-6, 9), 10 ** chance.uniform(-9, 9))
        for _ in range(500)
    ]
    assert page.evaluate("(pairs) => pairs.map(([v, u]) => shown(v, u))", pairs) == [
        shown(value, u) for value, u in pairs
    ]
    values = [value for value, _ in pairs]
    assert page.evaluate("(vs) => vs.map((v) => significant(v, 3))", values) == [
        significant(value, 3) for value in values
    ]


def tapped_row(chance):
    """Taps of one shaft by one finger, some missed, some doubled."""
    period = chance.uniform(0.4, 2.0)
    jitter = chance.uniform(0, 0.06) * period
    times = [
        k * period + chance.gauss(0, jitter)
        for k in range(chance.randint(4, 60))
        if chance.random() > 0.05
    ]
    times += [time + 0.1 * period for time in times if chance.random() < 0.05]
    first = min(times, default=0)
    return sorted({round(time - first, 3) for time in times})


def answer_in_python(times, per_turn, band):
    try:
        tapped = from_taps(times, passes_per_turn=per_turn)
    except ValueError as wrong:
        return str(wrong)
    speed = tapped.speed
    return [
        shown(speed.rpm, speed.expanded()),
        tapped.kept,
        tapped.missed,
        tapped.doubled,
        verdict_of(speed, band).value,
        shown_probability(p_in_band(speed.rpm, speed.u_rpm, band, speed.dof)),
    ]


def test_random_taps_come_to_the_same_digits_verdicts_and_words(page):
    chance = random.Random(20261123)
    rows = [[tapped_row(chance), chance.choice([1, 1, 2, 3])] for _ in range(400)]
    answers = page.evaluate(
        """(rows) => rows.map(([times, passesPerTurn]) => {
          const band = {low: 40, high: 60};
          try {
            const {speed, kept, missed, doubled} = speedFromTaps(times, {passesPerTurn});
            return [shownSpeed(speed), kept, missed, doubled, verdictOf(speed, band),
              shownProbability(pInBand(speed, band))];
          } catch (error) {
            return error.message;
          }
        })""",
        rows,
    )
    band = Band(low=40, high=60)
    expected = [answer_in_python(times, per_turn, band) for times, per_turn in rows]
    assert answers == expected
    assert {answer[4] for answer in answers if isinstance(answer, list)} == {
        "in band",
        "out of band",
        "cannot tell",
    }


@pytest.mark.parametrize("dof", [1, 2, 3, 4, 7, 30, 101, 498])
def test_student_s_t_is_the_ledger_s(page, dof):
    k = page.evaluate("(dof) => tForCoverage(COVERAGE, dof)", dof)
    assert k == pytest.approx(t_quantile((1 + COVERAGE) / 2, dof), rel=1e-11)
    for t in (-6.5, -1.2, 0.0, 0.3, 2.0, 9.0):
        assert page.evaluate("([t, dof]) => tCdf(t, dof)", [t, dof]) == pytest.approx(
            t_cdf(t, dof), abs=1e-14
        )


def test_sums_are_rounded_once_as_fsum_rounds(page):
    chance = random.Random(3)
    rows = [
        [
            chance.uniform(-1, 1) * 10 ** chance.randint(-18, 18)
            for _ in range(chance.randint(0, 40))
        ]
        for _ in range(300)
    ]
    rows += [[1e16, 1.0, -1e16], [1.0, 2**-53, 2**-54], [1e-16, 1.0, 1e16]]
    sums = page.evaluate("(rows) => rows.map((row) => String(exactSum(row)))", rows)
    assert [float(text) for text in sums] == [math.fsum(row) for row in rows]


@pytest.mark.parametrize("rate", [60, 80, 90, 100, 107.5, 120, 140])
def test_the_band_at_a_line_rate_is_the_ledger_s(page, walk, rate):
    machine = walk.machines[1]
    points = [
        BandPoint(line_rate_per_h=b.line_rate_per_h, band=Band(low=b.low_rpm, high=b.high_rpm))
        for b in machine.bands
    ]
    band = band_at(points, rate).band
    answer = page.evaluate(
        "(rate) => bandAt(payloadOf('round-payload').machines[1].bands, rate)", rate
    )
    assert answer == {"low": band.low, "high": band.high}

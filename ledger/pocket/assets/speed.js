/* Shaft speed with its uncertainty, by the rules of ledger.compute.speed and ledger.compute.taps.

A speed is {rpm, u, dof}: r/min, its standard uncertainty, degrees of freedom. What gives no
speed throws SpeedError with words for the person. */

class SpeedError extends Error {}

const HAND_TIMING_U_S = 0.1;
const COVERAGE = 2 * normalCdf(2) - 1;
const COUNT_U = { random: 1 / Math.sqrt(6), "on-pass": 1 / Math.sqrt(12) };
const COUNT_OFFSET = { random: 0, "on-pass": 0.5 };
const FRAME_U = 1 / Math.sqrt(6);
const LEAST_TAPS = 5;
const CLOCK_RESOLUTION_S = 0.01;
const LONGEST_GAP_IN_PASSES = 3.5;
const WORST_REPAIRED_SHARE = 0.25;
const WORST_JITTER_SHARE = 0.25;

function expandedOf(speed) {
  const k = speed.dof === Infinity ? 2 : tForCoverage(COVERAGE, speed.dof);
  return k * speed.u;
}

function shownSpeed(speed) {
  return shown(speed.rpm, expandedOf(speed));
}

/* Whole passes counted in a set time; `start` is "random" or "on-pass" (that pass not counted). */
function speedFromCount(passes, seconds, { passesPerTurn = 1, start = "random", uSeconds } = {}) {
  checkWhole("passes", passes);
  checkAboveZero("seconds", seconds);
  checkWhole("passes per turn", passesPerTurn);
  const rpm = (60 * (passes + COUNT_OFFSET[start])) / (seconds * passesPerTurn);
  const u = uOfCount(rpm, seconds, { passesPerTurn, start, uSeconds });
  return { rpm, u, dof: Infinity };
}

/* Whole turns timed from a pass to a pass. */
function speedFromTurns(turns, seconds, { passesPerTurn = 1, uSeconds } = {}) {
  checkWhole("turns", turns);
  checkAboveZero("seconds", seconds);
  const rpm = (60 * turns) / (seconds * passesPerTurn);
  return { rpm, u: uOfTurns(rpm, seconds, { uSeconds }), dof: Infinity };
}

function speedFromTachometer(rpm, { percent = 0, absolute = 0 }) {
  const halfWidth = (rpm * percent) / 100 + absolute;
  return { rpm, u: halfWidth / Math.sqrt(3), dof: Infinity };
}

function speedFromFilm(turns, frames, framesPerSecond) {
  const rpm = (60 * turns * framesPerSecond) / frames;
  return { rpm, u: (rpm * FRAME_U) / frames, dof: Infinity };
}

function uOfCount(
  rpm,
  seconds,
  { passesPerTurn = 1, start = "random", uSeconds = HAND_TIMING_U_S },
) {
  const countTerm = (60 * COUNT_U[start]) / (seconds * passesPerTurn);
  return Math.hypot(countTerm, (rpm * uSeconds) / seconds);
}

function uOfTurns(rpm, seconds, { uSeconds = HAND_TIMING_U_S }) {
  return (rpm * uSeconds) / seconds;
}

/* The uncertainty that `taps` even taps with this jitter would have at this speed. */
function uOfTaps(rpm, taps, { jitter, passesPerTurn = 1 }) {
  const period = 60 / (rpm * passesPerTurn);
  return (rpm * jitter * Math.sqrt(12 / (taps * (taps * taps - 1)))) / period;
}

/* Least squares of t_k = a + P k through tapped passes; doubled taps left out, missed passes
   numbered. Gives {speed, kept, missed, doubled, jitter}, times in seconds. */
function speedFromTaps(times, { passesPerTurn = 1 } = {}) {
  if (times.length < LEAST_TAPS) {
    throw new SpeedError(`only ${times.length} taps: tap at least ${LEAST_TAPS} passes`);
  }
  if (gapsOf(times).some((gap) => !(gap > 0))) {
    throw new SpeedError("expected the times of the taps to rise from each to the next");
  }
  const kept = withoutDoubled(times);
  const doubled = times.length - kept.length;
  if (kept.length < LEAST_TAPS) {
    throw new SpeedError(`only ${kept.length} separate taps: tap at least ${LEAST_TAPS} passes`);
  }
  const passes = numberedPasses(kept);
  const missed = passes[passes.length - 1] - (kept.length - 1);
  if (doubled + missed > WORST_REPAIRED_SHARE * times.length) {
    throw new SpeedError(
      `${missed} missed and ${doubled} doubled taps out of ${times.length}: tap again`,
    );
  }
  const { period, jitter, uPeriod } = lineThrough(passes, kept);
  if (jitter > WORST_JITTER_SHARE * period) {
    throw new SpeedError(
      `the taps scatter by ${jitter.toFixed(2)} s about a pass every ${period.toFixed(2)} s: ` +
        "tap again",
    );
  }
  const rpm = 60 / (period * passesPerTurn);
  const speed = { rpm, u: (rpm * uPeriod) / period, dof: kept.length - 2 };
  return { speed, kept: kept.length, missed, doubled, jitter };
}

function gapsOf(times) {
  return times.slice(1).map((time, index) => time - times[index]);
}

function withoutDoubled(times) {
  const shortest = 0.5 * medianOf(gapsOf(times));
  const kept = [times[0]];
  for (const time of times.slice(1)) {
    if (time - kept[kept.length - 1] >= shortest) kept.push(time);
  }
  return kept;
}

/* The number of the pass that each tap belongs to, the first being nought. */
function numberedPasses(times) {
  const usual = medianOf(gapsOf(times));
  const passes = [0];
  for (const gap of gapsOf(times)) {
    if (gap / usual > LONGEST_GAP_IN_PASSES) {
      throw new SpeedError(`a pause of ${gap.toFixed(1)} s between taps: tap again`);
    }
    passes.push(passes[passes.length - 1] + Math.max(1, Math.floor(gap / usual + 0.5)));
  }
  return passes;
}

function lineThrough(passes, times) {
  const meanPass = meanOf(passes);
  const meanTime = meanOf(times);
  const spread = exactSum(passes.map((k) => (k - meanPass) ** 2));
  const period = exactSum(passes.map((k, i) => (k - meanPass) * (times[i] - meanTime))) / spread;
  const squares = exactSum(
    passes.map((k, i) => (times[i] - meanTime - period * (k - meanPass)) ** 2),
  );
  const scatter = Math.sqrt(squares / (passes.length - 2));
  const jitter = Math.max(scatter, CLOCK_RESOLUTION_S / Math.sqrt(12));
  return { period, jitter, uPeriod: jitter / Math.sqrt(spread) };
}

/* The speed of a visit's entry, by whichever way it was read; null where it holds no reading. */
function speedOfEntry(entry, uSeconds) {
  const passesPerTurn = entry.passes_per_turn ?? 1;
  if (entry.taps_s !== undefined) return speedFromTaps(entry.taps_s, { passesPerTurn }).speed;
  if (entry.counted !== undefined) {
    const start = entry.start ?? "random";
    return speedFromCount(entry.counted, entry.seconds, { passesPerTurn, start, uSeconds });
  }
  if (entry.frames !== undefined) return speedFromFilm(entry.turns, entry.frames, entry.fps);
  if (entry.turns !== undefined) return speedFromTurns(entry.turns, entry.seconds, { uSeconds });
  if (entry.tachometer_rpm !== undefined) {
    return speedFromTachometer(entry.tachometer_rpm, {
      percent: entry.accuracy_percent ?? 0,
      absolute: entry.accuracy_rpm ?? 0,
    });
  }
  return null;
}

function checkWhole(name, number) {
  if (!(Number.isInteger(number) && number >= 1)) {
    throw new SpeedError(`expected ${name} to be a whole number of 1 or more, not ${number}`);
  }
}

function checkAboveZero(name, number) {
  if (!(Number.isFinite(number) && number > 0)) {
    throw new SpeedError(`expected ${name} to be a number above 0, not ${number}`);
  }
}

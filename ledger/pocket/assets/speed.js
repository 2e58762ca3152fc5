/* Shaft speed with its uncertainty, by the rules of ledger.compute.speed and ledger.compute.taps.

A speed is {rpm, u, shared, dof}: r/min, its combined standard uncertainty, the part of that which
other readings of the same hand or instrument share, degrees of freedom. What gives no speed throws
SpeedError with words for the person. */

class SpeedError extends Error {}

const HAND_TIMING_U_S = 0.1;
const COVERAGE = 2 * normalCdf(2) - 1;
const COUNT_U = { random: 1 / Math.sqrt(6), "on-pass": 1 / Math.sqrt(12) };
const COUNT_OFFSET = { random: 0, "on-pass": 0.5 };
const PRESS_BIAS_SHARE = 0.5;
const LATENESS_SHARE = 0.6;
const START_LATE_S = { random: 0, "on-pass": 0.11 };
const TACHOMETER_STEP_RPM = 0.1;
const TACHOMETER_REPEAT = 0.002;
const NOMINAL_RATE_U = 0.001 / Math.sqrt(3);
const EXACT_RATE_U = 0.0001;
const PRESS_SCATTER_S = 0.07;
const BEYOND_95 = 1.96;
const FRAME_U = 1 / Math.sqrt(6);
const OWN_BEAT = "the finger keeps its own beat: tap again watching the mark, or time the turns";
const WANDERS = "the taps wander together, so the ± is only about right";
const FEW_TAPS = 10;
const COARSE =
  "the taps are timed in whole seconds: the ± allows for that, and tenths would tell more";
const RHYTHM_SHOWS_TAPS = 30;
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
  const window = seconds + START_LATE_S[start];
  const rpm = (60 * (passes + COUNT_OFFSET[start])) / (window * passesPerTurn);
  const { own, shared } = partsOfCount(rpm, seconds, { passesPerTurn, start, uSeconds });
  return { rpm, u: Math.hypot(own, ...shared), shared: Math.hypot(...shared), dof: Infinity };
}

/* Whole turns timed from a pass to a pass. */
function speedFromTurns(turns, seconds, { passesPerTurn = 1, uSeconds } = {}) {
  checkWhole("turns", turns);
  checkAboveZero("seconds", seconds);
  const rpm = (60 * turns) / (seconds * passesPerTurn);
  const shared = PRESS_BIAS_SHARE * ((rpm * (uSeconds ?? HAND_TIMING_U_S)) / seconds);
  return { rpm, u: uOfTurns(rpm, seconds, { uSeconds }), shared, dof: Infinity };
}

function speedFromTachometer(rpm, { percent = 0, absolute = 0, step = TACHOMETER_STEP_RPM }) {
  if (percent === 0 && absolute === 0) {
    throw new SpeedError(
      "expected the stated accuracy of the instrument, in percent or r/min",
    );
  }
  const halves = [(rpm * percent) / 100, absolute].map((half) => half / Math.sqrt(3));
  const u = Math.hypot(step / Math.sqrt(12), TACHOMETER_REPEAT * rpm, ...halves);
  return { rpm, u, shared: Math.hypot(...halves), dof: Infinity };
}

function speedFromFilm(turns, frames, framesPerSecond) {
  const rpm = (60 * turns * framesPerSecond) / frames;
  const shared = rpm * (framesPerSecond % 1 === 0 ? NOMINAL_RATE_U : EXACT_RATE_U);
  return { rpm, u: Math.hypot((rpm * FRAME_U) / frames, shared), shared, dof: Infinity };
}

/* What a reading errs by alone; few degrees of freedom widen it to U/2. */
function ownUOf(speed) {
  if (speed.shared === 0) return expandedOf(speed) / 2;
  return Math.sqrt(Math.max(speed.u ** 2 - speed.shared ** 2, 0));
}

function uOfCount(rpm, seconds, way) {
  const { own, shared } = partsOfCount(rpm, seconds, way);
  return Math.hypot(own, ...shared);
}

/* What a count errs by alone, and the parts it shares: all presses of the hand; and on a pass the
   part of a turn left over. */
function partsOfCount(
  rpm,
  seconds,
  { passesPerTurn = 1, start = "random", uSeconds = HAND_TIMING_U_S },
) {
  const window = seconds + START_LATE_S[start];
  const timing = (rpm * uSeconds) / window;
  const count = (60 * COUNT_U[start]) / (window * passesPerTurn);
  return start === "random"
    ? { own: Math.hypot(count, timing), shared: [PRESS_BIAS_SHARE * timing] }
    : { own: timing, shared: [LATENESS_SHARE * timing, count] };
}

function uOfTurns(rpm, seconds, { uSeconds = HAND_TIMING_U_S }) {
  const timing = (rpm * uSeconds) / seconds;
  return Math.hypot(timing, PRESS_BIAS_SHARE * timing);
}

/* The uncertainty that `taps` taps with this jitter and wander would have at this speed. */
function uOfTaps(rpm, taps, { jitter, wander = 1, passesPerTurn = 1 }) {
  const period = 60 / (rpm * passesPerTurn);
  const byLine = wander * jitter * Math.sqrt(12 / (taps * (taps * taps - 1)));
  const byEnds = taps < RHYTHM_SHOWS_TAPS ? byEndsOf(jitter, taps - 1) / 2 : 0;
  return (rpm * Math.max(byLine, byEnds)) / period;
}

/* U of the period by the first tap and the last alone. */
function byEndsOf(jitter, passes) {
  return (BEYOND_95 * Math.SQRT2 * Math.max(jitter, PRESS_SCATTER_S)) / passes;
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
  const isCoarse = kept.every((time) => time % 1 === 0);
  const resolution = isCoarse ? 1 : CLOCK_RESOLUTION_S;
  const { period, jitter, uPeriod, dof, wander, wanders, ownBeat } = lineThrough(
    passes,
    kept,
    resolution,
  );
  if (jitter > WORST_JITTER_SHARE * period && isCoarse) {
    throw new SpeedError(
      `whole seconds are too coarse for a pass every ${period.toFixed(2)} s: give the taps in ` +
        "tenths, or time whole turns",
    );
  }
  if (jitter > WORST_JITTER_SHARE * period) {
    throw new SpeedError(
      `the taps scatter by ${jitter.toFixed(2)} s about a pass every ${period.toFixed(2)} s: ` +
        "tap again",
    );
  }
  const rpm = 60 / (period * passesPerTurn);
  const speed = { rpm, u: (rpm * uPeriod) / period, shared: 0, dof };
  const doubt = doubtOfTaps(kept.length, { wanders, ownBeat, isCoarse });
  return { speed, kept: kept.length, missed, doubled, jitter, wander, ownBeat, doubt };
}

/* Why the stated uncertainty is only about right; "" where it holds. */
function doubtOfTaps(count, { wanders, ownBeat, isCoarse }) {
  if (ownBeat) return OWN_BEAT;
  if (isCoarse) return COARSE;
  if (count < FEW_TAPS) return `with fewer than ${FEW_TAPS} taps the ± is only about right`;
  return wanders ? WANDERS : "";
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

function lineThrough(passes, times, resolution) {
  const count = passes.length;
  const meanPass = meanOf(passes);
  const meanTime = meanOf(times);
  const places = passes.map((k) => k - meanPass);
  const spread = exactSum(places.map((k) => k ** 2));
  const period = exactSum(places.map((k, i) => k * (times[i] - meanTime))) / spread;
  const residuals = places.map((k, i) => times[i] - meanTime - period * k);
  const scatter = Math.sqrt(exactSum(residuals.map((e) => e * e)) / (count - 2));
  const stepU = resolution / Math.sqrt(12);
  const jitter = Math.max(scatter, stepU);
  const evenU = jitter / Math.sqrt(spread);
  // Finer than the clock: what is left is its rounding.
  if (scatter <= stepU) {
    return { period, jitter, uPeriod: evenU, dof: count - 2, wander: 1, wanders: false, ownBeat: false };
  }
  const found = wanderOf(places, residuals);
  const dof = Math.max(1, Math.floor(found.dof));
  let uPeriod = evenU * found.factor;
  if (found.isShown || count < RHYTHM_SHOWS_TAPS) {
    const ends = byEndsOf(jitter, passes[count - 1]);
    uPeriod = Math.max(uPeriod, ends / tForCoverage(COVERAGE, dof));
  }
  const ownBeat = found.isShown && found.correlation >= MOST_CORRELATION;
  const { factor, isShown } = found;
  return { period, jitter, uPeriod, dof, wander: factor, wanders: isShown, ownBeat };
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
  if (entry.tachometer_rpm !== undefined) return speedShown(entry);
  return null;
}

/* The tachometers of the site by their ids, as the payload states them. */
const INSTRUMENTS = new Map();

/* A stated accuracy goes first, else the instrument's own errors and correction. */
function speedShown({ tachometer_rpm: rpm, accuracy_percent, accuracy_rpm, instrument }) {
  const own = INSTRUMENTS.get(instrument);
  const step = own?.step ?? TACHOMETER_STEP_RPM;
  if (own && accuracy_percent === undefined && accuracy_rpm === undefined) {
    return speedFromTachometer(rpm * own.factor, { ...own, step });
  }
  return speedFromTachometer(rpm, { percent: accuracy_percent, absolute: accuracy_rpm, step });
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

/* Is a speed in its band, and what would tell? By the rules of ledger.compute.band.

A band is {low, high} in r/min, both limits included. */

const SURE = 0.95;
const STEP_S = 5;
const LONGEST_SENSIBLE_S = 300;
/* The page's own: a row shorter than this may look decided by luck, since it is judged at each
   tap; and nobody keeps a steady finger for longer than the other. */
const FEWEST_TAPS_TO_STOP = 12;
const MOST_TAPS = 120;

/* The probability that the speed lies in the band (JCGM 106:2012, 7.2). */
function pInBand(speed, band) {
  const { rpm, u, dof } = speed;
  if (u === 0) return band.low <= rpm && rpm <= band.high ? 1 : 0;
  return tCdf((band.high - rpm) / u, dof) - tCdf((band.low - rpm) / u, dof);
}

function verdictOf(speed, band) {
  if (pInBand(speed, band) >= SURE) return "in band";
  const below = pInBand(speed, { low: -Infinity, high: band.low });
  const above = pInBand(speed, { low: band.high, high: Infinity });
  return Math.max(below, above) >= SURE ? "out of band" : "cannot tell";
}

/* The band at a line rate: linear between the stated rates, held constant beyond them. */
function bandAt(points, lineRate) {
  if (points.length === 0) return null;
  const limit = (name) => valueAt(points, lineRate, (point) => point[name]);
  return { low: limit("low_rpm"), high: limit("high_rpm") };
}

/* The speed to aim at there: what is stated, else the middle. */
function targetAt(points, lineRate) {
  return valueAt(points, lineRate, (point) => point.target_rpm ?? (point.low_rpm + point.high_rpm) / 2);
}

function valueAt(points, lineRate, of) {
  const ordered = [...points].sort((a, b) => a.line_rate_per_h - b.line_rate_per_h);
  const upper = ordered.findIndex((point) => point.line_rate_per_h >= lineRate);
  const at = upper < 0 ? ordered[ordered.length - 1] : ordered[upper];
  if (upper <= 0) return of(at);
  const before = ordered[upper - 1];
  const share = (lineRate - before.line_rate_per_h) / (at.line_rate_per_h - before.line_rate_per_h);
  const [start, end] = [of(before), of(at)];
  return start === end ? start : start + share * (end - start);
}

function bandWords(band) {
  return `${significant(band.low, 3)}–${significant(band.high, 3)}`;
}

/* The pass count in steps of 5 s that would decide if the speed is what it seems; or null. */
function secondsToDecideByCount(rpm, band, way) {
  return secondsToDecide(rpm, band, (seconds) => uOfCount(rpm, seconds, way));
}

function secondsToDecideByTurns(rpm, band, way) {
  return secondsToDecide(rpm, band, (seconds) => uOfTurns(rpm, seconds, way));
}

function turnsToDecide(rpm, band, way) {
  const seconds = secondsToDecideByTurns(rpm, band, way);
  return seconds === null ? null : Math.ceil((rpm * seconds) / 60);
}

function secondsToDecide(rpm, band, uAfter) {
  for (let seconds = STEP_S; seconds <= LONGEST_SENSIBLE_S; seconds += STEP_S) {
    const guess = { rpm, u: uAfter(seconds), dof: Infinity };
    if (verdictOf(guess, band) !== "cannot tell") return seconds;
  }
  return null;
}

/* How many taps in all would decide, at this speed and jitter; null where no row of taps would. */
function tapsToDecide(tapped, band, passesPerTurn) {
  const { rpm } = tapped.speed;
  const most = Math.min(MOST_TAPS, (LONGEST_SENSIBLE_S * rpm * passesPerTurn) / 60);
  for (let taps = Math.max(tapped.kept, FEWEST_TAPS_TO_STOP); taps <= most; taps += 1) {
    // Further taps are taken to go together as these do.
    const u = uOfTaps(rpm, taps, { ...tapped, passesPerTurn });
    const dof = Math.max(1, Math.floor((tapped.speed.dof * (taps - 2)) / (tapped.kept - 2)));
    if (verdictOf({ rpm, u, dof }, band) !== "cannot tell") return taps;
  }
  return null;
}

/* What to do where a reading cannot tell; "" where it can. */
function adviceFor(speed, band, { passesPerTurn = 1, start = "random", ownBeat, uSeconds }) {
  if (verdictOf(speed, band) !== "cannot tell") return "";
  if (ownBeat) return OWN_BEAT;
  // Started on a pass, every count of one length errs alike: whole turns are better.
  const seconds =
    start === "on-pass"
      ? null
      : secondsToDecideByCount(speed.rpm, band, { passesPerTurn, uSeconds });
  const turns = turnsToDecide(speed.rpm, band, { uSeconds });
  if (seconds === null && turns === null) return "too close to a limit for any count to tell";
  const byTurns = `time ${turns} whole turns`;
  if (seconds === null) return byTurns;
  return turns === null ? `count for ${seconds} s` : `count for ${seconds} s, or ${byTurns}`;
}

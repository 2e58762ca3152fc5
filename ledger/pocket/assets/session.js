/* A tuning session: after each count the setting to try next, and when to stop. By the rules of
ledger.upkeep.tuning.session; shared vectors hold both to the same words. */

const MOST_COUNTS = 6;

/* The counts of a session, each {setting, speed}; the drive is {unit, step, low, high, most}. */
function sessionCounts(steps, stem, uSeconds) {
  return steps.map((step) => ({ setting: step[stem], speed: speedOfEntry(step, uSeconds) }));
}

/* What to do after the counts so far: {kind, setting, words}, setting null where to stop. */
function adviceAfter(drive, band, target, counts) {
  const weights = counts.map(({ speed }) => 1 / (expandedOf(speed) / 2) ** 2);
  const ratio =
    exactSum(counts.map(({ setting, speed }, i) => weights[i] * setting * speed.rpm)) /
    exactSum(counts.map(({ setting }, i) => weights[i] * setting ** 2));
  const last = counts[counts.length - 1].setting;
  const here = countedTogether(
    counts.filter(({ setting }) => setting === last).map(({ speed }) => speed),
  );
  const ideal = onStep(target / ratio, drive.step);
  const best = insideDrive(target / ratio, drive);
  const apart = Math.abs(here.rpm - target);
  const steps = Math.abs(best - last) / drive.step;
  const verdict = verdictOf(here, band);
  const { unit } = drive;
  const stop = (kind, words) => ({ kind, setting: null, words: `Stop: ${words}` });
  if (wentAgainst(counts)) {
    return stop(
      "cause",
      "the speed did not follow the setting. Look at belt, coupling, pump or the mark, and make it a finding.",
    );
  }
  if (verdict === "in band" && (steps < 1.5 || apart <= expandedOf(here))) {
    const near =
      steps < 0.5
        ? "no step of the drive comes nearer."
        : `one more step is ${fixed(ratio * drive.step, 1)} r/min, and not needed.`;
    return stop("stop", `in band, and ${near}`);
  }
  if (counts.length >= MOST_COUNTS) {
    return stop("many", `${counts.length} counts. Leave it, and look for the cause.`);
  }
  // A count that says nothing yet is no reason to move.
  if (verdict === "cannot tell" && (steps < 0.5 || apart <= expandedOf(here))) {
    const words = `Time whole turns at ${last} ${unit}: the counts so far cannot tell.`;
    return { kind: "again", setting: last, words };
  }
  if (steps >= 0.5) {
    const move = Math.min(Math.max(best - last, -drive.most), drive.most);
    const setting = insideDrive(last + move, drive);
    const about = `about ${fixed(ratio * setting, 0)} r/min expected.`;
    const most = setting === best ? "" : ` At most ${drive.most} ${unit} at once.`;
    return { kind: "next", setting, words: `Try ${setting} ${unit}: ${about}${most}` };
  }
  if (ideal !== best) {
    return stop(
      "limit",
      `${fixedTrimmed(target)} r/min would take ${ideal} ${unit}, beyond the ${drive.low} to ` +
        `${drive.high} that the drive or the site allows at once.`,
    );
  }
  return stop("cause", "no step of the drive brings it into its band. Look for the cause.");
}

function wentAgainst(counts) {
  if (counts.length < 2) return false;
  const [before, after] = counts.slice(-2);
  const change = after.speed.rpm - before.speed.rpm;
  const doubt = Math.hypot(expandedOf(after.speed), expandedOf(before.speed));
  return (after.setting - before.setting) * change < 0 && Math.abs(change) > doubt;
}

/* Counts at one setting by one person: the shared part stays, the rest averages out. */
function countedTogether(speeds) {
  if (speeds.length === 1) return speeds[0];
  const weights = speeds.map((speed) => 1 / ownUOf(speed) ** 2);
  const total = exactSum(weights);
  const rpm = exactSum(speeds.map((speed, i) => weights[i] * speed.rpm)) / total;
  const shared = Math.max(...speeds.map((speed) => speed.shared));
  return { rpm, u: Math.hypot(1 / Math.sqrt(total), shared), shared, dof: Infinity };
}

function onStep(value, step) {
  return toPlaces(Math.floor(value / step + 0.5) * step);
}

function insideDrive(value, drive) {
  const least = Math.ceil(drive.low / drive.step - 1e-6);
  const most = Math.floor(drive.high / drive.step + 1e-6);
  const steps = Math.max(Math.min(Math.floor(value / drive.step + 0.5), most), least);
  return toPlaces(steps * drive.step);
}

function toPlaces(value) {
  return Number(value.toFixed(3));
}

function fixedTrimmed(value) {
  return String(Number(fixed(value, 1)));
}

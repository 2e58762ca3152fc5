/* How much less sure a line is where its residuals go together, by the rules of
ledger.compute.wander: {lagOne, correlation, factor, dof, isShown}. */

const MOST_CORRELATION = 0.95;
/* One-sided 5 % of the lag-1 correlation of residuals that do not go together, by their number. */
const CRITICAL_LAG_ONE = [
  [8, 0.196],
  [10, 0.233],
  [15, 0.248],
  [20, 0.243],
  [26, 0.228],
  [30, 0.222],
  [40, 0.204],
  [60, 0.173],
];
const LEAST_TO_WANDER = CRITICAL_LAG_ONE[0][0];

function wanderOf(places, residuals) {
  const count = residuals.length;
  const squares = exactSum(residuals.map((e) => e * e));
  const pairs = residuals.slice(1).map((e, i) => residuals[i] * e);
  const lagOne = exactSum(pairs) / squares;
  const isShown = count >= LEAST_TO_WANDER && lagOne > criticalLagOne(count);
  const found = Math.max((count * lagOne + 2) / (count - 4), 0);
  const wanted = isShown ? found + 0.5 / Math.sqrt(count) : found;
  const correlation = Math.min(wanted, MOST_CORRELATION);
  return { lagOne, correlation, ...wanderCorrection(places, correlation), isShown };
}

function wanderCorrection(places, rho) {
  const count = places.length;
  const mean = meanOf(places);
  const columns = [places.map(() => 1), places.map((place) => place - mean)].map(unitColumn);
  const spread = columns.map((column) => correlated(column, rho));
  const dot = (a, b) => exactSum(a.map((x, i) => x * b[i]));
  const crossed = columns.map((q) => spread.map((v) => dot(q, v)));
  const trace = count - crossed[0][0] - crossed[1][1];
  const whole = exactSum(
    places.map((_, lag) => (lag === 0 ? 1 : 2) * (count - lag) * rho ** (2 * lag)),
  );
  const twice =
    whole -
    2 * exactSum(spread.map((v) => dot(v, v))) +
    exactSum(crossed.flat().map((cell) => cell * cell));
  return { factor: Math.sqrt((crossed[1][1] * (count - 2)) / trace), dof: trace ** 2 / twice };
}

function criticalLagOne(count) {
  const [last, critical] = CRITICAL_LAG_ONE[CRITICAL_LAG_ONE.length - 1];
  if (count >= last) return critical * Math.sqrt(last / count);
  const above = CRITICAL_LAG_ONE.findIndex(([size]) => size > count);
  const [low, atLow] = CRITICAL_LAG_ONE[above - 1];
  const [high, atHigh] = CRITICAL_LAG_ONE[above];
  return atLow + ((atHigh - atLow) * (count - low)) / (high - low);
}

function unitColumn(column) {
  const length = Math.sqrt(exactSum(column.map((e) => e * e)));
  return column.map((e) => e / length);
}

/* V times the column, V = rho^|i-j|, by one pass from either end. */
function correlated(column, rho) {
  const ahead = [...column];
  const behind = [...column];
  for (let i = 1; i < column.length; i += 1) {
    ahead[i] += rho * ahead[i - 1];
    behind[column.length - 1 - i] += rho * behind[column.length - i];
  }
  return column.map((e, i) => ahead[i] + behind[i] - e);
}

/* Exact sums, the normal and Student's t distribution.

Formulas: Abramowitz and Stegun, Handbook of Mathematical Functions (A&S), chapters 7 and 26.
Degrees of freedom are whole, or Infinity; that is all that tapped passes and counts give. */

/* The sum rounded once, whatever cancels: Shewchuk's partial sums, as Python's math.fsum. */
function exactSum(numbers) {
  const partials = [];
  for (let x of numbers) {
    let count = 0;
    for (let y of partials) {
      if (Math.abs(x) < Math.abs(y)) [x, y] = [y, x];
      const high = x + y;
      const low = y - (high - x);
      if (low !== 0) {
        partials[count] = low;
        count += 1;
      }
      x = high;
    }
    partials.length = count;
    partials.push(x);
  }
  let n = partials.length - 1;
  if (n < 0) return 0;
  let high = partials[n];
  let low = 0;
  while (n > 0) {
    n -= 1;
    const before = high;
    high = before + partials[n];
    low = partials[n] - (high - before);
    if (low !== 0) break;
  }
  // A remainder of half a unit in the last place goes the way the smaller partials point.
  if (n > 0 && Math.sign(low) * partials[n - 1] > 0) {
    const twice = low * 2;
    const raised = high + twice;
    if (raised - high === twice) high = raised;
  }
  return high;
}

function meanOf(numbers) {
  return exactSum(numbers) / numbers.length;
}

function medianOf(numbers) {
  const ordered = [...numbers].sort((a, b) => a - b);
  const middle = Math.floor(ordered.length / 2);
  return ordered.length % 2 ? ordered[middle] : (ordered[middle - 1] + ordered[middle]) / 2;
}

/* The error function by its series of positive terms (A&S 7.1.6). */
function erf(x) {
  const size = Math.abs(x);
  if (size > 6) return Math.sign(x);
  let term = size;
  let sum = size;
  for (let n = 1; term > (sum * Number.EPSILON) / 4; n += 1) {
    term *= (2 * size * size) / (2 * n + 1);
    sum += term;
  }
  return Math.sign(x) * (2 / Math.sqrt(Math.PI)) * Math.exp(-size * size) * sum;
}

/* P(Z <= z) of the standard normal distribution (A&S 26.2.29). */
function normalCdf(z) {
  return 0.5 * (1 + erf(z / Math.SQRT2));
}

/* P(|T| <= t) of Student's t for whole degrees of freedom, in closed form (A&S 26.7.3, 26.7.4). */
function tWithin(t, dof) {
  const angle = Math.atan(t / Math.sqrt(dof));
  const square = Math.cos(angle) ** 2;
  const odd = dof % 2 === 1;
  let term = odd ? Math.cos(angle) : 1;
  let sum = dof === 1 ? 0 : term;
  for (let k = odd ? 3 : 2; k < dof; k += 2) {
    term *= (square * (k - 1)) / k;
    sum += term;
  }
  const part = Math.sin(angle) * sum;
  return odd ? (2 / Math.PI) * (angle + part) : part;
}

/* P(T <= t); dof Infinity is the normal distribution. */
function tCdf(t, dof) {
  if (t === Infinity) return 1;
  if (t === -Infinity) return 0;
  if (dof === Infinity) return normalCdf(t);
  return 0.5 * (1 + Math.sign(t) * tWithin(Math.abs(t), dof));
}

/* The t with P(|T| <= t) equal to a coverage probability, by bisection to the last bit. */
function tForCoverage(coverage, dof) {
  let low = 0;
  let high = 1;
  while (tWithin(high, dof) < coverage) high *= 2;
  for (;;) {
    const middle = (low + high) / 2;
    if (middle === low || middle === high) return middle;
    if (tWithin(middle, dof) < coverage) low = middle;
    else high = middle;
  }
}

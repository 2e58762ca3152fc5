/* How numbers are shown, by the rule of ledger.compute.rounding.

An expanded uncertainty keeps two significant digits, its value the same decimal place (GUM
7.2.6). Rounding is half to even on the shortest decimal text of the number. */

const SIGNIFICANT_DIGITS = 2;

function shown(value, expanded) {
  return `${shownValue(value, expanded)} ± ${shownUncertainty(expanded)}`;
}

function shownValue(value, expanded) {
  if (expanded === 0) return plainText(decimalOf(value));
  return fixed(value, supportedPlaces(expanded));
}

function shownUncertainty(expanded) {
  return expanded === 0 ? "0" : fixed(expanded, supportedPlaces(expanded));
}

/* To a number of decimals; negative ones round to tens, hundreds. */
function fixed(value, places) {
  return plainText(roundedTo(decimalOf(value), places));
}

function significant(value, digits) {
  const number = decimalOf(value);
  return plainText(roundedTo(number, placesFor(number, digits)));
}

/* A probability as whole percent; near the ends a bound, as it is never certain. */
function shownProbability(p) {
  if (p < 0.01) return "< 1 %";
  if (p > 0.99) return "> 99 %";
  const number = decimalOf(p);
  return `${plainText(roundedTo({ ...number, exponent: number.exponent + 2 }, 0))} %`;
}

/* A finite number as coefficient × 10^exponent, from its shortest text. */
function decimalOf(value) {
  if (!Number.isFinite(value)) throw new RangeError(`expected a finite number, not ${value}`);
  const [mantissa, power = "0"] = String(Math.abs(value)).split("e");
  const [whole, part = ""] = mantissa.split(".");
  return {
    negative: value < 0,
    coefficient: BigInt(whole + part),
    exponent: Number(power) - part.length,
  };
}

function supportedPlaces(expanded) {
  return placesFor(decimalOf(expanded), SIGNIFICANT_DIGITS);
}

/* Decimals that leave `digits` significant ones, also where rounding carries (0.0996). */
function placesFor(number, digits) {
  if (number.coefficient === 0n) return digits - 1;
  const places = digits - 1 - leadingPower(number);
  return digits - 1 - leadingPower(roundedTo(number, places));
}

/* The power of ten of the first significant digit. */
function leadingPower(number) {
  return number.exponent + String(number.coefficient).length - 1;
}

function roundedTo(number, places) {
  const shift = number.exponent + places;
  if (shift >= 0) {
    const coefficient = number.coefficient * 10n ** BigInt(shift);
    return { ...number, coefficient, exponent: -places };
  }
  const divisor = 10n ** BigInt(-shift);
  let coefficient = number.coefficient / divisor;
  const twice = (number.coefficient % divisor) * 2n;
  if (twice > divisor || (twice === divisor && coefficient % 2n === 1n)) coefficient += 1n;
  return { ...number, coefficient, exponent: -places };
}

function plainText(number) {
  let digits = String(number.coefficient);
  if (number.exponent >= 0) {
    digits = number.coefficient === 0n ? "0" : digits + "0".repeat(number.exponent);
  } else {
    digits = digits.padStart(1 - number.exponent, "0");
    digits = `${digits.slice(0, number.exponent)}.${digits.slice(number.exponent)}`;
  }
  return number.negative && number.coefficient !== 0n ? `-${digits}` : digits;
}

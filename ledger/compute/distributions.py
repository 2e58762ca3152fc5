"""Distribution functions that uncertainty, drift and reliability need, without scipy.

Formulas: M. Abramowitz and I. A. Stegun, Handbook of Mathematical Functions (A&S), chapters 6
and 26; NIST Digital Library of Mathematical Functions (DLMF), chapter 8. Continued fractions
are evaluated by the modified Lentz method. Tails keep their relative precision: nine digits or
more for parameters up to a few thousand, and for Student's t with any degrees of freedom.
"""

import math
import sys
from functools import lru_cache

from ledger.compute.numbers import bracketed_root, check_above_zero, check_level

_MAX_TERMS = 100_000

# Twice the spacing of doubles: rounding can keep a factor from ever coming closer to one.
_LENTZ_CLOSE = 2 * sys.float_info.epsilon

_TINY = sys.float_info.min * 1e8


def normal_cdf(z: float) -> float:
    """P(Z <= z) of the standard normal distribution (A&S 26.2.29)."""
    return 0.5 * math.erfc(-z / math.sqrt(2))


def normal_quantile(p: float) -> float:
    """The z with P(Z <= z) = p."""
    check_level(p=p)
    from statistics import NormalDist  # noqa: PLC0415 - slow to import, and one reading needs none

    return NormalDist().inv_cdf(p)


def gammainc(a: float, x: float) -> float:
    """The regularised lower incomplete gamma function P(a, x) (DLMF 8.2.4).

    Raises:
        ValueError: a <= 0 or x < 0, or a beyond about 1e9, where the terms do not end.
    """
    return _gamma_tails(a, x)[0]


def gammaincc(a: float, x: float) -> float:
    """The regularised upper incomplete gamma function Q(a, x) = 1 - P(a, x) (DLMF 8.2.4).

    Raises:
        ValueError: a <= 0 or x < 0, or a beyond about 1e9, where the terms do not end.
    """
    return _gamma_tails(a, x)[1]


def betainc(a: float, b: float, x: float) -> float:
    """The regularised incomplete beta function I_x(a, b) (DLMF 8.17.2).

    Raises:
        ValueError: a <= 0 or b <= 0.
    """
    check_above_zero(a=a, b=b)
    return _beta_tail(a, b, x, 1 - x)


def t_cdf(t: float, dof: float) -> float:
    """P(T <= t) of Student's t with `dof` degrees of freedom, infinity allowed (A&S 26.7.1)."""
    if t <= 0:
        return t_upper_tail(-t, dof)
    return 1 - t_upper_tail(t, dof)


def t_upper_tail(t: float, dof: float) -> float:
    """P(T > t) of Student's t, precise far out in the tail (A&S 26.7.1)."""
    _check_positive("dof", dof)
    if math.isinf(dof):
        return normal_cdf(-t)
    if t < 0:
        return 1 - t_upper_tail(-t, dof)
    square = t * t
    if math.isinf(square):
        return 0.0
    return 0.5 * _beta_tail(dof / 2, 0.5, dof / (dof + square), square / (dof + square))


@lru_cache(maxsize=4096)
def t_quantile(p: float, dof: float) -> float:
    """The t with P(T <= t) = p for `dof` degrees of freedom, infinity allowed.

    Raises:
        ValueError: p is not between 0 and 1, or dof not positive.
    """
    check_level(p=p)
    _check_positive("dof", dof)
    if math.isinf(dof):
        return normal_quantile(p)
    if p == 0.5:
        return 0.0
    tail = min(p, 1 - p)
    high = 1.0
    while t_upper_tail(high, dof) > tail:
        high *= 2
    # On the log scale the far tail is close to a straight line, so the root is found quickly.
    log_tail = math.log(tail)
    root = bracketed_root(lambda t: log_tail - math.log(t_upper_tail(t, dof)), 0.0, high)
    return math.copysign(root, p - 0.5)


def chi2_cdf(x: float, dof: float) -> float:
    """P(X <= x) of chi-square with `dof` degrees of freedom (A&S 26.4.19); 0 for x <= 0."""
    _check_positive("dof", dof)
    return 0.0 if x <= 0 else gammainc(dof / 2, x / 2)


def chi2_upper_tail(x: float, dof: float) -> float:
    """P(X > x) of chi-square, precise far out in the tail; 1 for x <= 0."""
    _check_positive("dof", dof)
    return 1.0 if x <= 0 else gammaincc(dof / 2, x / 2)


@lru_cache(maxsize=4096)
def chi2_quantile(p: float, dof: float) -> float:
    """The x with P(X <= x) = p for chi-square with `dof` degrees of freedom.

    Raises:
        ValueError: p is not between 0 and 1, or dof not positive or not finite.
    """
    check_level(p=p)
    check_above_zero(dof=dof)
    high = max(dof, 1.0)
    while chi2_cdf(high, dof) < p:
        high *= 2
    low = high
    while chi2_cdf(low, dof) > p:
        low /= 2
    if p < 0.5:
        return bracketed_root(lambda x: chi2_cdf(x, dof) - p, low, high)
    return bracketed_root(lambda x: (1 - p) - chi2_upper_tail(x, dof), low, high)


@lru_cache(maxsize=4096)
def f_quantile(p: float, dof: float, dof_below: float) -> float:
    """The f with P(F <= f) = p for `dof` over `dof_below` degrees of freedom (A&S 26.6.2).

    Raises:
        ValueError: p is not between 0 and 1, or degrees of freedom are not positive.
    """
    check_level(p=p)
    check_above_zero(dof=dof, dof_below=dof_below)
    share = bracketed_root(lambda x: betainc(dof / 2, dof_below / 2, x) - p, 0.0, 1.0)
    return dof_below * share / (dof * (1 - share))


def _check_positive(name: str, value: float) -> None:
    if not value > 0:
        raise ValueError(f"expected {name} above 0, not {value!r}")


def _gamma_tails(a: float, x: float) -> tuple[float, float]:
    """P(a, x) and Q(a, x): the smaller one is computed, the other is its complement."""
    _check_positive("a", a)
    if not x >= 0:
        raise ValueError(f"expected x of 0 or more, not {x!r}")
    if x == 0:
        return 0.0, 1.0
    if math.isinf(x):
        return 1.0, 0.0
    front = math.exp(a * math.log(x) - x - math.lgamma(a))
    if x < a + 1:
        lower = front * _gamma_series(a, x)
        return lower, 1 - lower
    upper = front * _gamma_fraction(a, x)
    return 1 - upper, upper


def _gamma_series(a: float, x: float) -> float:
    """Sum of x^n / (a (a+1) ... (a+n)) (DLMF 8.11.4)."""
    term = total = 1 / a
    for n in range(1, _MAX_TERMS):
        term *= x / (a + n)
        total += term
        if term < total * sys.float_info.epsilon:
            return total
    raise _too_large(a)


def _gamma_fraction(a: float, x: float) -> float:
    """The continued fraction of the upper function, in its even form (DLMF 8.9.2)."""
    b = x + 1 - a
    c = 1 / _TINY
    d = 1 / b
    value = d
    for n in range(1, _MAX_TERMS):
        numerator = n * (a - n)
        b += 2
        d = 1 / _not_zero(b + numerator * d)
        c = _not_zero(b + numerator / c)
        value *= c * d
        if abs(c * d - 1) < _LENTZ_CLOSE:
            return value
    raise _too_large(a)


def _beta_tail(a: float, b: float, x: float, y: float) -> float:
    """I_x(a, b) with y = 1 - x given apart, so that neither end loses digits."""
    if x <= 0:
        return 0.0
    if y <= 0:
        return 1.0
    front = math.exp(a * _log_of(x, y) + b * _log_of(y, x) - _log_beta(a, b))
    if x <= (a + 1) / (a + b + 2):
        return front * _beta_fraction(a, b, x) / a
    return 1 - front * _beta_fraction(b, a, y) / b


def _log_of(x: float, complement: float) -> float:
    return math.log(x) if x < 0.5 else math.log1p(-complement)


def _log_beta(a: float, b: float) -> float:
    """ln B(a, b); for a large argument by Stirling's series, where lgamma would cancel."""
    a, b = max(a, b), min(a, b)
    if a < 30:
        return math.lgamma(a) + math.lgamma(b) - math.lgamma(a + b)
    difference = b - (a - 0.5) * math.log1p(b / a) - b * math.log(a + b)
    return math.lgamma(b) + difference + _stirling_rest(a) - _stirling_rest(a + b)


def _stirling_rest(z: float) -> float:
    """The rest of ln gamma(z) after Stirling's leading terms (A&S 6.1.41)."""
    square = z * z
    return (1 / 12 - (1 / 360 - (1 / 1260 - 1 / (1680 * square)) / square) / square) / z


def _beta_fraction(a: float, b: float, x: float) -> float:
    """The continued fraction of I_x(a, b) (DLMF 8.17.22)."""
    c = 1.0
    d = 1 / _not_zero(1 - (a + b) * x / (a + 1))
    value = d
    for m in range(1, _MAX_TERMS):
        even = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m))
        d = 1 / _not_zero(1 + even * d)
        c = _not_zero(1 + even / c)
        value *= c * d
        odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
        d = 1 / _not_zero(1 + odd * d)
        c = _not_zero(1 + odd / c)
        value *= c * d
        if abs(c * d - 1) < _LENTZ_CLOSE:
            return value
    raise _too_large(a + b)


def _too_large(parameter: float) -> ValueError:
    return ValueError(f"expected a parameter small enough to compute with, not {parameter!r}")


def _not_zero(value: float) -> float:
    return value if abs(value) > _TINY else _TINY

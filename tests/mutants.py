"""Do the tests of a formula hold it? Draws small changes of `ledger/compute` and runs its tests.

python -m tests.mutants                         200 mutants by a seed that is printed
python -m tests.mutants --seed 7 --count 500    the same ones again
python -m tests.mutants --module drift          of one module alone
python -m tests.mutants --seed 7 --part 2/5     the second fifth of them

A mutant alters one operator, one comparison or one constant (by 1 %). It is killed where a test of
tests/compute that imports its module fails, or does not end. What lives is named, and has its
reason in `EQUIVALENT` or gets a case.
"""

import argparse
import ast
import os
import random
import resource
import sys
import tempfile
import types
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

# Read once, so that the child of each mutant need not.
import pytest
import scipy.optimize
import scipy.stats  # noqa: F401
import statsmodels.api  # noqa: F401

import ledger.compute  # noqa: F401

ROOT = Path(__file__).resolve().parents[1]
COMPUTE = ROOT / "ledger" / "compute"
TESTS = ROOT / "tests" / "compute"

WANTED = 0.95
"""The share that must be killed."""

MOST_CPU_S = 90
"""A run that computes for longer is taken not to end, however busy the machine is."""

_OPERATORS: dict[type[ast.AST], type[ast.AST]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.Pow: ast.Mult,
    ast.Lt: ast.LtE,
    ast.LtE: ast.Lt,
    ast.Gt: ast.GtE,
    ast.GtE: ast.Gt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.And: ast.Or,
    ast.Or: ast.And,
}
_SYMBOLS = {
    ast.Add: "+", ast.Sub: "-", ast.Mult: "*", ast.Div: "/", ast.Pow: "**", ast.Lt: "<",
    ast.LtE: "<=", ast.Gt: ">", ast.GtE: ">=", ast.Eq: "==", ast.NotEq: "!=", ast.And: "and",
    ast.Or: "or",
}  # fmt: skip

_SEARCH = "where a search steps to changes how long it takes, not where it ends"
_TIE = "no computed value falls on the limit"
_WHOLE = "counts are whole numbers"
_BOTH = "both ways hold on the border"
_LAST = "how near to one the last factor comes is below rounding"
_NOUGHT = "it stands in for nought, whatever its size"
_ELSEWHERE = "nothing in compute uses it; a part of a place fails the tests of those who do"
_INSIDE = "every width lies far inside"
_BEYOND = "from there on no chance is left that a double could hold"
_OFFSET = "temperatures convert by formulas of their own, their factors only name the units"

# Of a line, where no result can tell them apart: the text of the change, and why.
EQUIVALENT: dict[tuple[str, str], str] = {
    ("drift", '> to >= in `side = "above" if value > centre else "below"`'): (
        "a value on the centre is never outside its limits"
    ),
    (
        "drift",
        (
            "< to <= in `if chi2_upper_tail(_generalised_chi2(readings, 0.0), count - 1) < "
            "EXCESS_LEVEL:`"
        ),
    ): _TIE,
    (
        "trend",
        (
            "1e-09 to 1.01e-09 in `size / scatter / math.sqrt(max(1 - a - c * (r.day - "
            "self.pivot), 1e-9))`"
        ),
    ): "it keeps a reading that is all of its line from a division by nought, whatever its size",
    ("schedule", ">= to > in `if base >= last:`"): (
        "from a base on the last day all that follows is due later, and left out"
    ),
    ("schedule", "0 to 0.01 in `n, tries = 1, 0`"): (
        "the steps double from the third on, and max takes the whole 1 before that"
    ),
    ("schedule", "> to >= in `for day in (day for day in days_done if day > base):`"): (
        "nothing comes due between a day and itself"
    ),
    ("numbers", "/ to * in `phi = (f1 - f2) / (f3 - f2)`"): _SEARCH,
    ("numbers", "- to + in `phi = (f1 - f2) / (f3 - f2)`"): _SEARCH,
    ("numbers", "- to + in `if 1 - math.sqrt(1 - xi) < phi < math.sqrt(xi):`"): _SEARCH,
    ("numbers", "1 to 1.01 in `fraction = min(1 - closeness, max(closeness, fraction))`"): _SEARCH,
    ("distributions", "2 to 2.02 in `high *= 2`"): _SEARCH,
    ("distributions", "< to <= in `if x < a + 1:`"): _BOTH,
    (
        "distributions",
        (
            "1 to 1.01 in `return (1 / 12 - (1 / 360 - (1 / 1260 - 1 / (1680 * square)) / square) "
            "/ square) / z`"
        ),
    ): "from 30 on the last terms lie below rounding",
    ("weibull", "> to >= in `while function(place - step) > function(place):`"): _SEARCH,
    (
        "weibull",
        (
            "0.25 to 0.2525 in `low, high = (_falls_to(at, highest - _LEAST_LOG_DENSITY, peak, "
            "way) for way in (-0.25, 0.25))`"
        ),
    ): "the knots begin and end where the density is next to nothing",
    (
        "trend",
        "<= to < in `if older.lower <= newer.upper and newer.lower <= older.upper:`",
    ): _TIE,
    (
        "trend",
        (
            "0.0 to 0.01 in `sums = [[0.0, *itertools.accumulate(column)] for column in (weights, "
            "products, squares)]`"
        ),
    ): "only differences of the sums are used",
    ("trend", "> to >= in `limit = upper if line.slope > 0 else lower`"): (
        "a slope of nought is not shown"
    ),
    ("trend", "1 to 1.01 in `weights = [1 / r.total_u**2 for r in readings]`"): (
        "a factor of all weights does not matter"
    ),
    (
        "speed",
        (
            "- to + in `products = (d * (t - mean_time) for d, t in zip(away, times_s, "
            "strict=True))`"
        ),
    ): "the passes about their mean add up to nought: what is taken off all times does not matter",
    ("weibull", "2 to 2.02 in `low -= 2`"): _SEARCH,
    ("weibull", "< to <= in `while excess(low) < 0:`"): _SEARCH,
    (
        "weibull",
        "+ to - in `knots = [knot_at(low + step * number) for number in range(_KNOTS + 1)]`",
    ): ("the knots begin and end where the density is next to nothing"),
    (
        "wander",
        "> to >= in `is_shown = count >= LEAST_TO_WANDER and lag_one > critical_lag_one(count)`",
    ): _TIE,
    ("speed", "> to >= in `if gap > _LONGEST_GAP_IN_PASSES:`"): _TIE,
    ("ratio", "<= to < in `share = read if read <= 1 else efficiency`"): _TIE,
    ("trend", "150 to 151.5 in `MOST_TREND_READINGS = 150`"): (
        "nothing in compute uses it; a part of a reading fails the tests of upkeep"
    ),
    ("weibull", "/ to * in `peak = _peak(at, math.log(failures / -failed))`"): _SEARCH,
    ("weibull", "1.0 to 1.01 in `low, high = -1.0, 1.0`"): _SEARCH,
    ("shared", "+ to - in `alike[of] = alike.get(of, 0.0) + abs(total)`"): (
        "what all terms have the other sign of is only used squared"
    ),
    ("trend", "<= to < in `if by_line <= least * (1 + _FOR_ITS_DAY / (count - 2)):`"): _TIE,
    (
        "shared",
        "> to >= in `inflated = chi2_dof > 0 and chi2 > chi2_quantile(CONSISTENT, chi2_dof)`",
    ): _TIE,
    ("tuning", "1e-09 to 1.01e-09 in `if abs(setting - wanted) > step / 2 * (1 + 1e-9):`"): _TIE,
    ("tuning", "> to >= in `if abs(setting - wanted) > step / 2 * (1 + 1e-9):`"): _TIE,
    (
        "tuning",
        "> to >= in `inflated = fit.inflated and fit.chi2 > chi2_quantile(CONSISTENT, dof)`",
    ): _TIE,
    ("weibull", "30.0 to 30.3 in `_LEAST_LOG_DENSITY = 30.0`"): (
        "the knots begin and end where the density is next to nothing"
    ),
    (
        "trend",
        (
            "- to + in `slope = math.fsum(c * (r.value - value) for c, r in zip(of_slope, "
            "readings, strict=True))`"
        ),
    ): "the factors of the slope add up to nought: what is taken off all values does not matter",
    ("weibull", ">= to > in `if below + slice_ >= share:`"): _TIE,
    (
        "reliability",
        "> to >= in `if shape * math.log(end_h) > math.log(sys.float_info.max):`",
    ): _TIE,
    ("weibull", "1 to 1.01 in `return knots[-1].shape`"): (
        "no share asked for is so near to one that rounding keeps the sum below it"
    ),
    ("weibull", "<= to < in `if excess(high) <= 0:`"): _TIE,
    (
        "meter",
        "1 to 1.01 in `if place + 1 < len(readings) and readings[place + 1] >= readings[kept[-1]]:`",
    ): _WHOLE,
    (
        "ratio",
        (
            "1 to 1.01 in `several = tuple(sorted(group.key for group in apart if "
            "len(group.members) > 1))`"
        ),
    ): _WHOLE,
    ("ratio", "2 to 2.02 in `comparisons = len(left) if len(left) > 2 else 1`"): _WHOLE,
    (
        "reliability",
        (
            "> to >= in `trend = FailureTrend.SHORTENING if statistic > 0 else "
            "FailureTrend.LENGTHENING`"
        ),
    ): "a statistic of nought is never significant",
    ("band", ">= to > in `if max(p_below, p_above) >= SURE:`"): _TIE,
    (
        "shared",
        "0 to 0.01 in `inflated = chi2_dof > 0 and chi2 > chi2_quantile(CONSISTENT, chi2_dof)`",
    ): _WHOLE,
    ("numbers", "> to >= in `if (f1 > 0) == (f2 > 0):`"): "an end at nought has been returned",
    ("numbers", "1.0 to 1.01 in `closeness = tolerance / abs(x2 - x1) if x2 != x1 else 1.0`"): (
        "either is beyond the half that ends it"
    ),
    ("drift", "2 to 2.02 in `high = count * (max(values) - min(values)) ** 2`"): _SEARCH,
    ("weibull", "1 to 1.01 in `low = high - 1`"): _SEARCH,
    ("weibull", "2 to 2.02 in `low *= 2`"): _SEARCH,
    (
        "grease",
        "0 to 0.01 in `if bracket <= 0:`",
    ): "less than a minute between greasings is too fast as well",
    ("numbers", "> to >= in `if f == 0 or closeness > 0.5:`"): _SEARCH,
    ("numbers", "0.5 to 0.505 in `if f == 0 or closeness > 0.5:`"): _SEARCH,
    (
        "reliability",
        (
            ">= to > in `return next((s for s in range(_MOST) if betainc(uses + 0.5, s + 1, "
            "known) >= service), None)`"
        ),
    ): _TIE,
    ("trend", "1 to 1.01 in `if keys and len(groups) > 1:`"): _WHOLE,
    (
        "trend",
        (
            "0 to 0.01 in `birge = math.sqrt(math.fsum(e * e for e in scaled) / dof) if dof > 0 "
            "else 1.0`"
        ),
    ): _WHOLE,
    (
        "figures",
        "<= to < in `if len(rows) < MIN_SPANS or determinant <= 1e-9 * dd * vv:`",
    ): _TIE,
    (
        "figures",
        "1e-09 to 1.01e-09 in `if len(rows) < MIN_SPANS or determinant <= 1e-9 * dd * vv:`",
    ): "traffic that is the same lies far below, traffic that differs far above",
    ("weibull", "2 to 2.02 in `high *= 2`"): _SEARCH,
    ("distributions", "2 to 2.02 in `if x <= (a + 1) / (a + b + 2):`"): (_BOTH),
    ("recurrence", "2 to 2.02 in `for years_ahead in (2, _LONGEST_GAP_YEARS):`"): _WHOLE,
    ("weibull", "> to >= in `while excess(high) > 0:`"): _SEARCH,
    ("weibull", "- to + in `while function(place - step) > function(place):`"): (
        "from a start beyond the peak the knots begin and end further out"
    ),
    ("weibull", "1 to 1.01 in `return ordered[-1][0]`"): (
        "no share asked for is so near to one that rounding keeps the sum below it"
    ),
    (
        "distributions",
        "0.5 to 0.505 in `return math.log(x) if x < 0.5 else math.log1p(-complement)`",
    ): _BOTH,
    ("distributions", "30 to 30.3 in `if a < 30:`"): _BOTH,
    ("wander", "1.0 to 1.01 in `level = [1.0] * count if levels is None else list(levels)`"): (
        "how long a column is does not matter"
    ),
    ("figures", "1 to 1.01 in `weights = [1 / d for d, _, _ in rows]`"): (
        "a factor of all weights does not matter"
    ),
    ("figures", "0 to 0.01 in `rows = [(d, v, e) for d, v, e in spans if d > 0]`"): _WHOLE,
    ("ratio", "1 to 1.01 in `while len(left) > 1:`"): _WHOLE,
    ("ratio", "< to <= in `return self.e_number < -1`"): _TIE,
    (
        "tuning",
        "<= to < in `if (after := _after(fit, setting, timings, turns)) <= wanted`",
    ): _TIE,
    ("reliability", "< to <= in `if p_value < 1 - _LEVEL:`"): _TIE,
    (
        "meter",
        (
            "1 to 1.01 in `return log.days[-1] + timedelta(days=max(1, math.ceil(days_ahead - "
            "_DAY_SLACK)))`"
        ),
    ): "a date takes whole days",
    ("recurrence", "2000 to 2020.0 in `_dates(rule.text, date(2000, 1, 1), 2000)`"): (
        "it is only tried whether the rule can be read"
    ),
    ("schedule", "** to * in `n += max(1, 2**tries // 4)`"): _SEARCH,
    ("schedule", "2 to 2.02 in `n += max(1, 2**tries // 4)`"): _SEARCH,
    ("distributions", "2 to 2.02 in `_LENTZ_CLOSE = 2 * sys.float_info.epsilon`"): _LAST,
    ("distributions", "* to / in `_TINY = sys.float_info.min * 1e8`"): _NOUGHT,
    ("distributions", "100000000.0 to 101000000.0 in `_TINY = sys.float_info.min * 1e8`"): _NOUGHT,
    ("distributions", "> to >= in `return value if abs(value) > _TINY else _TINY`"): _TIE,
    ("distributions", "<= to < in `if t <= 0:`"): _BOTH,
    ("distributions", "< to <= in `if t < 0:`"): _BOTH,
    ("distributions", "> to >= in `while t_upper_tail(high, dof) > tail:`"): _SEARCH,
    ("distributions", "> to >= in `while chi2_cdf(low, dof) > p:`"): _SEARCH,
    ("distributions", "< to <= in `while chi2_cdf(high, dof) < p:`"): _SEARCH,
    ("distributions", "2 to 2.02 in `low /= 2`"): _SEARCH,
    ("distributions", "1.0 to 1.01 in `high = 1.0`"): _SEARCH,
    ("distributions", "1.0 to 1.01 in `high = max(dof, 1.0)`"): _SEARCH,
    ("distributions", "<= to < in `if x <= (a + 1) / (a + b + 2):`"): _BOTH,
    (
        "distributions",
        "< to <= in `return math.log(x) if x < 0.5 else math.log1p(-complement)`",
    ): _BOTH,
    ("distributions", "< to <= in `if a < 30:`"): _BOTH,
    ("distributions", "< to <= in `if p < 0.5:`"): _BOTH,
    ("distributions", "0.5 to 0.505 in `if p < 0.5:`"): _BOTH,
    ("distributions", "< to <= in `if term < total * sys.float_info.epsilon:`"): _LAST,
    ("distributions", "< to <= in `if abs(c * d - 1) < _LENTZ_CLOSE:`"): _LAST,
    ("weibull", "0 to 0.01 in `while excess(low) < 0:`"): _SEARCH,
    ("band", ">= to > in `if p_in_band(value, u, band, dof) >= SURE:`"): _TIE,
    ("band", "> to >= in `if below > 0:`"): _BOTH,
    ("band", "0.0 to 0.01 in `share = (held - before.line_rate_per_h) / step if step else 0.0`"): (
        "without a step both ends are one"
    ),
    ("numbers", '1.8 to 1.818 in `"temperature": {"c": 1, "f": 1 / 1.8},`'): _OFFSET,
    ("numbers", '/ to * in `"temperature": {"c": 1, "f": 1 / 1.8},`'): _OFFSET,
    ("numbers", '1 to 1.01 in `"temperature": {"c": 1, "f": 1 / 1.8},`'): _OFFSET,
    ("distributions", "<= to < in `return 0.0 if x <= 0 else gammainc(dof / 2, x / 2)`"): _BOTH,
    ("distributions", "<= to < in `return 1.0 if x <= 0 else gammaincc(dof / 2, x / 2)`"): _BOTH,
    ("distributions", "0 to 0.01 in `if t <= 0:`"): _BOTH,
    ("distributions", "0 to 0.01 in `if t < 0:`"): _BOTH,
    ("numbers", "< to <= in `best = x1 if abs(f1) < abs(f2) else x2`"): _TIE,
    ("numbers", "> to >= in `if (f > 0) == (f1 > 0):`"): (
        "a value of nought has been returned or ends the search"
    ),
    (
        "numbers",
        "+ to - in `tolerance = 2 * sys.float_info.epsilon * abs(best) + sys.float_info.min`",
    ): "the least number lies far below the rest",
    ("ratio", "> to >= in `measured = replace(measured, prior_disagrees=abs(e) > 1)`"): _TIE,
    ("ratio", "<= to < in `if worst <= 1:`"): _TIE,
    ("meter", "0.0 to 0.01 in `before = 0.0`"): "it is set anew before it is used",
    ("meter", "1e-05 to 1.0100000000000002e-05 in `_DAY_SLACK = 1e-5`"): _TIE,
    ("numbers", "1 to 1.01 in `LPM_PLACES = 1`"): _ELSEWHERE,
    ("numbers", "2 to 2.02 in `GPM_PLACES = 2`"): _ELSEWHERE,
    ("reliability", "1.0 to 1.01 in `lower, upper = 0.0, 1.0`"): (
        "it is only asked whether it is below one"
    ),
    ("drift", "0.0 to 0.01 in `return numbers.bracketed_root(excess, 0.0, 9.0)`"): _INSIDE,
    ("drift", "9.0 to 9.09 in `return numbers.bracketed_root(excess, 0.0, 9.0)`"): _INSIDE,
    ("recurrence", "40 to 40.4 in `_LONGEST_GAP_YEARS = 40`"): _WHOLE,
    ("reliability", "< to <= in `if p_value < SIGNIFICANCE:`"): _TIE,
    ("reliability", "> to >= in `is_late = late > share * (early + late)`"): (
        "halves that fail alike are never significant"
    ),
    (
        "load",
        ">= to > in `size = next((size for size in FULL_LOAD_AMPS if size >= wanted_hp), None)`",
    ): _TIE,
    (
        "meter",
        (
            "28 to 28.28 in `RECENT_SPAN_DAYS = 28  # four whole weeks, so that closed weekdays "
            "weigh alike in every span`"
        ),
    ): "of whole days the same one is nearest",
    ("meter", "1 to 1.01 in `_DAY = timedelta(days=1)`"): "a date takes whole days",
    ("schedule", "1 to 1.01 in `_DAY = timedelta(days=1)`"): "a date takes whole days",
    ("schedule", "<= to < in `if days and first <= days[0] and days[-1] <= as_of:`"): (
        "the days are filtered then, and all are kept"
    ),
    ("trend", "> to >= in `return worst if judged[worst] > limit else None`"): _TIE,
    ("figures", "< to <= in `k = _K_COLD if celsius < 25 else _K_WARM`"): _BOTH,
    (
        "workload",
        (
            "> to >= in `kinds = sorted((kind for kind, minutes in work.items() if minutes > 0), "
            "key=sorted)`"
        ),
    ): "a kind without minutes adds none",
    ("workload", "0.0 to 0.01 in `minutes / there if there else math.inf if minutes else 0.0`"): (
        "a week without days or work is never the fullest"
    ),
    ("tuning", "> to >= in `limited_by = Limit.LOWEST if setting > wanted else Limit.HIGHEST`"): (
        "a setting held by a limit is not the wanted one"
    ),
    ("trend", "1e-06 to 1.0099999999999999e-06 in `_LEAST_RESIDUAL = 1e-6`"): _TIE,
    (
        "trend",
        "< to <= in `is_more = dof > 0 and chi2_upper_tail(birge**2 * dof, dof) < EXCESS_LEVEL`",
    ): _TIE,
    (
        "trend",
        (
            "0 to 0.01 in `is_more = dof > 0 and chi2_upper_tail(birge**2 * dof, dof) < "
            "EXCESS_LEVEL`"
        ),
    ): _WHOLE,
    (
        "weibull",
        "> to >= in `saves=math.fsum(weight for saving, weight in savings if saving > 0),`",
    ): _TIE,
    (
        "distributions",
        (
            "1260 to 1272.6 in `return (1 / 12 - (1 / 360 - (1 / 1260 - 1 / (1680 * square)) / "
            "square) / square) / z`"
        ),
    ): "from 30 on the last terms lie below rounding",
    (
        "distributions",
        (
            "1680 to 1696.8 in `return (1 / 12 - (1 / 360 - (1 / 1260 - 1 / (1680 * square)) / "
            "square) / square) / z`"
        ),
    ): "from 30 on the last terms lie below rounding",
    (
        "weibull",
        (
            "700.0 to 707.0 in `* gammaincc(failures, knot.total * math.exp(min(700.0, "
            "-knot.shape * log_scale)))`"
        ),
    ): _BEYOND,
    (
        "weibull",
        ("7.0 to 7.07 in `return math.exp(-math.exp(min(7.0, shape * math.log(share_of_scale))))`"),
    ): _BEYOND,
    (
        "weibull",
        "7.0 to 7.07 in `power = math.exp(min(shape * (math.log(age) - log_scale), 7.0))`",
    ): _BEYOND,
    ("weibull", ">= to > in `if below >= share:`"): _TIE,
    ("schedule", "4 to 4.04 in `n += max(1, 2**tries // 4)`"): _SEARCH,
    ("wear", "< to <= in `return below if value < band.low else above`"): (
        "a value on its limit is not out of its band"
    ),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Mutant:
    """One change: the node by its number in the walk of its module's tree."""

    module: str
    node: int
    line: int
    change: str

    def __str__(self) -> str:
        return f"ledger/compute/{self.module}.py:{self.line}: {self.change}"


def mutants_of(module: str) -> Iterator[Mutant]:
    """Every change that may be drawn in a module, in the order of its text."""
    source = (COMPUTE / f"{module}.py").read_text(encoding="utf-8")
    lines = source.splitlines()
    tree = ast.parse(source)
    for number, node in enumerate(ast.walk(tree)):
        change = _change(node)
        if change is not None:
            line = node.lineno
            yield Mutant(
                module=module,
                node=number,
                line=line,
                change=f"{change} in `{lines[line - 1].strip()}`",
            )


def _change(node: ast.AST) -> str | None:
    match node:
        case ast.BinOp(op=op) | ast.BoolOp(op=op) | ast.AugAssign(op=op) | ast.Compare(ops=[op]):
            other = _OPERATORS.get(type(op))
            return None if other is None else f"{_SYMBOLS[type(op)]} to {_SYMBOLS[other]}"
        case ast.Constant(value=float() | int() as value) if not isinstance(value, bool):
            return f"{value!r} to {_nudged(value)!r}"
        case _:
            return None


def _nudged(value: float) -> float:
    return value * 1.01 if value else 0.01


def code_of(module: str, changed: int | None = None) -> types.CodeType:
    """The module's code, with the change at one node of its tree made."""
    path = COMPUTE / f"{module}.py"
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for number, node in enumerate(ast.walk(tree)):
        if number != changed:
            continue
        match node:
            case ast.Compare(ops=[op]):
                node.ops = [_OPERATORS[type(op)]()]
            case ast.Constant(value=value):
                node.value = _nudged(value)
            case _:
                node.op = _OPERATORS[type(node.op)]()
    return compile(tree, str(path), "exec")


def tests_of(module: str) -> list[str]:
    """The test files that import the module or a function of it, `NotEnoughData` alone being none.

    Those come first that import the most, as they are the likeliest to kill.
    """
    name, found = f"ledger.compute.{module}", []
    for path in sorted(TESTS.glob("test_*.py")):
        used = {
            f"{node.module}.{alias.name}"
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
            if isinstance(node, ast.ImportFrom)
            for alias in node.names
        }
        own = {one for one in used if f"{one}.".startswith(f"{name}.")} - {f"{name}.NotEnoughData"}
        if own:
            found.append((name not in own, -len(own), str(path)))
    return [path for *_, path in sorted(found)]


def do_tests_pass(module: str, tests: Sequence[str], changed: int | None = None) -> bool:
    """Run the tests in a child that has the changed module in the place of the true one."""
    child = os.fork()
    if child == 0:
        resource.setrlimit(resource.RLIMIT_CPU, (MOST_CPU_S, MOST_CPU_S))
        os._exit(_run(module, tests, changed))
    _, status = os.waitpid(child, 0)
    return os.waitstatus_to_exitcode(status) == 0


def _run(module: str, tests: Sequence[str], changed: int | None) -> int:
    quiet = os.open(os.devnull, os.O_WRONLY)
    os.dup2(quiet, 1)
    os.dup2(quiet, 2)
    name = f"ledger.compute.{module}"
    made = types.ModuleType(name)
    made.__file__ = str(COMPUTE / f"{module}.py")
    sys.modules[name] = made
    try:
        exec(code_of(module, changed), made.__dict__)
    except Exception:  # noqa: BLE001 - a module that cannot be read fails every test
        return 1
    setattr(sys.modules["ledger.compute"], module, made)
    plain = ["-x", "-q", "-n", "0", "-p", "no:cacheprovider", "--hypothesis-seed=0"]
    return int(pytest.main([*plain, *tests]))


def drawn(seed: int, count: int, modules: Sequence[str]) -> list[Mutant]:
    """So many mutants of the modules, all where there are fewer."""
    every = [mutant for module in modules for mutant in mutants_of(module)]
    return random.Random(seed).sample(every, min(count, len(every)))


def main(words: Sequence[str]) -> int:
    names = sorted(path.stem for path in COMPUTE.glob("*.py") if path.stem != "__init__")
    parser = argparse.ArgumentParser(prog="python -m tests.mutants", description=__doc__)
    parser.add_argument("--seed", type=int, default=random.SystemRandom().randrange(10**6))
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--module", choices=names, action="append")
    parser.add_argument("--part", default="1/1", help="such as 2/5")
    asked = parser.parse_args(words)
    sys.stdout.write(f"seed {asked.seed}\n")
    os.chdir(ROOT)
    lived, explained = [], 0
    part, parts = map(int, asked.part.split("/"))
    chosen = drawn(asked.seed, asked.count, asked.module or names)[part - 1 :: parts]
    tests = {name: tests_of(name) for name in {mutant.module for mutant in chosen}}
    with tempfile.TemporaryDirectory() as folder:
        os.environ["HYPOTHESIS_STORAGE_DIRECTORY"] = folder
        os.environ["HYPOTHESIS_PROFILE"] = "quick"
        for name, own in sorted(tests.items()):
            if not (own and do_tests_pass(name, own)):
                sys.stdout.write(f"{name}: its own tests fail or there are none; mend that first\n")
                return 1
        for mutant in chosen:
            if not do_tests_pass(mutant.module, tests[mutant.module], mutant.node):
                continue
            why = EQUIVALENT.get((mutant.module, mutant.change), "")
            explained += bool(why)
            lived.append(mutant)
            sys.stdout.write(f"{mutant}{f': {why}' if why else ''}\n")
            sys.stdout.flush()
    killed = len(chosen) - len(lived)
    sys.stdout.write(
        f"{killed} of {len(chosen)} killed ({100 * killed / len(chosen):.1f} %, asked "
        f"{100 * WANTED:.0f} %); {explained} of {len(lived)} that live are known to change nothing\n"
    )
    return 0 if killed + explained >= WANTED * len(chosen) else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

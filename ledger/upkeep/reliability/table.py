"""Reliability results as rows for JSON; a figure that cannot be said is null, with the reason."""

from ledger.book.flat import JsonRow, fields_of, json_value
from ledger.compute import reliability as formulas
from ledger.compute import weibull
from ledger.compute.numbers import NotEnoughData
from ledger.upkeep.reliability.found import KindReliability, MachineReliability, Replacement
from ledger.upkeep.reliability.tasks import TaskValue
from ledger.upkeep.reliability.words import format_replacement
from ledger.values import asdict

_SHAPE = ("shape", "shape_lower", "shape_upper")


def machine_row(found: MachineReliability) -> JsonRow:
    """Hours are operating hours of the watch; limits of the MTBF and of shapes as on the page."""
    return {
        "machine": found.machine.ident,
        "watched_from": found.watch.first.isoformat(),
        "watched_to": found.watch.last.isoformat(),
        "hours": found.watch.hours,
        "hours_by": found.watch.basis,
        "failures": [
            {
                "entry": str(failure.entry.ref),
                **fields_of(failure, "place", "hours"),
                "stopped_minutes": failure.entry.stopped_minutes,
            }
            for failure in found.failures
        ],
        "mtbf": _mtbf(found.mtbf),
        "trend": _trend(found.trend),
        "availability": _available(found.available),
        "line_availability": _available(found.line_available),
        "life": _life(found.life),
        "replacement": None if found.replacement is None else _replacement(found.replacement),
    }


def kind_row(kind: KindReliability) -> JsonRow:
    """`hours` are those of all points of the kind together."""
    place, count = kind.worst
    return {
        **fields_of(kind, "kind", "points", "hours"),
        "failures": len(kind.failures),
        "most_at": str(place),
        "most": count,
        "mtbf": _mtbf(kind.mtbf),
        "trend": _trend(kind.trend),
        "life": _life(kind.life),
        "announced": [
            {"finding": str(one.finding.ref), "failure": str(one.failure.ref), "days": one.days}
            for one in kind.signs
        ],
        "look_every_days": kind.looks.interval_days
        if isinstance(kind.looks, formulas.InspectionPlan)
        else None,
    }


def task_row(value: TaskValue) -> JsonRow:
    found = value.value
    row: JsonRow = {
        "task": value.task.ident,
        "interval_days": value.interval_days,
        "interval_from_record": value.from_record,
        "spans": value.spans,
        "failures": [str(entry.ref) for entry in value.failures],
    }
    if isinstance(found, formulas.IntervalValue):
        return row | {
            "says": found.effect.value,
            **fields_of(found, "early_failures", "late_failures"),
            "late_to_early_rate": json_value(found.rate_ratio),
            "rate_lower": found.ratio_lower,
            "rate_upper": json_value(found.ratio_upper),
            "p_value": found.p_value,
        }
    return row | {"says": found.text}


def _available(available: formulas.Availability | NotEnoughData | None) -> JsonRow | None:
    if isinstance(available, NotEnoughData):
        return {"says": available.text}
    return None if available is None else asdict(available)


def _mtbf(mtbf: formulas.MeanTimeBetweenFailures | None) -> JsonRow | None:
    return None if mtbf is None else fields_of(mtbf, "estimate_h", "lower_h", "upper_h", "level")


def _trend(trend: formulas.TrendTest | NotEnoughData) -> JsonRow:
    if isinstance(trend, NotEnoughData):
        return {"says": trend.text}
    return {"says": trend.trend.value, "laplace": trend.statistic, "p_value": trend.p_value}


def _life(life: weibull.WeibullFit | formulas.GrowthModel | NotEnoughData) -> JsonRow:
    match life:
        case NotEnoughData():
            return {"says": life.text}
        case weibull.WeibullFit():
            scale = ("scale_h", "scale_lower_h", "scale_upper_h")
            return {"model": "weibull"} | fields_of(life, "lives", *_SHAPE, *scale)
        case formulas.GrowthModel():
            return {"model": "growth"} | fields_of(life, *_SHAPE, "current_mtbf_h")


def _replacement(replacement: Replacement) -> JsonRow:
    row: JsonRow = {"says": format_replacement(replacement, "")}
    match replacement:
        case weibull.AgeAdvice(age=best):
            return row | {
                "age_h": best.age_h,
                "saves_probability": replacement.saves,
                **fields_of(replacement, "saving", "saving_lower", "saving_upper"),
                **fields_of(best, "cost_per_h", "run_to_failure_cost_per_h"),
            }
        case weibull.RunToFailure():
            return row | {"run_to_failure_cost_per_h": replacement.cost_per_h}
        case _:
            return row

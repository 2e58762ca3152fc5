"""The answers of `tune` as plain names and values, for JSON; settings in Hz or L/min."""

import math
from collections.abc import Sequence

from ledger.book.flat import JsonRow, fields_of
from ledger.compute.ratio import RatioFit
from ledger.compute.speed import Speed
from ledger.upkeep.speeds.ratios import DriveRatio
from ledger.upkeep.tuning.found import CountFirst, RateSetting, SettingOutlook, Tuning


def tuning_row(tuning: Tuning, outlooks: Sequence[SettingOutlook]) -> JsonRow:
    """Everything that the page of the command says, unrounded."""
    ratio, change = tuning.ratio, tuning.change_in_force
    return {
        "machine": tuning.machine.ident,
        "setting_unit": ratio.unit,
        "ratio": None if ratio.fit is None else _ratio(ratio, ratio.fit),
        "setting_in_force": None if change is None else change.value,
        "approved_to_come": [
            {
                "setting": one.value,
                "line_rate_per_h": one.line_rate_per_h,
                "from": one.first_day.isoformat(),
            }
            for one in tuning.coming
        ],
        "in_force": None if tuning.in_force is None else _outlook(tuning.in_force),
        "no_recommendation_because": tuning.gap or None,
        "count_first": None if tuning.count_first is None else _count_first(tuning.count_first),
        "recommended": [_rate(at) for at in tuning.rates],
        "ratio_change": _ratio_change(tuning),
        "at": [_outlook(at) for at in outlooks],
    }


def _ratio(ratio: DriveRatio, fit: RatioFit) -> JsonRow:
    return {
        "rpm_per_unit": fit.rpm_per_unit,
        "standard_uncertainty": fit.u_rpm_per_unit,
        "expanded_uncertainty": fit.expanded(),
        "shared_standard_uncertainty": fit.u_shared,
        "groups_apart": list(fit.apart),
        "readings": [str(result.entry.ref) for result in ratio.used],
        "no_longer_counted": [str(r.entry.ref) for r in (*ratio.set_aside, *ratio.outgrown)],
        "since": None if ratio.since is None else str(ratio.since.ref),
        "used_nameplate": fit.used_prior or not ratio.used,
        "nameplate_disagrees": fit.prior_disagrees,
        "disagreeing": list(fit.disagreeing),
        "birge_ratio": fit.birge_ratio,
    }


def _count_first(first: CountFirst) -> JsonRow:
    more = first.more
    return {
        "setting": first.setting,
        **_speed(first.speed),
        **fields_of(first, "readings", "disagree"),
        "timings": None if more is None else more.timings,
        "turns_each": None if more is None else more.turns,
    }


def _rate(at: RateSetting) -> JsonRow:
    best = at.recommended
    return {
        "line_rate_per_h": at.line_rate_per_h,
        "band_rpm": [at.band.low, at.band.high],
        "band_from_nearest_rate": at.band_clamped,
        **fields_of(best, "target_rpm", "setting"),
        "limited_by": None if best.limited_by is None else best.limited_by.value,
        **_speed(best.speed),
        "p_in_band": best.p_in_band,
        "exact_setting": at.exact,
        "exact_setting_low": at.range.low,
        "exact_setting_high": None if math.isinf(at.range.high) else at.range.high,
        "setting_by_constant_slip": at.by_constant_slip,
        "step_from_in_force": at.step_in_force,
        "beyond_policy_step": at.beyond_policy_step,
        "cautions": [caution.value for caution in at.cautions],
        "next_readings": [
            {
                **fields_of(reading, "way", "seconds"),
                "reading_standard_uncertainty_rpm": reading.u_reading_rpm,
                "standard_uncertainty_after_rpm": reading.u_after_rpm,
                "p_in_band_after": reading.p_in_band,
                "verdict_after": reading.verdict.value,
            }
            for reading in at.next_readings
        ],
    }


def _outlook(at: SettingOutlook) -> JsonRow:
    return {
        **fields_of(at, "setting", "line_rate_per_h"),
        **_speed(at.speed),
        "band_rpm": None if at.band is None else [at.band.low, at.band.high],
        "p_in_band": at.p_in_band,
        "cautions": [caution.value for caution in at.cautions],
    }


def _speed(speed: Speed) -> JsonRow:
    return {
        "predicted_rpm": speed.rpm,
        "standard_uncertainty_rpm": speed.u_rpm,
        "expanded_uncertainty_rpm": speed.expanded(),
    }


def _ratio_change(tuning: Tuning) -> JsonRow | None:
    change = tuning.ratio_change
    if change is None:
        return None
    wear = change.oil_motor
    return {
        **fields_of(change, "fraction", "e_number", "has_moved"),
        "volumetric_efficiency": None if wear is None else wear.now.fraction,
        "volumetric_efficiency_expanded_uncertainty": None if wear is None else wear.now.expanded(),
        "volumetric_efficiency_first": wear.first.fraction if wear and wear.first else None,
        "volumetric_efficiency_new": None if wear is None else wear.new.fraction,
        "worn": wear.is_worn if wear and wear.since_first else None,
    }

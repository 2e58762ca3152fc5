"""How a drive's setting, its ratio and its cautions are worded, and as rows for JSON.

Flows are in the site's units, in JSON settings are in Hz or L/min.
"""

import math
from collections.abc import Callable, Iterator, Sequence

from ledger.book import words
from ledger.book.blocks import Spans, Strong
from ledger.book.flat import JsonRow, fields_of
from ledger.compute.band import SURE, Band
from ledger.compute.numbers import convert, fixed, shown, shown_uncertainty
from ledger.compute.ratio import RatioFit
from ledger.compute.speed import Speed
from ledger.compute.tuning import Limit
from ledger.model.machines import HydraulicDrive, Machine
from ledger.model.setpoints import Change
from ledger.model.site import Site
from ledger.upkeep.speeds.ratios import DriveRatio
from ledger.upkeep.tuning.found import (
    CountFirst,
    RateSetting,
    RatioChange,
    SettingOutlook,
    Tuning,
    largest_step,
)

# The last line is for oil alone.
CAUTION: Sequence[Spans] = (
    (
        "A setting is changed by a person qualified for the drive, with the line clear, inside the "
        "limits that the makers of drive, motor and machine give. The settings here are computed "
        "from readings; they do not say that a machine may be run."
    ),
    f"{words.SAFETY[1]} Count from outside the guards, and count again after the change.",
    "Oil under pressure can be injected through the skin: no hand near a leak.",
)


def cautions_for(machine: Machine) -> Sequence[Spans]:
    """The cautions on changing a setting; the one on oil for a drive that oil turns."""
    return CAUTION if isinstance(machine.drive, HydraulicDrive) else CAUTION[:-1]


def from_shown_unit(value: float, unit: str, site: Site) -> float:
    """The value in Hz or L/min of a setting given in the unit that it is shown in."""
    return convert(value, "gpm", "l_min") if words.format_unit(unit, site) == "gpm" else value


def format_coming(coming: Sequence[Change], site: Site) -> str:
    """`; 4.10 gpm approved from 2026-11-30`: what is approved to follow the setting in force."""
    return "".join(
        f"; {words.format_change(change, site)} approved from {words.format_day(change.first_day)}"
        for change in coming
    )


def format_finer(value: float, unit: str, site: Site) -> str:
    """A setting that no drive is set to, to two decimals and without its unit."""
    return fixed(words.in_shown_unit(value, unit, site), 2)


def format_step(step: float, unit: str, site: Site) -> str:
    """`+1.5 Hz`, `−0.30 gpm`; nothing moved is `as in force`."""
    if abs(step) < 1e-6:
        return "as in force"
    sign = "+" if step > 0 else "−"
    return f"{sign}{words.format_setting(round(abs(step), 9), unit, site)}"


def format_setting_range(found: Band, unit: str, site: Site) -> str:
    low = _finer_bound(found.low, unit, site, math.floor)
    if math.isinf(found.high):
        return f"above {low}"
    return f"{low}–{_finer_bound(found.high, unit, site, math.ceil)}"


def _finer_bound(value: float, unit: str, site: Site, outward: Callable[[float], int]) -> str:
    """To two decimals, outward: a bound that was rounded inward would promise too much."""
    hundredths = round(100 * words.in_shown_unit(value, unit, site), 6)
    return fixed(outward(hundredths) / 100, 2)


def format_rate_notes(tuning: Tuning, at: RateSetting, site: Site) -> Iterator[str]:
    """What to mind of one line rate's setting; nothing where nothing stands out."""
    unit = tuning.ratio.unit
    rate = f"{words.format_number(at.line_rate_per_h)} vehicles an hour"
    if at.band_clamped:
        yield f"At {rate} no band is stated; that of the nearest rate is used."
    if at.recommended.limited_by is not None:
        end = "lowest" if at.recommended.limited_by is Limit.LOWEST else "highest"
        yield (
            f"At {rate} the drive's {end} setting keeps it from the target: "
            f"{format_finer(at.exact, unit, site)} {words.format_unit(unit, site)} would give it. "
            "Only a change of the reduction or the motor would."
        )
    target = at.recommended.target_rpm
    if target not in at.band:
        band = words.format_range(at.band.low, at.band.high)
        yield (
            f"At {rate} the target of {words.format_number(round(target, 1))} r/min lies outside "
            f"the band of {band}."
        )
    if at.beyond_policy_step and tuning.change_in_force is not None:
        allowed = largest_step(site.policy, unit, tuning.change_in_force.value)
        yield (
            f"For {rate} the change is larger than the site allows at once "
            f"({words.format_setting(round(allowed, 9), unit, site)}): go in steps, and read the "
            "speed after each."
        )
    yield from (f"At {rate}: {caution.value}." for caution in at.cautions)
    in_force = tuning.in_force
    if in_force is not None and target in at.band and _is_as_good(in_force, at):
        nearer = words.format_setting(at.recommended.setting, unit, site)
        yield (
            f"At {rate} no change is needed: "
            f"{words.format_setting(in_force.setting, unit, site)}, in force, is in band, "
            f"and {nearer} would only come nearer to the target."
        )


def _is_as_good(in_force: SettingOutlook, at: RateSetting) -> bool:
    """Whether the setting in force is surely in band at its own rate, and is another."""
    return (
        in_force.p_in_band is not None
        and in_force.p_in_band >= SURE
        and in_force.line_rate_per_h == at.line_rate_per_h
        and in_force.setting != at.recommended.setting
    )


def format_count_first(first: CountFirst, unit: str, site: Site) -> Spans:
    """What to count before any setting is thought of, and why."""
    at = words.format_setting(round(first.setting, 1), unit, site)
    there = words.format_count(first.readings, "reading")
    why = (
        f"The {there} so far disagree by more than counting can"
        if first.disagree
        else f"The {there} so far leave the speed too uncertain"
    )
    width = words.format_number(round(first.band.high - first.band.low, 1))
    why += (
        f": {words.format_speed(first.speed)} r/min at {at}, for a band {width} r/min wide. "
        "No setting can be chosen from that."
    )
    if first.more is None:
        return (
            Strong("Find out why they disagree"),
            (
                f", then time it again: that alone would not settle it. {why} Look for a belt that "
                "slips, a wrong marker, a slip of the pen, and correct the entry that is wrong."
            ),
        )
    times = "" if first.more.timings == 1 else f", {first.more.timings} times"
    return (
        Strong("Time whole turns"),
        (
            f": {first.more.turns} turns from pass to pass at {at}{times} would do, if they agree "
            f"(± {shown_uncertainty(first.more.expanded_rpm)} r/min then). {why}"
        ),
    )


def format_bracket(tuning: Tuning, site: Site) -> str:
    """Where constant slip would put each setting, if that is half a step off or more."""
    unit = tuning.ratio.unit
    others = words.in_words(
        [
            f"{format_finer(at.by_constant_slip, unit, site)} instead of "
            f"{format_finer(at.exact, unit, site)} {words.format_unit(unit, site)} for "
            f"{words.format_number(at.line_rate_per_h)} vehicles an hour"
            for at in tuning.rates
            if at.by_constant_slip is not None
            and tuning.limits is not None
            and abs(at.by_constant_slip - at.exact) >= tuning.limits.step / 2
        ]
    )
    slips = "the motor's slip did not change with frequency"
    what = slips if unit == "Hz" else "as much oil leaked at every flow"
    return others and (
        f"If {what}, the targets would lie at "
        f"{others}; the stated uncertainty covers the difference."
    )


def format_change_of_ratio(change: RatioChange) -> str:
    """The ratio or, for an oil motor, its efficiency against what it was; "" if nothing moved."""
    wear = change.oil_motor
    if wear is not None:
        percent = shown(100 * wear.now.fraction, 100 * wear.now.expanded())
        new = fixed(100 * wear.new.fraction, 0)
        text = (
            f"Volumetric efficiency by the last readings {percent} %; "
            f"stated for a new motor {new} %."
        )
        if wear.first is None:
            return text
        first = shown(100 * wear.first.fraction, 100 * wear.first.expanded())
        return f"{text} By the first readings it was {first} %" + (
            ": it has fallen by more than chance would make, and a falling speed at the same "
            "flow is wear. Look at the motor before giving it more oil."
            if wear.is_worn
            else ": no wear shows beyond the uncertainties."
        )
    if not change.has_moved or change.fraction is None:
        return ""
    way = "fallen" if change.fraction < 0 else "risen"
    return (
        f"The ratio has {way} by {fixed(100 * abs(change.fraction), 1)} % between the readings "
        f"about {words.format_day(change.first_reading.entry.day)} and those about "
        f"{words.format_day(change.last_reading.entry.day)}, more than chance would "
        "make: look for a belt that slips, a sheave or a gearbox."
    )


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

"""What is said of readings of a speed, and of a drive's ratio, in more than one place."""

from collections.abc import Sequence

from ledger.book import words
from ledger.book.entry_words import format_raw
from ledger.book.words import format_unit, in_shown_unit
from ledger.compute.numbers import fixed, shown, shown_uncertainty, significant
from ledger.compute.ratio import RatioFit
from ledger.compute.speed import ErrorSource
from ledger.model.machines import Machine
from ledger.model.meters import DAYS_IN_MONTH
from ledger.model.site import Site
from ledger.upkeep.speeds.found import SpeedResult
from ledger.upkeep.speeds.ratios import DIAL, DriveRatio


def format_with_doubt(result: SpeedResult) -> str:
    """The raw numbers of a reading, and what speaks against its instrument."""
    raw = format_raw(result.entry.speed)
    return f"{raw} ({result.doubt})" if result.doubt else raw


def format_count(result: SpeedResult, site: Site) -> str:
    """`38 passes in 30 s = 76.0 ± 1.7 r/min, in band`; where the drive was moved, at what."""
    entry, seen = result.entry, result.entry.setting
    raw = format_raw(entry.speed)
    if seen is not None and result.setting is not None and (entry.ref.step or seen.left):
        raw += f" at {words.format_setting(result.setting, result.unit, site)}"
    if result.speed is None:
        return f"{raw}: {result.flaw}"
    verdict = "" if result.verdict is None else f", {result.verdict.value}"
    doubt = f", but {result.doubt}" if result.doubt else ""
    return f"{raw} = {words.format_speed(result.speed)} r/min{verdict}{doubt}"


def format_setting_of(result: SpeedResult, site: Site) -> str:
    """The drive's setting during a reading; a dash where it was not noted."""
    return words.or_dash(
        result.setting, lambda value: words.format_setting(value, result.unit, site)
    )


def format_beside(neighbours: Sequence[Machine]) -> list[str]:
    """What to read again after a change of a drive whose pump may turn others too."""
    names = words.in_words([one.name for one in neighbours])
    return [f"Read {names} again: the pump may be the same."] if neighbours else []


def format_ratio(ratio: DriveRatio, site: Site) -> str:
    """What is known of the ratio, from what, and what does not fit."""
    fault = f" The nameplate is not used: {ratio.nameplate_fault}." if ratio.nameplate_fault else ""
    if ratio.fit is None:
        return "Neither a reading nor a nameplate tells how setting and speed go together." + fault
    factor = 1 / in_shown_unit(1.0, ratio.unit, site)
    text = (
        f"{shown(ratio.fit.rpm_per_unit * factor, ratio.fit.expanded() * factor)} r/min per "
        f"{format_unit(ratio.unit, site)}, "
    )
    if not ratio.used:
        return text + "by the nameplate alone: read the speed to be sure."
    text += f"from {words.format_count(len(ratio.used), 'reading')}"
    if ratio.fit.used_prior:
        text += " and the nameplate"
    if ratio.since is not None:
        text += (
            f" since {words.format_day(ratio.since.day)} "
            f"({ratio.since.changed.replace('-', ' ')} changed)"
        )
    if ratio.outgrown:
        text += (
            f"; {words.format_count(len(ratio.outgrown), 'earlier reading')} no longer counted, "
            "as the speed at one setting has moved with time"
        )
    if ratio.fit.inflated:
        more = fixed(100 * (ratio.fit.birge_ratio - 1), 0)
        text += f"; readings vary {more} % more than their uncertainties explain"
    text += _format_shared(ratio.fit, factor, site)
    if ratio.fit.apart:
        groups = words.in_words([format_key(key, site) for key in ratio.fit.apart])
        text += f"; {groups} do not agree with the other readings"
    # What taps leave in doubt is in their uncertainty; an instrument's doubt is not.
    doubts = [result.doubt for result in ratio.used if result.doubt and result.entry.instrument]
    if doubts:
        count = words.format_count(len(doubts), "reading")
        text += f"; {count} in doubt: {'; '.join(dict.fromkeys(doubts))}"
    if ratio.fit.disagreeing:
        text += f"; these disagree with the others: {', '.join(ratio.fit.disagreeing)}"
    if ratio.fit.prior_disagrees:
        text += "; readings and nameplate cannot both be right"
    return f"{text}.{fault}"


def ratio_facts(ratio: DriveRatio, site: Site) -> list[str]:
    """Of the ratio, and of a shaft that still drifts its pace and the day that figures are for."""
    known = format_ratio(ratio, site)
    if ratio.line is None or ratio.day is None or ratio.used[-1].setting is None:
        return [known]
    setting = ratio.used[-1].setting
    verb, later = ("falls", "lower") if ratio.line.slope < 0 else ("rises", "higher")
    pace = significant(abs(ratio.line.slope) * setting * DAYS_IN_MONTH, 2)
    at, day = words.format_setting(setting, ratio.unit, site), words.format_day(ratio.day)
    text = f"At {at} the speed still {verb} {pace} r/min a month"
    return [known, f"{text}: what is predicted here is for {day}, and {later} after that."]


_SHARED_MATTERS = 0.5
"""Share of the uncertainty from which a shared part is named. Common practice, no source."""


_OF_KEY = {
    ErrorSource.PRESS: ("the press of the watch by {}", "longer timings or another person do"),
    ErrorSource.PHASE: ("counts of one length started on a pass", "timing whole turns does"),
    ErrorSource.SCALE: ("the tachometer", "timing the turns or a second instrument does"),
    ErrorSource.RATE: ("the film's frame rate", "its exact rate or timing the turns does"),
    DIAL: ("the step of the dial", "a reading at another setting does"),
}


def format_key(key: str, site: Site) -> str:
    """Who or what readings share an error of: `the press of the watch by A. Holt`."""
    kind, _, rest = key.partition(" ")
    text = _OF_KEY[kind][0]
    if kind == ErrorSource.PRESS:
        return text.format(words.format_person(rest, site))
    is_named = kind in (ErrorSource.SCALE, ErrorSource.RATE) and not rest.startswith("of ")
    return f"{text} of {rest.removesuffix(' fixed')}" if is_named else text


def _format_shared(fit: RatioFit, factor: float, site: Site) -> str:
    """The part of the uncertainty that more of the same readings would not help."""
    if not fit.shares or fit.u_shared < _SHARED_MATTERS * fit.u_rpm_per_unit:
        return ""
    key, part = fit.shares[0]
    help_ = _OF_KEY[key.partition(" ")[0]][1]
    return (
        f"; ± {shown_uncertainty(2 * part * factor)} of the uncertainty comes from "
        f"{format_key(key, site)}: more such readings do not help, {help_}"
    )

"""Speed against setting: readings, the line through them, the band and what is recommended."""

from collections.abc import Iterable

from ledger.book import words
from ledger.book.blocks import Axis, Curve, Event, Mark, Plot, Sample, Samples, Stroke, Zone
from ledger.book.svg_scale import band_span
from ledger.book.words import format_unit, in_shown_unit
from ledger.model.ledger import Ledger
from ledger.upkeep.speeds.found import SpeedResult, band_of
from ledger.upkeep.tuning.found import Tuning, rates_of


def settings_plot(ledger: Ledger, tuning: Tuning) -> Plot:
    """The picture of one drive; settings in the site's unit."""
    site, ratio = ledger.site, tuning.ratio
    rate = site.line.line_rate_per_h
    band, _ = band_of(tuning.machine, rate)
    disagreeing = frozenset(ratio.fit.disagreeing if ratio.fit else ())
    agreeing = [r for r in ratio.used if str(r.entry.ref) not in disagreeing]
    apart = [r for r in ratio.used if str(r.entry.ref) in disagreeing]
    earlier = [*ratio.set_aside, *ratio.outgrown]
    groups = [
        Samples(name="no longer counted", mark=Mark.RING, points=_samples(ledger, tuning, earlier)),
        Samples(name="readings in use", mark=Mark.DISC, points=_samples(ledger, tuning, agreeing)),
        Samples(name="disagree", mark=Mark.CROSS, points=_samples(ledger, tuning, apart)),
        Samples(
            name="recommended",
            mark=Mark.DIAMOND,
            points=[
                Sample(
                    x=in_shown_unit(at.recommended.setting, ratio.unit, site),
                    y=at.recommended.speed.rpm,
                    half_width=at.recommended.speed.expanded(),
                )
                for at in tuning.rates
            ],
        ),
    ]
    unit = format_unit(ratio.unit, site)
    ends = _settings_shown(ledger, tuning)
    return Plot(
        title=f"{tuning.machine.name}: speed against setting",
        summary=_summary(tuning, unit),
        x=Axis(label=f"setting, {unit}", span=ends),
        y=Axis(label="shaft speed, r/min", span=_speeds_shown(ledger, tuning)),
        samples=groups,
        curves=_curves(ledger, tuning, ends),
        zones=[]
        if band is None
        else [
            Zone(
                name=f"band at {words.format_number(rate)} vehicles an hour",
                low=band.low,
                high=band.high,
            )
        ],
        events=_events(ledger, tuning),
    )


def _samples(ledger: Ledger, tuning: Tuning, results: Iterable[SpeedResult]) -> list[Sample]:
    return [
        Sample(
            x=in_shown_unit(result.setting, tuning.ratio.unit, ledger.site),
            y=result.speed.rpm,
            half_width=result.speed.expanded(),
        )
        for result in results
        if result.speed is not None and result.setting is not None
    ]


def _settings_shown(ledger: Ledger, tuning: Tuning) -> tuple[float, float] | None:
    """All that the drive can be set to."""
    limits, unit = tuning.limits, tuning.ratio.unit
    if limits is None:
        return None
    return (
        in_shown_unit(limits.lowest, unit, ledger.site),
        in_shown_unit(limits.highest, unit, ledger.site),
    )


def _speeds_shown(ledger: Ledger, tuning: Tuning) -> tuple[float, float] | None:
    """From the lowest band of the line rates to the highest, with room for a reading outside."""
    bands = [band for rate in rates_of(ledger) if (band := band_of(tuning.machine, rate)[0])]
    if not bands:
        return None
    return band_span(min(band.low for band in bands), max(band.high for band in bands))


def _curves(ledger: Ledger, tuning: Tuning, ends: tuple[float, float] | None) -> list[Curve]:
    ratio = tuning.ratio
    if ratio.fit is None or ends is None:
        return []
    slope = ratio.fit.rpm_per_unit / in_shown_unit(1.0, ratio.unit, ledger.site)
    return [
        Curve(
            name="by the ratio",
            stroke=Stroke.SOLID,
            corners=[(end, slope * end) for end in ends],
        )
    ]


def _events(ledger: Ledger, tuning: Tuning) -> list[Event]:
    change = tuning.change_in_force
    if change is None:
        return []
    return [
        Event(
            x=in_shown_unit(change.value, change.unit, ledger.site),
            label=f"in force {words.format_change(change, ledger.site)}",
        )
    ]


def _summary(tuning: Tuning, unit: str) -> str:
    if tuning.ratio.fit is None:
        return "Readings; no line can be drawn"
    return f"Readings with expanded uncertainty, speed proportional to the setting in {unit}"

"""Speed against setting: readings, the line through them, the band and what is recommended."""

from collections.abc import Iterable

from ledger.book import words
from ledger.book.blocks import Axis, Curve, Event, Mark, Plot, Sample, Samples, Stroke, Zone
from ledger.book.words import format_unit, in_shown_unit
from ledger.model.ledger import Ledger
from ledger.upkeep.speeds.found import SpeedResult, band_of
from ledger.upkeep.tuning.found import Tuning

_MARGIN = 0.04


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
    return Plot(
        title=f"{tuning.machine.name}: speed against setting",
        summary=_summary(tuning, unit),
        x=Axis(label=f"setting, {unit}"),
        y=Axis(label="shaft speed, r/min"),
        samples=[group for group in groups if group.points],
        curves=_curves(ledger, tuning, groups),
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


def _curves(ledger: Ledger, tuning: Tuning, groups: Iterable[Samples]) -> list[Curve]:
    ratio = tuning.ratio
    seen = [sample.x for group in groups for sample in group.points]
    if tuning.change_in_force is not None:
        seen.append(in_shown_unit(tuning.change_in_force.value, ratio.unit, ledger.site))
    if ratio.fit is None or not seen:
        return []
    ends = ((1 - _MARGIN) * min(seen), (1 + _MARGIN) * max(seen))
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
    used = words.format_count(len(tuning.ratio.used), "reading")
    if tuning.ratio.fit is None:
        return f"{used}; no line can be drawn"
    return f"{used} in use with expanded uncertainty, speed proportional to the setting in {unit}"

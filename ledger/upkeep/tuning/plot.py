"""Speed against setting: readings, the line through them, the band and what is recommended."""

from collections.abc import Iterable

from ledger.book import words
from ledger.book.blocks import Axis, Curve, Event, Mark, Plot, Sample, Samples, Stroke, Zone
from ledger.book.svg_scale import band_span
from ledger.compute.speed import Speed
from ledger.model.ledger import Ledger
from ledger.upkeep.speeds.found import SpeedResult, band_of
from ledger.upkeep.tuning.found import Tuning, rates_of


def settings_plot(ledger: Ledger, tuning: Tuning) -> Plot:
    """The picture of one drive; settings in the site's unit.

    The axes show all that the drive can be set to, and speeds from the lowest band of the line
    rates to the highest, with room for a reading outside.
    """
    site, ratio, change = ledger.site, tuning.ratio, tuning.change_in_force
    unit, rate = words.format_unit(ratio.unit, site), site.line.line_rate_per_h
    band, _ = band_of(tuning.machine, rate)
    bands = [one for per_h in rates_of(ledger) if (one := band_of(tuning.machine, per_h)[0])]
    disagreeing = frozenset(ratio.fit.disagreeing if ratio.fit else ())
    agreeing = [one for one in ratio.used if str(one.entry.ref) not in disagreeing]
    apart = [one for one in ratio.used if str(one.entry.ref) in disagreeing]

    def place(setting: float) -> float:
        return words.in_shown_unit(setting, ratio.unit, site)

    def sample(setting: float, speed: Speed) -> Sample:
        return Sample(x=place(setting), y=speed.rpm, half_width=speed.expanded())

    def read(results: Iterable[SpeedResult]) -> list[Sample]:
        return [
            sample(one.setting, one.speed)
            for one in results
            if one.speed is not None and one.setting is not None
        ]

    groups = {
        ("no longer counted", Mark.RING): read([*ratio.set_aside, *ratio.outgrown]),
        ("readings in use", Mark.DISC): read(agreeing),
        ("disagree", Mark.CROSS): read(apart),
        ("recommended", Mark.DIAMOND): [
            sample(at.recommended.setting, at.recommended.speed) for at in tuning.rates
        ],
    }
    limits = tuning.limits
    ends = None if limits is None else (place(limits.lowest), place(limits.highest))
    curves, summary = [], "Readings; no line can be drawn"
    if ratio.fit is not None:
        summary = f"Readings with expanded uncertainty, speed proportional to the setting in {unit}"
        slope = ratio.fit.rpm_per_unit / place(1.0)
        corners = [(end, slope * end) for end in ends or ()]
        curves = [Curve(name="by the ratio", stroke=Stroke.SOLID, corners=corners)] if ends else []
    at_rate = f"band at {words.format_number(rate)} vehicles an hour"
    speeds = (min(one.low for one in bands), max(one.high for one in bands)) if bands else None
    return Plot(
        title=f"{tuning.machine.name}: speed against setting",
        summary=summary,
        x=Axis(label=f"setting, {unit}", span=ends),
        y=Axis(label="shaft speed, r/min", span=speeds and band_span(*speeds)),
        samples=[Samples(name=name, mark=mark, points=of) for (name, mark), of in groups.items()],
        curves=curves,
        zones=[Zone(name=at_rate, low=band.low, high=band.high)] if band else [],
        events=[
            Event(
                x=words.in_shown_unit(one.value, one.unit, site),
                label=f"in force {words.format_change(one, site)}",
            )
            for one in ([] if change is None else [change])
        ],
    )

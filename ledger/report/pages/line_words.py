"""How speeds of line and cloth, and senses of turning, are worded; lengths in the site's units."""

from ledger.assess.line_matching import BrushOnLine, ClothAtRate, RateCheck
from ledger.compute.band import SURE
from ledger.compute.line import HeldBy
from ledger.compute.rounding import fixed, shown, shown_probability, significant
from ledger.compute.units import convert
from ledger.model.site import Site, Units
from ledger.report import words


def line_speed_words(m_s: float, site: Site) -> str:
    """`84 ft/min`, `25.6 m/min`."""
    if site.units is Units.US:
        return f"{significant(convert(m_s, 'm_s', 'ft_min'), 3)} ft/min"
    return f"{significant(convert(m_s, 'm_s', 'm_min'), 3)} m/min"


def cloth_speed_unit(site: Site) -> str:
    return "ft/min" if site.units is Units.US else "m/s"


def cloth_speed_words(m_s: float | None, site: Site) -> str:
    """A speed of cloth without its unit, which the column names."""
    if m_s is None:
        return words.NONE
    if site.units is Units.US:
        return fixed(convert(m_s, "m_s", "ft_min"), 0)
    return fixed(m_s, 2)


def contacts_unit(site: Site) -> str:
    return "per ft" if site.units is Units.US else "per m"


def contacts_words(per_m: float | None, site: Site) -> str:
    if per_m is None:
        return words.NONE
    return significant(per_m * convert(1.0, "ft", "m") if site.units is Units.US else per_m, 3)


def length_words(metres: float, site: Site) -> str:
    if site.units is Units.US:
        return f"{significant(convert(metres, 'm', 'ft'), 3)} ft"
    return f"{significant(metres, 3)} m"


def check_words(check: RateCheck, how: str) -> str:
    """What was found beside what the site states. `how` says from what, as `by chain and pitch`."""
    found = (
        significant(check.found.per_h, 4)
        if check.found.u_per_h == 0
        else shown(check.found.per_h, 2 * check.found.u_per_h)
    )
    said = (
        f"{found} vehicles an hour {how}; the site states "
        f"{words.number_words(check.stated_per_h)}: "
    )
    if check.agrees:
        return said + "they agree."
    way = "higher" if check.fraction > 0 else "lower"
    return said + (
        f"they DISAGREE, the stated rate is {fixed(100 * abs(check.fraction), 1)} % {way}. "
        "Time the chain, measure front to front, and correct site.yaml."
    )


def turning_words(brush: BrushOnLine) -> str:
    """`counterclockwise seen from above`; by side where the machine has two."""
    if not brush.expected:
        return "not stated"
    parts = [
        f"{turning.sense} seen from {turning.seen_from}"
        + (f" ({side} side)" if len(brush.expected) > 1 else "")
        for side, turning in brush.expected
    ]
    return words.in_words(parts)


def last_turning_words(brush: BrushOnLine) -> str:
    if brush.last_seen is None:
        return "not noted yet"
    said = f"{brush.last_seen.readings.turning} on {words.day_words(brush.last_seen.day)}"
    return f"{said}: WRONG WAY" if brush.turned_wrong else said


def same_cloth_words(at: ClothAtRate, brush: BrushOnLine, site: Site) -> str:
    """`39.5 Hz, 71.1 r/min, 133 % (lower limit)`; the chance of being in band where it is low."""
    said = [] if at.setting is None else [words.setting_words(at.setting, brush.unit, site)]
    said.extend((f"{fixed(at.rpm, 1)} r/min", f"{fixed(100 * at.cloth_share, 0)} %"))
    held = {HeldBy.LOW: " (lower limit)", HeldBy.HIGH: " (upper limit)", None: ""}
    unsure = ""
    if at.p_in_band is not None and at.p_in_band < SURE:
        unsure = f", only {shown_probability(at.p_in_band)} in band"
    return ", ".join(said) + held[at.same_cloth.held_by] + unsure


def past_panel_words(at: ClothAtRate, site: Site) -> str:
    """`874 (818)`: past the panel, and the edge; the edge alone where the line's speed is open."""
    edge = cloth_speed_words(at.edge_m_s, site)
    return f"{cloth_speed_words(at.cloth_m_s, site)} ({edge})" if edge != words.NONE else words.NONE

"""How power, pressure, size and amps are worded, in the site's units."""

from ledger.assess.conversion import NoConversion, ToElectric, ToOil
from ledger.assess.conversion_speed import LoadLaw, SpeedChange
from ledger.compute.motor_amps import NotTabled, PanelLoad
from ledger.compute.rounding import fixed, significant
from ledger.compute.units import convert
from ledger.model.site import Site, Units
from ledger.report import words
from ledger.report.entry_words import pressure_words

CAUTION = (
    (
        "For planning only. A licensed electrician and the local code decide what is built; the "
        "motor's nameplate rules for overload protection, and the makers' manuals for everything "
        "that turns or holds pressure."
    ),
    (
        "Oil lines hold pressure after the pump stops, and drives keep charge: lock out, release, "
        "wait as the labels say, and verify."
    ),
)


def power_words(kw: float, site: Site) -> str:
    if site.units is Units.US:
        return f"{significant(convert(kw, 'kw', 'hp'), 3)} hp"
    return f"{significant(kw, 3)} kW"


def volume_words(cm3: float, site: Site) -> str:
    if site.units is Units.US:
        return f"{significant(convert(cm3, 'cm3', 'in3'), 3)} in³"
    return f"{significant(cm3, 3)} cm³"


def torque_words(nm: float, site: Site) -> str:
    if site.units is Units.US:
        return f"{significant(convert(nm, 'nm', 'lbf_ft'), 3)} lbf·ft"
    return f"{significant(nm, 3)} N·m"


def amps_words(amps: float | NotTabled | None) -> str:
    if amps is None:
        return words.NONE
    return amps.text if isinstance(amps, NotTabled) else f"{words.number_words(amps)} A"


def size_words(hp: float | NotTabled | None) -> str:
    """A motor's size, in the horsepower that the code's table is kept in."""
    if hp is None:
        return words.NONE
    return hp.text if isinstance(hp, NotTabled) else f"{words.number_words(hp)} hp"


def spare_words(load: PanelLoad) -> str:
    if load.spare_a < 0:
        return f"EXCEEDED by {fixed(-load.spare_a, 1)} A"
    return f"{fixed(load.spare_a, 1)} A"


def percent_words(share: float) -> str:
    return f"{fixed(100 * share, 0)} %"


def conversion_words(found: ToElectric | ToOil | NoConversion, site: Site) -> list[str]:
    """The conversion of one machine in sentences, each a line of a list."""
    match found:
        case ToElectric():
            return _to_electric_words(found, site)
        case ToOil():
            return _to_oil_words(found, site)
        case NoConversion():
            return [f"Cannot be converted on paper: {found.why}."]


def _to_electric_words(found: ToElectric, site: Site) -> list[str]:
    needs = found.needs
    base = percent_words(found.share_of_base_frequency)
    said = [
        (
            f"Now {words.flow_words(found.flow_lpm, site)} of oil at a drop of "
            f"{pressure_words(found.pressure_kpa, site)}, volumetric efficiency "
            f"{percent_words(found.volumetric_efficiency)}: {fixed(needs.shaft_rpm, 1)} r/min, "
            f"{torque_words(needs.torque_nm, site)}, {power_words(needs.shaft_kw, site)} at the "
            "shaft at most, as the motor's friction is not taken off."
        ),
        (
            f"An electric motor that gives this torque at {base} of base frequency, as the site's "
            f"drives run, has {power_words(needs.motor_kw, site)} or more: the "
            f"next standard size is {size_words(needs.motor_hp)}, full-load current "
            f"{amps_words(needs.full_load_a)} at {found.volts} V by the code's table."
        ),
        (
            f"Freed at the pump, as this motor no longer takes it: "
            f"{words.flow_words(needs.flow_released_l_min, site)} and "
            f"{power_words(needs.oil_released_kw, site)} in the oil."
        ),
    ]
    for on in found.panels:
        if on.then is None:
            continue
        said.append(
            f"On {on.panel.name} the feeder's load would go from {fixed(on.now.required_a, 1)} to "
            f"{fixed(on.then.required_a, 1)} A of {words.number_words(on.panel.rated_a)} A"
            + (": more than its rating." if on.then.spare_a < 0 else ".")
        )
    return said


def _to_oil_words(found: ToOil, site: Site) -> list[str]:
    needs = found.needs
    base = percent_words(found.share_of_base_frequency)
    return [
        (
            f"Now {size_words(found.motor_hp)} at {base} of base frequency: "
            f"{fixed(found.shaft_rpm, 1)} r/min, {power_words(needs.shaft_kw, site)} "
            f"and {torque_words(needs.torque_nm, site)} at the shaft at most."
        ),
        (
            f"An oil motor at {pressure_words(found.pressure_kpa, site)} would be "
            f"{volume_words(needs.displacement_cm3, site)} a turn and take "
            f"{words.flow_words(needs.flow_l_min, site)}, {power_words(needs.oil_kw, site)} in the "
            f"oil and {power_words(needs.pump_kw, site)} at the pump's shaft."
        ),
        (
            "Freed on its panel, as this motor is taken out: "
            f"{amps_words(needs.amps_released)} at {found.volts} V by the code's table."
        ),
    ]


def speed_change_words(change: SpeedChange, site: Site) -> list[str]:
    """What another speed does to one machine, and where the law ends."""
    said = (
        f"From {words.number_words(change.from_speed)} to {words.number_words(change.to_speed)}: "
        f"power {percent_words(change.power_share)}"
    )
    if change.power_kw is not None:
        said += f", at most {power_words(change.power_kw, site)}"
    if change.law is LoadLaw.FAN:
        said += (
            f"; flow {percent_words(change.flow_share)}, "
            f"pressure {percent_words(change.pressure_share)}"
        )
        limit = (
            "By the affinity laws: flow with speed, pressure with its square, power with its cube. "
            "They hold without static head; a pump that lifts water or feeds against a held "
            "pressure may give nothing below some speed."
        )
    else:
        limit = (
            "Torque does not change with speed, so power goes with it. A plunger pump's flow goes "
            "with speed as well, at the pressure that its valve holds."
        )
    return [f"{said}.", limit]

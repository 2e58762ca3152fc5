"""Load: what each panel carries, what a conversion would ask for, and what another speed does."""

from collections.abc import Iterator, Sequence
from functools import partial

from ledger.book import words
from ledger.book.addresses import LOAD_PAGE
from ledger.book.blocks import (
    Block,
    Bullets,
    Caution,
    Heading,
    Page,
    Paragraph,
    Spans,
    Table,
    right,
)
from ledger.book.entry_words import format_pressure
from ledger.compute.load import LoadLaw, PanelLoad
from ledger.compute.numbers import NoAnswer, fixed
from ledger.model.ledger import Ledger
from ledger.model.machines import HydraulicDrive, Machine
from ledger.model.site import Site
from ledger.upkeep.load import found as load
from ledger.upkeep.load.found import NoConversion, PanelReport, SpeedChange, ToElectric, ToOil

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


format_power = partial(words.format_quantity, "kw")

format_volume = partial(words.format_quantity, "cm3")

format_torque = partial(words.format_quantity, "nm")


def _format_tabled(value: float | NoAnswer | None, unit: str) -> str:
    """Amps, or a motor's size in the horsepower that the code's table is kept in."""
    if value is None:
        return words.NONE
    return value.text if isinstance(value, NoAnswer) else f"{words.format_number(value)} {unit}"


def _format_amps(amps: float) -> str:
    return f"{fixed(amps, 1)} A"


def format_spare(panel: PanelLoad) -> str:
    if panel.spare_a < 0:
        return f"EXCEEDED by {_format_amps(-panel.spare_a)}"
    return _format_amps(panel.spare_a)


def format_percent(share: float) -> str:
    return f"{fixed(100 * share, 0)} %"


def format_conversion(found: ToElectric | ToOil | NoConversion, site: Site) -> list[str]:
    """The conversion of one machine in sentences, each a line of a list."""
    match found:
        case ToElectric():
            return _format_to_electric(found, site)
        case ToOil():
            return _format_to_oil(found, site)
        case NoConversion():
            return [f"Cannot be converted on paper: {found.why}."]


def _format_to_electric(found: ToElectric, site: Site) -> list[str]:
    needs = found.needs
    base = format_percent(found.share_of_base_frequency)
    sentences = [
        (
            f"Now {words.format_flow(found.flow_lpm, site)} of oil at a drop of "
            f"{format_pressure(found.pressure_kpa, site)}, volumetric efficiency "
            f"{format_percent(found.volumetric_efficiency)}: {fixed(needs.shaft_rpm, 1)} r/min, "
            f"{format_torque(needs.torque_nm, site)}, {format_power(needs.shaft_kw, site)} at the "
            "shaft at most, because the motor's friction is not subtracted."
        ),
        (
            f"An electric motor that gives this torque at {base} of base frequency, as the site's "
            f"drives run, has {format_power(needs.motor_kw, site)} or more: the "
            f"next standard size is {_format_tabled(needs.motor_hp, 'hp')}, full-load current "
            f"{_format_tabled(needs.full_load_a, 'A')} at {found.volts} V by the code's table."
        ),
        (
            f"Freed at the pump, because this motor no longer needs it: "
            f"{words.format_flow(found.flow_lpm, site)} and "
            f"{format_power(needs.oil_released_kw, site)} in the oil."
        ),
    ]
    sentences += [
        f"On {on.panel.name} the feeder's load would go from {fixed(on.load.required_a, 1)} to "
        f"{fixed(then.required_a, 1)} A of {words.format_number(on.panel.rated_a)} A"
        f"{': more than its rating' if then.spare_a < 0 else ''}."
        for on, then in found.panels
        if then is not None
    ]
    return sentences


def _format_to_oil(found: ToOil, site: Site) -> list[str]:
    needs = found.needs
    base = format_percent(found.share_of_base_frequency)
    return [
        (
            f"Now {_format_tabled(found.motor_hp, 'hp')} at {base} of base frequency: "
            f"{fixed(found.shaft_rpm, 1)} r/min, {format_power(needs.shaft_kw, site)} "
            f"and {format_torque(needs.torque_nm, site)} at the shaft at most."
        ),
        (
            f"An oil motor at {format_pressure(found.pressure_kpa, site)} would be "
            f"{format_volume(needs.displacement_cm3, site)} a turn and take "
            f"{words.format_flow(needs.flow_l_min, site)}, "
            f"{format_power(needs.oil_kw, site)} in the oil "
            f"and {format_power(needs.pump_kw, site)} at the pump's shaft."
        ),
        (
            "Freed on its panel, as this motor is taken out: "
            f"{_format_tabled(needs.amps_released, 'A')} at {found.volts} V by the code's table."
        ),
    ]


def format_speed_change(change: SpeedChange, site: Site) -> list[str]:
    """What another speed does to one machine, and where the law ends."""
    text = (
        f"From {words.format_number(change.from_speed)} to {words.format_number(change.to_speed)}: "
        f"power {format_percent(change.shares.power)}"
    )
    if change.power_kw is not None:
        text += f", at most {format_power(change.power_kw, site)}"
    if change.law is LoadLaw.FAN:
        text += (
            f"; flow {format_percent(change.shares.flow)}, "
            f"pressure {format_percent(change.shares.pressure)}"
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
    return [f"{text}.", limit]


SPEED_SHARES = (0.9, 0.8, 0.7)
"""Shares of full speed that the page shows for blowers."""


_PANELS = (
    "Full-load amps are from the code's table (NEC 430.250), for the motor's size or the next "
    "standard one; from the nameplate if the table has no such size or voltage. All motors is "
    "their sum. The feeder must carry 125 % of the largest motor and 100 % of the others (NEC "
    "430.24). Loads without a machine file, such as lighting and heaters, are not included."
)


def load_page(ledger: Ledger, found: load.SiteLoad) -> Page:
    """Depends on the sources only."""
    blocks: list[Block] = [
        Caution(CAUTION),
        words.pointer("Load and conversion"),
        Heading(2, "Panels"),
    ]
    if found.panels:
        blocks += [Paragraph(_PANELS), _panels_table(found.panels)]
        blocks += [block for report in found.panels for block in _panel(report)]
    else:
        blocks.append(Paragraph("The site states no panels."))
    blocks.append(Heading(2, "From oil to electricity"))
    by_oil = [one for one in found.conversions if isinstance(one.machine.drive, HydraulicDrive)]
    for one in by_oil:
        sentences = format_conversion(one, ledger.site)
        blocks += [Heading(3, one.machine.name), Bullets(sentences)]
    if not by_oil:
        blocks.append(Paragraph("No machine with a flow setting."))
    electric = [one for one in found.conversions if one not in by_oil]
    if electric:
        blocks += [Heading(2, "From electricity to oil"), *_to_oil(ledger.site, electric)]
    blowers = [one for one in ledger.machines.values() if load.law_of(one) is LoadLaw.FAN]
    if blowers:
        blocks += [Heading(2, "Blowers at another speed"), *_blowers(ledger, blowers)]
    return Page(path=LOAD_PAGE, title="Load and conversion", blocks=blocks)


def machine_load_page(
    ledger: Ledger,
    machine: Machine,
    conversion: load.Conversion | None,
    panel: PanelReport | None,
    change: SpeedChange | None,
) -> Page:
    """The answer of the command for one machine."""
    blocks: list[Block] = []
    if change is not None:
        sentences = format_speed_change(change, ledger.site)
        blocks += [Heading(2, "At another speed"), Bullets(sentences)]
    if conversion is not None:
        blocks += [Heading(2, "Converted"), Bullets(format_conversion(conversion, ledger.site))]
    if panel is not None:
        blocks += [Heading(2, panel.panel.name), _panels_table([panel]), *_panel(panel)[1:]]
    blocks.append(Caution(CAUTION))
    return Page(path=LOAD_PAGE, title=f"{machine.name}: load", blocks=blocks)


def _panels_table(reports: Sequence[PanelReport]) -> Table:
    return Table.of(
        reports,
        ("Panel", lambda report: report.panel.name),
        (right("Motors"), lambda report: str(len(report.motors) - len(report.uncounted))),
        (right("All motors"), lambda report: _format_amps(report.load.connected_a)),
        (right("Feeder must carry"), lambda report: _format_amps(report.load.required_a)),
        (right("Rating"), lambda report: _format_tabled(report.panel.rated_a, "A")),
        (right("Spare"), lambda report: format_spare(report.load)),
    )


def _panel(report: PanelReport) -> list[Block]:
    blocks: list[Block] = [
        Heading(3, f"{report.panel.name}, {report.panel.volts} V"),
        Table.of(
            report.motors,
            ("Machine", lambda motor: words.machine_link(motor.machine)),
            (right("Size"), lambda motor: _format_tabled(motor.size_hp, "hp")),
            (right("By table"), lambda motor: _format_tabled(motor.table_a, "A")),
            (right("By nameplate"), lambda motor: _format_tabled(motor.nameplate_a, "A")),
        ),
    ]
    blocks.extend(Paragraph(text) for text in _by_drive_inputs(report))
    if report.uncounted:
        names = words.in_words([machine.name for machine in report.uncounted])
        text = f"Not counted, as neither power nor amps are stated: {names}."
        blocks.append(Paragraph(text))
    return blocks


def _by_drive_inputs(report: PanelReport) -> Iterator[str]:
    """The feeder by the input currents of its drives, two readings of the code side by side."""
    found = report.by_drive_inputs
    if found is not None:
        first, second = (fixed(amps, 1) for amps in found)
        over = max(found) > report.panel.rated_a
        yield (
            f"By the input currents of the drives the feeder must carry {first} A (125 % of the "
            f"largest) or {second} A (125 % of every drive), two readings of the code"
            f"{': the larger is MORE THAN ITS RATING' if over else ''}. For an electrician to "
            "decide."
        )
    elif report.without_input:
        named = words.in_words([machine.name for machine in report.without_input])
        yield (
            "By the input currents of its drives: cannot tell, `input_a` is not stated of "
            f"{named}. The amps of the motors alone are the lowest figure."
        )


def _to_oil(site: Site, found: Sequence[load.Conversion]) -> list[Block]:
    blocks: list[Block] = []
    known = [one for one in found if isinstance(one, ToOil)]
    if known:
        pressure = format_pressure(max(one.pressure_kpa for one in known), site)
        blocks += [
            Paragraph(
                f"At the site's {pressure} and the speed of each "
                "setting in force, with all that the motor can give there: an upper bound. Freed "
                "on its panel is the load that the panel no longer carries."
            ),
            Table.of(
                known,
                ("Machine", lambda one: words.machine_link(one.machine)),
                (right("Motor"), lambda one: _format_tabled(one.motor_hp, "hp")),
                (right("r/min"), lambda one: fixed(one.shaft_rpm, 1)),
                (right("Torque"), lambda one: format_torque(one.needs.torque_nm, site)),
                (right("Oil motor"), lambda one: format_volume(one.needs.displacement_cm3, site)),
                (right("Flow"), lambda one: words.format_flow(one.needs.flow_l_min, site)),
                (right("Pump shaft"), lambda one: format_power(one.needs.pump_kw, site)),
                (
                    right("Freed on its panel"),
                    lambda one: _format_tabled(one.needs.amps_released, "A"),
                ),
            ),
        ]
    gaps: list[Spans] = [
        (words.machine_link(one.machine), f": {one.why}.")
        for one in found
        if isinstance(one, NoConversion)
    ]
    return [*blocks, Bullets(gaps)] if gaps else blocks


def _blowers(ledger: Ledger, blowers: Sequence[Machine]) -> list[Block]:
    changes = [
        load.speed_change(machine, LoadLaw.FAN, from_speed=1.0, to_speed=share, full_speed=1.0)
        for machine in blowers
        for share in SPEED_SHARES
    ]
    return [
        Paragraph(
            "By the affinity laws, as shares of what full speed gives. A blower without a "
            "frequency drive runs at full speed only."
        ),
        Table.of(
            changes,
            ("Machine", lambda change: words.machine_link(change.machine)),
            (right("Speed"), lambda change: format_percent(change.to_speed)),
            (right("Flow"), lambda change: format_percent(change.shares.flow)),
            (right("Pressure"), lambda change: format_percent(change.shares.pressure)),
            (right("Power"), lambda change: format_percent(change.shares.power)),
            (right("At most"), lambda change: _format_at_most(change, ledger.site)),
        ),
    ]


def _format_at_most(change: SpeedChange, site: Site) -> str:
    return words.or_dash(change.power_kw, lambda power_kw: format_power(power_kw, site))

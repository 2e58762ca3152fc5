"""Load: what each panel carries, what a conversion would ask for, and what another speed does."""

from collections.abc import Sequence

from ledger.assess.conversion import Conversion, NoConversion, SiteLoad, ToElectric
from ledger.assess.conversion_panels import PanelReport
from ledger.assess.conversion_speed import LoadLaw, SpeedChange, law_of, speed_change
from ledger.compute.rounding import fixed
from ledger.model.ledger import Ledger
from ledger.model.machines import Machine
from ledger.report import words
from ledger.report.blocks import (
    Block,
    Bullets,
    Caution,
    Heading,
    Page,
    Paragraph,
    Spans,
    Table,
    left,
    right,
)
from ledger.report.entry_words import pressure_words
from ledger.report.pages.load_words import (
    CAUTION,
    amps_words,
    conversion_words,
    percent_words,
    power_words,
    size_words,
    spare_words,
    speed_change_words,
    torque_words,
    volume_words,
)
from ledger.report.pages.method import pointer

PATH = "load.md"

SPEED_SHARES = (0.9, 0.8, 0.7)
"""Shares of full speed that the page shows for blowers."""

_PANELS = (
    "Full-load amps by the code's table (NEC 430.250) for the motor's size, the next standard one "
    "where it is odd; the nameplate's where the table has no such size or voltage. All motors is "
    "their sum. The feeder must carry 125 % of the largest motor and 100 % of the others (NEC "
    "430.24). Loads that are no machine of this book are not in it: lighting, heaters, controls."
)


def load_page(ledger: Ledger, found: SiteLoad) -> Page:
    """Depends on the sources only."""
    blocks: list[Block] = [
        Caution(CAUTION),
        pointer("Load and conversion"),
        Heading(2, "Panels"),
    ]
    if found.panels:
        blocks.extend((Paragraph(_PANELS), _panels_table(found.panels)))
        for report in found.panels:
            blocks.extend(_panel(report))
    else:
        blocks.append(Paragraph("The site states no panels."))
    blocks.append(Heading(2, "From oil to electricity"))
    to_electric = [one for one in found.conversions if _is_to_electric(one)]
    if not to_electric:
        blocks.append(Paragraph("No machine with a flow setting."))
    for one in to_electric:
        blocks.append(Heading(3, one.machine.name))
        blocks.append(Bullets(conversion_words(one, ledger.site)))
    to_oil = [one for one in found.conversions if not _is_to_electric(one)]
    if to_oil:
        blocks.append(Heading(2, "From electricity to oil"))
        blocks.extend(_to_oil(ledger, to_oil))
    blowers = [machine for machine in ledger.machines.values() if law_of(machine) is LoadLaw.FAN]
    if blowers:
        blocks.append(Heading(2, "Blowers at another speed"))
        blocks.extend(_blowers(ledger, blowers))
    return Page(path=PATH, title="Load and conversion", blocks=blocks)


def machine_load_page(
    ledger: Ledger,
    machine: Machine,
    conversion: Conversion | None,
    panel: PanelReport | None,
    change: SpeedChange | None,
) -> Page:
    """The answer of the command for one machine."""
    blocks: list[Block] = []
    if change is not None:
        blocks.extend(
            (Heading(2, "At another speed"), Bullets(speed_change_words(change, ledger.site)))
        )
    if conversion is not None:
        blocks.extend((Heading(2, "Converted"), Bullets(conversion_words(conversion, ledger.site))))
    if panel is not None:
        blocks.extend((Heading(2, panel.panel.name), _panels_table([panel])))
        blocks.extend(_panel(panel)[1:])
    blocks.append(Caution(CAUTION))
    return Page(path=PATH, title=f"{machine.name}: load", blocks=blocks)


def _is_to_electric(one: Conversion) -> bool:
    return isinstance(one, ToElectric) or (isinstance(one, NoConversion) and one.is_from_oil)


def _panels_table(reports: Sequence[PanelReport]) -> Table:
    return Table(
        (
            left("Panel"),
            right("Motors"),
            right("All motors"),
            right("Feeder must carry"),
            right("Rating"),
            right("Spare"),
        ),
        [
            (
                report.panel.name,
                str(len(report.motors) - len(report.uncounted)),
                f"{fixed(report.load.connected_a, 1)} A",
                f"{fixed(report.load.required_a, 1)} A",
                f"{words.number_words(report.panel.rated_a)} A",
                spare_words(report.load),
            )
            for report in reports
        ],
    )


def _panel(report: PanelReport) -> list[Block]:
    blocks: list[Block] = [
        Heading(3, f"{report.panel.name}, {report.panel.volts} V"),
        Table(
            (left("Machine"), right("Size"), right("By table"), right("By nameplate")),
            [
                (
                    words.machine_link(motor.machine),
                    size_words(motor.size_hp),
                    amps_words(motor.table_a),
                    amps_words(motor.nameplate_a),
                )
                for motor in report.motors
            ],
        ),
    ]
    if report.uncounted:
        blocks.append(
            Paragraph(
                "Not counted, as neither power nor amps are stated: "
                f"{words.in_words([machine.name for machine in report.uncounted])}."
            )
        )
    return blocks


def _to_oil(ledger: Ledger, found: Sequence[Conversion]) -> list[Block]:
    site = ledger.site
    rows: list[tuple[Spans, ...]] = []
    gaps: list[Spans] = []
    pressures = []
    for one in found:
        link = words.machine_link(one.machine)
        match one:
            case NoConversion():
                gaps.append((link, f": {one.why}."))
            case ToElectric():
                continue
            case _:
                pressures.append(one.pressure_kpa)
                rows.append(
                    (
                        link,
                        size_words(one.motor_hp),
                        fixed(one.shaft_rpm, 1),
                        torque_words(one.needs.torque_nm, site),
                        volume_words(one.needs.displacement_cm3, site),
                        words.flow_words(one.needs.flow_l_min, site),
                        power_words(one.needs.pump_kw, site),
                        amps_words(one.needs.amps_released),
                    )
                )
    blocks: list[Block] = []
    if rows:
        blocks.append(
            Paragraph(
                f"At the site's {pressure_words(max(pressures), site)} and the speed of each "
                "setting in force, with all that the motor can give there: an upper bound. Freed "
                "on its panel is the load that the panel no longer carries."
            )
        )
        blocks.append(
            Table(
                (
                    left("Machine"),
                    right("Motor"),
                    right("r/min"),
                    right("Torque"),
                    right("Oil motor"),
                    right("Flow"),
                    right("Pump shaft"),
                    right("Freed on its panel"),
                ),
                rows,
            )
        )
    if gaps:
        blocks.append(Bullets(gaps))
    return blocks


def _blowers(ledger: Ledger, blowers: Sequence[Machine]) -> list[Block]:
    rows: list[tuple[Spans, ...]] = []
    for machine in blowers:
        for share in SPEED_SHARES:
            change = speed_change(
                machine, LoadLaw.FAN, from_speed=1.0, to_speed=share, full_speed=1.0
            )
            rows.append(
                (
                    words.machine_link(machine),
                    percent_words(share),
                    percent_words(change.flow_share),
                    percent_words(change.pressure_share),
                    percent_words(change.power_share),
                    words.NONE
                    if change.power_kw is None
                    else power_words(change.power_kw, ledger.site),
                )
            )
    return [
        Paragraph(
            "By the affinity laws, as shares of what full speed gives. A blower without a "
            "frequency drive runs at full speed only."
        ),
        Table(
            (
                left("Machine"),
                right("Speed"),
                right("Flow"),
                right("Pressure"),
                right("Power"),
                right("At most"),
            ),
            rows,
        ),
    ]

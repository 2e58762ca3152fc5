"""One page a machine: facts, points and their cycles, and everything that was ever filed."""

from collections.abc import Sequence

from ledger.assess.findings import Finding
from ledger.assess.speeds import SpeedResult
from ledger.compute.units import convert
from ledger.model.ledger import Ledger
from ledger.model.machines import ElectricDrive, HydraulicDrive, Machine
from ledger.model.references import Place
from ledger.model.site import Site, Units
from ledger.model.visits import Entry
from ledger.report import words
from ledger.report.anchor import anchor_of
from ledger.report.approval_words import pending_claims_words
from ledger.report.blocks import (
    Block,
    Bullets,
    Caution,
    Heading,
    Link,
    Page,
    Paragraph,
    Picture,
    Prose,
    Spans,
    Strong,
    Table,
    left,
)
from ledger.report.pages.machine_history import history_blocks
from ledger.report.pages.speeds import last_reading_words, speed_plot


def machine_page(
    ledger: Ledger,
    machine: Machine,
    results: Sequence[SpeedResult],
    found: Sequence[Finding],
) -> Page:
    """Depends on the sources only. `results` and `found` are those of this machine."""
    speeds = {result.entry.ref: result for result in results}
    blocks: list[Block] = [Bullets(_facts(ledger, machine)), Caution(words.SAFETY)]
    if machine.notes:
        blocks.extend((Heading(2, "Notes"), Prose(machine.notes)))
    blocks.extend(_open_findings(ledger, found))
    if machine.points:
        blocks.extend((Heading(2, "Points"), _points(ledger, machine)))
    if results:
        blocks.extend(
            (
                Heading(2, "Speed"),
                Picture(f"plots/speed-{machine.ident}.svg", speed_plot(ledger, machine, results)),
                Paragraph(
                    (
                        f"{last_reading_words(results)} Every reading with its verdict is on ",
                        Link("the page of shaft speeds", f"speeds.md#{anchor_of(machine.name)}"),
                        ".",
                    )
                ),
            )
        )
    blocks.extend(history_blocks(ledger, machine, speeds))
    return Page(path=words.machine_page(machine.ident), title=machine.name, blocks=blocks)


def _facts(ledger: Ledger, machine: Machine) -> list[Spans]:
    site = ledger.site
    facts: list[Spans] = [
        f"Station {words.number_words(machine.station)}, "
        f"{machine.area.replace('-', ' ')}, {machine.kind.replace('-', ' ')}"
        + (f", {machine.side} side" if machine.side in {"driver", "passenger"} else "")
    ]
    if machine.turns:
        facts.append(f"Turns {machine.turns} the vehicle's travel.")
    if machine.drive is not None:
        facts.append(_drive_words(machine.drive, site))
    facts.extend(
        f"Band at {words.number_words(band.line_rate_per_h)} vehicles an hour: "
        f"{words.range_words(band.low_rpm, band.high_rpm)} r/min, "
        f"target {words.number_words(band.target_rpm)}."
        for band in machine.speed_band
    )
    drive = ledger.setpoints.get(machine.ident)
    if drive is not None and drive.in_force is not None:
        facts.append(
            (
                (
                    f"Setting in force: {words.change_words(drive.in_force, site)} from "
                    f"{words.day_words(drive.in_force.first_day)} ("
                ),
                Link("register", "setpoints.md"),
                ").",
            )
        )
    facts.extend(Strong(claim) for claim in pending_claims_words(drive, site))
    if machine.panel:
        panel = site.panels.get(machine.panel)
        facts.append(f"Fed from {panel.name if panel else machine.panel}.")
    if machine.serial:
        facts.append(f"Serial number {machine.serial}.")
    facts.append(f"In service since {words.day_words(machine.in_service)}.")
    if machine.out_of_service is not None:
        facts.append(f"Out of service since {words.day_words(machine.out_of_service)}.")
    if machine.maker_manual:
        facts.append(f"Maker's manual: {machine.maker_manual}.")
    return facts


def _drive_words(drive: ElectricDrive | HydraulicDrive, site: Site) -> str:
    if isinstance(drive, HydraulicDrive):
        if site.units is Units.US:
            size = f"{words.number_words(round(convert(drive.motor_cm3, 'cm3', 'in3'), 2))} in³"
        else:
            size = f"{words.number_words(round(drive.motor_cm3, 1))} cm³"
        limits = drive.flow_limits_lpm
        span = (
            ""
            if limits is None
            else ", limits " + " to ".join(words.flow_words(q, site) for q in limits)
        )
        return f"Hydraulic motor, {size} per turn{span}."
    parts = ["Electric motor"]
    if drive.motor_kw is not None:
        power = (
            f"{words.number_words(round(convert(drive.motor_kw, 'kw', 'hp'), 2))} hp"
            if site.units is Units.US
            else f"{words.number_words(round(drive.motor_kw, 2))} kW"
        )
        parts.append(power)
    if drive.rated_rpm is not None and drive.base_hz is not None:
        parts.append(
            f"{words.number_words(drive.rated_rpm)} r/min at {words.number_words(drive.base_hz)} Hz"
        )
    if drive.reduction is not None:
        parts.append(f"reduction about {words.number_words(drive.reduction)}")
    if drive.hz_limits is not None:
        low, high = drive.hz_limits
        parts.append(f"limits {words.number_words(low)} to {words.number_words(high)} Hz")
    return ", ".join(parts) + "."


def _open_findings(ledger: Ledger, found: Sequence[Finding]) -> list[Block]:
    still_open = [finding for finding in found if finding.is_open]
    if not still_open:
        return []
    return [
        Heading(2, "Open findings"),
        Bullets(
            [
                f"{finding.entry.urgency.value.capitalize()}: {finding.entry.finding} "
                f"({words.point_words(ledger, finding.entry.places[0]) or 'machine'}, "
                f"{words.day_words(finding.entry.day)}, "
                f"{words.person_words(finding.entry.by, ledger.site)}, {finding.entry.ref})"
                for finding in still_open
            ]
        ),
    ]


def _points(ledger: Ledger, machine: Machine) -> Table:
    last = _last_done(ledger, machine)
    rows: list[tuple[Spans, ...]] = []
    for ident in ("", *machine.points):
        place = Place(machine.ident, ident)
        tasks = [task for task in ledger.tasks.values() if place in task.places]
        point = machine.points.get(ident)
        if point is None and not tasks:
            continue
        name = "Machine" if point is None else point.name
        kind = words.NONE if point is None else point.kind.replace("-", " ")
        if not tasks:
            rows.append((name, kind, "no task", words.NONE, words.NONE))
        for task in tasks:
            done = last.get((task.ident, place))
            rows.append(
                (
                    name,
                    kind,
                    words.task_link(task),
                    words.task_cycle_words(task),
                    words.NONE if done is None else words.day_words(done.day),
                )
            )
    return Table(
        (left("Point"), left("Kind"), left("Task"), left("Cycle"), left("Last done")), rows
    )


def _last_done(ledger: Ledger, machine: Machine) -> dict[tuple[str, Place], Entry]:
    last: dict[tuple[str, Place], Entry] = {}
    for entry in ledger.standing_at(machine.ident):
        if entry.did_work:
            for place in entry.places:
                last[entry.task, place] = entry
    return last

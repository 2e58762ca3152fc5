"""One page a machine: facts, points and their cycles, and everything that was ever filed."""

from collections.abc import Sequence
from datetime import date

from ledger.assess.findings import Finding
from ledger.assess.register import standing_of
from ledger.assess.speeds import SpeedResult
from ledger.compute.units import convert
from ledger.model.ledger import Ledger
from ledger.model.machines import Brush, ElectricDrive, HydraulicDrive, Machine
from ledger.model.references import Place
from ledger.model.site import Site, Units
from ledger.model.visits import Entry, Urgency
from ledger.report import words
from ledger.report.anchor import anchor_of
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
from ledger.report.pages.settings_words import coming_words
from ledger.report.pages.speeds import last_reading_words, speed_plot
from ledger.report.pages.today_decisions import Decision

_URGENCIES = tuple(Urgency)


def machine_page(
    ledger: Ledger,
    machine: Machine,
    results: Sequence[SpeedResult],
    found: Sequence[Finding],
    decisions: Sequence[Decision],
    as_of: date | None = None,
) -> Page:
    """`results`, `found` and `decisions` are those of this machine.

    Depends on the sources only, but for the setting in force, where `as_of` is given: by default
    that on the last day on record.
    """
    speeds = {result.entry.ref: result for result in results}
    blocks: list[Block] = [
        Bullets(_facts(ledger, machine, as_of)),
        Caution(words.SAFETY),
        *_needs_attention(ledger, found, decisions),
    ]
    if machine.notes:
        blocks.extend((Heading(2, "Notes"), Prose(machine.notes)))
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


def _facts(ledger: Ledger, machine: Machine, as_of: date | None) -> list[Spans]:
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
    if machine.brush is not None and (said := _brush_words(machine.brush, site)):
        facts.append(said)
    facts.extend(
        f"Band at {words.number_words(band.line_rate_per_h)} vehicles an hour: "
        f"{words.range_words(band.low_rpm, band.high_rpm)} r/min, "
        f"target {words.number_words(band.target_rpm)}."
        for band in machine.speed_band
    )
    standing = standing_of(ledger, machine.ident, as_of)
    if standing.change is not None or standing.coming:
        change = standing.change
        said = (
            "No setting in force"
            if change is None
            else f"Setting in force: {words.change_words(change, site)} from "
            f"{words.day_words(change.first_day)}"
        )
        said += coming_words(standing.coming, site)
        facts.append((f"{said} (", Link("register", "setpoints.md"), ")."))
    if machine.panel:
        panel = site.panels.get(machine.panel)
        facts.append(f"Fed from {panel.name if panel else machine.panel}.")
    if machine.serial:
        facts.append(f"Serial number {machine.serial}.")
    facts.append(f"In service since {words.day_words(machine.in_service)}.")
    facts.extend(f"Out of service {words.absence_words(absence)}." for absence in machine.absences)
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


def _brush_words(brush: Brush, site: Site) -> str:
    told = [brush.material] if brush.material else []
    if brush.diameter_m is not None:
        unit = "in" if site.units is Units.US else "mm"
        across = convert(brush.diameter_m, "m", unit)
        told.append(f"{words.number_words(round(across, 1))} {unit} across")
    if brush.strips_around is not None:
        told.append(f"{words.count_words(brush.strips_around, 'strip')} around")
    return f"Brush: {', '.join(told)}." if told else ""


def _needs_attention(
    ledger: Ledger, found: Sequence[Finding], decisions: Sequence[Decision]
) -> list[Block]:
    """Open findings, the most urgent first, then all else that asks for a decision."""
    still_open = sorted(
        (finding for finding in found if finding.is_open),
        key=lambda finding: _URGENCIES.index(finding.entry.urgency),
    )
    said: list[Spans] = [_finding_words(ledger, finding) for finding in still_open]
    said.extend(decision.line_on_machine_page(ledger) for decision in decisions)
    return [Heading(2, "Needs attention"), Bullets(said)] if said else []


def _finding_words(ledger: Ledger, finding: Finding) -> Spans:
    entry = finding.entry
    where = words.point_words(ledger, entry.places[0]) or "machine"
    return (
        Strong(f"Open finding, {entry.urgency.value}"),
        (
            f": {entry.finding} ({where}, {words.day_words(entry.day)}, "
            f"{words.person_words(entry.by, ledger.site)}, {entry.ref})"
        ),
    )


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
        if point is not None and point.note:
            name = f"{name} ({point.note})"
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

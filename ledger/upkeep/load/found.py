"""Load: what each panel carries, what a conversion would ask for, and what another speed does."""

from collections.abc import Iterable, Sequence
from statistics import median

from ledger.compute import load
from ledger.compute.load import ElectricInstead, HydraulicInstead, LoadLaw, PanelLoad, SharesAtSpeed
from ledger.compute.numbers import NoAnswer, answer_or_none, convert
from ledger.compute.ratio import NEW_MOTOR_EFFICIENCY, efficiency_of
from ledger.model.ledger import Ledger
from ledger.model.machines import ElectricDrive, HydraulicDrive, Machine
from ledger.model.setpoints import Change
from ledger.model.site import Panel
from ledger.upkeep.speeds.found import SpeedResult, results_at
from ledger.upkeep.speeds.ratios import drive_ratio
from ledger.values import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class PanelMotor:
    """One machine's motor on a panel.

    `amps` are the table's for the motor's size, the next standard one up (`size_hp`); where the
    table has no such size or voltage they are the nameplate's, and None where that is not stated.
    `input_a` is the rated input of its frequency drive.
    """

    machine: Machine
    size_hp: float | None
    table_a: float | None
    nameplate_a: float | None
    is_on_drive: bool = False
    input_a: float | None = None

    @property
    def amps(self) -> float | None:
        return self.nameplate_a if self.table_a is None else self.table_a


@dataclass(frozen=True, slots=True, kw_only=True)
class PanelReport:
    """A panel, its motors in walking order, and their load; `uncounted` have no amps at all."""

    panel: Panel
    motors: tuple[PanelMotor, ...]
    load: PanelLoad

    @property
    def without_input(self) -> tuple[Machine, ...]:
        """Machines on a frequency drive whose input current is not stated."""
        return tuple(m.machine for m in self.motors if m.is_on_drive and m.input_a is None)

    @property
    def by_drive_inputs(self) -> tuple[float, float] | None:
        """Amps by the two readings of the code; None without drives, or where an input lacks."""
        on_drive = [one.input_a for one in self.motors if one.is_on_drive]
        if not on_drive or self.without_input:
            return None
        direct = [m.amps for m in self.motors if not m.is_on_drive and m.amps is not None]
        return load.feeder_by_drive_inputs(direct, [a for a in on_drive if a is not None])

    @property
    def uncounted(self) -> tuple[Machine, ...]:
        return tuple(motor.machine for motor in self.motors if motor.amps is None)


def panel_reports(ledger: Ledger) -> tuple[PanelReport, ...]:
    """Every panel of the site, by id; machines taken out of service are left out."""
    return tuple(_report(ledger, panel) for _, panel in sorted(ledger.site.panels.items()))


def _report(ledger: Ledger, panel: Panel) -> PanelReport:
    motors = tuple(
        _motor(machine, machine.drive, panel)
        for machine in ledger.machines.values()
        if machine.panel == panel.ident
        and machine.out_of_service is None
        and isinstance(machine.drive, ElectricDrive)
    )
    return PanelReport(panel=panel, motors=motors, load=_load(panel, motors))


def _load(panel: Panel, motors: Iterable[PanelMotor], *more: float) -> PanelLoad:
    amps = [motor.amps for motor in motors if motor.amps is not None]
    return load.panel_load([*amps, *more], rating_a=panel.rated_a)


def _motor(machine: Machine, drive: ElectricDrive, panel: Panel) -> PanelMotor:
    size = None if drive.motor_kw is None else answer_or_none(load.motor_size_hp(drive.motor_kw))
    return PanelMotor(
        machine=machine,
        size_hp=size,
        table_a=None if size is None else answer_or_none(load.full_load_amps(size, panel.volts)),
        nameplate_a=drive.full_load_a,
        is_on_drive=drive.hz_limits is not None,
        input_a=drive.input_a,
    )


OIL_MOTOR_MECHANICAL = 0.90

PUMP_EFFICIENCY = 0.85
"""Shares of power that a new oil motor and a pump pass on; common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ToElectric:
    """A hydraulic machine, converted; the efficiency is the measured one where it was read.

    `panels` are those of its volts, each with its load once the motor is added; None where the
    motor is not tabled.
    """

    machine: Machine
    flow_lpm: float
    pressure_kpa: float
    volumetric_efficiency: float
    share_of_base_frequency: float
    volts: int
    needs: ElectricInstead
    panels: tuple[tuple[PanelReport, PanelLoad | None], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ToOil:
    """An electric machine, converted: an upper bound, as motors are seldom fully loaded."""

    machine: Machine
    motor_hp: float
    shaft_rpm: float
    pressure_kpa: float
    share_of_base_frequency: float
    volts: int
    needs: HydraulicInstead


@dataclass(frozen=True, slots=True, kw_only=True)
class NoConversion:
    """Why a machine cannot be converted on paper, in words for a person."""

    machine: Machine
    why: str


Conversion = ToElectric | ToOil | NoConversion


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteLoad:
    """The panels of a site and the conversion of every machine whose drive can be set."""

    panels: tuple[PanelReport, ...]
    conversions: tuple[Conversion, ...]


def site_load(ledger: Ledger) -> SiteLoad:
    """From the sources alone, in walking order.

    Electric machines are converted only where the site has oil, whose pressure they would use.
    """
    has_oil = site_pressure_kpa(ledger) is not None
    return SiteLoad(
        panels=panel_reports(ledger),
        conversions=tuple(
            convert_machine(ledger, machine, results_at(ledger, machine.ident))
            for machine in ledger.machines.values()
            if machine.has_setpoint and (has_oil or isinstance(machine.drive, HydraulicDrive))
        ),
    )


def convert_machine(
    ledger: Ledger,
    machine: Machine,
    results: Sequence[SpeedResult],
    *,
    pressure_kpa: float | None = None,
    volts: int | None = None,
) -> Conversion:
    """The other kind of drive for a machine, at the shaft speed that its setting in force gives.

    `pressure_kpa` is the drop across the oil motor, by default that of the machine's file or, for
    an electric machine, the highest of the site; `volts` by default those of its panel.

    Raises:
        ValueError: the pressure is not above 0.
    """
    chosen = volts or _volts(ledger, machine)
    if chosen is None:
        return NoConversion(machine=machine, why="neither its panel nor the site's tell the volts")
    match machine.drive:
        case HydraulicDrive() as drive:
            pressure = pressure_kpa or drive.pressure_kpa
            return _to_electric(ledger, machine, drive, results, pressure, chosen)
        case ElectricDrive() as drive:
            pressure = pressure_kpa or site_pressure_kpa(ledger)
            return _to_oil(ledger, machine, drive, results, pressure, chosen)
        case _:
            return NoConversion(machine=machine, why="its file states no drive")


def site_pressure_kpa(ledger: Ledger) -> float | None:
    """The highest pressure that a hydraulic machine's file states."""
    stated = [
        machine.drive.pressure_kpa
        for machine in ledger.machines.values()
        if isinstance(machine.drive, HydraulicDrive) and machine.drive.pressure_kpa is not None
    ]
    return max(stated, default=None)


def usual_share_of_base(ledger: Ledger) -> float:
    """The share of base frequency at which the site's frequency drives run; 1 where none is known.

    The middle one of the settings in force, since a drive that takes over will run much alike.
    """
    shares = [
        share
        for machine in ledger.machines.values()
        if isinstance(machine.drive, ElectricDrive)
        and (share := _share_of_base(ledger, machine, machine.drive)) is not None
    ]
    return min(1.0, median(shares)) if shares else 1.0


def _to_electric(
    ledger: Ledger,
    machine: Machine,
    drive: HydraulicDrive,
    results: Sequence[SpeedResult],
    pressure_kpa: float | None,
    volts: int,
) -> Conversion:
    change = _in_force(ledger, machine)
    if pressure_kpa is None:
        return NoConversion(machine=machine, why="its file states no pressure")
    if change is None:
        return NoConversion(machine=machine, why="no flow is in force")
    ratio = drive_ratio(ledger, machine, results)
    efficiency = drive.volumetric_efficiency
    if ratio.fit is not None and ratio.used:
        read = efficiency_of(ratio.fit, drive.motor_cm3, reduction=drive.reduction)
        efficiency = min(1.0, read.fraction)
    share = usual_share_of_base(ledger)
    needs = load.electric_instead(
        pressure_drop_bar=convert(pressure_kpa, "kpa", "bar"),
        flow_l_min=change.value,
        # Behind a reduction the shaft sees a motor that is larger by it.
        displacement_cm3=drive.motor_cm3 * drive.reduction,
        volumetric_efficiency=efficiency,
        volts=volts,
        share_of_base_frequency=share,
    )
    amps = answer_or_none(needs.full_load_a)
    return ToElectric(
        machine=machine,
        flow_lpm=change.value,
        pressure_kpa=pressure_kpa,
        volumetric_efficiency=efficiency,
        share_of_base_frequency=share,
        volts=volts,
        needs=needs,
        panels=tuple(
            (report, None if amps is None else _load(report.panel, report.motors, amps))
            for report in panel_reports(ledger)
            if report.panel.volts == volts
        ),
    )


def _to_oil(
    ledger: Ledger,
    machine: Machine,
    drive: ElectricDrive,
    results: Sequence[SpeedResult],
    pressure_kpa: float | None,
    volts: int,
) -> Conversion:
    if pressure_kpa is None:
        return NoConversion(machine=machine, why="the site's files state no oil pressure")
    if drive.motor_kw is None:
        return NoConversion(machine=machine, why="its file states no motor power")
    size = load.motor_size_hp(drive.motor_kw)
    if isinstance(size, NoAnswer):
        return NoConversion(machine=machine, why=size.text)
    rpm = _shaft_rpm(ledger, machine, drive, results)
    if rpm is None:
        return NoConversion(machine=machine, why="neither a reading nor a nameplate tell its speed")
    share = min(1.0, _share_of_base(ledger, machine, drive) or 1.0)
    return ToOil(
        machine=machine,
        motor_hp=size,
        shaft_rpm=rpm,
        pressure_kpa=pressure_kpa,
        share_of_base_frequency=share,
        volts=volts,
        needs=load.hydraulic_instead(
            motor_hp=size,
            volts=volts,
            shaft_rpm=rpm,
            pressure_drop_bar=convert(pressure_kpa, "kpa", "bar"),
            share_of_base_frequency=share,
            volumetric_efficiency=NEW_MOTOR_EFFICIENCY,
            mechanical_efficiency=OIL_MOTOR_MECHANICAL,
            pump_efficiency=PUMP_EFFICIENCY,
        ),
    )


def _shaft_rpm(
    ledger: Ledger, machine: Machine, drive: ElectricDrive, results: Sequence[SpeedResult]
) -> float | None:
    change = _in_force(ledger, machine)
    if change is not None:
        speed = drive_ratio(ledger, machine, results).speed_at(change.value)
        if speed is not None:
            return speed.rpm
    return None if drive.rated_rpm is None else drive.rated_rpm / (drive.reduction or 1.0)


def _share_of_base(ledger: Ledger, machine: Machine, drive: ElectricDrive) -> float | None:
    change = _in_force(ledger, machine)
    return None if change is None or not drive.base_hz else change.value / drive.base_hz


def _in_force(ledger: Ledger, machine: Machine) -> Change | None:
    setpoints = ledger.setpoints.get(machine.ident)
    return setpoints.in_force if setpoints else None


def _volts(ledger: Ledger, machine: Machine) -> int | None:
    """Those of its panel; else those of the site's panels where they are all alike."""
    panel = ledger.site.panels.get(machine.panel)
    if panel is not None:
        return panel.volts
    volts = {panel.volts for panel in ledger.site.panels.values()}
    return volts.pop() if len(volts) == 1 else None


# Plunger pumps and piston compressors work against a held pressure.
_CONSTANT_TORQUE = frozenset(
    (
        *("conveyor", "curtain", "wrap", "side-brush", "low-brush", "top-brush", "buffer"),
        *("pump-stand", "compressor", "hydraulic-unit"),
    )
)


@dataclass(frozen=True, slots=True, kw_only=True)
class SpeedChange:
    """A machine at another speed; `shares` of flow, pressure and power as they were.

    `power_kw` is what a motor fully loaded at full speed gives there, an upper bound; None where
    power or full speed are not known.
    """

    machine: Machine
    law: LoadLaw
    from_speed: float
    to_speed: float
    shares: SharesAtSpeed
    power_kw: float | None


def law_of(machine: Machine) -> LoadLaw | None:
    """How the machine's load answers to speed, by its kind; None where the kind does not tell."""
    if machine.kind == "blower":
        return LoadLaw.FAN
    return LoadLaw.CONSTANT_TORQUE if machine.kind in _CONSTANT_TORQUE else None


def speed_change(
    machine: Machine,
    law: LoadLaw,
    *,
    from_speed: float,
    to_speed: float,
    full_speed: float | None = None,
) -> SpeedChange:
    """The machine at another speed; `full_speed` is that of rated power, all in one unit.

    Raises:
        ValueError: the first or the full speed is not above 0, or the second is negative.
    """
    rated = machine.drive.motor_kw if isinstance(machine.drive, ElectricDrive) else None
    power_kw = None
    if rated is not None and full_speed is not None:
        of_full = load.shares_at_speed(law, from_speed=full_speed, to_speed=to_speed)
        power_kw = rated * of_full.power
    return SpeedChange(
        machine=machine,
        law=law,
        from_speed=from_speed,
        to_speed=to_speed,
        shares=load.shares_at_speed(law, from_speed=from_speed, to_speed=to_speed),
        power_kw=power_kw,
    )

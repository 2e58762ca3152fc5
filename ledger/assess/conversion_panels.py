"""The motors that each panel feeds, and what its feeder must carry against its rating."""

from dataclasses import dataclass

from ledger.compute.motor_amps import (
    NotTabled,
    PanelLoad,
    full_load_amps,
    motor_size_hp,
    panel_load,
)
from ledger.model.ledger import Ledger
from ledger.model.machines import ElectricDrive, Machine
from ledger.model.site import Panel


@dataclass(frozen=True, slots=True, kw_only=True)
class PanelMotor:
    """One machine's motor on a panel.

    `amps` are the table's for the motor's size, the next standard one up (`size_hp`); where the
    table has no such size or voltage they are the nameplate's, and None where that is not stated.
    """

    machine: Machine
    size_hp: float | None
    table_a: float | None
    nameplate_a: float | None

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
    def uncounted(self) -> tuple[Machine, ...]:
        return tuple(motor.machine for motor in self.motors if motor.amps is None)


def panel_reports(ledger: Ledger) -> tuple[PanelReport, ...]:
    """Every panel of the site, by id; machines taken out of service are left out."""
    return tuple(_report(ledger, panel) for _, panel in sorted(ledger.site.panels.items()))


def with_motor(report: PanelReport, amps: float) -> PanelLoad:
    """The panel's load with one more motor."""
    return panel_load([*_amps(report.motors), amps], rating_a=report.panel.rated_a)


def _report(ledger: Ledger, panel: Panel) -> PanelReport:
    motors = tuple(
        _motor(machine, machine.drive, panel)
        for machine in ledger.machines.values()
        if machine.panel == panel.ident
        and machine.out_of_service is None
        and isinstance(machine.drive, ElectricDrive)
    )
    return PanelReport(
        panel=panel,
        motors=motors,
        load=panel_load(_amps(motors), rating_a=panel.rated_a),
    )


def _amps(motors: tuple[PanelMotor, ...]) -> list[float]:
    return [motor.amps for motor in motors if motor.amps is not None]


def _motor(machine: Machine, drive: ElectricDrive, panel: Panel) -> PanelMotor:
    size = None if drive.motor_kw is None else motor_size_hp(drive.motor_kw)
    if size is None or isinstance(size, NotTabled):
        return PanelMotor(
            machine=machine, size_hp=None, table_a=None, nameplate_a=drive.full_load_a
        )
    amps = full_load_amps(size, panel.volts)
    return PanelMotor(
        machine=machine,
        size_hp=size,
        table_a=None if isinstance(amps, NotTabled) else amps,
        nameplate_a=drive.full_load_a,
    )

"""`tunnelbook load`: panels, conversion between oil and electricity, and another speed."""

import argparse
from typing import TYPE_CHECKING

from ledger.cli.command import (
    Failure,
    add_as_of,
    add_json,
    add_site_option,
    known,
    open_site,
    print_json,
)

if TYPE_CHECKING:
    from ledger.model.ledger import Ledger
    from ledger.model.machines import Machine
    from ledger.upkeep.load.found import SpeedChange


DESCRIPTION = (
    "Print what each panel carries against its rating and, for a machine, what turning it by oil "
    "instead of electricity or the reverse would ask for, or what another speed would do."
)

EXAMPLES = """\
examples:
  tunnelbook load                                    panels and every conversion
  tunnelbook load low-brush-p                        from oil to electricity
  tunnelbook load brush-p2 --pressure-psi 1000       from electricity to oil, at 1000 psi
  tunnelbook load blower-1 --from-hz 60 --to-hz 50   by the affinity laws

For planning only: a licensed electrician and the local code decide what is
built, and the nameplate rules for overload protection.
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "machine", nargs="?", metavar="MACHINE", help="its file's name in equipment/, without .yaml"
    )
    pressure = parser.add_mutually_exclusive_group()
    pressure.add_argument(
        "--pressure-psi", type=float, metavar="PSI", help="pressure drop across the oil motor"
    )
    pressure.add_argument(
        "--pressure-kpa", type=float, metavar="KPA", help="pressure drop across the oil motor"
    )
    parser.add_argument(
        "--volts", type=int, metavar="V", help="motor voltage; by default that of the panel"
    )
    parser.add_argument(
        "--from-hz", type=float, metavar="HZ", help="speed now; by default the setting in force"
    )
    parser.add_argument("--to-hz", type=float, metavar="HZ", help="speed to look at")
    parser.add_argument(
        "--law",
        choices=("fan", "constant-torque"),
        help="how the load answers to speed; by default by the kind of the machine",
    )
    add_site_option(parser)
    add_as_of(parser)
    add_json(parser)


def run(parsed: argparse.Namespace) -> int:
    from ledger.book.terminal import render  # noqa: PLC0415
    from ledger.compute.numbers import convert  # noqa: PLC0415
    from ledger.upkeep.load.found import (  # noqa: PLC0415
        convert_machine,
        panel_reports,
        site_load,
    )
    from ledger.upkeep.load.page import load_page, machine_load_page  # noqa: PLC0415
    from ledger.upkeep.load.table import conversion_row, load_row, panel_rows, speed_change_row  # noqa: PLC0415
    from ledger.upkeep.speeds.found import speed_results  # noqa: PLC0415

    ledger = open_site(parsed.site, parsed.as_of, parsed.clock).ledger
    if parsed.machine is None:
        _refuse_without_machine(parsed)
        found = site_load(ledger, speed_results(ledger))
        page, row = load_page(ledger, found), load_row(found)
    else:
        machine = ledger.machines[known(parsed.machine, ledger.machines, "machine")]
        psi, kpa = parsed.pressure_psi, parsed.pressure_kpa
        pressure_kpa = kpa if psi is None else convert(psi, "psi", "kpa")
        own = [result for result in speed_results(ledger) if result.machine == machine.ident]
        try:
            change = _change(parsed, ledger, machine)
            conversion = (
                None
                if change is not None
                else convert_machine(
                    ledger, machine, own, pressure_kpa=pressure_kpa, volts=parsed.volts
                )
            )
        except ValueError as wrong:
            raise Failure(str(wrong)) from None
        on = [report for report in panel_reports(ledger) if report.panel.ident == machine.panel]
        page = machine_load_page(ledger, machine, conversion, on[0] if on else None, change)
        row = {
            "conversion": None if conversion is None else conversion_row(conversion),
            "panels": panel_rows(on),
            "speed_change": None if change is None else speed_change_row(change),
        }
    if parsed.json:
        print_json(row)
    else:
        print(render(page), end="")
    return 0


def _refuse_without_machine(parsed: argparse.Namespace) -> None:
    for name in ("pressure_psi", "pressure_kpa", "volts", "from_hz", "to_hz", "law"):
        if getattr(parsed, name) is not None:
            raise Failure(f"--{name.replace('_', '-')} needs a machine to look at")


def _change(
    parsed: argparse.Namespace, ledger: "Ledger", machine: "Machine"
) -> "SpeedChange | None":
    """The change of speed that was asked for; from the setting in force or base frequency."""
    from ledger.model.machines import ElectricDrive  # noqa: PLC0415
    from ledger.upkeep.load.found import LoadLaw, law_of, speed_change  # noqa: PLC0415

    if parsed.to_hz is None:
        if parsed.from_hz is not None:
            raise Failure("--from-hz needs --to-hz")
        return None
    law = LoadLaw(parsed.law) if parsed.law else law_of(machine)
    if law is None:
        raise Failure(f"say with --law how a {machine.kind} answers to speed")
    base_hz = machine.drive.base_hz if isinstance(machine.drive, ElectricDrive) else None
    setpoints = ledger.setpoints.get(machine.ident)
    change = setpoints.in_force if setpoints else None
    in_force_hz = change.value if change is not None and change.unit == "Hz" else None
    from_hz = parsed.from_hz or in_force_hz or base_hz
    if from_hz is None:
        raise Failure("its file tells no frequency to start from; give --from-hz")
    return speed_change(machine, law, from_speed=from_hz, to_speed=parsed.to_hz, full_speed=base_hz)

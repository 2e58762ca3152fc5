"""The views that take numbers to try out: settings, the line rate, loads and other speeds."""

from argparse import Namespace
from functools import partial
from typing import TYPE_CHECKING

from ledger.cli.arguments import arg, number, one_of, whole
from ledger.cli.command import Failure, OpenSite, failing_on, known
from ledger.cli.commands.views import ANY_MACHINE, FROM_A_DAY, MACHINE, View, machine_named, view
from ledger.compute.numbers import convert
from ledger.model.machines import ElectricDrive, Machine
from ledger.model.site import Site

if TYPE_CHECKING:
    from ledger.model.ledger import Ledger
    from ledger.upkeep.line.found import RateCheck
    from ledger.upkeep.load.found import SpeedChange


def _tune(parsed: Namespace, site: OpenSite) -> View:
    from ledger.upkeep.speeds.found import speed_results
    from ledger.upkeep.tuning import found, page, words

    ledger = site.ledger
    machine = ledger.machines[known(parsed.machine, ledger.machines, "machine")]
    if not machine.has_setpoint:
        raise Failure(
            f"nothing can be set on `{machine.ident}`: its file states no limits of a drive; "
            f"known: {', '.join(m.ident for m in ledger.machines.values() if m.has_setpoint)}"
        )
    rates = found.rates_of(ledger) if parsed.line_rate is None else (parsed.line_rate,)
    results = [result for result in speed_results(ledger) if result.machine == machine.ident]
    with failing_on(ValueError):
        tuning = found.tune(
            ledger,
            machine,
            results,
            line_rates_per_h=rates,
            target_rpm=parsed.target,
            as_of=site.as_of,
        )
    setting, outlooks = None, []
    if parsed.setting is not None:
        if not 0 < parsed.setting < float("inf"):
            raise Failure("--setting must be above 0")
        setting = words.from_shown_unit(parsed.setting, tuning.ratio.unit, ledger.site)
        at_rates = (found.outlook_at(machine, tuning.ratio, setting, rate) for rate in rates)
        outlooks = [outlook for outlook in at_rates if outlook is not None]
    return View(
        page=lambda: page.tune_page(ledger, tuning, outlooks, setting),
        json=lambda: words.tuning_row(tuning, outlooks),
    )


def _line(parsed: Namespace, site: OpenSite) -> View:
    from ledger.upkeep.line import found, page
    from ledger.upkeep.speeds.found import speed_results

    ledger = site.ledger
    rates = () if parsed.line_rate is None else (parsed.line_rate,)
    with failing_on(ValueError):
        timed = _timed_line(parsed, ledger.site)
        matching = found.line_matching(ledger, speed_results(ledger), rates)
    return View(
        page=partial(page.line_page, ledger, matching, timed),
        json=partial(page.line_row, ledger.site, matching, timed),
    )


def _timed_line(parsed: Namespace, site: Site) -> "list[tuple[RateCheck, str]]":
    """The rate that the options time, beside the stated one, with the words of how."""
    from ledger.book.words import format_quantity
    from ledger.compute import line
    from ledger.upkeep.line.found import RateCheck

    def metres(name: str) -> float | None:
        feet, whole = getattr(parsed, f"{name}_ft"), getattr(parsed, f"{name}_m")
        return whole if feet is None else convert(feet, "ft", "m")

    distance_m, seconds = metres("distance"), parsed.seconds
    if distance_m is None and parsed.vehicles is None:
        if seconds is not None:
            raise Failure("--seconds needs --distance-ft, --distance-m or --vehicles")
        return []
    if seconds is None:
        raise Failure("give the time that it took with --seconds")
    u_seconds = site.policy.timing_u_s if parsed.u_seconds is None else parsed.u_seconds
    if distance_m is None:
        if parsed.vehicles < 2:
            raise Failure(
                "--vehicles must be 2 or more: the rate comes from the gaps between fronts"
            )
        rate = line.line_rate_of_timed_vehicles(parsed.vehicles - 1, seconds, u_seconds=u_seconds)
        how = f"by {parsed.vehicles} vehicles in {seconds:g} s"
    else:
        if site.line.vehicle_pitch_m is None:
            raise Failure("a timed chain gives a line rate only with `vehicle_pitch` in site.yaml")
        u_distance_m = metres("u_distance") or 0.0
        chain = line.chain_speed_over_distance(
            distance_m, seconds, u_distance_m=u_distance_m, u_seconds=u_seconds
        )
        rate = line.line_rate(chain, site.line.vehicle_pitch_m)
        how = f"by the chain at {format_quantity('m_s', chain.value, site)} and the site's pitch"
    return [(RateCheck(stated_per_h=site.line.line_rate_per_h, found=rate), how)]


_OF_ONE_MACHINE = ("pressure_psi", "pressure_kpa", "volts", "from_hz", "to_hz", "law")


def _load(parsed: Namespace, site: OpenSite) -> View:
    from ledger.upkeep.load import found, page, table
    from ledger.upkeep.speeds.found import speed_results

    ledger = site.ledger
    machine = machine_named(parsed, ledger)
    if machine is None:
        for name in _OF_ONE_MACHINE:
            if getattr(parsed, name) is not None:
                raise Failure(f"--{name.replace('_', '-')} needs a machine to look at")
        load = found.site_load(ledger)
        return View(page=partial(page.load_page, ledger, load), json=partial(table.load_row, load))
    psi, kpa = parsed.pressure_psi, parsed.pressure_kpa
    pressure_kpa = kpa if psi is None else convert(psi, "psi", "kpa")
    results = [result for result in speed_results(ledger) if result.machine == machine.ident]
    conversion = None
    with failing_on(ValueError):
        change = _speed_change(parsed, ledger, machine)
        if change is None:
            conversion = found.convert_machine(
                ledger, machine, results, pressure_kpa=pressure_kpa, volts=parsed.volts
            )
    panels = [one for one in found.panel_reports(ledger) if one.panel.ident == machine.panel]
    panel = panels[0] if panels else None
    return View(
        page=partial(page.machine_load_page, ledger, machine, conversion, panel, change),
        json=lambda: {
            "conversion": None if conversion is None else table.conversion_row(conversion),
            "panels": table.panel_rows(panels),
            "speed_change": None if change is None else table.speed_change_row(change),
        },
    )


def _speed_change(parsed: Namespace, ledger: "Ledger", machine: Machine) -> "SpeedChange | None":
    """The change of speed that was asked for; from the setting in force or base frequency."""
    from ledger.compute.load import LoadLaw
    from ledger.upkeep.load.found import law_of, speed_change

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
        raise Failure("its file gives no frequency to start from; give --from-hz")
    return speed_change(machine, law, from_speed=from_hz, to_speed=parsed.to_hz, full_speed=base_hz)


_LINE_RATE = number(
    "--line-rate", "N", "vehicles an hour; by default each line rate that the site states"
)


COMMANDS = {
    "tune": view(
        _tune,
        "Work out from the readings which drive setting puts a shaft in its band at each line "
        "rate, how sure that is, and what to count next where it is not.",
        """\
  tunnelbook tune brush-p2                     every line rate of the site
  tunnelbook tune brush-p2 --line-rate 110     between the rates that the site states
  tunnelbook tune brush-p2 --target 92         aim at 92 r/min instead of the band's target
  tunnelbook tune brush-p2 --setting 44.5      the reverse: what speed at 44.5 Hz
  tunnelbook tune low-brush-p --setting 4.1    a hydraulic drive: gpm, or L/min on a site in SI

A setting is changed by a person qualified for the drive, inside the makers'
limits, and the speed is counted again afterwards. A number printed here
approves nothing.
""",
        MACHINE,
        _LINE_RATE,
        number(
            "--setting|--at",
            "X",
            "say what speed this setting gives: Hz, or the site's unit of flow",
        ),
        number("--target", "RPM", "speed to aim at instead of the band's target"),
        takes=FROM_A_DAY,
    ),
    "line": view(
        _line,
        "Compare the stated line rate with chain speed and spacing, or with what was timed. "
        "Print the bands, the settings that keep the cloth per vehicle the same, and each "
        "direction of rotation.",
        """\
  tunnelbook line                                        by what the site states
  tunnelbook line --distance-ft 25 --seconds 39          a roller timed over 25 ft
  tunnelbook line --distance-m 10 --seconds 23.4 --u-distance-m 0.05
  tunnelbook line --vehicles 21 --seconds 600            21 fronts seen pass, first to last
  tunnelbook line --line-rate 110                        for one line rate

Time the chain from outside the guards, with the line in normal running.
""",
        _LINE_RATE,
        one_of(
            number("--distance-ft", "FT", "distance a roller moved, timed"),
            number("--distance-m", "M", "distance a roller moved, timed"),
            arg(
                "--vehicles",
                "N",
                "fronts seen pass one place, the first and the last included",
                type=whole,
            ),
        ),
        number("--seconds", "S", "time for the distance or the vehicles"),
        number("--u-seconds", "S", "its standard uncertainty"),
        one_of(
            number("--u-distance-ft", "FT", "standard uncertainty of the distance"),
            number("--u-distance-m", "M", "standard uncertainty of the distance"),
        ),
        takes=FROM_A_DAY,
    ),
    "load": view(
        _load,
        "Print what each panel carries against its rating and, for a machine, what turning it by "
        "oil instead of electricity or the reverse would ask for, or what another speed would do.",
        """\
  tunnelbook load                                    panels and every conversion
  tunnelbook load low-brush-p                        from oil to electricity
  tunnelbook load brush-p2 --pressure-psi 1000       from electricity to oil, at 1000 psi
  tunnelbook load blower-1 --from-hz 60 --to-hz 50   by the affinity laws

For planning only: a licensed electrician and the local code decide what is
built, and the nameplate rules for overload protection.
""",
        ANY_MACHINE,
        one_of(
            number("--pressure-psi", "PSI", "pressure drop across the oil motor"),
            number("--pressure-kpa", "KPA", "pressure drop across the oil motor"),
        ),
        arg("--volts", "V", "motor voltage; by default that of the panel", type=whole),
        number("--from-hz", "HZ", "speed now; by default the setting in force"),
        number("--to-hz", "HZ", "speed to look at"),
        arg(
            "--law",
            None,
            "how the load answers to speed; by default by the kind of the machine",
            choices=("fan", "constant-torque"),
        ),
        takes=FROM_A_DAY,
    ),
}

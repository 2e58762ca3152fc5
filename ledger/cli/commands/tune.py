"""`tunnelbook tune`: which setting puts a brush in its band, and how sure that is."""

import argparse

from ledger.cli.command import (
    Failure,
    add_as_of,
    add_json,
    add_site_option,
    known,
    open_site,
    print_json,
)

DESCRIPTION = (
    "Work out from the readings which drive setting puts a shaft in its band at each line rate, "
    "how sure that is, and what to count next where it is not."
)

EXAMPLES = """\
examples:
  tunnelbook tune brush-p2                     every line rate of the site
  tunnelbook tune brush-p2 --line-rate 110     between the rates that the site states
  tunnelbook tune brush-p2 --target 80         aim at 80 r/min instead of the band's target
  tunnelbook tune brush-p2 --at 44.5           the reverse: what speed at 44.5 Hz
  tunnelbook tune low-brush-p --at 4.1         a hydraulic drive: gpm, or L/min on a site in SI

A setting is changed by a person qualified for the drive, inside the makers'
limits, and the speed is counted again afterwards. A number printed here
approves nothing.
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "machine", metavar="MACHINE", help="its file's name in equipment/, without .yaml"
    )
    parser.add_argument(
        "--line-rate",
        type=float,
        metavar="N",
        help="vehicles an hour; by default each line rate that the site states",
    )
    parser.add_argument(
        "--at",
        type=float,
        metavar="SETTING",
        help="say what speed this setting gives: Hz, or the site's unit of flow",
    )
    parser.add_argument(
        "--target", type=float, metavar="RPM", help="speed to aim at instead of the band's target"
    )
    add_site_option(parser)
    add_as_of(parser)
    add_json(parser)


def run(parsed: argparse.Namespace) -> int:
    from ledger.book.terminal import render  # noqa: PLC0415
    from ledger.upkeep.drift.found import speed_drift  # noqa: PLC0415
    from ledger.upkeep.speeds.found import speed_results  # noqa: PLC0415
    from ledger.upkeep.tuning.found import outlook_at, rates_of, tune  # noqa: PLC0415
    from ledger.upkeep.tuning.page import tune_page  # noqa: PLC0415
    from ledger.upkeep.tuning.table import tuning_row  # noqa: PLC0415
    from ledger.upkeep.tuning.words import from_shown_unit  # noqa: PLC0415

    site = open_site(parsed.site, parsed.as_of, parsed.clock)
    ledger = site.ledger
    machine = ledger.machines[known(parsed.machine, ledger.machines, "machine")]
    if not machine.has_setpoint:
        raise Failure(
            f"nothing can be set on `{machine.ident}`: its file states no limits of a drive; "
            f"known are {', '.join(m.ident for m in ledger.machines.values() if m.has_setpoint)}"
        )
    rates = rates_of(ledger) if parsed.line_rate is None else (parsed.line_rate,)
    results = [result for result in speed_results(ledger) if result.machine == machine.ident]
    try:
        tuning = tune(
            ledger,
            machine,
            results,
            line_rates_per_h=rates,
            target_rpm=parsed.target,
            as_of=site.as_of,
        )
    except ValueError as wrong:
        raise Failure(str(wrong)) from None
    setting = None
    if parsed.at is not None:
        if not 0 < parsed.at < float("inf"):
            raise Failure("--at takes a setting above 0")
        setting = from_shown_unit(parsed.at, tuning.ratio.unit, ledger.site)
    outlooks = [
        outlook_at(machine, tuning.ratio, setting, rate) for rate in rates if setting is not None
    ]
    asked = [outlook for outlook in outlooks if outlook is not None]
    if parsed.json:
        print_json(tuning_row(tuning, asked))
    else:
        drifting = speed_drift(ledger, results)
        print(render(tune_page(ledger, tuning, drifting, asked, setting)), end="")
    return 0

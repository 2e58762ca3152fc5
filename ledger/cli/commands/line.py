"""`tunnelbook line`: the line rate, stated and timed, and how cloth meets the vehicle."""

import argparse
from typing import TYPE_CHECKING

from ledger.cli.command import Failure, add_as_of, add_json, add_site_option, open_site, print_json

if TYPE_CHECKING:
    from ledger.model.site import Site
    from ledger.upkeep.line.found import RateCheck


DESCRIPTION = (
    "Hold the stated line rate against chain speed and pitch, or against what was timed; print "
    "the bands, the settings that keep cloth per vehicle the same, and each sense of turning."
)

EXAMPLES = """\
examples:
  tunnelbook line                                        by what the site states
  tunnelbook line --distance-ft 42 --seconds 30          a roller timed over 42 ft
  tunnelbook line --distance-m 10 --seconds 23.4 --u-distance-m 0.05
  tunnelbook line --vehicles 21 --seconds 600            21 fronts seen pass, first to last
  tunnelbook line --line-rate 110                        for one line rate

Time the chain from outside the guards, with the line in normal running.
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--line-rate",
        type=float,
        metavar="N",
        help="vehicles an hour; by default each line rate that the site states",
    )
    way = parser.add_mutually_exclusive_group()
    way.add_argument("--distance-ft", type=float, metavar="FT", help="way of a roller, timed")
    way.add_argument("--distance-m", type=float, metavar="M", help="way of a roller, timed")
    way.add_argument(
        "--vehicles",
        type=int,
        metavar="N",
        help="fronts seen pass one place, the first and the last included",
    )
    parser.add_argument("--seconds", type=float, metavar="S", help="time of the way or vehicles")
    parser.add_argument("--u-seconds", type=float, metavar="S", help="its standard uncertainty")
    u_way = parser.add_mutually_exclusive_group()
    u_way.add_argument(
        "--u-distance-ft", type=float, metavar="FT", help="standard uncertainty of the way"
    )
    u_way.add_argument(
        "--u-distance-m", type=float, metavar="M", help="standard uncertainty of the way"
    )
    add_site_option(parser)
    add_as_of(parser)
    add_json(parser)


def run(parsed: argparse.Namespace) -> int:
    from ledger.book.terminal import render  # noqa: PLC0415
    from ledger.upkeep.line.found import line_matching  # noqa: PLC0415
    from ledger.upkeep.line.page import line_page  # noqa: PLC0415
    from ledger.upkeep.line.table import line_row  # noqa: PLC0415
    from ledger.upkeep.speeds.found import speed_results  # noqa: PLC0415

    ledger = open_site(parsed.site, parsed.as_of, parsed.clock).ledger
    rates = () if parsed.line_rate is None else (parsed.line_rate,)
    try:
        timed = _timed(parsed, ledger.site)
        matching = line_matching(ledger, speed_results(ledger), rates)
    except ValueError as wrong:
        raise Failure(str(wrong)) from None
    if parsed.json:
        print_json(line_row(ledger.site, matching, timed))
    else:
        print(render(line_page(ledger, matching, timed)), end="")
    return 0


def _timed(parsed: argparse.Namespace, site: "Site") -> "list[tuple[RateCheck, str]]":
    """The rate that the options time, beside the stated one, with the words of how."""
    from ledger.compute.line import (  # noqa: PLC0415
        chain_speed_over_distance,
        line_rate,
        line_rate_of_timed_vehicles,
    )
    from ledger.compute.numbers import convert  # noqa: PLC0415
    from ledger.upkeep.line.found import RateCheck  # noqa: PLC0415
    from ledger.upkeep.line.page import format_line_speed  # noqa: PLC0415

    def metres(name: str) -> float | None:
        feet, whole = getattr(parsed, f"{name}_ft"), getattr(parsed, f"{name}_m")
        return whole if feet is None else convert(feet, "ft", "m")

    distance_m = metres("distance")
    if distance_m is None and parsed.vehicles is None:
        if parsed.seconds is not None:
            raise Failure("--seconds needs --distance-ft, --distance-m or --vehicles")
        return []
    if parsed.seconds is None:
        raise Failure("give the time that it took with --seconds")
    u_seconds = site.policy.timing_u_s if parsed.u_seconds is None else parsed.u_seconds
    if distance_m is None:
        if parsed.vehicles < 2:
            raise Failure("--vehicles takes 2 or more: the rate is in the gaps between fronts")
        found = line_rate_of_timed_vehicles(
            parsed.vehicles - 1, parsed.seconds, u_seconds=u_seconds
        )
        how = f"by {parsed.vehicles} vehicles in {parsed.seconds:g} s"
    else:
        if site.line.vehicle_pitch_m is None:
            raise Failure("a timed chain gives a line rate only with `vehicle_pitch` in site.yaml")
        chain = chain_speed_over_distance(
            distance_m,
            parsed.seconds,
            u_distance_m=metres("u_distance") or 0.0,
            u_seconds=u_seconds,
        )
        found = line_rate(chain, site.line.vehicle_pitch_m)
        how = f"by the chain at {format_line_speed(chain.m_s, site)} and the site's pitch"
    return [(RateCheck(stated_per_h=site.line.line_rate_per_h, found=found), how)]

"""`tunnelbook speed`: one reading, away from any site."""

import argparse
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from ledger.cli.command import Failure, add_json, print_json

if TYPE_CHECKING:
    from ledger.compute.speed import Speed


DESCRIPTION = (
    "Turn one count into r/min with its expanded uncertainty, and say whether it is in a band."
)

EXAMPLES = """\
examples:
  tunnelbook speed 38 30 --band 75 85          38 passes counted in 30 s
  tunnelbook speed 38 30 --on-pass             the watch was started on a pass, not counted
  tunnelbook speed --turns 20 13.05            20 whole turns took 13.05 s
  tunnelbook speed --tachometer 79.6 --accuracy-percent 0.5
  tunnelbook speed --video 20 --frames 660 --fps 29.97

Time turns from outside the guards, with the machine in normal running.
"""


# What a visit file takes at most (schemas/visit.schema.json), in the units of the options.
_MOST = {
    "passes": 100_000,
    "seconds": 3600,
    "--turns": 100_000,
    "--tachometer": 10_000,
    "--accuracy-percent": 50,
    "--accuracy-rpm": 1000,
    "--video": 100_000,
    "--frames": 1_000_000,
    "--fps": 2000,
    "--taps": 3600,
    "--passes-per-turn": 100,
    "--timing-u": 60,
    "--band": 10_000,
}

# Two presses of a hand scatter by 0.1 s; what lasts no longer than a second is mostly presses.
_SHORTEST_S = 1


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "numbers",
        nargs="*",
        type=_number("the passes and the seconds", "38 30"),
        metavar="N",
        help="passes and seconds, such as 38 30",
    )
    parser.add_argument(
        "--band",
        nargs=2,
        type=_number("two limits in r/min", "38 30 --band 75 85"),
        metavar=("LOW", "HIGH"),
        help="limits in r/min",
    )
    parser.add_argument(
        "--turns",
        nargs=2,
        type=_number("the turns and the seconds", "--turns 20 13.05"),
        metavar=("TURNS", "SECONDS"),
    )
    instrument = "--tachometer 79.6 --accuracy-percent 0.5"
    parser.add_argument("--tachometer", type=_number("r/min", instrument), metavar="RPM")
    parser.add_argument(
        "--accuracy-percent", type=_number("percent", instrument), default=0.0, metavar="PERCENT"
    )
    parser.add_argument(
        "--accuracy-rpm",
        type=_number("r/min", "--tachometer 79.6 --accuracy-rpm 0.5"),
        default=0.0,
        metavar="RPM",
    )
    video = "--video 20 --frames 660 --fps 29.97"
    parser.add_argument("--video", type=_whole_number("turns", video), metavar="TURNS")
    parser.add_argument("--frames", type=_whole_number("frames", video))
    parser.add_argument("--fps", type=_number("frames a second", video))
    parser.add_argument(
        "--taps", metavar="TIMES", help="times of the passes, comma separated, in s"
    )
    parser.add_argument(
        "--passes-per-turn",
        type=_whole_number("passes", "38 30 --passes-per-turn 2"),
        default=1,
        metavar="N",
    )
    parser.add_argument(
        "--on-pass", action="store_true", help="the watch was started on a pass, not counted"
    )
    parser.add_argument(
        "--timing-u",
        type=_number("seconds", "38 30 --timing-u 0.2"),
        default=0.10,
        metavar="S",
        help="standard uncertainty of the timed interval in s (default 0.10)",
    )
    add_json(parser)


def _number(wanted: str, such_as: str) -> Callable[[str], float]:
    """A type of an option: a number, or Failure in one line with what is wanted and an example."""

    def parse(text: str) -> float:
        try:
            return float(text)
        except ValueError:
            raise Failure(
                f"`{text}` is no number; give {wanted} in figures, "
                f"such as `tunnelbook speed {such_as}`"
            ) from None

    return parse


def _whole_number(wanted: str, such_as: str) -> Callable[[str], int]:
    def parse(text: str) -> int:
        try:
            return int(text)
        except ValueError:
            raise Failure(
                f"`{text}` is no whole number; give the {wanted} in figures, "
                f"such as `tunnelbook speed {such_as}`"
            ) from None

    return parse


def run(parsed: argparse.Namespace) -> int:
    from ledger.compute.band import (  # noqa: PLC0415
        Band,
        Verdict,
        p_in_band,
        seconds_to_decide_by_count,
        turns_to_decide,
        verdict_of,
    )
    from ledger.compute.numbers import shown, shown_probability  # noqa: PLC0415

    _require_one_way(parsed)
    _require_possible(parsed)
    try:
        speed = _speed(parsed)
        band = Band(low=parsed.band[0], high=parsed.band[1]) if parsed.band else None
    except ValueError as wrong:
        raise Failure(_by_option(str(wrong))) from None
    _require_meaning(speed)
    result: dict[str, object] = {
        "rpm": speed.rpm,
        "standard_uncertainty_rpm": speed.u_rpm,
        "expanded_uncertainty_rpm": speed.expanded(),
        "shown": shown(speed.rpm, speed.expanded()),
    }
    lines = [f"{result['shown']} r/min  (expanded uncertainty, coverage about 95 %)"]
    if band is not None:
        verdict = verdict_of(speed, band)
        chance = p_in_band(speed.rpm, speed.u_rpm, band, speed.dof)
        result |= {"band": parsed.band, "verdict": verdict.value, "p_in_band": chance}
        lines.append(
            f"{verdict.value}: {band.low:g} to {band.high:g} r/min, "
            f"{shown_probability(chance)} chance of being in it"
        )
        if verdict is Verdict.CANNOT_TELL:
            seconds = seconds_to_decide_by_count(
                speed.rpm,
                band,
                passes_per_turn=parsed.passes_per_turn,
                u_seconds=parsed.timing_u,
            )
            turns = turns_to_decide(speed.rpm, band, u_seconds=parsed.timing_u)
            result |= {"seconds_to_decide": seconds, "turns_to_decide": turns}
            lines.append(_advice(seconds, turns))
    if parsed.json:
        print_json(result)
    else:
        print("\n".join(lines))
    return 0


def _by_option(said: str) -> str:
    """What a computation refuses, by the name under which it was given."""
    for name, option in (("u_seconds", "--timing-u"), ("passes_per_turn", "--passes-per-turn")):
        said = said.replace(name, option)
    return said


def _advice(seconds: int | None, turns: int | None) -> str:
    if seconds is None and turns is None:
        return "to tell: it is too close to a limit for any count"
    ways = [
        f"count for {seconds} s" if seconds is not None else "",
        f"time {turns} whole turns, from pass to pass" if turns is not None else "",
    ]
    return "to tell: " + ", or ".join(way for way in ways if way)


def _require_one_way(parsed: argparse.Namespace) -> None:
    ways = {
        "passes and seconds": bool(parsed.numbers),
        "--turns": parsed.turns is not None,
        "--tachometer": parsed.tachometer is not None,
        "--video": parsed.video is not None,
        "--taps": parsed.taps is not None,
    }
    given = [way for way, is_given in ways.items() if is_given]
    if len(given) > 1:
        raise Failure(f"give one reading at a time, not {' and '.join(given)}")
    for option, way, is_alone in (
        ("--frames or --fps", "--video", parsed.frames is not None or parsed.fps is not None),
        ("an accuracy", "--tachometer", parsed.accuracy_percent or parsed.accuracy_rpm),
        ("--on-pass", "passes and seconds", parsed.on_pass),
    ):
        if is_alone and not ways[way]:
            raise Failure(f"{option} goes with {way}")


def _require_possible(parsed: argparse.Namespace) -> None:
    """Failure for a number that nobody can have counted, timed or read off, with its limits."""
    timed = [parsed.numbers[1:2], (parsed.turns or [])[1:]]
    told: dict[str, Sequence[float]] = {
        "passes": parsed.numbers[:1],
        "seconds": [seconds for found in timed for seconds in found],
        "--turns": (parsed.turns or [])[:1],
        "--taps": [_tap(time) for time in parsed.taps.split(",")] if parsed.taps else (),
        "--band": parsed.band or (),
    }
    for name in _MOST.keys() - told.keys():
        number = getattr(parsed, name.removeprefix("--").replace("-", "_"))
        told[name] = () if number is None else (number,)
    for name, most in _MOST.items():
        for number in told[name]:
            if number > most:
                raise Failure(f"{name} cannot be {number:g}; the limit is {most:,}")
    for seconds in told["seconds"]:
        if 0 < seconds < _SHORTEST_S:
            raise Failure(
                f"{seconds:g} s cannot be timed by hand; the limits are {_SHORTEST_S} s and "
                f"{_MOST['seconds']:,} s, and 30 s is a good count"
            )
    if parsed.band and parsed.band[0] < 0:
        raise Failure(f"--band cannot begin at {parsed.band[0]:g}; the limit is 0 r/min")


def _require_meaning(speed: "Speed") -> None:
    """Failure for a speed that no shaft of a wash has, or that its uncertainty swallows."""
    if speed.rpm > _MOST["--tachometer"]:
        raise Failure(
            f"that would be {speed.rpm:,.0f} r/min; no shaft of a wash turns faster than "
            f"{_MOST['--tachometer']:,}, so look at the numbers again"
        )
    if speed.expanded() >= speed.rpm:
        raise Failure(
            "this reading tells nothing: its uncertainty is as large as the speed; "
            "count for longer, or time more turns"
        )


def _tap(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise Failure(
            f"`{text}` is no time; write the taps in seconds with commas, such as 0,0.71,1.43"
        ) from None


def _speed(parsed: argparse.Namespace) -> "Speed":
    from ledger.compute.speed import (  # noqa: PLC0415
        from_pass_count,
        from_tachometer,
        from_taps,
        from_timed_turns,
        from_video,
    )

    if parsed.turns is not None:
        turns, seconds = parsed.turns
        return from_timed_turns(
            turns,
            seconds,
            passes_per_turn=parsed.passes_per_turn,
            u_seconds=parsed.timing_u,
        )
    if parsed.tachometer is not None:
        return from_tachometer(
            parsed.tachometer,
            accuracy_percent=parsed.accuracy_percent,
            accuracy_rpm=parsed.accuracy_rpm,
        )
    if parsed.video is not None:
        if parsed.frames is None or parsed.fps is None:
            raise Failure("--video needs --frames and --fps")
        return from_video(parsed.video, parsed.frames, parsed.fps)
    if parsed.taps is not None:
        times = [_tap(time) for time in parsed.taps.split(",")]
        return from_taps(times, passes_per_turn=parsed.passes_per_turn).speed
    if len(parsed.numbers) == 4:
        passes, seconds, low, high = (f"{number:g}" for number in parsed.numbers)
        raise Failure(
            f"four numbers; did you mean `tunnelbook speed {passes} {seconds} --band {low} {high}`?"
        )
    if len(parsed.numbers) != 2:
        raise Failure("give the passes and the seconds, such as `tunnelbook speed 38 30`")
    passes, seconds = parsed.numbers
    return from_pass_count(
        passes,
        seconds,
        passes_per_turn=parsed.passes_per_turn,
        start="on-pass" if parsed.on_pass else "random",
        u_seconds=parsed.timing_u,
    )

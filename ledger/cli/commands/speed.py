"""`tunnelbook speed`: one reading, away from any site."""

import re
from argparse import Namespace
from collections.abc import Callable
from typing import Any

from ledger.cli.arguments import Argument, arg, command, flag
from ledger.cli.command import Failure, give
from ledger.compute import band as bands
from ledger.compute import speed as speeds
from ledger.compute.numbers import shown, shown_probability, shown_uncertainty
from ledger.compute.speed import Speed


def _speed(parsed: Namespace) -> int:
    way = _way_of(parsed)
    _require_possible(parsed)
    try:
        speed = _speed_of(parsed)
        band = bands.Band(low=parsed.band[0], high=parsed.band[1]) if parsed.band else None
    except ValueError as error:
        raise Failure(_by_options(str(error), way)) from None
    _require_meaning(speed)
    result: dict[str, object] = {
        "rpm": speed.rpm,
        "standard_uncertainty_rpm": speed.u_rpm,
        "expanded_uncertainty_rpm": speed.expanded(),
        "shared_standard_uncertainty_rpm": speed.u_shared_rpm,
        "shown": shown(speed.rpm, speed.expanded()),
    }
    lines = [f"{result['shown']} r/min  (expanded uncertainty, coverage about 95 %)"]
    if speed.u_shared_rpm > speed.u_own_rpm:
        shared = shown_uncertainty(2 * speed.u_shared_rpm)
        lines.append(
            f"of that ± {shared} is shared: more readings of this kind do not help; whole turns "
            "timed from pass to pass, or another instrument, do"
        )
    if parsed.taps is not None:
        doubt = speeds.from_taps(parsed.taps, passes_per_turn=parsed.passes_per_turn).doubt
        lines += [doubt] if doubt else []
    if band is not None:
        verdict = bands.verdict_of(speed, band)
        chance = bands.p_in_band(speed.rpm, speed.u_rpm, band, speed.dof)
        result |= {"band": parsed.band, "verdict": verdict.value, "p_in_band": chance}
        lines.append(
            f"{verdict.value}: {band.low:g} to {band.high:g} r/min, "
            f"{shown_probability(chance)} chance of being in it"
        )
        if verdict is bands.Verdict.CANNOT_TELL:
            u_seconds, seconds = parsed.timing_u, None
            if not parsed.on_pass:
                seconds = bands.seconds_to_decide_by_count(
                    speed.rpm, band, passes_per_turn=parsed.passes_per_turn, u_seconds=u_seconds
                )
            turns = bands.turns_to_decide(speed.rpm, band, u_seconds=u_seconds)
            result |= {"seconds_to_decide": seconds, "turns_to_decide": turns}
            lines.append(_advice(seconds, turns))
    give(parsed, lambda: "\n".join([*lines, ""]), lambda: result)
    return 0


def _advice(seconds: int | None, turns: int | None) -> str:
    ways = [f"count for {seconds} s"] if seconds is not None else []
    if turns is not None:
        ways.append(f"time {turns} whole turns, from pass to pass")
    return f"to tell: {', or '.join(ways) or 'it is too close to a limit for any count'}"


_COUNT = "passes and seconds"


def _way_of(parsed: Namespace) -> str:
    """The one way in which the speed was read. Failure for two, or what belongs to another."""
    ways = ("turns", "tachometer", "video", "taps")
    given = [f"--{way}" for way in ways if getattr(parsed, way) is not None]
    if parsed.numbers:
        given.insert(0, _COUNT)
    if len(given) > 1:
        raise Failure(f"give one reading at a time, not {' and '.join(given)}")
    for option, way, is_given in (
        ("--frames or --fps", "--video", parsed.frames is not None or parsed.fps is not None),
        ("an accuracy", "--tachometer", parsed.accuracy_percent or parsed.accuracy_rpm),
        ("--on-pass", _COUNT, parsed.on_pass),
    ):
        if is_given and way not in given:
            raise Failure(f"{option} goes with {way}")
    return "".join(given)


_OPTIONS = {
    "u_seconds": "--timing-u",
    "passes_per_turn": "--passes-per-turn",
    "rpm": "--tachometer",
    "accuracy_percent": "--accuracy-percent",
    "accuracy_rpm": "--accuracy-rpm",
    "frames": "--frames",
    "frames_per_second": "--fps",
}


def _by_options(message: str, way: str) -> str:
    """A computation names its parameters, a person their options."""
    options = _OPTIONS if way == _COUNT else {**_OPTIONS, "turns": way}
    return re.sub(r"(?<=expected )\w+(?= to be)", lambda m: options.get(m[0], m[0]), message)


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


def _hold_to_limit(name: str, number: float) -> float:
    """Failure for a number that nobody can have counted, timed or read off, with its limit."""
    if number > _MOST[name]:
        raise Failure(f"{name} cannot be {number:g}; the limit is {_MOST[name]:,}")
    return number


def _require_possible(parsed: Namespace) -> None:
    """Hold to their limits numbers that one option takes together."""
    for limit in parsed.band or ():
        _hold_to_limit("--band", limit)
    for name, numbers in (("passes", parsed.numbers[:2]), ("--turns", parsed.turns or ())):
        for of, number in zip((name, "seconds"), numbers, strict=False):
            _hold_to_limit(of, number)
        for seconds in numbers[1:]:
            if 0 < seconds < _SHORTEST_S:
                raise Failure(
                    f"{seconds:g} s cannot be timed by hand; the limits are {_SHORTEST_S} s and "
                    f"{_MOST['seconds']:,} s, and 30 s is a good count"
                )
    if parsed.band and parsed.band[0] < 0:
        raise Failure(f"--band cannot begin at {parsed.band[0]:g}; the limit is 0 r/min")


def _require_meaning(speed: Speed) -> None:
    """Failure for a speed that no shaft of a wash has, or that its uncertainty swallows."""
    if speed.rpm > _MOST["--tachometer"]:
        raise Failure(
            f"that would be {speed.rpm:,.0f} r/min; no shaft of a wash turns faster than "
            f"{_MOST['--tachometer']:,}, so look at the numbers again"
        )
    if speed.expanded() >= speed.rpm:
        raise Failure(
            "this reading is of no use: its uncertainty is as large as the speed; "
            "count for longer, or time more turns"
        )


def _speed_of(parsed: Namespace) -> Speed:
    per_turn, timing_u = parsed.passes_per_turn, parsed.timing_u
    if parsed.turns is not None:
        turns, seconds = parsed.turns
        return speeds.from_timed_turns(turns, seconds, passes_per_turn=per_turn, u_seconds=timing_u)
    if parsed.tachometer is not None:
        percent, rpm = parsed.accuracy_percent, parsed.accuracy_rpm
        return speeds.from_tachometer(parsed.tachometer, accuracy_percent=percent, accuracy_rpm=rpm)
    if parsed.video is not None:
        if parsed.frames is None or parsed.fps is None:
            raise Failure("--video needs --frames and --fps")
        return speeds.from_video(parsed.video, parsed.frames, parsed.fps)
    if parsed.taps is not None:
        return speeds.from_taps(parsed.taps, passes_per_turn=per_turn).speed
    if len(parsed.numbers) == 4:
        passes, seconds, low, high = (f"{number:g}" for number in parsed.numbers)
        raise Failure(
            f"four numbers; did you mean `tunnelbook speed {passes} {seconds} --band {low} {high}`?"
        )
    if len(parsed.numbers) != 2:
        raise Failure("give the passes and the seconds, such as `tunnelbook speed 43 30`")
    passes, seconds = parsed.numbers
    return speeds.from_pass_count(
        passes,
        seconds,
        passes_per_turn=per_turn,
        start="on-pass" if parsed.on_pass else "random",
        u_seconds=timing_u,
    )


def _number(
    name: str,
    metavar: str | tuple[str, ...] | None,
    expected: str,
    example: str,
    about: str = "",
    kind: Callable[[str], float] = float,
    **options: Any,
) -> Argument:
    """An argument that takes a number; Failure with what is expected and an example for others."""

    def parse(text: str) -> float:
        try:
            value = kind(text)
        except ValueError:
            noun = "number" if kind is float else "whole number"
            raise Failure(
                f"`{text}` is not a {noun}; give {expected} in figures, "
                f"such as `tunnelbook speed {example}`"
            ) from None
        return value if "nargs" in options else _hold_to_limit(name, value)

    return arg(name, metavar, about, type=parse, **options)


def _times(text: str) -> list[float]:
    """The times of taps. Failure for one that is none."""
    times = []
    for time in text.split(","):
        try:
            times.append(_hold_to_limit("--taps", float(time)))
        except ValueError:
            raise Failure(
                f"`{time}` is not a time; write the taps in seconds with commas, "
                "such as 0,0.71,1.43"
            ) from None
    return times


_VIDEO = "--video 20 --frames 660 --fps 29.97"

_INSTRUMENT = "--tachometer 90.6 --accuracy-percent 0.5"

_IN_RPM = "--tachometer 90.6 --accuracy-rpm 0.5"

COMMANDS = {
    "speed": command(
        _speed,
        "Turn one count into r/min with its expanded uncertainty, and say whether it is in a band.",
        """\
  tunnelbook speed 43 30 --band 85 97          43 passes counted in 30 s
  tunnelbook speed 43 30 --on-pass             the watch was started on a pass, not counted
  tunnelbook speed --turns 20 13.05            20 whole turns took 13.05 s
  tunnelbook speed --tachometer 90.6 --accuracy-percent 0.5
  tunnelbook speed --video 20 --frames 660 --fps 29.97

Time turns from outside the guards, with the machine in normal running.
""",
        _number(
            "numbers",
            "N",
            "the passes and the seconds",
            "43 30",
            "passes and seconds, such as 43 30",
            nargs="*",
        ),
        _number(
            "--band",
            ("LOW", "HIGH"),
            "two limits in r/min",
            "43 30 --band 85 97",
            "limits in r/min",
            nargs=2,
        ),
        _number(
            "--turns",
            ("TURNS", "SECONDS"),
            "the turns and the seconds",
            "--turns 20 13.05",
            nargs=2,
        ),
        _number("--tachometer", "RPM", "r/min", _INSTRUMENT),
        _number("--accuracy-percent", "PERCENT", "percent", _INSTRUMENT, default=0.0),
        _number("--accuracy-rpm", "RPM", "r/min", _IN_RPM, default=0.0),
        _number("--video", "TURNS", "the turns", _VIDEO, kind=int),
        _number("--frames", None, "the frames", _VIDEO, kind=int),
        _number("--fps", None, "frames a second", _VIDEO),
        arg("--taps", "TIMES", "times of the passes, comma separated, in s", type=_times),
        _number(
            "--passes-per-turn", "N", "the passes", "43 30 --passes-per-turn 2", kind=int, default=1
        ),
        flag("--on-pass", "the watch was started on a pass, not counted"),
        _number(
            "--timing-u",
            "S",
            "seconds",
            "43 30 --timing-u 0.2",
            "standard uncertainty of the timed interval in s (default 0.10)",
            default=0.10,
        ),
    )
}

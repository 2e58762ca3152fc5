"""`tunnelbook speed`: one reading away from any site; the numbers are held in tests/compute."""

import json

import pytest

from ledger.cli.commands import speed
from ledger.files.schemas import schema_folder


@pytest.mark.parametrize(
    ("words", "said"),
    [
        pytest.param(["43", "30"], ["86.0 ± 1.8 r/min  (expanded uncertainty, coverage about 95 %)"], id="a count"),
        pytest.param(["43", "30", "--band", "85", "97"],
            ["86.0 ± 1.8 r/min  (expanded uncertainty, coverage about 95 %)", "cannot tell: 85 to 97 r/min, 87 % chance of being in it", "to tell: count for 45 s, or time 29 whole turns, from pass to pass"], id="a count that cannot tell"),
        pytest.param(["40", "30", "--band", "80", "90"],
            ["80.0 ± 1.7 r/min  (expanded uncertainty, coverage about 95 %)", "cannot tell: 80 to 90 r/min, 50 % chance of being in it", "to tell: it is too close to a limit for any count"], id="a count on the limit"),
        pytest.param(["--tachometer", "90.6", "--accuracy-percent", "0.5", "--band", "85", "97"],
            ["90.60 ± 0.64 r/min  (expanded uncertainty, coverage about 95 %)", "of that ± 0.52 is shared: more readings of this kind do not help; whole turns timed from pass to pass, or another instrument, do", "in band: 85 to 97 r/min, > 99 % chance of being in it"], id="an instrument"),
    ],
)  # fmt: skip
def test_what_a_reading_says(tunnelbook, words, said):
    assert tunnelbook("speed", *words) == 0
    assert tunnelbook.out.splitlines() == said


IMPOSSIBLE = [
    ("43 1e-9", "1e-09 s cannot be timed by hand; the limits are 1 s and 3,600 s, and 30 s is a good count"),
    ("43 0.2", "0.2 s cannot be timed by hand; the limits are 1 s and 3,600 s, and 30 s is a good count"),
    ("--turns 20 1e-9", "1e-09 s cannot be timed by hand; the limits are 1 s and 3,600 s, and 30 s is a good count"),
    ("43 -30", "expected seconds to be a number above 0, not -30.0"),
    ("43 0", "expected seconds to be a number above 0, not 0.0"),
    ("43 nan", "expected seconds to be a number above 0, not nan"),
    ("43 inf", "seconds cannot be inf; the limit is 3,600"),
    ("43 1e300", "seconds cannot be 1e+300; the limit is 3,600"),
    ("-43 30", "expected passes to be a whole number of 1 or more, not -43.0"),
    ("0 30", "expected passes to be a whole number of 1 or more, not 0.0"),
    ("1e300 30", "passes cannot be 1e+300; the limit is 100,000"),
    ("inf 30", "passes cannot be inf; the limit is 100,000"),
    ("99999 30", "that would be 199,998 r/min; no shaft of a wash turns faster than 10,000, so look at the numbers again"),
    ("--turns 1e300 5", "--turns cannot be 1e+300; the limit is 100,000"),
    ("--tachometer 1e300 --accuracy-percent 1", "--tachometer cannot be 1e+300; the limit is 10,000"),
    ("--tachometer -80 --accuracy-percent 1", "expected --tachometer to be a number above 0, not -80.0"),
    ("--tachometer 80 --accuracy-percent 1e9", "--accuracy-percent cannot be 1e+09; the limit is 50"),
    ("--tachometer 80 --accuracy-rpm 100", "this reading is of no use: its uncertainty is as large as the speed; count for longer, or time more turns"),
    ("--video 20 --frames 99999999999999999999999999999 --fps 30", "--frames cannot be 1e+29; the limit is 1,000,000"),
    ("--video 20 --frames 600 --fps 1e300", "--fps cannot be 1e+300; the limit is 2,000"),
    ("--video 20 --frames 600 --fps nan", "expected --fps to be a number above 0, not nan"),
    ("--video 20 --frames 660 --fps 0", "expected --fps to be a number above 0, not 0.0"),
    ("--video 20 --frames 0 --fps 30", "expected --frames to be a whole number of 1 or more, not 0"),
    ("--video 0 --frames 660 --fps 30", "expected --video to be a whole number of 1 or more, not 0"),
    ("--turns 0 13", "expected --turns to be a whole number of 1 or more, not 0.0"),
    ("--tachometer 80 --accuracy-rpm -1", "expected --accuracy-rpm to be a number of 0 or more, not -1.0"),
    ("--taps 0,1,2,3,1e300", "--taps cannot be 1e+300; the limit is 3,600"),
    ("--taps 0,1,2,nan,4,5", "expected the time of every tap to be a finite number of seconds"),
    ("43 30 --passes-per-turn 99999999999999999", "--passes-per-turn cannot be 1e+17; the limit is 100"),
    ("43 30 --timing-u 1e300", "--timing-u cannot be 1e+300; the limit is 60"),
    ("43 30 --timing-u 20", "this reading is of no use: its uncertainty is as large as the speed; count for longer, or time more turns"),
    ("1 30 --timing-u nan", "expected --timing-u to be a number of 0 or more, not nan"),
    ("43 30 --band -5 97", "--band cannot begin at -5; the limit is 0 r/min"),
    ("43 30 --band 85 1e300", "--band cannot be 1e+300; the limit is 10,000"),
    ("43 30 --band nan 97", "expected a band from low to high, not nan to 97.0"),
]  # fmt: skip


@pytest.mark.parametrize(("call", "said"), IMPOSSIBLE, ids=[call for call, _ in IMPOSSIBLE])
def test_what_cannot_be_is_refused_with_the_limit(tunnelbook, call, said):
    assert tunnelbook("speed", *call.split()) == 2
    assert (tunnelbook.out, tunnelbook.err) == ("", f"tunnelbook speed: {said}\n")


def test_the_limits_are_those_of_a_visit():
    keys = {"passes": "counted", "--tachometer": "tachometer_rpm", "--video": "turns", "--taps": "taps_s", "--band": "", "--timing-u": ""}  # fmt: skip
    shipped = json.loads((schema_folder() / "visit.schema.json").read_text(encoding="utf-8"))
    of_entry = shipped["properties"]["entries"]["items"]["properties"]
    for name, most in speed._MOST.items():
        if key := keys.get(name, name.removeprefix("--").replace("-", "_")):
            assert of_entry[key].get("items", of_entry[key])["maximum"] == most, name


def test_the_same_as_json_with_every_digit(tunnelbook):
    assert tunnelbook("speed", "43", "30", "--band", "85", "97", "--json") == 0
    found = tunnelbook.data
    assert found["rpm"] == 86
    assert found["shown"] == "86.0 ± 1.8"
    assert (found["verdict"], found["seconds_to_decide"], found["turns_to_decide"]) == ("cannot tell", 45, 29)  # fmt: skip
    assert 0.87 < found["p_in_band"] < 0.89


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([], "give the passes and the seconds, such as `tunnelbook speed 43 30`"),
        (["43"], "give the passes and the seconds, such as `tunnelbook speed 43 30`"),
        (["43", "30", "85", "97"], "four numbers; did you mean `tunnelbook speed 43 30 --band 85 97`?"),
        (["43", "30", "40"], "give the passes and the seconds, such as `tunnelbook speed 43 30`"),
        (["43", "30", "--frames", "3"], "--frames or --fps goes with --video"),
        (["43", "30", "--accuracy-rpm", "1"], "an accuracy goes with --tachometer"),
        (["--turns", "20", "13", "--on-pass"], "--on-pass goes with passes and seconds"),
        (["--video", "20", "--frames", "660"], "--video needs --frames and --fps"),
        (["--tachometer", "80"], "expected the stated accuracy of the instrument, in percent or r/min"),
        (["43", "30", "--timing-u", "-1"], "expected --timing-u to be a number of 0 or more, not -1.0"),
        (["43", "30", "--passes-per-turn", "0"], "expected --passes-per-turn to be a whole number of 1 or more, not 0"),
        (["43", "30", "--band", "97", "85"], "expected a band from low to high, not 97.0 to 85.0"),
        (["--taps", "0,1"], "only 2 taps: tap at least 5 passes"),
        (["--taps", "0,1,two"], "`two` is not a time; write the taps in seconds with commas, such as 0,0.71,1.43"),
        (["thirty", "30"], "`thirty` is not a number; give the passes and the seconds in figures, such as `tunnelbook speed 43 30`"),
        (["43", "30", "--band", "85", "x"], "`x` is not a number; give two limits in r/min in figures, such as `tunnelbook speed 43 30 --band 85 97`"),
        (["--turns", "20", "13s"], "`13s` is not a number; give the turns and the seconds in figures, such as `tunnelbook speed --turns 20 13.05`"),
        (["--video", "20.5"], "`20.5` is not a whole number; give the turns in figures, such as `tunnelbook speed --video 20 --frames 660 --fps 29.97`"),
        (["--tachometer", "80rpm"], "`80rpm` is not a number; give r/min in figures, such as `tunnelbook speed --tachometer 90.6 --accuracy-percent 0.5`"),
        (["43.5", "30"], "expected passes to be a whole number of 1 or more, not 43.5"),
    ],
    ids=lambda case: " ".join(case) or "nothing" if isinstance(case, list) else "",
)  # fmt: skip
def test_a_call_that_gives_no_reading_says_what_is_wanted(tunnelbook, words, said):
    assert tunnelbook("speed", *words) == 2
    assert (tunnelbook.out, tunnelbook.err) == ("", f"tunnelbook speed: {said}\n")


def test_every_way_of_reading_gives_a_speed(tunnelbook):
    for words in (
        ["43", "30", "--on-pass"],
        ["--turns", "20", "13.05"],
        ["--video", "20", "--frames", "660", "--fps", "29.97"],
        ["--taps", "0,0.7,1.4,2.1,2.8,3.5"],
    ):
        assert tunnelbook("speed", *words) == 0
        assert tunnelbook.out.count("r/min") == 1

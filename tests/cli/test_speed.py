"""`tunnelbook speed`: one reading away from any site; the numbers are held in tests/compute."""

import json

import pytest


@pytest.mark.parametrize(
    ("words", "said"),
    [
        pytest.param(["38", "30"], ["76.0 ± 1.7 r/min  (expanded uncertainty, coverage about 95 %)"], id="a count"),
        pytest.param(["38", "30", "--band", "75", "85"],
            ["76.0 ± 1.7 r/min  (expanded uncertainty, coverage about 95 %)", "cannot tell: 75 to 85 r/min, 88 % chance of being in it", "to tell: count for 45 s, or time 19 whole turns, from pass to pass"], id="a count that cannot tell"),
        pytest.param(["40", "30", "--band", "80", "90"],
            ["80.0 ± 1.7 r/min  (expanded uncertainty, coverage about 95 %)", "cannot tell: 80 to 90 r/min, 50 % chance of being in it", "to tell: it is too close to a limit for any count"], id="a count on the limit"),
        pytest.param(["--tachometer", "79.6", "--accuracy-percent", "0.5", "--band", "75", "85"],
            ["79.60 ± 0.46 r/min  (expanded uncertainty, coverage about 95 %)", "in band: 75 to 85 r/min, > 99 % chance of being in it"], id="an instrument"),
    ],
)  # fmt: skip
def test_what_a_reading_says(tunnelbook, words, said):
    assert tunnelbook("speed", *words) == 0
    assert tunnelbook.out.splitlines() == said


def test_the_same_as_json_with_every_digit(tunnelbook):
    assert tunnelbook("speed", "38", "30", "--band", "75", "85", "--json") == 0
    found = json.loads(tunnelbook.out)
    assert found["rpm"] == 76
    assert found["shown"] == "76.0 ± 1.7"
    assert (found["verdict"], found["seconds_to_decide"], found["turns_to_decide"]) == ("cannot tell", 45, 19)  # fmt: skip
    assert 0.87 < found["p_in_band"] < 0.89


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([], "give the passes and the seconds, such as `tunnelbook speed 38 30`"),
        (["38"], "give the passes and the seconds, such as `tunnelbook speed 38 30`"),
        (["38", "30", "75", "85"], "four numbers; did you mean `tunnelbook speed 38 30 --band 75 85`?"),
        (["38", "30", "40"], "give the passes and the seconds, such as `tunnelbook speed 38 30`"),
        (["38", "30", "--frames", "3"], "--frames or --fps goes with --video"),
        (["38", "30", "--accuracy-rpm", "1"], "an accuracy goes with --tachometer"),
        (["--turns", "20", "13", "--on-pass"], "--on-pass goes with passes and seconds"),
        (["--video", "20", "--frames", "660"], "--video needs --frames and --fps"),
        (["--tachometer", "80"], "expected the stated accuracy of the instrument, in percent or r/min"),
        (["38", "30", "--timing-u", "-1"], "expected --timing-u to be a number of 0 or more, not -1.0"),
        (["38", "30", "--passes-per-turn", "0"], "expected --passes-per-turn to be a whole number of 1 or more, not 0"),
        (["38", "30", "--band", "85", "75"], "expected a band from low to high, not 85.0 to 75.0"),
        (["--taps", "0,1"], "only 2 taps: tap at least 5 passes"),
        (["--taps", "0,1,two"], "`two` is no time; write the taps in seconds with commas, such as 0,0.71,1.43"),
        (["thirty", "30"], "`thirty` is no number; give the passes and the seconds in figures, such as `tunnelbook speed 38 30`"),
        (["38", "30", "--band", "75", "x"], "`x` is no number; give two limits in r/min in figures, such as `tunnelbook speed 38 30 --band 75 85`"),
        (["--turns", "20", "13s"], "`13s` is no number; give the turns and the seconds in figures, such as `tunnelbook speed --turns 20 13.05`"),
        (["--video", "20.5"], "`20.5` is no whole number; give the turns in figures, such as `tunnelbook speed --video 20 --frames 660 --fps 29.97`"),
        (["--tachometer", "80rpm"], "`80rpm` is no number; give r/min in figures, such as `tunnelbook speed --tachometer 79.6 --accuracy-percent 0.5`"),
        (["38.5", "30"], "expected passes to be a whole number of 1 or more, not 38.5"),
    ],
    ids=lambda case: " ".join(case) or "nothing" if isinstance(case, list) else "",
)  # fmt: skip
def test_a_call_that_gives_no_reading_says_what_is_wanted(tunnelbook, words, said):
    assert tunnelbook("speed", *words) == 2
    assert (tunnelbook.out, tunnelbook.err) == ("", f"tunnelbook speed: {said}\n")


def test_every_way_of_reading_gives_a_speed(tunnelbook):
    for words in (
        ["38", "30", "--on-pass"],
        ["--turns", "20", "13.05"],
        ["--video", "20", "--frames", "660", "--fps", "29.97"],
        ["--taps", "0,0.7,1.4,2.1,2.8,3.5"],
    ):
        assert tunnelbook("speed", *words) == 0
        assert tunnelbook.out.count("r/min") == 1

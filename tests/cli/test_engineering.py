"""tune, line and load, on the example site."""

import pytest
from example import EXAMPLE

SITE = ("--site", str(EXAMPLE))
pytestmark = pytest.mark.usefixtures("example_read_once")


@pytest.mark.parametrize(
    ("words", "in_it"),
    [
        (("tune", "brush-p2"), "Side brush P2, passenger: setting"),
        (("tune", "brush-p2", "--line-rate", "110"), "110"),
        (("tune", "brush-p2", "--target", "82"), "82"),
        (("tune", "low-brush-p", "--at", "4.1"), "At 4.10 gpm"),
        (("tune", "brush-p2", "--at", "61"), "The drive is limited to settings from 30 Hz to 60 Hz."),
        (("line",), "come through"),
        (("line", "--distance-ft", "25", "--seconds", "39"), "by the chain at 38.5 ft/min"),
        (("line", "--distance-m", "7.6", "--seconds", "39", "--u-distance-m", "0.1"), "they agree"),
        (("line", "--vehicles", "21", "--seconds", "600"), "by 21 vehicles in 600 s"),
        (("load",), "Feeder must carry"),
        (("load", "low-brush-p"), "no longer needs it: 3.80 gpm"),
        (("load", "brush-p2", "--pressure-psi", "1000"), "An oil motor at 1000 psi"),
        (("load", "blower-1", "--to-hz", "50"), "From 60 to 50: power 58 %"),
        (("load", "brush-p2", "--to-hz", "40"), "From 42.5 to 40: power 94 %"),
        (("load", "reclaim", "--to-hz", "50", "--law", "fan"), "power 58 %"),
    ],
    ids=" ".join,
)  # fmt: skip
def test_what_a_person_asks_is_answered(tunnelbook, words, in_it):
    assert tunnelbook(*words, *SITE) == 0
    assert in_it in " ".join(tunnelbook.out.split())
    assert tunnelbook.err == ""


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (("tune", "brush-p9"), "did you mean `brush-p"),
        (("tune", "conveyor"), "nothing can be set on `conveyor`"),
        (("tune", "brush-p2", "--line-rate", "0"), "above 0"),
        (("tune", "brush-p2", "--target", "0"), "above 0"),
        (("tune", "brush-p2", "--at", "-3"), "must be above 0"),
        (("line", "--seconds", "30"), "--seconds needs"),
        (("line", "--vehicles", "21"), "give the time"),
        (("line", "--vehicles", "1", "--seconds", "30"), "must be 2 or more"),
        (("line", "--distance-m", "-1", "--seconds", "30"), "above 0"),
        (("load", "--to-hz", "50"), "--to-hz needs a machine"),
        (("load", "blower-1", "--from-hz", "50"), "--from-hz needs --to-hz"),
        (("load", "reclaim", "--to-hz", "50"), "say with --law"),
        (("load", "brush-p2", "--to-hz", "-1"), "0 or more"),
    ],
    ids=lambda words: " ".join(words) if isinstance(words, tuple) else None,
)
def test_what_cannot_be_answered_is_refused_with_the_reason(tunnelbook, words, why):
    assert tunnelbook(*words, *SITE) == 2
    assert why in tunnelbook.err
    assert tunnelbook.out == ""


@pytest.mark.parametrize(
    ("words", "key"),
    [
        (("tune", "brush-p2", "--at", "44"), "recommended"),
        (("line", "--vehicles", "21", "--seconds", "600"), "timed"),
        (("load",), "panels"),
        (("load", "blower-1", "--to-hz", "50"), "speed_change"),
    ],
    ids=lambda words: " ".join(words) if isinstance(words, tuple) else None,
)
def test_json_is_json(tunnelbook, words, key):
    assert tunnelbook(*words, "--json", *SITE) == 0
    assert tunnelbook.data[key]


def test_flows_are_asked_for_in_the_sites_unit(tunnelbook):
    tunnelbook("tune", "low-brush-p", "--at", "4.1", "--json", *SITE)
    assert tunnelbook.data["at"][0]["setting"] == pytest.approx(4.1 * 3.785411784)

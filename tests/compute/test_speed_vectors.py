"""The shared speed vectors: every implementation of the readings must answer them alike.

`tests/vectors/speed.json` is written from the cases below by

    python -m tests.compute.test_speed_vectors

and a test fails when it is stale.
"""

import json
import math
from pathlib import Path

import pytest

from ledger.compute.band import (
    Band,
    p_in_band,
    seconds_to_decide_by_count,
    seconds_to_decide_by_turns,
    verdict_of,
)
from ledger.compute.numbers import fixed, shown, shown_probability
from ledger.compute.speed import (
    from_pass_count,
    from_tachometer,
    from_taps,
    from_timed_turns,
    from_video,
)

VECTORS = Path(__file__).parents[1] / "vectors" / "speed.json"

USUAL = (81, 92)

CLEAN = [0.41, 1.205, 2.02, 2.799, 3.61, 4.395, 5.21, 6.02, 6.79, 7.612, 8.4, 9.215]
TWO_MARKS = [0.1, 0.472, 0.86, 1.22, 1.604, 1.99, 2.352, 2.741, 3.11, 3.49, 3.862, 4.25, 4.61]
FAST = [0.2, 0.87, 1.531, 2.205, 2.86, 3.541, 4.2, 4.869, 5.53, 6.21]
SLOW = [0, 7.48, 15.03, 22.51, 29.96, 37.54, 45.01, 52.47, 60.04, 67.5, 74.98, 82.52]
OWN_BEAT = [0.02, 0.80, 1.55, 2.27, 2.99, 3.70, 4.42, 5.15, 5.91, 6.68, 7.44, 8.19, 8.93, 9.66, 10.39, 11.13, 11.88, 12.65, 13.43, 14.19]  # fmt: skip
VERY_FAST = [round(0.15 * k + 0.004 * (k % 3 - 1), 3) for k in range(1, 31)]


def without(times, *lost):
    return [time for index, time in enumerate(times) if index not in lost]


def bounced(times, *after):
    return sorted([*times, *(round(times[index] + 0.12, 3) for index in after)])


COUNTS = [
    *[(f"count {n} in 12 s", {"passes": n, "seconds": 12}, USUAL) for n in range(13, 21)],
    *[(f"count {n} in 30 s", {"passes": n, "seconds": 30}, USUAL) for n in (38, 41, 43, 45, 48)],
    *[(f"count {n} in 60 s", {"passes": n, "seconds": 60}, USUAL) for n in (78, 81, 86, 91, 95)],
    *[
        (
            f"count {n} in {t} s, started on a pass",
            {"passes": n, "seconds": t, "start": "on-pass"},
            USUAL,
        )
        for n, t in ((15, 12), (17, 12), (18, 12), (43, 30), (88, 60))
    ],
    ("three marks", {"passes": 52, "seconds": 12, "passes_per_turn": 3}, USUAL),
    (
        "two marks, started on a pass",
        {"passes": 79, "seconds": 30, "passes_per_turn": 2, "start": "on-pass"},
        USUAL,
    ),
    ("23 passes in 15 s, exact watch", {"passes": 23, "seconds": 15, "u_seconds": 0}, None),
    ("23 passes in 15 s", {"passes": 23, "seconds": 15}, (80, 90)),
    ("odd seconds", {"passes": 27, "seconds": 20.35}, USUAL),
    ("one pass", {"passes": 1, "seconds": 10}, USUAL),
    ("a long count", {"passes": 395, "seconds": 300}, USUAL),
    ("a narrow band", {"passes": 80, "seconds": 60}, (79.5, 80.5)),
    ("a vague count is not out of band", {"passes": 1, "seconds": 2}, (30, 31)),
]
TURNS = [
    ("20 turns in 13.05 s", {"turns": 20, "seconds": 13.05}, (85, 95)),
    ("100 turns in 60 s", {"turns": 100, "seconds": 60}, USUAL),
    ("20 turns in 15.1 s", {"turns": 20, "seconds": 15.1}, USUAL),
    ("20 turns in 14.2 s", {"turns": 20, "seconds": 14.2}, USUAL),
    ("10 turns in 8 s", {"turns": 10, "seconds": 8}, USUAL),
    ("one turn", {"turns": 1, "seconds": 0.75}, USUAL),
    ("40 passes of two marks", {"turns": 40, "seconds": 15.3, "passes_per_turn": 2}, USUAL),
    ("a better watch", {"turns": 20, "seconds": 14.2, "u_seconds": 0.02}, USUAL),
]
TAPS = [
    ("clean taps", {"times_s": CLEAN}, USUAL),
    ("one missed tap", {"times_s": without(CLEAN, 5)}, USUAL),
    ("two missed in a row", {"times_s": without(CLEAN, 5, 6)}, USUAL),
    ("one doubled tap", {"times_s": bounced(CLEAN, 4)}, USUAL),
    ("first tap doubled", {"times_s": bounced(CLEAN, 0)}, USUAL),
    ("last tap doubled", {"times_s": bounced(CLEAN, 11)}, USUAL),
    ("missed and doubled", {"times_s": bounced(without(CLEAN, 3), 7)}, USUAL),
    ("five taps", {"times_s": CLEAN[:5]}, USUAL),
    ("two marks", {"times_s": TWO_MARKS, "passes_per_turn": 2}, USUAL),
    ("fast shaft, out of band", {"times_s": FAST}, USUAL),
    ("perfect taps", {"times_s": [0.5 + 0.75 * k for k in range(10)]}, USUAL),
    ("slow shaft, one missed", {"times_s": without(SLOW, 6)}, (7.5, 8.5)),
    ("very fast shaft, one doubled", {"times_s": sorted([*VERY_FAST, 1.53])}, (380, 420)),
    ("taps that go together", {"times_s": OWN_BEAT}, USUAL),
    ("half of them", {"times_s": OWN_BEAT[:11]}, USUAL),
    (
        "a long row",
        {"times_s": [round(0.761 * k + 0.03 * math.sin(k / 3), 3) for k in range(70)]},
        USUAL,
    ),
    ("whole seconds on a slow shaft", {"times_s": [0, 7, 15, 22, 30, 37, 45, 52]}, (7.5, 8.5)),
    ("twelve in whole seconds", {"times_s": [0, 7, 15, 22, 30, 37, 45, 52, 60, 67, 75, 82]}, None),
    ("from a far clock", {"times_s": [1000 + time for time in FAST]}, USUAL),
]
OTHERS = [
    ("tachometer", {"rpm": 80.4, "accuracy_percent": 0.05, "accuracy_rpm": 0.1}, USUAL),
    ("coarse tachometer", {"rpm": 81, "accuracy_percent": 1, "step_rpm": 1}, USUAL),
    ("poor tachometer", {"rpm": 84.2, "accuracy_percent": 2}, USUAL),
]
FILMS = [
    ("film", {"turns": 10, "frames": 240, "frames_per_second": 29.97}, USUAL),
    ("film at a nominal rate", {"turns": 40, "frames": 960, "frames_per_second": 30}, USUAL),
    ("slow film", {"turns": 3, "frames": 54, "frames_per_second": 24}, USUAL),
]
REFUSED = [
    ("no pass", "count", {"passes": 0, "seconds": 10}),
    ("part of a pass", "count", {"passes": 12.5, "seconds": 10}),
    ("no time", "count", {"passes": 12, "seconds": 0}),
    ("no marks", "count", {"passes": 12, "seconds": 10, "passes_per_turn": 0}),
    ("no accuracy", "tachometer", {"rpm": 80}),
    ("no turn", "turns", {"turns": 0, "seconds": 10}),
    ("three taps", "taps", {"times_s": CLEAN[:3]}),
    ("five taps, one of them doubled", "taps", {"times_s": [*CLEAN[:4], CLEAN[3] + 0.1]}),
    ("four taps", "taps", {"times_s": CLEAN[:4]}),
    ("a pause", "taps", {"times_s": [*CLEAN[:6], *(time + 9 for time in CLEAN[6:])]}),
    ("too many missed", "taps", {"times_s": [0, 1, 3, 4, 6, 7]}),
    ("falling times", "taps", {"times_s": [0, 1, 0.9, 2, 3, 4]}),
    ("whole seconds", "taps", {"times_s": [0, 1, 2, 3, 4, 5, 6]}),
    ("uneven taps", "taps", {"times_s": [0, 0.6, 1.2, 1.8, 2.8, 4.2, 5.6, 7.0]}),
]
ROUNDING = [
    (0.125, 2),
    (0.375, 2),
    (2.675, 2),
    (0.5, 0),
    (1.5, 0),
    (-0.04, 1),
    (1250.0, -2),
    (84.95, 1),
]
SHOWN = [
    (92.0, 3.48875),
    (84.0, 0.0996),
    (84.0, 9.96),
    (1234.0, 123.0),
    (0.0, 6.1),
    (78.25, 0.15),
    (80.05, 0.4),
]
PROBABILITIES = [0.0, 0.004, 0.01, 0.125, 0.135, 0.5, 0.945, 0.955, 0.99, 0.9999, 1.0]

METHODS = {
    "count": from_pass_count,
    "turns": from_timed_turns,
    "taps": from_taps,
    "tachometer": from_tachometer,
    "video": from_video,
}
POSITIONAL = {
    "count": ("passes", "seconds"),
    "turns": ("turns", "seconds"),
    "taps": ("times_s",),
    "tachometer": ("rpm",),
    "video": ("turns", "frames", "frames_per_second"),
}


def reading_of(method, given):
    first = [given[name] for name in POSITIONAL[method]]
    rest = {name: value for name, value in given.items() if name not in POSITIONAL[method]}
    return METHODS[method](*first, **rest)


def number(value):
    return None if value is None or math.isinf(value) else float(f"{value:.10g}")


def probability(p):
    return number(round(p, 9))


def answer(method, given, band):
    reading = reading_of(method, given)
    repairs = {}
    speed = reading
    if method == "taps":
        speed = reading.speed
        repairs = {
            "kept": reading.kept,
            "missed": reading.missed,
            "doubled": reading.doubled,
            "jitter_s": number(reading.jitter_s),
            "wander": number(reading.wander),
            "own_beat": reading.own_beat,
            "doubt": reading.doubt,
        }
    expected = {
        "rpm": number(speed.rpm),
        "u_rpm": number(speed.u_rpm),
        "shared_rpm": number(speed.u_shared_rpm),
        "dof": number(speed.dof),
        "expanded_rpm": number(speed.expanded()),
        "shown": shown(speed.rpm, speed.expanded()),
        **repairs,
    }
    if band is not None:
        limits = Band(low=band[0], high=band[1])
        ways = {
            name: given[name]
            for name in ("passes_per_turn", "start", "u_seconds")
            if method == "count" and name in given
        }
        expected |= {
            "p_in_band": probability(p_in_band(speed.rpm, speed.u_rpm, limits, speed.dof)),
            "verdict": verdict_of(speed, limits).value,
            "seconds_by_count": seconds_to_decide_by_count(speed.rpm, limits, **ways),
            "seconds_by_turns": seconds_to_decide_by_turns(speed.rpm, limits),
        }
    return expected


def vectors():
    rows = [
        *(("count", *row) for row in COUNTS),
        *(("turns", *row) for row in TURNS),
        *(("taps", *row) for row in TAPS),
        *(("tachometer", *row) for row in OTHERS),
        *(("video", *row) for row in FILMS),
    ]
    return {
        "about": (
            "Readings of shaft speed and what they come to. Numbers to a relative 1e-9, "
            "probabilities to 1e-9; a dof of null is infinite; texts and counts exactly."
        ),
        "readings": [
            {
                "id": ident,
                "method": method,
                "given": given,
                "band_rpm": None if band is None else list(band),
                "expect": answer(method, given, band),
            }
            for method, ident, given, band in rows
        ],
        "refused": [
            {"id": ident, "method": method, "given": given} for ident, method, given in REFUSED
        ],
        "fixed": [
            {"value": value, "places": places, "text": fixed(value, places)}
            for value, places in ROUNDING
        ],
        "shown": [
            {"value": value, "expanded": expanded, "text": shown(value, expanded)}
            for value, expanded in SHOWN
        ],
        "probability": [{"p": p, "text": shown_probability(p)} for p in PROBABILITIES],
    }


def rendered():
    return json.dumps(vectors(), ensure_ascii=False, indent=1) + "\n"


def stored():
    return json.loads(VECTORS.read_text(encoding="utf-8"))


def test_the_file_is_current():
    assert VECTORS.read_text(encoding="utf-8") == rendered()


def test_ids_are_unique_and_there_are_enough():
    idents = [case["id"] for case in stored()["readings"]]
    assert len(set(idents)) == len(idents) >= 55


@pytest.mark.parametrize("case", stored()["refused"], ids=lambda case: case["id"])
def test_refused_readings_are_refused(case):
    with pytest.raises(ValueError, match=r"expected|tap|pause"):
        reading_of(case["method"], case["given"])


def test_all_verdicts_are_among_the_cases():
    verdicts = {case["expect"].get("verdict") for case in stored()["readings"]}
    assert verdicts >= {"in band", "out of band", "cannot tell"}


@pytest.mark.parametrize(
    ("ident", "rpm", "u", "expanded"),
    [
        pytest.param(
            "23 passes in 15 s, exact watch", 92.0, 1.63299, 3.26599, id="uncertainties 3.2.3"
        ),
        pytest.param("taps that go together", 80.7447, 0.65078, 1.72368, id="numpy, statsmodels"),
    ],
)
def test_the_reference_values_are_in_the_file(ident, rpm, u, expanded):
    expect = next(case["expect"] for case in stored()["readings"] if case["id"] == ident)
    assert expect["rpm"] == pytest.approx(rpm, abs=5e-5)
    assert expect["u_rpm"] == pytest.approx(u, abs=5e-6)
    assert expect["expanded_rpm"] == pytest.approx(expanded, abs=5e-5)


if __name__ == "__main__":
    VECTORS.write_text(rendered(), encoding="utf-8")

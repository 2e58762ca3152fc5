"""The nearest right spelling."""

import pytest

from ledger.files.spelling import (
    nearest_boolean,
    nearest_key,
    nearest_list,
    nearest_number,
    nearest_text,
    nearest_word,
    value_meant,
)
from ledger.filing.starter import starter_kinds

KEYS = {"task", "at", "counted", "seconds", "found_hz", "pressure_psi", "stopped_minutes"}


@pytest.mark.parametrize(
    ("key", "used", "meant"),
    [
        ("secnds", (), "seconds"),
        ("Task", (), "task"),
        ("found hz", (), "found_hz"),
        ("found-hz", (), "found_hz"),
        ("counted_s", ("counted",), "seconds"),
        ("counted_s", (), "counted"),
        ("pressure", (), "pressure_psi"),
        ("secnds", ("seconds",), ""),
        ("zzz", (), ""),
    ],
)
def test_keys(key, used, meant):
    assert nearest_key(key, KEYS, used) == meant


def test_words_whatever_their_case():
    assert nearest_word("SOON", ["now", "soon"]) == "soon"
    assert nearest_word("xyzzy", ["now", "soon"]) == ""


@pytest.mark.parametrize(
    ("text", "key", "meant"),
    [
        ("38 turns", "counted", ("38", "")),
        ("44Hz", "found_hz", ("44", "")),
        ("30s", "seconds", ("30", "")),
        ("1 min", "seconds", ("", "min")),
        ("5 m", "minutes", ("5", "")),
        ("2.8 mm/s", "vibration_mm_s", ("2.8", "")),
        ("2.8 mm per s", "vibration_in_s", ("", "mm per s")),
        ("38 m/min", "chain_speed_ft_per_min", ("", "m/min")),
        ("38 ft/min", "chain_speed_ft_per_min", ("38", "")),
        ("4.4 l/min", "found_flow_gpm", ("", "l/min")),
        ("9.8 in3", "motor_cm3", ("", "in3")),
        ("110/h", "line_rate_per_h", ("110", "")),
        ("1:05", "seconds", ("65", "")),
        ("42,5", "", ("42.5", "")),
        ("193,000", "", ("193000", "")),
        ("193.000,5", "", ("193000.5", "")),
        ("1,2,3", "", ("", "")),
        ("193 000", "", ("193000", "")),
        ("0,125", "", ("0.125", "")),
        ("007", "", ("7", "")),
        ("3O", "", ("30", "")),
        ("l2", "", ("12", "")),
        ("~30", "", ("30", "")),
        (".5", "", ("0.5", "")),
        ("50%", "level_percent", ("50", "")),
        ("two", "", ("2", "")),
        ("30-40", "", ("", "")),
        ("a lot", "", ("", "")),
        ("Il", "", ("", "")),
    ],
)
def test_numbers(text, key, meant):
    assert nearest_number(text, key) == meant


def test_texts_of_a_fixed_form():
    assert nearest_text("Brush P2", {"brush-p2"}.__contains__) == "brush-p2"
    assert nearest_text("brush-p2 \\ nozzle 1", {"brush-p2/nozzle-1"}.__contains__) == (
        "brush-p2/nozzle-1"
    )
    assert nearest_text("7am - 8pm", {"07:00-20:00"}.__contains__) == "07:00-20:00"
    assert nearest_text("every 2 wks", {"2 weeks"}.__contains__) == "2 weeks"
    assert nearest_text("3strokes", {"3 strokes"}.__contains__) == "3 strokes"
    assert nearest_text("brush", str.islower) == ""


def test_lists_and_truth():
    assert nearest_list("30-60", of_numbers=True) == "[30, 60]"
    assert nearest_list("30", of_numbers=True) == ""
    assert nearest_list("lockout, electrical", of_numbers=False) == "[lockout, electrical]"
    assert [nearest_boolean(word) for word in ("Yes", 0, "off", "perhaps")] == [
        "true", "false", "false", "",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("said", "kind"),
    [
        ("mitter", "curtain"),
        ("Rocker", "low-brush"),
        ("VFD", "drive-panel"),
        ("HPU", "hydraulic-unit"),
        ("ro", "reverse-osmosis"),
        ("tire", "tyre-dresser"),
        ("tire shiner", "tyre-dresser"),
        ("gfci", "outlets"),
    ],
)
def test_other_words_of_the_trade_lead_to_the_kind_of_machine(said, kind):
    """Words as people use them; common practice, no source."""
    assert value_meant(said, starter_kinds()) == kind

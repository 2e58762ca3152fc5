"""`tunnelbook correct`: a later entry takes the place of one, and both stay to be read."""

import re
from pathlib import Path

import pytest
from pinned_clock import pinned_clock

from ledger.cli.command import open_folder
from ledger.model.references import EntryRef

VISIT = "2026-11-23T0640-ada-tarrowby"


@pytest.fixture
def wash(tunnelbook, tmp_path) -> Path:
    root = tmp_path / "wash"
    tunnelbook("init", root, "--with", "side-brush", "conveyor", "--time-zone", "Etc/UTC")
    site = root / "site.yaml"
    site.write_text(re.sub(r"in_service: .*", "in_service: 2026-01-05", site.read_text()))
    tunnelbook(
        "record", "--site", root, "--at", "2026-11-23T06:40",
        "--speed", "side-brush=33/30", "--finding", "side-brush=loud",
        "--not-done", "look-over-conveyor=line could not be stopped",
    )  # fmt: skip
    return root


def ledger(root):
    return open_folder(root, None, pinned_clock).ledger


def test_the_whole_entry_is_repeated_with_the_change(tunnelbook, wash, files_of):
    before = files_of(wash)
    status = tunnelbook(
        "correct",
        "--site",
        wash,
        f"{VISIT}#1",
        "--why",
        "misread 38 as 33",
        "--set",
        "counted=38",
    )
    assert (status, tunnelbook.err) == (0, "")
    assert before.items() <= files_of(wash).items()
    original = ledger(wash).entry[EntryRef(VISIT, 1)]
    corrected = ledger(wash).last_word(original)
    assert corrected.raw == {
        "corrects": f"{VISIT}#1",
        "reason": "misread 38 as 33",
        "task": "check-brush-speed",
        "at": "side-brush",
        "counted": 38,
        "seconds": 30,
    }
    assert original.raw["counted"] == 33


def test_a_correction_of_a_correction_follows_the_chain(tunnelbook, wash):
    for passes in (37, 38):
        words = ("correct", "--site", wash, f"{VISIT}#1", "--why", "misread")
        assert tunnelbook(*words, "--set", f"counted={passes}") == 0
    corrected = ledger(wash).last_word(ledger(wash).entry[EntryRef(VISIT, 1)])
    assert corrected.raw["counted"] == 38
    assert ledger(wash).entry[corrected.corrects].raw["counted"] == 37
    assert tunnelbook("check", wash, "--strict") == 0


def test_a_correction_of_a_correction_says_which_entry_it_puts_right(tunnelbook, wash):
    words = ("correct", "--site", wash, f"{VISIT}#1", "--why", "misread")
    tunnelbook(*words, "--at", "2026-11-23T07:00", "--set", "counted=37")
    assert tunnelbook(*words, "--at", "2026-11-23T07:05", "--set", "counted=38") == 0
    first = "2026-11-23T0700-ada-tarrowby#1"
    assert tunnelbook.out.startswith(
        f"{VISIT}#1 was corrected already, by {first} on 2026-11-23 07:00; this corrects {first}.\n"
    )


@pytest.mark.parametrize("time", ["2026-11-23T07:00", "2026-11-23T06:50"])
def test_a_correction_is_never_before_what_it_corrects(tunnelbook, wash, files_of, time):
    """A second person in the same minute, whose name comes first, and one who says too early."""
    words = ("correct", "--site", wash, f"{VISIT}#1", "--why", "misread", "--set", "counted=37")
    assert tunnelbook(*words, "--by", "second-person", "--at", "2026-11-23T07:00") == 0
    before = files_of(wash)
    assert tunnelbook(*words[:-1], "counted=38", "--at", time) == 2
    said = "`2026-11-23T0700-second-person#1` is of 2026-11-23 07:00, and a correction must be"
    assert said in tunnelbook.err
    assert "later: wait a minute, or use --at 2026-11-23T07:01" in tunnelbook.err
    assert files_of(wash) == before


def test_an_entry_is_struck_out(tunnelbook, wash):
    assert tunnelbook("correct", "--site", wash, f"{VISIT}#3", "--why", "no noise", "--void") == 0
    assert not any(entry.finding for entry in ledger(wash).standing)
    words = ("correct", "--site", wash, f"{VISIT}#3", "--why", "again", "--void")
    assert tunnelbook(*words) == 2
    assert "struck out already" in tunnelbook.err


def test_the_reason_of_work_not_done_is_kept(tunnelbook, wash):
    words = (
        "correct",
        "--site",
        wash,
        f"{VISIT}#2",
        "--why",
        "It took time.",
        "--set",
        "minutes=5",
    )
    assert tunnelbook(*words) == 0
    corrected = ledger(wash).last_word(ledger(wash).entry[EntryRef(VISIT, 2)])
    assert corrected.reason == "It took time. Not done: line could not be stopped"


def test_a_key_is_left_out(tunnelbook, wash):
    words = ("correct", "--site", wash, f"{VISIT}#3", "--why", "can wait", "--unset", "urgency")
    assert tunnelbook(*words) == 0
    assert "urgency" not in ledger(wash).last_word(ledger(wash).entry[EntryRef(VISIT, 3)]).raw


def test_the_file_names_the_visit_as_well(tunnelbook, wash):
    path = wash / "observations/2026/11" / f"{VISIT}.yaml"
    words = ("correct", "--site", wash, f"{path}#1", "--why", "x", "--set", "counted=38")
    assert tunnelbook(*words) == 0
    assert ledger(wash).last_word(ledger(wash).entry[EntryRef(VISIT, 1)]).raw["counted"] == 38
    assert "was corrected already" not in tunnelbook.out


def test_a_dry_run_writes_nothing(tunnelbook, wash, files_of):
    before = files_of(wash)
    words = ("correct", "--site", wash, f"{VISIT}#3", "--why", "x", "--void", "--dry-run")
    assert tunnelbook(*words) == 0
    assert "void: true" in tunnelbook.out
    assert files_of(wash) == before


@pytest.mark.parametrize(
    ("words", "status", "complaint"),
    [
        ((f"{VISIT}#1",), 2, "say what was wrong"),
        (
            (f"{VISIT}#9", "--void"),
            2,
            (
                f"by its number:\n  {VISIT}#1  {{task: check-brush-speed, at: side-brush, counted: 33, "
                f"seconds: 30}}\n  {VISIT}#2  "
            ),
        ),
        ((VISIT, "--void"), 2, f"say which entry of `{VISIT}`, by its number:\n  {VISIT}#1  "),
        ((f"{VISIT[:-1]}i#1", "--void"), 2, f"did you mean `{VISIT}#1`"),
        (
            (f"{VISIT}#1", "--set", "counted=33"),
            2,
            f"`{VISIT}#1` already says that; nothing would change",
        ),
        (("brush", "--void"), 2, "VISIT#NUMBER"),
        ((f"{VISIT}#1", "--void", "--set", "counted=1"), 2, "one of the two"),
        ((f"{VISIT}#1", "--set", "count=38"), 2, "did you mean `counted`"),
        ((f"{VISIT}#1", "--set", "counted=many"), 2, "not a whole number"),
        ((f"{VISIT}#1", "--set", "counted"), 2, "KEY=VALUE"),
        ((f"{VISIT}#1", "--set", "void=true"), 2, "belongs to the correction"),
        ((f"{VISIT}#1", "--set", "start=on-pas"), 2, "did you mean `on-pass`"),
        ((f"{VISIT}#1", "--unset", "minutes"), 2, "has no `minutes`"),
        ((f"{VISIT}#1", "--set", "found_flow_gpm=4"), 2, "write `found_hz`, not `found_flow_gpm`"),
        ((f"{VISIT}#1", "--set", "counted=0"), 2, "nothing was filed"),
        ((f"{VISIT}#1", "--set", "at=side-brsh"), 2, "there is no machine `side-brsh`"),
    ],
)
def test_words_that_cannot_be_used(tunnelbook, wash, files_of, words, status, complaint):
    before = files_of(wash)
    assert tunnelbook("correct", "--site", wash, *words, "--why", "slip") == status
    assert complaint in tunnelbook.err
    assert files_of(wash) == before


def test_the_steps_of_a_tuning_session_are_given_anew(tunnelbook, wash):
    steps = "[{hz: 38, counted: 31, seconds: 30}, {hz: 40, counted: 33, seconds: 30}]"
    tunnelbook(
        "record", "--site", wash, "--at", "2026-11-23T07:10", "--yes",
        "--entry", f"{{at: side-brush, steps: {steps}}}",
    )  # fmt: skip
    filed = "2026-11-23T0710-ada-tarrowby#1"
    status = tunnelbook(
        "correct", "--site", wash, filed, "--why", "misread", "--yes",
        "--set", f"steps={steps.replace('33', '34')}",
    )  # fmt: skip
    assert (status, tunnelbook.err) == (0, "")
    corrected = ledger(wash).last_word(ledger(wash).entry[EntryRef.parse(filed)])
    assert [step.speed.passes for step in corrected.steps] == [31, 34]

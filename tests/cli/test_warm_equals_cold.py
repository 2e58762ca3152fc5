"""Whatever happened in between, a command prints and writes what it would without the store.

TUNNELBOOK_SEQUENCES says how many sequences of traps are drawn; `--hypothesis-seed` which.
"""

import io
import os
import shutil
import tempfile
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, seed, settings
from hypothesis import strategies as st
from store_traps import (
    ANOTHER_TIME,
    TIED_BACK,
    TRAPS,
    Wash,
    byte_is_flipped,
    clock_moves,
    page_by_hand,
    surroundings,
    time_passes,
    visit_is_filed,
)

from ledger.cli import start
from ledger.cli.keeper import KeptRecord
from ledger.cli.start import answer_call
from ledger.files.book_files import KeptFile
from ledger.site import rendering

SEQUENCES = int(os.environ.get("TUNNELBOOK_SEQUENCES", "4"))

COMMANDS = (
    ("build",),
    ("build", "--as-of", "2026-12-01"),
    ("build", "--html"),
    ("build", "--check"),
    ("check",),
    ("check", "--as-of", "2026-11-10"),
    ("check", "--format", "json", "--strict"),
    ("due",),
    ("due", "--json"),
    ("due", "--as-of", "2026-11-23"),
    ("due", "--as-of", "2026-12-12"),
    ("due", "--for", "m-tarrow"),
    ("show", "brush-p2", "--site", "."),
    ("show", "conveyor", "--json"),
    ("show", "low-brush", "--at-commit", "main"),
    ("-C", ".", "check", "--quiet"),
    ("due", "--format", "json", "--exit-code"),
)

_STEP = st.tuples(
    st.lists(st.tuples(st.sampled_from(TRAPS), st.integers(0, 10_000)), max_size=3),
    st.sampled_from(COMMANDS),
    st.integers(1, 3),
)

Outcome = tuple[object, str, str, dict[str, bytes]]


def outcome(wash: Wash, root: Path, words: tuple[str, ...]) -> Outcome:
    """Exit status, output, complaints, and every file of the site afterwards."""
    out, err = io.StringIO(), io.StringIO()
    home = Path.cwd()
    os.chdir(root)
    try:
        with redirect_stdout(out), redirect_stderr(err):
            status = answer_call([*words], wash.clock)
    finally:
        os.chdir(home)
    files = {
        path.relative_to(root).as_posix(): path.read_bytes()
        for path in sorted(root.rglob("*"))
        if path.is_file() and ".git/" not in path.relative_to(root).as_posix()
    }
    said = (stream.getvalue().replace(str(root), "ROOT") for stream in (out, err))
    return (status, *said, files)


def cold(wash: Wash, words: tuple[str, ...]) -> Outcome:
    """What the command does to a copy of the site, without the store."""
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder).resolve() / "wash"
        shutil.copytree(wash.root, copy, symlinks=True)
        for path in copy.rglob("*"):
            if path.is_symlink():
                target = str(path.readlink()).replace(str(wash.root), str(copy))
                path.unlink()
                path.symlink_to(target)
        return outcome(wash, copy, (*words, "--no-store"))


def follow(steps, answered):
    """Run a sequence of traps and commands; adds to `answered` what the store gave."""
    with tempfile.TemporaryDirectory() as folder:
        wash = Wash(Path(folder).resolve())
        with surroundings(wash):
            for traps, words, times in steps:
                for trap, number in traps:
                    trap(wash, number)
                for _ in range(times):
                    wanted = cold(wash, words)
                    before = len(answered)
                    assert outcome(wash, wash.root, words) == wanted, answered[before:]


BY_EXCERPT = [
    command for command in COMMANDS if command[0] == "due" and "2026-11-23" not in command
]
BY_RECORD = [
    command
    for command in COMMANDS
    if command[0] in ("build", "show") and "--at-commit" not in command
]


@pytest.mark.parametrize(("kept", "commands"), [("excerpt", BY_EXCERPT), ("ledger", BY_RECORD)])
def test_visits_filed_since_are_seen_as_by_the_whole_record(kept, commands, monkeypatch):
    given_by_store = []
    give = getattr(KeptRecord, kept)

    def watched(record, day):
        ledger = give(record, day)
        given_by_store.append(ledger is not None)
        return ledger

    monkeypatch.setattr(KeptRecord, kept, watched)
    visits = st.tuples(st.just(visit_is_filed), st.integers(0, 10_000))
    step = st.tuples(st.lists(visits, max_size=1), st.sampled_from(commands), st.just(1))

    @settings(max_examples=SEQUENCES, suppress_health_check=list(HealthCheck), deadline=None)
    @example([([(visit_is_filed, 0)], commands[0], 1)])
    @example(
        [([(visit_is_filed, number)], commands[-1], 1) for number in (TIED_BACK, ANOTHER_TIME)]
    )
    @given(st.lists(step, min_size=3, max_size=8))
    def sequences(steps):
        follow([([], commands[0], 1), *steps], [])

    sequences()
    assert any(given_by_store), "the store never gave the record, so nothing was compared"


def test_build_takes_of_other_machines_what_was_found_before(monkeypatch):
    taken = []
    by_parts = rendering.book_files_by

    def watched(*found):
        files = by_parts(*found)
        taken.extend(file for file in files.values() if isinstance(file, KeptFile))
        return files

    monkeypatch.setattr(rendering, "book_files_by", watched)
    traps = st.sampled_from(
        (visit_is_filed, page_by_hand, time_passes, byte_is_flipped, clock_moves)
    )
    step = st.tuples(
        st.lists(st.tuples(traps, st.integers(0, 10_000)), max_size=2),
        st.sampled_from([command for command in COMMANDS if command[0] == "build"]),
        st.just(1),
    )

    @settings(max_examples=SEQUENCES, suppress_health_check=list(HealthCheck), deadline=None)
    @example([([(visit_is_filed, 0)], ("build",), 1)])
    @given(st.lists(step, min_size=2, max_size=6))
    def sequences(steps):
        follow([([], ("build",), 1), *steps], [])

    sequences()
    assert taken, "nothing was taken, so nothing was compared"


@pytest.mark.parametrize("half", range(2))
def test_warm_equals_cold(half, monkeypatch, pytestconfig):
    """In two halves, as CI has two cores; by a seed that is asked for they draw different ones."""
    answered = []
    give = start.kept

    def watched(*words):
        answer, keeper = give(*words)
        if answer is not None:
            answered.append(answer)
        return answer, keeper

    monkeypatch.setattr(start, "kept", watched)

    @settings(max_examples=SEQUENCES // 2, suppress_health_check=list(HealthCheck), deadline=None)
    @example([([], COMMANDS[half], 2)])
    @given(st.lists(_STEP, min_size=2, max_size=8))
    def sequences(steps):
        follow(steps, answered)

    asked = pytestconfig.getoption("--hypothesis-seed")
    if asked is not None:
        sequences = seed(f"{asked} {half}")(sequences)
    sequences()
    assert answered, "the store never answered, so nothing was compared"


@pytest.mark.parametrize(
    ("number", "trap"), list(enumerate(TRAPS)), ids=[trap.__name__ for trap in TRAPS]
)
def test_each_trap_between_a_kept_answer_and_the_next(number, trap):
    steps = [([], ("build",), 1), ([(time_passes, 0)], ("check",), 1)]
    steps += [([(trap, number)], ("check",), 1), ([], ("build",), 1)]
    follow(steps, [])

"""A tuning session on the phone, and the same one by questions and by hand."""

import re
import subprocess
import sys
from datetime import date
from pathlib import Path

import pytest
from pocket.test_round import choose_person, download, go_to
from sound_site import SOUND, Files, texts_below

from ledger.files.tree import DiskTree
from ledger.model.build_visit import speed_reading_of
from ledger.pocket.fill import round_of
from ledger.site.pipeline import load
from ledger.upkeep.due.found import Schedule
from ledger.upkeep.speeds.found import speed_of, speed_results
from ledger.upkeep.speeds.ratios import drive_ratio

AS_OF = date(2026, 11, 25)
BRUSH = "equipment/brush-p2.yaml"
COMMAND = [sys.executable, "-m", "tests.pinned_clock"]
REPOSITORY = Path(__file__).parents[2]
PROPOSE = "tunnelbook propose brush-p2 --hz 48 --evidence '{visit}#1' --why 'Tuned and counted.'"
SESSION = {
    "task": "check-speed",
    "at": "brush-p2",
    "found_hz": 44,
    "steps": [
        {"hz": 44, "counted": 28, "seconds": 30},
        {"hz": 46, "turns": 20, "seconds": 20.1},
        {"hz": 48, "turns": 20, "seconds": 19.05},
    ],
    "keypad": "locked",
}


def open_up(part):
    """Unfold the pass and the station that a part of the walk stands in."""
    part.evaluate(
        "(e) => { for (let at = e; at; at = at.parentElement) if (at.matches('details')) at.open = true; }"
    )


def site_texts():
    """The sound site with a slower brush."""
    texts = texts_below(SOUND)
    texts[BRUSH] = re.sub(r"rpm: \[74, 86\]", "rpm: [58, 68]", texts[BRUSH])
    return texts


@pytest.fixture
def site(tmp_path):
    root = tmp_path / "site"
    for path, text in site_texts().items():
        (root / path).parent.mkdir(parents=True, exist_ok=True)
        (root / path).write_text(text, encoding="utf-8")
    return root


def recorded(site, answers, *words):
    return subprocess.run(
        [*COMMAND, "record", "--site", str(site), "--by", "m-tarrow", "--yes", *words],
        cwd=REPOSITORY, input=answers, capture_output=True, text=True, check=False,
    )  # fmt: skip


def last_visit(site):
    ledger = load(DiskTree(site)).ledger
    return ledger, ledger.visits[-1]


def taught(ledger):
    """What the drive's ratio is by the readings on record, and what the last ones say."""
    results = speed_results(ledger)
    ratio = drive_ratio(ledger, ledger.machines["brush-p2"], results)
    return [(r.setting, r.speed, r.verdict) for r in results[-3:]], ratio.fit.rpm_per_unit


@pytest.fixture(scope="module")
def by_hand():
    return typed(SESSION)


def typed(session):
    """The session typed into a file: what it teaches."""
    texts = site_texts()
    path = "observations/2026/11/2026-11-25T1630-m-tarrow.yaml"
    texts[path] = f"at: 2026-11-25T16:30\nby: m-tarrow\nentries:\n  - {as_flow(session)}\n"
    loaded = load(Files(texts))
    assert not loaded.has_errors, loaded.diagnostics
    return taught(loaded.ledger)


def as_flow(value):
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key}: {as_flow(one)}" for key, one in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(as_flow, value)) + "]"
    return str(value)


def test_by_questions(site, by_hand):
    done = recorded(
        site, "28 30 @44\ny\n20 20.1 turns\ny\n20 19.05 turns\n\ny\n\n", "--tune", "brush-p2"
    )
    assert done.returncode == 0, done.stderr
    ledger, visit = last_visit(site)
    assert [dict(entry.raw) for entry in visit.entries] == [SESSION]
    assert taught(ledger) == by_hand
    assert "Try 46 Hz: about 59 r/min expected. At most 2 Hz at once." in done.stdout
    assert "Stop: in band" in done.stdout
    assert "! The cloth is wet, and no vehicle is in it." in done.stdout
    assert PROPOSE.format(visit=visit.ident) in done.stdout
    assert not list((site / "setpoints").glob("*~")), "a visit never writes a setting"


@pytest.mark.parametrize(
    ("answers", "told"),
    [
        pytest.param(
            "28 30 @44\n\n", {"counted": 28, "seconds": 30, "found_hz": 44}, id="counted, not moved"
        ),
        pytest.param(
            "28 30 @44\n46.5\n\ny\n",
            {
                "found_hz": 44,
                "steps": [{"hz": 44, "counted": 28, "seconds": 30}],
                "left_hz": 46.5,
                "keypad": "locked",
            },
            id="counted before the change, left at another value uncounted",
        ),
        pytest.param(
            "28 30 @44\n47\n20 19.6 turns\n\nn\n",
            {
                "found_hz": 44,
                "steps": [
                    {"hz": 44, "counted": 28, "seconds": 30},
                    {"hz": 47, "turns": 20, "seconds": 19.6},
                ],
                "keypad": "unlocked",
            },
            id="another value than advised, counted, keypad left open",
        ),
        pytest.param(
            "28 30 @44\n47\n20 19.6 turns\n45\n\n\n",
            {
                "found_hz": 44,
                "steps": [
                    {"hz": 44, "counted": 28, "seconds": 30},
                    {"hz": 47, "turns": 20, "seconds": 19.6},
                ],
                "left_hz": 45,
            },
            id="counted twice, then left at a third value",
        ),
        pytest.param(
            "28 30 @44\n44.5\n29 30\n44\n28 30\n\n\n",
            {
                "found_hz": 44,
                "steps": [
                    {"hz": 44, "counted": 28, "seconds": 30},
                    {"hz": 44.5, "counted": 29, "seconds": 30},
                    {"hz": 44, "counted": 28, "seconds": 30},
                ],
            },
            id="put back and counted again",
        ),
    ],
)
def test_other_sessions_by_questions_are_those_typed_by_hand(site, answers, told):
    done = recorded(site, f"{answers}\n", "--tune", "brush-p2")
    assert done.returncode == 0, done.stderr
    ledger, visit = last_visit(site)
    session = {"task": "check-speed", "at": "brush-p2", **told}
    assert [dict(entry.raw) for entry in visit.entries] == [session]
    assert taught(ledger) == typed(session)
    is_moved = session.get("left_hz", session.get("steps", [{"hz": 44}])[-1].get("hz")) != 44
    assert ("tunnelbook propose brush-p2 --hz" in done.stdout) == is_moved


def test_one_count_before_the_change_is_the_same_with_steps_and_without():
    count, left = {"counted": 28, "seconds": 30}, {"found_hz": 44, "left_hz": 46.5}
    whole = {"task": "check-speed", "at": "brush-p2", **left}

    assert typed({**whole, **count}) == typed({**whole, "steps": [{"hz": 44, **count}]})


def test_a_session_that_is_broken_off_is_kept_as_a_draft(site):
    done = recorded(site, "28 30 @44\ny\n20 20.1 turns\ny\n", "--tune", "brush-p2")
    assert done.returncode != 0
    assert "Nothing was filed" in done.stderr
    assert "steps: [{hz: 44, counted: 28, seconds: 30}, {hz: 46, turns: 20, seconds: 20.1}]" in done.stderr  # fmt: skip
    assert "left_hz: 48" in done.stderr


def test_by_an_entry_typed_at_the_command_line(site, by_hand):
    done = recorded(site, "", "--entry", as_flow(SESSION))
    assert done.returncode == 0, done.stderr
    ledger, visit = last_visit(site)
    assert [dict(entry.raw) for entry in visit.entries] == [SESSION]
    assert taught(ledger) == by_hand
    assert PROPOSE.format(visit=visit.ident) in done.stdout


def test_on_the_phone(site, by_hand, open_round):
    ledger = load(DiskTree(site)).ledger
    it = open_round(
        round_of(ledger, Schedule(ledger, AS_OF).all_due(), AS_OF), has_touch=True,
        viewport={"width": 390, "height": 844},
    )  # fmt: skip
    page = it.page
    choose_person(page, "m-tarrow")
    part = page.locator("[data-key='check-speed brush-p2']")
    open_up(part)
    part.locator("summary", has_text="Read speed").click()
    advice = part.locator("[data-key$='tuning'] .advice")
    part.get_by_label("How it is read").select_option("count")
    part.get_by_label("Counted", exact=True).fill("28")
    part.get_by_label("Seconds", exact=True).fill("30")
    assert advice.inner_text() == "To tune it, say what the drive was found at."
    part.get_by_label("As-found frequency, Hz").fill("44")
    assert advice.inner_text() == "Try 46 Hz: about 59 r/min expected. At most 2 Hz at once."
    part.get_by_role("button", name="It is set to 46 Hz: count again").click()
    assert advice.inner_text() == "Now count at 46 Hz, before the next vehicle."
    assert part.get_by_label("As-left frequency, Hz").count() == 0
    page.reload()
    open_up(part)
    part.get_by_label("How it is read").select_option("turns")
    part.get_by_label("Turns", exact=True).fill("20")
    part.get_by_label("Seconds", exact=True).fill("20.1")
    assert advice.inner_text().startswith("Try 48 Hz: about 6")
    part.get_by_role("button", name="It is set to 48 Hz: count again").click()
    part.get_by_label("Turns", exact=True).fill("20")
    part.get_by_label("Seconds", exact=True).fill("19.05")
    assert advice.inner_text().startswith("Stop: in band")
    assert "which nobody has approved" in part.inner_text()
    part.get_by_label("Locked again").check()
    assert part.locator("table.steps tr").first.inner_text().startswith("44 Hz")

    visit = download(it)
    session = next(entry for entry in visit["entries"] if "steps" in entry)
    assert session == SESSION
    name = re.search(r"(\S+)[.]yaml", page.locator(".where").inner_text()).group(1)
    ident = name.rpartition("/")[2]
    assert PROPOSE.format(visit=ident) in page.get_by_label("Commands that propose").inner_text()
    path = site / "observations/2026/11/2026-11-25T1630-m-tarrow.yaml"
    path.write_text(
        f"at: 2026-11-25T16:30\nby: m-tarrow\nentries:\n  - {as_flow(session)}\n", encoding="utf-8"
    )
    assert taught(last_visit(site)[0]) == by_hand


def test_a_count_is_taken_back_and_a_drive_put_back(site, open_round):
    ledger = load(DiskTree(site)).ledger
    it = open_round(round_of(ledger, Schedule(ledger, AS_OF).all_due(), AS_OF))
    page = it.page
    choose_person(page, "m-tarrow")
    part = page.locator("[data-key='check-speed brush-p2']")
    open_up(part)
    part.locator("summary", has_text="Read speed").click()
    part.get_by_label("How it is read").select_option("count")
    part.get_by_label("Counted", exact=True).fill("28")
    part.get_by_label("Seconds", exact=True).fill("30")
    part.get_by_label("As-found frequency, Hz").fill("45")
    part.get_by_role("button", name="One step more").click()
    part.get_by_role("button", name=re.compile("^It is set to 47.5 Hz")).click()
    part.get_by_role("button", name="Take back the last count").click()
    assert part.locator("table.steps").count() == 0
    part.get_by_label("Counted", exact=True).fill("28")
    part.get_by_label("Seconds", exact=True).fill("30")
    part.get_by_role("button", name="Put back to 44 Hz: count again").click()
    part.get_by_label("Counted", exact=True).fill("29")
    part.get_by_label("Seconds", exact=True).fill("30")
    assert "Left at 44 Hz, as approved." in part.inner_text()
    visit = download(it)
    (session,) = [entry for entry in visit["entries"] if "steps" in entry]
    assert [step["hz"] for step in session["steps"]] == [45, 44]
    go_to(page, "Visit")
    assert (
        page.get_by_label("Commands that propose").count() == 0
        or not page.get_by_label("Commands that propose").is_visible()
    )


TACHOMETERS = {
    "tach-1": "max_error_percent: 0.8\nresolution: 0.2\n",
    "tach-2": "max_error: 0.4\nchecks:\n  - {on: 2026-01-02, due: 2026-06-30}\n",
    "tach-3": "max_error_percent: 1\nchecks:\n  - {on: 2026-01-02, correction_percent: -1, correction_u_percent: 0.4}\n",
}
SHOWN = """(entry) => {
  const {rpm, u, shared} = speedOfEntry(entry, 0.1);
  return [rpm, u, shared];
}"""


@pytest.mark.parametrize("ident", TACHOMETERS)
def test_a_named_instrument_means_the_same_on_the_phone(ident, open_round):
    """Its errors, step and correction, and what speaks against it; then as an entry."""
    texts = site_texts()
    for one, lines in TACHOMETERS.items():
        texts[f"instruments/{one}.yaml"] = f"name: Tachometer {one}\nkind: tachometer\n{lines}"
    ledger = load(Files(texts)).ledger
    it = open_round(round_of(ledger, Schedule(ledger, AS_OF).all_due(), AS_OF))
    page = it.page
    entry = {"tachometer_rpm": 61.4, "instrument": ident}
    speed = speed_of(
        speed_reading_of(entry), timing_u_s=0.1, instrument=ledger.instruments[ident], day=AS_OF
    )
    assert page.evaluate(SHOWN, entry) == pytest.approx(
        [speed.rpm, speed.u_rpm, speed.u_shared_rpm], rel=1e-9
    )

    choose_person(page, "m-tarrow")
    go_to(page, "Readings")
    page.get_by_role("button", name="New reading").click()
    card = page.locator("#readings .card")
    card.get_by_label("Machine").select_option("brush-p2")
    card.get_by_label("How it is read").select_option("tachometer")
    card.get_by_label("Tachometer", exact=False).last.fill("61.4")
    card.get_by_label("Instrument").select_option(ident)
    overdue = f"Tachometer {ident} was due for its check by 2026-06-30"
    assert card.get_by_text(overdue).count() == (ident == "tach-2")
    assert download(it)["entries"] == [{"at": "brush-p2", **entry}]

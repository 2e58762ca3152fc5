"""Everyone can use the page: gloves, sunlight, darkness, keyboard, screen reader."""

import dataclasses
import json
import re

import pytest
from axe_playwright_python.sync_playwright import Axe
from pocket.test_rounds import with_rounds

from ledger.pocket.payload import TiedBack

VIEWS = ("Walk", "Findings", "Readings", "Visit")
# CSS pixels; a gloved finger covers about this much.
LEAST_TARGET_PX = 48
MAIN_TARGET_PX = 64
PHONE = {"width": 390, "height": 844}

SMALL_TARGETS = """(least) => [...document.querySelectorAll(
    "button, select, textarea, input, summary, a")]
  .map((e) => e.closest("label") ?? e)
  .filter((e) => e.checkVisibility())
  .map((e) => [e.textContent.trim().slice(0, 40) || e.tagName, e.getBoundingClientRect()])
  .filter(([, box]) => Math.min(box.width, box.height) < least)
  .map(([words, box]) => `${words}: ${box.width} × ${box.height}`)"""

TOO_WIDE = """() => [document.documentElement, ...document.querySelectorAll(
    "label, button, legend, summary, p, li, h2, h3, h4")]
  .filter((e) => e.checkVisibility() && e.scrollWidth > e.clientWidth && e.clientWidth > 0)
  .map((e) => e.textContent.trim().slice(0, 60))"""


def show_all_of(page, view):
    page.get_by_role("navigation").get_by_role("button", name=view).click()
    for new in page.get_by_role("button", name=re.compile("^New ")).all():
        if new.is_visible():
            new.click()
    page.evaluate("document.querySelectorAll('details').forEach((d) => { d.open = true; })")


def faults_axe_finds(page):
    response = Axe().run(page).response
    return [
        (fault["id"], fault["impact"], fault["nodes"][0]["html"][:120])
        for fault in response["violations"]
    ]


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("view", VIEWS)
def test_axe_finds_nothing(open_round, walk, view, scheme):
    it = open_round(walk, color_scheme=scheme, viewport=PHONE)
    it.page.get_by_role("button", name="Not done: Measure the chain").click()
    show_all_of(it.page, view)
    assert faults_axe_finds(it.page) == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_in_a_round_with_questions_and_a_machine_tied_back(
    open_round, walk, scheme
):
    tied = TiedBack(ref="2026-11-20T0655-k-yelloway#3", machine="wrap-d", since="2026-11-20 06:55", why="Arm bent.", first=("Check the guards",))  # fmt: skip
    rounds = dataclasses.replace(with_rounds(walk), tied_back=(tied,))
    it = open_round(rounds, color_scheme=scheme, viewport=PHONE)
    it.page.get_by_label("Who are you?").select_option("m-osterby")
    show_all_of(it.page, "Walk")
    it.page.locator(".question button").first.click()
    assert faults_axe_finds(it.page) == []
    assert it.page.evaluate(SMALL_TARGETS, LEAST_TARGET_PX) == []
    assert it.page.evaluate(TOO_WIDE) == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_in_the_tachometer_and_in_questions(open_round, walk, scheme):
    it = open_round(walk, color_scheme=scheme, viewport=PHONE)
    show_all_of(it.page, "Walk")
    it.page.get_by_role("button", name="Open the tap tachometer").click()
    assert faults_axe_finds(it.page) == []
    it.page.keyboard.press("Escape")
    show_all_of(it.page, "Visit")
    it.page.get_by_role("button", name="Start a new visit").click()
    assert faults_axe_finds(it.page) == []


def with_faults(it):
    """A number that is none, a tick without its reading, a task not done without a reason."""
    page = it.page
    show_all_of(page, "Walk")
    page.get_by_label("As-found frequency, Hz").fill("fast")
    page.get_by_role("button", name="Not done: Measure the chain").click()


def handed_over(it):
    """A visit that was downloaded and says so."""
    page = it.page
    page.get_by_label("Who are you?").select_option("m-osterby")
    page.get_by_label("chain", exact=True).check()
    page.get_by_role("navigation").get_by_role("button", name="Visit").click()
    with page.expect_download():
        page.get_by_role("button", name="Download").click()
    page.get_by_text("Downloaded 20").wait_for()


def left_yesterday(it):
    """Work of an earlier day, kept apart and offered."""
    it.page.get_by_label("chain", exact=True).check()
    place = "round Quillmere Tunnel Wash work"
    work = json.loads(it.kept(place))
    it.keep(place, json.dumps({**work, "begun": "2026-01-02T06:40", "touched": "2026-01-02T06:40"}))
    it.page.get_by_role("button", name="Finish it").wait_for()


def half_tapped(it):
    """The tachometer with too few taps."""
    show_all_of(it.page, "Walk")
    it.page.get_by_role("button", name="Open the tap tachometer").click()
    it.page.keyboard.press("Space")


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("bring_about", [with_faults, handed_over, left_yesterday, half_tapped])
def test_no_state_shuts_anyone_out(open_round, walk, bring_about, scheme):
    it = open_round(walk, color_scheme=scheme, viewport=PHONE)
    bring_about(it)
    assert faults_axe_finds(it.page) == []
    assert it.page.evaluate(SMALL_TARGETS, LEAST_TARGET_PX) == []
    assert it.page.evaluate(TOO_WIDE) == []
    if bring_about is with_faults:
        it.page.get_by_role("navigation").get_by_role("button", name="Visit").click()
        assert it.page.locator("#visit > .problems button").count() >= 3
        assert faults_axe_finds(it.page) == []
        assert it.page.evaluate(SMALL_TARGETS, LEAST_TARGET_PX) == []


@pytest.mark.parametrize("view", VIEWS)
def test_targets_are_large_enough_for_gloves_and_nothing_is_cut_off(open_round, walk, view):
    it = open_round(walk, viewport=PHONE)
    show_all_of(it.page, view)
    assert it.page.evaluate(SMALL_TARGETS, LEAST_TARGET_PX) == []
    assert it.page.evaluate(TOO_WIDE) == []


@pytest.mark.parametrize(
    "size",
    [PHONE, {"width": 320, "height": 568}, {"width": 640, "height": 360}],
    ids=["phone", "small", "sideways"],
)
def test_the_tachometer_s_main_targets_are_larger_still(open_round, walk, size):
    it = open_round(walk, viewport=size)
    show_all_of(it.page, "Walk")
    it.page.get_by_role("button", name="Open the tap tachometer").click()
    assert it.page.evaluate(SMALL_TARGETS, LEAST_TARGET_PX) == []
    box = it.page.get_by_role("button", name="Tap", exact=True).bounding_box()
    assert box["height"] >= 2 * MAIN_TARGET_PX
    # Held sideways, the tap target stands beside the words.
    share = 0.85 if size["height"] > size["width"] else 0.4
    assert box["width"] >= share * size["width"]
    assert box["y"] + box["height"] <= size["height"]
    for name in ("Use this reading", "Undo last tap", "Reset", "Back"):
        assert it.page.get_by_role("button", name=name).bounding_box()["height"] >= MAIN_TARGET_PX


def test_a_visit_can_be_made_with_the_keyboard_alone(open_round, walk):
    it = open_round(walk)
    page = it.page
    keys = page.keyboard

    def reach(locator):
        for _ in range(80):
            keys.press("Tab")
            if locator.evaluate("(e) => e === document.activeElement"):
                return
        pytest.fail(f"{locator} is not reached by the tabulator key")

    page.clock.install()
    reach(page.get_by_label("Who are you?"))
    keys.press("ArrowDown")
    reach(page.get_by_role("checkbox", name="chain"))
    keys.press("Space")
    reach(page.locator("summary", has_text="Side brush P2"))
    keys.press("Enter")
    reach(page.locator("summary", has_text="Read speed"))
    keys.press("Enter")
    reach(page.get_by_role("button", name="Open the tap tachometer"))
    keys.press("Enter")
    use = page.get_by_role("button", name="Use this reading")
    # Else the time that the machine takes between two taps counts as well.
    page.clock.pause_at(page.evaluate("Date.now()") / 1000 + 1)
    for _ in range(6):
        keys.press("Space")
        page.clock.run_for(700)
    page.clock.resume()
    reach(use)
    keys.press("Enter")
    reach(page.get_by_role("navigation").get_by_role("button", name="Visit"))
    keys.press("Enter")
    text = page.get_by_label("The visit as YAML").inner_text()
    assert "by: m-osterby" in text
    assert "task: check-chain" in text
    assert "taps_s: [0, " in text


def test_a_press_by_a_screen_reader_taps_once(open_round, walk):
    it = open_round(walk)
    show_all_of(it.page, "Walk")
    it.page.get_by_role("button", name="Open the tap tachometer").click()
    target = it.page.get_by_role("button", name="Tap", exact=True)
    target.evaluate("(e) => e.click()")
    assert it.page.locator(".repairs").inner_text() == "1 tap"
    it.page.wait_for_timeout(50)
    target.click()
    it.page.wait_for_timeout(50)
    it.page.keyboard.press("Space")
    assert it.page.locator(".repairs").inner_text() == "3 taps"


def test_the_walk_is_printed_whole(open_round, walk):
    it = open_round(walk)
    it.page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    it.page.emulate_media(media="print")
    assert it.page.get_by_text("Grease the turning shaft bearings").last.is_visible()
    assert it.page.get_by_label("As-found frequency, Hz").is_visible()
    assert it.page.get_by_label("Go to station").is_hidden()
    assert it.page.get_by_role("navigation").is_hidden()
    it.page.evaluate("window.dispatchEvent(new Event('afterprint'))")
    it.page.emulate_media(media="screen")
    assert it.page.get_by_role("heading", name="Grease the turning shaft").is_hidden()

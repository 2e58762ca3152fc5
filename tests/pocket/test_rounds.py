"""One answer for a whole round: few taps, never without looking, and it says so in the file."""

import dataclasses
import itertools

from pocket.test_round import choose_person, download, go_to
from small_site import ELECTRIC, ledger_of, on

from ledger.filing.posted import check_digits
from ledger.model.tasks import Question, When
from ledger.pocket.payload import Asked, DueItem, Machine, Point
from ledger.upkeep.due.found import Schedule
from ledger.upkeep.due.rounds import LOOKED_AT, answers_of, drawn, round_said, round_work

TASKS = {"before-opening": "look-at-cloth", "running": "look-at-nozzles"}
ASKS = {
    "look-at-cloth": Question(question="How does it hang?", fine=("Even",), wrong=("Short", "Torn"))
}
PLACES = 42


def with_rounds(walk, minutes=None):
    """84 places in two passes, three at each of 14 machines, beside what has to be read."""
    machines = tuple(
        Machine(
            ident=f"arch-{n}",
            name=f"Arch {n}",
            kind="rinse-arch",
            station=200 + n,
            points=tuple(Point(ident=f"p{k}", name=f"part {k}") for k in range(3)),
        )
        for n in range(PLACES // 3)
    )
    due = tuple(
        DueItem(
            task=task,
            title=task.replace("-", " ").capitalize(),
            machine=machine.ident,
            places=tuple(f"{machine.ident}/{point.ident}" for point in machine.points),
            state="in window",
            minutes=minutes,
            when=when,
            in_round=True,
            asks=ASKS.get(task),
        )
        for when, task in TASKS.items()
        for machine in machines
    )
    return dataclasses.replace(
        walk,
        machines=(*walk.machines, *machines),
        due=(*due, *walk.due),
        asked=dict.fromkeys(TASKS.values(), Asked(of=PLACES, list="0a1b2c3d")),
    )


class Taps:
    """Every tap is counted; what is chosen from a list takes two."""

    def __init__(self, page):
        self.page = page
        self.count = 0

    def on(self, locator):
        locator.click()
        self.count += 1


def pass_of(page, name):
    return page.locator("details.pass", has=page.locator("summary h3", has_text=name))


def look_and_say(taps, part):
    """Answer what is asked at the drawn places, and say that all is in order."""
    for place in part.locator(".drawn input, .drawn button:text-is('Even')").all():
        taps.on(place)
    taps.on(part.get_by_role("button", name="All in order"))


def count(taps, part, name):
    """Tap a speed from the list of the pass, found as approved; the tapping itself is not counted."""
    page = taps.page
    taps.on(part.locator(".counts").get_by_role("button", name=name))
    for _ in range(12):
        page.keyboard.press("Space")
        page.clock.run_for(750)
    taps.on(page.get_by_role("button", name="as approved"))


def test_a_round_of_84_places_and_two_counts_takes_12_taps_to_the_way_out(open_round, walk):
    """Nothing is wrong; who walks is known to the phone from the day before."""
    rounds = with_rounds(walk)
    speed = next(item for item in rounds.due if item.task == "check-brush-speed")
    other = dataclasses.replace(speed, machine="wrap-d", places=("wrap-d",))
    it = open_round(dataclasses.replace(rounds, due=(*rounds.due, other)))
    page, taps = it.page, Taps(it.page)
    page.clock.install()
    choose_person(page)
    first, second = pass_of(page, "Before opening"), pass_of(page, "While the line runs")
    claim = first.get_by_role("button", name="All in order")
    assert claim.is_disabled(), "two places are looked at first"
    look_and_say(taps, first)
    assert "Said: 42 of 42 in order, by the round." in first.inner_text()
    for name in ("140 · Side brush P2", "150 · Wrap, driver"):
        count(taps, second, name)
    look_and_say(taps, second)
    assert second.locator(".counts").inner_text().count("r/min") == 2
    entries = download(it)["entries"]
    taps.count += 2  # to the visit, and its way out
    assert taps.count == 12
    assert [(e["in_order"], e["tasks"], e["of"]) for e in entries[:2]] == [
        (when, [task], PLACES) for when, task in TASKS.items()
    ]
    for entry in entries[:2]:
        assert len({place.split("/")[0] for place in entry["drawn"]}) == 2
        assert entry["seen"] == [{"before-opening": "Even"}.get(entry["in_order"], "looked at")] * 2
        assert entry["minutes"] > 0
        assert entry["list"] == check_digits("0a1b2c3d")
        assert "drawn_apart_s" in entry
        assert "except" not in entry
    found = [(e["at"], e.get("found_hz"), e.get("found_flow_gpm")) for e in entries[2:]]
    assert found == [("brush-p2", 44.5, None), ("wrap-d", None, 4.2)]


def test_what_is_not_in_order_is_left_out_and_answered_alone(open_round, walk):
    it = open_round(with_rounds(walk))
    page = it.page
    choose_person(page)
    part = pass_of(page, "Before opening")
    choice = part.get_by_label("Not in order, or not looked at")
    choice.select_option("look-at-cloth arch-3/p1")
    part.get_by_role("button", name="Not done: Look at cloth").click()
    part.get_by_label("Why not?").fill("Behind a vehicle")
    choice.select_option("look-at-cloth arch-5/p0")
    part.get_by_role("button", name="Finding", exact=True).last.click()
    page.get_by_label("What is wrong").fill("Strip torn")
    go_to(page, "Walk")
    look_and_say(Taps(page), part)
    assert "Said: 40 of 42 in order" in part.inner_text()
    claim, put_off, finding = download(it)["entries"]
    assert claim["except"] == ["arch-3/p1", "arch-5/p0"]
    assert put_off == {"task": "look-at-cloth", "at": "arch-3/p1", "outcome": "not-done", "reason": "Behind a vehicle"}  # fmt: skip
    assert (finding["at"], finding["finding"]) == ("arch-5/p0", "Strip torn")
    go_to(page, "Walk")
    page.wait_for_timeout(400)  # a tap that comes sooner was meant for the claim
    part.get_by_role("button", name="Take it back").click()
    part.get_by_role("button", name="All in order but 2").wait_for()


def test_a_round_said_too_soon_asks_and_the_answer_outlives_a_reload(open_round, walk):
    it = open_round(with_rounds(walk, minutes=2))
    page = it.page
    choose_person(page)
    part = pass_of(page, "Before opening")
    look_and_say(Taps(page), part)
    assert "1 min for about 28 min of looking" in page.locator("dialog").inner_text()
    page.get_by_role("button", name="Keep it").click()
    assert part.get_by_role("button", name="All in order").is_visible()
    part.get_by_role("button", name="All in order").click()
    page.get_by_role("button", name="It is in order").click()
    page.reload()
    assert "Said: 42 of 42 in order, by the round." in pass_of(page, "Before opening").inner_text()


def test_what_is_not_the_persons_to_do_is_no_part_of_the_round(open_round, walk):
    rounds = with_rounds(walk)
    due = tuple(
        dataclasses.replace(item, needs=("lockout",)) if item.when == "running" else item
        for item in rounds.due
    )
    page = open_round(dataclasses.replace(rounds, due=due)).page
    choose_person(page, "k-yelloway")
    assert "42 places, one answer" in pass_of(page, "Before opening").inner_text()
    running = pass_of(page, "While the line runs")
    running.locator("summary").first.click()
    assert running.get_by_role("button", name="All in order").is_disabled()


def test_a_wrong_answer_at_a_drawn_place_is_a_finding_and_leaves_it_out(open_round, walk):
    it = open_round(with_rounds(walk))
    page = it.page
    choose_person(page)
    part = pass_of(page, "Before opening")
    first, second = part.locator(".drawn .question").all()
    assert "How does it hang?" in first.inner_text()
    first.get_by_role("button", name="Torn").click()
    assert page.get_by_label("What is wrong").input_value() == "Torn"
    go_to(page, "Walk")
    assert part.get_by_role("button", name="All in order").is_disabled(), (
        "one place is not answered"
    )
    second.get_by_role("button", name="Even").click()
    part.get_by_role("button", name="All in order but 1").click()
    claim, finding = download(it)["entries"]
    assert claim["seen"] == ["Torn", "Even"]
    assert (finding["finding"], claim["except"]) == ("Torn", [finding["at"]])
    assert claim["drawn"][0] == finding["at"]


def test_the_terminal_draws_the_same_places_and_shows_the_same_order(page):
    """On forty days, of tasks that ask and others, for two people and two passes."""
    ask = {"question": "How is it?", "fine": ["Whole"], "wrong": ["Aside", "Torn"]}
    daily = {"on": {"points": "nozzle"}, "every": "1 day", "steps": "."}
    tasks = {
        "look": {**daily, "title": "Look", "asks": ask},
        "watch": {**daily, "title": "Watch", "asks": {**ask, "wrong": ["Torn"]}},
        "walk": {**daily, "title": "Walk", "when": "running"},
    }
    machines = {f"n{k}": {**ELECTRIC, "station": 10 * k} for k in range(1, 7)}
    ledger = ledger_of((), tasks=tasks, machines=machines)
    people, passes = ledger.site.people.values(), (When.BEFORE_OPENING, When.RUNNING)
    cases, expected = [], []
    for day, person, when in itertools.product(map(on, range(40)), people, passes):
        work = round_work(ledger, Schedule(ledger, day).all_due(), person, when)
        places = drawn(round_said(ledger, work, when, (), None), person, day)
        asks = [one.task.asks for one in places]
        cases.append(
            {
                "day": str(day),
                "person": person.ident,
                "when": when.value,
                "due": [[one.task.ident, str(one.place), bool(one.task.asks)] for one in work],
                "answers": [[*one.fine, *one.wrong] if one else [LOOKED_AT] for one in asks],
            }
        )
        expected.append(
            {
                "drawn": [f"{one.task.ident} {one.place}" for one in places],
                "turned": [list(answers_of(one, day)) for one in places],
            }
        )
    found = page.evaluate(
        """(cases) => cases.map(({day, person, when, due, answers}) => {
          const items = due.map(([task, place, asks]) => (
            {task, places: [place], when, asks, in_round: true, needs: []}
          ));
          const round = {day, due: items, people: [{ident: person, qualified: []}]};
          const drawn = drawnKeys(round, person, when, keysOf(items));
          return {drawn, turned: drawn.map((key, at) => turned(answers[at], `${day} ${key}`))};
        })""",
        cases,
    )
    assert found == expected
    assert len({tuple(one["drawn"]) for one in expected}) > 40


def test_the_answers_stand_in_another_order_on_other_days(page):
    orders = page.evaluate(
        """() => Array.from({length: 30}, (_, day) => turned(["a", "b", "c"], `${day}`).join(""))"""
    )
    assert set(orders) == {"abc", "bca", "cab"}

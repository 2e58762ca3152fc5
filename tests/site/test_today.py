import dataclasses
from collections.abc import Iterable

from example import example_pages
from small_site import ELECTRIC, HYDRAULIC, ledger_of, on, setpoint, visit

from ledger.book import terminal
from ledger.book.addresses import FRONT_PAGE
from ledger.book.blocks import Bullets, Heading, Link
from ledger.book.words import marked
from ledger.site.decisions import MOST
from ledger.site.pages import MOVED, Book

LOOK = {"title": "Look", "on": {"points": "motor"}, "every": "1 week", "minutes": 4, "steps": "."}
FILTER = {
    "name": "Filter",
    "kind": "spare",
    "unit": "piece",
    "opening": {"on": on(0).isoformat(), "count": 1},
    "reorder_level": 1,
}


def page(*visits, as_of=8, setpoints=(), machines=None):
    ledger = ledger_of(
        visits,
        setpoints=setpoints,
        tasks={"look": LOOK},
        machines=machines or {"brush": ELECTRIC, "low": HYDRAULIC},
        parts={"filter": FILTER},
    )
    return next(Book(ledger, on(as_of)).pages_of_site())


def text_of(found) -> str:
    return " ".join(terminal.render(found).split())


def test_a_site_that_has_just_begun_says_what_there_is():
    found = page(as_of=1)
    text = text_of(found)

    assert found.title == "Small Wash"
    assert "As of 2026-01-06 (Tuesday): what was filed and approved by the end of that day." in text
    assert "Nothing is due." in text
    assert "0 findings open." in text
    assert "No visit is filed yet." in text
    assert "Needs a decision" in text, "the filter is at its reorder level"
    assert "Slack" not in text


def test_what_is_due_and_the_longest_overdue():
    text = text_of(page(as_of=10))

    assert "While the line runs: 1 task at 1 place, about 4 min; 1 overdue." in text
    assert "Longest overdue: Look, by 3 days." in text


def test_findings_to_see_to_now_are_named():
    text = text_of(
        page(
            visit(1, {"finding": "Cable bare.", "at": "brush/motor", "urgency": "now"}),
            visit(2, {"finding": "Dusty.", "at": "brush/motor", "urgency": "planned"}),
        )
    )

    assert "2 findings open." in text
    assert "✱ Now: Side brush: Motor: Cable bare. Findings" in text
    assert "Finding, planned: Side brush: Motor, Dusty." in text, "the next on has to know"


def test_what_the_last_person_left_is_told_since_the_last_visit_of_somebody_else():
    other = {**visit(1, {"finding": "Old.", "at": "low"}), "by": "b-marsh"}
    put_off = {"task": "look", "at": "brush", "outcome": "not-done", "reason": "Line running."}
    text = text_of(
        page(other, visit(2, put_off), visit(3, {"at": "brush", "found_hz": 44, "left_hz": 45}))
    )
    handover = text[text.index("Handover") : text.index("The tunnel")]
    assert "A. Holt was on last, until 2026-01-08 10:00: 2 visits, 2 entries since B. Marsh on 2026-01-06 10:00." in handover  # fmt: skip
    assert "Not done: Side brush: Motor, Look: Line running." in handover
    assert "Set otherwise: Side brush, found at 44 Hz; left at 45 Hz." in handover
    assert "Old." not in handover


def test_of_one_person_alone_the_handover_does_not_go_back_for_ever():
    first, *others = [{"at": "brush", "found_hz": 44, "left_hz": 40 + n / 100} for n in range(31)]
    visits = [visit(n, one) for n, one in enumerate((first, *others))]
    text = text_of(page(*visits, as_of=31))
    handover = text[text.index("Handover") : text.index("The tunnel")]

    assert "2026-02-04 10:00: 30 visits, 30 entries, and more before." in handover
    assert handover.count("Set otherwise") == 30
    assert "left at 40 Hz" not in handover


def test_the_last_reading_of_each_brush_is_counted_by_its_verdict():
    """60 turns in 45 s are 80.0 r/min, in the band of 74 to 86; 60 in 60 s are out of it."""
    good = {"at": "brush", "turns": 60, "seconds": 45}
    bad = {"at": "low", "turns": 60, "seconds": 60}

    text = text_of(page(visit(1, good | {"seconds": 60}), visit(2, good, bad)))

    assert "1 in band, 0 cannot tell, 1 out of band (Low brush)." in text
    assert "Out of band: Low brush, 60.00 ± 0.22 r/min for a band of 75–92." in text


def test_settings_in_force_proposed_and_found_otherwise():
    proposal = setpoint(5, 44) | {"approved_by": ""}
    del proposal["approved_by"]
    seen = visit(3, {"at": "brush", "found_hz": 50})

    text = text_of(page(seen, setpoints=[setpoint(1, 45), proposal]))

    assert "1 setting in force, 1 proposal waiting for a second person." in text
    assert "Not as approved: the drive of Side brush was found at another setting." in text
    assert "To approve or refuse: 44 Hz for Side brush, proposed by A. Holt." in text


def test_a_setting_only_claimed_approved_needs_a_decision():
    own = setpoint(5, 44, proposed_by="b-marsh")

    text = text_of(page(setpoints=[setpoint(1, 45), own]))

    assert "1 setting in force" in text
    assert (
        "To approve properly or put back: Side brush, 44 Hz from 2026-01-10: claimed approved by "
        "B. Marsh, does not count: B. Marsh proposed it too."
    ) in text


def test_what_is_worn_and_what_to_order_are_named():
    clogged = {"at": "brush/nozzle", "caught_ml": 500, "seconds": 30, "pressure_kpa": 300}

    text = text_of(page(visit(1, clogged)))

    assert "Clogged: clean and catch again: Side brush: Nozzle, read 2026-01-06." in text
    assert "To order: Filter." in text


def test_the_last_visit_is_the_last_known_on_the_day():
    text = text_of(
        page(
            visit(1, {"at": "brush", "temperature_c": 20}),
            visit(20, {"at": "brush", "temperature_c": 20}),
        )
    )

    assert "A. Holt was on last, until 2026-01-06 10:00: 1 visit, 1 entry." in text


def links_in(block) -> set[str]:
    """The pages that a block, or any part of it, links to."""
    if isinstance(block, Link):
        return {block.to.partition("#")[0]}
    if dataclasses.is_dataclass(block):
        block = [getattr(block, field.name) for field in dataclasses.fields(block)]
    if isinstance(block, str) or not isinstance(block, Iterable):
        return set()
    return set().union(*map(links_in, block))


def test_every_page_and_machine_is_reached_from_it():
    """Every page is one click away, but tasks, lockout sheets and closed years, which are two."""
    pages = {path: page for path, page in example_pages().items() if path not in MOVED}
    one_click = links_in(pages[FRONT_PAGE])
    two_clicks = one_click.union(*(links_in(pages[path]) for path in one_click))

    further = {
        path
        for path in pages
        if path.startswith(("tasks/", "lockout/")) or path.endswith(("/2025.md", "/2026.md"))
    }
    assert {path.partition("/")[0] for path in pages} > {"machines", "tasks", "methods.md"}
    assert pages.keys() - further - {FRONT_PAGE} == one_click - further
    beside = {to for to in two_clicks if to.startswith("../photos/")}
    assert (two_clicks | {FRONT_PAGE}) - beside == pages.keys()


def decisions(found):
    """The lines under the heading, each as text; none where the heading is not there."""
    at = [n for n, block in enumerate(found.blocks) if block == Heading(2, "Needs a decision")]
    if not at:
        return []
    bullets = found.blocks[at[0] + 1]
    assert isinstance(bullets, Bullets)
    return [
        "".join(
            getattr(span, "text", span) for span in (item if isinstance(item, tuple) else (item,))
        )
        for item in bullets.items
    ]


def test_nothing_to_decide_leaves_no_heading():
    stocked = visit(1, {"part": "filter", "received": 5})

    assert decisions(page(stocked)) == []


def test_decisions_stand_worst_first_and_each_leads_to_its_page():
    seized = [
        visit(day, {"finding": "Seized.", "at": "brush/bearing-top", "failed": True})
        for day in (2, 4, 6)
    ]
    found = page(
        *seized,
        visit(1, {"finding": "Cable bare.", "at": "brush/motor", "urgency": "now"}),
        visit(7, {"at": "low", "turns": 60, "seconds": 60}),
    )
    lines = decisions(found)

    starts = [line.split(":")[0] for line in lines]
    assert starts == [*map(marked, ("Now", "Out of band", "Fails again and again", "To order"))]
    bullets = found.blocks[found.blocks.index(Heading(2, "Needs a decision")) + 1]
    assert isinstance(bullets, Bullets)
    assert all(isinstance(item[-1], Link) for item in bullets.items)


def test_two_failures_of_a_place_are_no_series():
    twice = [
        visit(day, {"finding": "Seized.", "at": "brush/bearing-top", "failed": True})
        for day in (2, 4)
    ]

    assert not any("Fails again" in line for line in decisions(page(*twice)))


def test_a_limit_is_named_a_month_ahead_and_not_earlier():
    """Strips that lose 10 mm a week from 490 mm, worn at 400 mm: reached on day 63."""
    cloth = [visit(7 * n, {"at": "brush/cloth", "strip_length_mm": 490 - 10 * n}) for n in range(7)]

    far, near = (decisions(page(*cloth, as_of=day)) for day in (32, 42))

    assert not any("Near its limit" in line for line in far)
    (said,) = [line for line in near if line.startswith(marked("Near its limit"))]
    assert said.startswith(
        f"{marked('Near its limit')}: Side brush: Cloth: strip length reaches 400 mm by about 2026-03-0"
    )


def test_a_limit_that_was_reached_by_the_day_is_told_as_past():
    cloth = [visit(7 * n, {"at": "brush/cloth", "strip_length_mm": 490 - 10 * n}) for n in range(7)]

    (said,) = [line for line in decisions(page(*cloth, as_of=80)) if "Cloth" in line]

    assert said.startswith(
        f"{marked('At its limit')}: Side brush: Cloth: strip length reached 400 mm by 2026-03-"
    )


def test_a_long_list_is_cut_short_and_says_so():
    bare = [
        visit(day, {"finding": f"Cable {day} bare.", "at": "brush/motor", "urgency": "now"})
        for day in range(1, 8)
    ] + [
        visit(day, {"finding": f"Cable {day} bare.", "at": "low", "urgency": "now"})
        for day in range(10, 15)
    ]
    lines = decisions(page(*bare, as_of=20))

    assert len(lines) == MOST + 1
    assert lines[-1] == "3 more, of lesser weight, on the pages below."

import json
import math
import re

import pytest
from small_site import ledger_of, on, visit

from ledger.book import svg, terminal
from ledger.book.blocks import AxisKind, Bullets, Caution, Heading, Mark, Page, Picture, Table
from ledger.book.terminal import plain
from ledger.book.words import format_day, marked
from ledger.upkeep.wear.found import wear
from ledger.upkeep.wear.page import wear_page
from ledger.upkeep.wear.table import damper_row, group_row, item_row

NOZZLE = {"kind": "nozzle", "flow_lpm": 2.0, "at_kpa": 300}
ARCH = {
    "name": "Arch",
    "kind": "rinse-arch",
    "station": 30,
    "points": {
        "nozzle-1": NOZZLE,
        "nozzle-2": NOZZLE,
        "nozzle-3": NOZZLE,
        "chain": {"kind": "chain", "pitch_mm": 100, "centres": "fixed"},
        "belt": {"kind": "belt", "span_mm": 640},
        "cloth": {"kind": "cloth", "new_length_mm": 500, "worn_length_mm": 400},
        "damper": {"kind": "damper"},
    },
}
OTHER = ARCH | {"name": "Other arch", "station": 31}


def catch(share, nozzle, pressure=300):
    litres = 2.0 * share * math.sqrt(pressure / 300)
    return {
        "at": f"arch/nozzle-{nozzle}",
        "caught_ml": round(1000 * litres),
        "seconds": 60,
        "pressure_kpa": pressure,
    }


def record(rounds=6, *, meters=True):
    """A worn and a clogged nozzle, a slack belt, a bouncing damper; cloth of 2 mm a thousand."""
    return [
        visit(
            30 * n,
            catch(1.0 + 0.04 * n, 1),
            catch(0.8 if 0 < n == rounds - 1 else 1.0, 2),
            catch(1.0 + 0.002 * (-1) ** n, 3),
            {"at": "arch/chain", "pitches": 20, "length_mm": 2005 + 2 * n},
            {"at": "arch/belt", "deflection_mm": 10 + n},
            {"at": "arch/cloth", "strip_length_mm": 490 - 12 * n},
            {"at": "arch/damper", "bounces": n // 3},
            **({"meters": {"vehicles": 6000 * n}} if meters else {}),
        )
        for n in range(rounds)
    ]


def ledger(visits=None, units="si"):
    return ledger_of(
        record() if visits is None else visits,
        machines={"arch": ARCH, "other": OTHER},
        site={"units": units},
    )


def page_of(*args, in_full=False, **rest) -> Page:
    made = ledger(*args, **rest)
    return wear_page(made, wear(made), in_full=in_full)


def last_rows(page: Page):
    """The rows of the table of last readings by the name of the point."""
    (table,) = [
        block
        for block in page.blocks
        if isinstance(block, Table)
        and "Limit reached" in [column.title for column in block.columns]
    ]
    return {
        row[0].text.removeprefix("Arch: "): [plain(cell) for cell in row[1:]] for row in table.rows
    }


def detailed(page: Page):
    """The headings of what is told in full."""
    return [b.text for b in page.blocks if isinstance(b, Heading) and b.level == 3][1:]


def text_of(*args, **rest) -> str:
    return " ".join(terminal.render(page_of(*args, **rest), 4000).split())


def test_what_needs_work_is_named_first():
    bullets = next(block for block in page_of().blocks if isinstance(block, Bullets))

    said = ["".join(getattr(span, "text", span) for span in item) for item in bullets.items]
    assert said == [
        "Worn: replace: Arch: Nozzle 1, read 2026-06-04",
        "Clogged: clean and catch again: Arch: Nozzle 2, read 2026-06-04",
        "Slack: Arch: Belt, read 2026-06-04",
    ]


def test_an_average_that_hides_faults_is_said():
    """120 %, 80 % and 99.8 %."""
    text = text_of()

    assert "On average 100 % of new: the average looks sound and hides" in text
    assert "Nozzle 1 (worn: replace) and Nozzle 2 (clogged: clean and catch again)." in text


def test_every_point_has_one_row_with_verdict_reading_limit_and_when_it_is_reached():
    """At 2 mm a thousand 6000 vehicles a round are 12 mm: 490 mm reach 400 after 7.5 rounds."""
    rows = last_rows(page_of())

    assert list(rows) == ["Nozzle 1", "Nozzle 2", "Nozzle 3", "Chain", "Belt", "Cloth", "Damper"]
    verdict, last, limit, reached, read_on = rows["Chain"]
    assert (verdict, limit, read_on) == (
        marked("within its limit"),
        "at most 1.5 %",
        format_day(on(150)),
    )
    assert re.fullmatch(r"0\.750 ± 0\.0\d\d %", last)
    assert reached.startswith("20")
    verdict, last, limit, reached, _ = rows["Belt"]
    assert (verdict, limit) == (marked("slack"), "8.5–12.5 mm, by the 1/64 rule")
    assert re.fullmatch(r"15\.00 ± 0\.\d\d mm", last)
    assert reached.startswith("passed ")
    verdict, _, limit, reached, _ = rows["Cloth"]
    assert (verdict, limit) == (marked("within its limit"), "at least 400 mm")
    assert reached == f"{on(225):%Y-%m}"
    assert rows["Nozzle 3"][3] == "no trend shows"
    assert rows["Damper"] == [
        marked("good"),
        "1 bounce",
        "at most 1",
        "–",
        format_day(on(150)),
    ]


def test_only_what_is_past_its_limit_or_near_it_is_told_in_full():
    """The cloth, 75 days from its limit, is near; the chain, some 270 days from it, is not."""
    told = detailed(page_of())
    assert told == ["Arch: nozzles", "Arch: Belt", "Arch: Cloth"]
    assert detailed(page_of(in_full=True)) == [*told, "Arch: Chain"]


def test_nothing_near_a_limit_is_told_in_full():
    early = page_of(record(rounds=1))
    assert detailed(early) == []
    assert not any(isinstance(block, Picture) for block in early.blocks)
    assert len(last_rows(early)) == 7


def test_wear_that_gains_pace_is_told_in_full():
    """Ten readings of 1 mm a week, then ten of 4 mm, of a limit that is far off."""
    lengths = [n if n < 10 else 9 + 4 * (n - 9) for n in range(20)]
    strips = [
        visit(7 * n, {"at": "arch/cloth", "strip_length_mm": 900 - lost})
        for n, lost in enumerate(lengths)
    ]

    page = page_of(strips)
    assert detailed(page) == ["Arch: Cloth"]
    assert "Its pace has changed." in " ".join(terminal.render(page, 4000).split())


def test_the_verdict_the_pace_and_the_outlook_stand_with_the_picture():
    text = text_of()
    assert re.search(
        r"Slack: belt deflection 15\.00 ± 0\.\d\d mm, read 2026-06-04; limit 8\.5–12\.5 mm, by the "
        r"1/64 rule\. It rises 1\.0\d* \(0\.\d+ to 1\.\d+\) mm a month\. 12\.5 mm passed about 2026-",
        text,
    )
    assert "mm per thousand vehicles. 400 mm reached about 2026-" in text


def test_a_belt_s_limits_are_shown_as_a_rule_is_read_and_judged_by_their_exact_values():
    """Of 640 mm the limits are 8.33 and 12.5 mm, 0.328 and 0.492 in."""
    belt, in_inches = last_rows(page_of())["Belt"], last_rows(page_of(units="us"))["Belt"]
    assert belt[2] == "8.5–12.5 mm, by the 1/64 rule"
    assert in_inches[2] == "0.33–0.49 in, by the 1/64 rule"
    found = json.loads(json.dumps(item_row(wear(ledger()).by_kind["belt"][0])))
    assert (found["lower_limit"], found["upper_limit"]) == pytest.approx((25 / 3, 12.5))
    assert belt[0] == in_inches[0] == marked("slack")


def test_few_readings_say_not_enough_data():
    assert last_rows(page_of(record(rounds=3)))["Chain"][3] == "too few readings"


def test_every_picture_stands_beside_a_table():
    blocks = page_of(in_full=True).blocks

    pictured = [n for n, block in enumerate(blocks) if isinstance(block, Picture)]
    assert len(pictured) == 4
    for n in pictured:
        assert isinstance(blocks[n + 1], Table)
        assert svg.render(blocks[n].plot).startswith("<svg")


def plots(page):
    return {block.path: block.plot for block in page.blocks if isinstance(block, Picture)}


def test_nozzles_are_drawn_by_verdict_with_shapes_of_their_own():
    plot = plots(page_of())["plots/nozzles-arch.svg"]

    counts = {samples.name: len(samples.points) for samples in plot.samples}
    assert sum(counts.values()) == 18
    assert counts["clogged"] == 1
    assert len({samples.mark for samples in plot.samples}) == len(plot.samples)
    assert Mark.CROSS in {samples.mark for samples in plot.samples}


def test_cloth_is_drawn_by_vehicles_where_they_are_counted():
    by_vehicles = plots(page_of())["plots/wear-strip-length-arch-cloth.svg"]
    by_day = plots(page_of(record(meters=False)))["plots/wear-strip-length-arch-cloth.svg"]

    assert by_vehicles.x.label == "vehicles washed, thousands"
    assert [point.x for point in by_vehicles.samples[0].points] == [0, 6, 12, 18, 24, 30]
    pace = next(curve for curve in by_vehicles.curves if curve.name == "pace")
    (x0, y0), (x1, y1) = pace.corners
    assert math.isclose((y1 - y0) / (x1 - x0), -2)
    assert by_day.x.kind is AxisKind.DAY


def test_new_strips_are_marked_at_the_vehicles_washed_until_then():
    renewed = visit(75, {"changed": "brush-set", "at": "arch"}, time="12:00")

    plot = plots(page_of([*record(), renewed], in_full=True))[
        "plots/wear-strip-length-arch-cloth.svg"
    ]

    (event,) = plot.events
    assert (event.x, event.label) == (15, "new brush set")


def test_what_was_never_measured_is_counted():
    text = text_of()

    assert "3 nozzles never caught: Other arch" in text
    assert "1 damper never checked: Other arch" in text


def test_a_damper_that_bounces_and_one_that_settles():
    assert "Bounces: damper weak: Arch: Damper" in text_of(
        [visit(0, {"at": "arch/damper", "bounces": 2})]
    )
    settles = last_rows(page_of([visit(0, {"at": "arch/damper", "bounces": 1})]))["Damper"]
    assert settles == [marked("good"), "1 bounce", "at most 1", "–", "2026-01-05"]


def test_nothing_worn_says_so():
    assert "No last reading is beyond its limit." in text_of(record(rounds=1))
    assert "No last reading is beyond its limit." in text_of([])


def test_a_nozzle_cleaned_and_caught_again_says_so():
    text = text_of([visit(0, catch(0.5, 1), catch(1.3, 1))])

    assert "1000 mL in 60 s, 300 kPa; caught 2600 mL in 60 s, 300 kPa" in text
    assert "(they do not agree: the last counts)" in text


def test_a_nozzle_that_gives_nothing_has_a_row():
    text = text_of([visit(0, catch(0.0, 1))])

    assert "0 L/min" in text
    assert "clogged: clean and catch again" in text


def test_a_us_site_reads_gallons_and_inches():
    text = text_of(units="us")

    assert re.search(r"0\.6\d+ ± 0\.0\d+ gpm 0\.528 gpm at 44 psi", text)
    assert "15.75 in" in text  # 400 mm


def test_the_page_cautions_and_calls_nothing_safe():
    (caution,) = [block for block in page_of().blocks if isinstance(block, Caution)]

    assert "high-pressure" in str(caution.lines[1])
    assert not re.search(r"\bsafe\b", text_of())


def test_rows_are_json_in_plain_numbers():
    found = wear(ledger())
    group = json.loads(json.dumps(group_row(found.nozzles[0])))
    belt = json.loads(json.dumps(item_row(found.by_kind["belt"][0])))
    damper = json.loads(json.dumps(damper_row(found.dampers[0])))

    assert group["average_hides_a_fault"] is True
    assert group["nozzles"][0]["flow_at_rated_l_min"] == pytest.approx(2.4)
    assert (belt["verdict"], belt["needs_work"]) == ("slack", True)
    assert damper["bounces"] == 1


def test_cloth_is_drawn_by_date_where_the_vehicles_were_read_once():
    strips = [visit(7 * n, {"at": "arch/cloth", "strip_length_mm": 490 - n}) for n in range(6)]
    once = [strips[0] | {"meters": {"vehicles": 0}}, *strips[1:]]
    assert [plot.x.label for plot in plots(page_of(once, in_full=True)).values()] == ["date"]

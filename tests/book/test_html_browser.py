"""The HTML book opened from a file in a real Chromium, on a desk, on a phone and on paper."""

import re
from itertools import pairwise

import pytest

from ledger.book import svg
from ledger.book.blocks import (
    Align,
    Bullets,
    Caution,
    Checklist,
    Code,
    Column,
    Heading,
    Lines,
    Link,
    Page,
    Paragraph,
    Prose,
    Station,
    Table,
    Walk,
    pictures_of,
)
from ledger.book.html_site import render_site
from ledger.files import book_files as files

PAGES = ("index", "due", "setpoints", "speeds", "machines/brush-p2", "tasks/check-brush-speed")
DESK = {"width": 1280, "height": 900}
PHONE = {"width": 360, "height": 740}
AXE_OPTIONS = {"preload": False}
"""axe would fetch the style sheet a second time, which the policy of the page rightly stops."""


@pytest.fixture
def address(book, tmp_path):
    pictures = {one.path: svg.draw(one) for page in book for one in pictures_of(page.blocks)}
    files.write_files(tmp_path, render_site(book, pictures, site_name="Harrow Lane wash"))
    return lambda name: (tmp_path / "html" / f"{name}.html").as_uri()


@pytest.fixture
def open_page(browser):
    """Opens a page; complaints of the browser and requests that leave the disk fail the test."""
    contexts, complaints = [], []

    def opened(url, **options):
        context = browser.new_context(**options)
        contexts.append(context)
        page = context.new_page()
        page.on("console", lambda message: complaints.append(message.text))
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on("requestfailed", lambda request: complaints.append(request.url))
        page.on(
            "request",
            lambda request: (
                complaints.append(request.url)
                if not request.url.startswith(("file:", "data:"))
                else None
            ),
        )
        page.goto(url)
        return page

    yield opened
    for context in contexts:
        context.close()
    assert complaints == []


def test_styles_scripts_and_pictures_load_from_a_file_under_the_policy(open_page, address):
    page = open_page(address("machines/brush-p2"))
    assert page.evaluate("getComputedStyle(document.querySelector('h2')).borderTopWidth") == "2px"
    assert page.evaluate("document.querySelector('img').naturalWidth") > 0
    assert page.is_visible("#find")


@pytest.mark.parametrize(
    ("scheme", "viewport", "names"),
    [
        ("light", DESK, ("index", "setpoints", "machines/brush-p2")),
        ("dark", PHONE, ("index", "due", "machines/brush-p2")),
    ],
    ids=["light desk", "dark phone"],
)
def test_axe_finds_nothing(open_page, address, scheme, viewport, names):
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    for name in names:
        page = open_page(address(name), viewport=viewport, color_scheme=scheme)
        found = axe.run(page, options=AXE_OPTIONS).response["violations"]
        assert [(one["id"], one["nodes"][0]["html"]) for one in found] == [], name


@pytest.mark.parametrize("name", PAGES)
def test_on_a_phone_only_tables_scroll_sideways(open_page, address, name):
    page = open_page(address(name), viewport=PHONE)
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]


def sheet_of_months(tmp_path, columns):
    heads = [Column("Machine"), *(Column(f"2026-{n:02}", Align.RIGHT) for n in range(1, columns))]
    table = Table(heads, [["Wrap", *["100 (104/104)"] * (columns - 1)]] * 3)
    page = Page(path="in-time.md", title="Work done in its window", blocks=(table,))
    site = render_site([page], {}, site_name="Harrow Lane wash")
    files.write_files(tmp_path, site)


def test_a_wide_table_is_slid_with_the_keyboard_and_its_first_column_stays(
    open_page, address, tmp_path
):
    sheet_of_months(tmp_path, 15)
    page = open_page(address("in-time"), viewport=PHONE)
    page.focus(".scroll")
    page.keyboard.press("ArrowRight")
    # The page's policy forbids what wait_for_function evaluates, so ask from outside.
    moved = "document.querySelector('.scroll').scrollLeft"
    for _ in range(100):
        if page.evaluate(moved) > 0:
            break
        page.wait_for_timeout(50)
    assert page.evaluate(moved) > 0
    first = page.locator("td").first.bounding_box()
    assert first["x"] == page.locator(".scroll").bounding_box()["x"]


@pytest.mark.parametrize("viewport", [PHONE, DESK], ids=["phone", "desk"])
def test_a_few_pages_stand_at_the_head_and_all_are_folded_behind_them(open_page, address, viewport):
    page = open_page(address("due"), viewport=viewport, java_script_enabled=False)
    link = page.get_by_role("link", name="Shaft speeds")
    assert page.get_by_role("link", name="Speeds", exact=True).is_visible()
    assert not link.is_visible()
    assert page.locator("h1").bounding_box()["y"] < viewport["height"] / 5
    page.locator(".menu summary").press("Enter")
    assert link.is_visible()
    assert page.locator("#find").count() == 1


@pytest.mark.parametrize(
    ("options", "least", "most"),
    [({"viewport": DESK}, 24, 36), ({"viewport": DESK, "has_touch": True, "is_mobile": True}, 44, 50)],
    ids=["mouse", "thumb"],
)  # fmt: skip
def test_the_menu_is_close_for_a_mouse_and_tall_for_a_thumb(
    open_page, address, options, least, most
):
    """24 px is the least by WCAG 2.2 SC 2.5.8, 44 px the better by SC 2.5.5."""
    page = open_page(address("due"), **options)
    heights = [link.bounding_box()["height"] for link in page.locator("nav .main a").all()]
    assert heights
    assert all(least <= height <= most for height in heights)


def test_an_unbroken_word_widens_no_page(open_page, tmp_path):
    word = "x" * 200
    blocks = [
        Heading(2, word),
        Paragraph((word, Code(word))),
        Bullets([word]),
        Caution([word]),
        Checklist([word, Lines(word, [word])]),
        Walk(
            claim=word,
            exceptions=[Lines(word, brief=word)],
            stations=[Station("1", Link(word, "due.md"), [Lines(word)])],
        ),
        Prose(f"> {word}\n\n```\n{word}\n```"),
        Table((Column("A"), Column("B")), [(word, word)]),
        Table([Column(name) for name in "ABCD"], [[word] * 4]),
    ]
    page = Page(path="due.md", title=word, blocks=blocks)
    site = render_site([page], {}, site_name=word)
    files.write_files(tmp_path, site)
    opened = open_page((tmp_path / "html" / "due.html").as_uri(), viewport=PHONE)
    assert opened.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]


def test_a_link_to_an_older_month_of_a_history_opens_it(open_page, tmp_path):
    months = [f"2026-{month:02}" for month in range(11, 5, -1)]
    parts = [(Heading(3, month), Paragraph(f"Work of {month}.")) for month in months]
    blocks = [
        Heading(2, "History", newest_first=True),
        *(block for part in parts for block in part),
    ]
    page = Page(path="machines/a.md", title="Wrap", blocks=blocks)
    site = render_site([page], {}, site_name="Harrow Lane wash")
    files.write_files(tmp_path, site)
    address = (tmp_path / "html" / "machines" / "a.html").as_uri()
    assert not open_page(address).get_by_text("Work of 2026-07.").is_visible()
    linked = open_page(f"{address}#2026-07")
    assert linked.get_by_text("Work of 2026-07.").is_visible()


@pytest.mark.parametrize("name", ["setpoints", "machines/brush-p2"])
def test_on_a_phone_no_cell_of_a_table_lies_outside_the_screen(open_page, address, name):
    page = open_page(address(name), viewport=PHONE)
    boxes = [cell.bounding_box() for cell in page.locator(".stack td:visible").all()]
    assert boxes
    assert all(box["x"] >= 0 and box["x"] + box["width"] <= PHONE["width"] for box in boxes)


def test_a_card_is_still_a_row_of_a_table_to_a_screen_reader(open_page, address):
    page = open_page(address("setpoints"), viewport=PHONE)
    seen = page.locator(".stack").first.aria_snapshot()
    assert "- table" in seen
    assert '- columnheader "Setting"' in seen
    assert '- cell "T. Varrick"' in seen


def test_the_search_finds_machines_by_name_id_and_point(open_page, address):
    page = open_page(address("machines/conveyor"))
    for typed, first in (
        ("lower driver", "Lower side brush, driver"),
        ("brush-p1", "Upper side brush, passenger"),
        ("crank", "Cloth curtain, front"),
    ):
        page.fill("#find", typed)
        assert page.locator("#hits a").first.inner_text() == first
    page.fill("#find", "<b>zzz")
    assert page.inner_text("#found") == "Nothing has these words."
    assert page.locator("#hits a").count() == 0


def test_the_search_is_worked_with_the_keyboard_alone(open_page, address):
    page = open_page(address("due"))
    page.focus("#find")
    page.keyboard.type("side brush")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowDown")
    assert page.evaluate("document.activeElement.textContent") == "Lower side brush, passenger"
    page.keyboard.press("Escape")
    assert page.evaluate("document.activeElement.id") == "find"
    assert page.locator("#hits a").count() == 0
    page.keyboard.type("blower")
    page.keyboard.press("Enter")
    page.wait_for_url("**/machines/blower-1.html")


def test_the_first_tab_stop_skips_to_the_page(open_page, address):
    page = open_page(address("due"))
    page.keyboard.press("Tab")
    assert page.inner_text(":focus") == "Skip to the page"
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "content"


def test_a_box_is_ticked_by_its_words(open_page, address):
    page = open_page(address("due"))
    page.get_by_text("count 44 Hz").first.click()
    assert page.locator("input:checked").count() == 1


@pytest.mark.parametrize(("paper", "width_pt"), [("A4", 595.3), ("Letter", 612)])
@pytest.mark.parametrize(("name", "most"), [("due", 2), ("machines/brush-p2", 2)])
def test_sheets_print_on_few_pages_of_the_right_size(
    open_page, address, paper, width_pt, name, most
):
    pdf = open_page(address(name)).pdf(format=paper)
    boxes = re.findall(rb"/MediaBox \[0 0 ([\d.]+) [\d.]+\]", pdf)
    assert 1 <= len(boxes) <= most
    assert all(float(width) == pytest.approx(width_pt, abs=1) for width in boxes)


@pytest.mark.parametrize("name", ["due", "machines/brush-p2", "setpoints"])
def test_on_paper_nothing_is_cut_off_and_no_controls_are_left(open_page, address, name):
    # 184 mm at 96 dots an inch: A4 less its margins.
    page = open_page(address(name), viewport={"width": 695, "height": 1000}, color_scheme="dark")
    page.emulate_media(media="print")
    assert page.evaluate("document.documentElement.scrollWidth") <= 695
    assert not page.is_visible("nav")
    assert not page.is_visible("#find")
    assert page.evaluate("getComputedStyle(document.body).color") == "rgb(0, 0, 0)"
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"


def test_on_paper_the_walk_runs_in_two_columns_with_boxes_of_4_mm_for_a_pen(open_page, address):
    page = open_page(address("due"), viewport={"width": 695, "height": 1000})
    page.emulate_media(media="print")
    assert page.evaluate("getComputedStyle(document.querySelector('.pass')).columnCount") == "2"
    assert page.get_by_text("At: 1 Conveyor; 20 Blower 1").is_visible(), "what is folded is printed"
    boxes = [box.bounding_box() for box in page.locator(".pass input").all()]
    at_96_dots_an_inch = 4 / 25.4 * 96
    assert all(min(box["width"], box["height"]) >= at_96_dots_an_inch - 0.1 for box in boxes)
    down = sorted((round(box["x"]), box["y"], box["y"] + box["height"]) for box in boxes)
    assert all(
        x != next_x or next_top > bottom for (x, _, bottom), (next_x, next_top, _) in pairwise(down)
    ), "no two boxes touch"


def test_a_sheet_of_many_columns_is_printed_on_its_side(open_page, address, tmp_path):
    sheet_of_months(tmp_path, 15)
    pdf = open_page(address("in-time")).pdf(format="A4")
    boxes = re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", pdf)
    assert any(float(width) > float(height) for width, height in boxes)

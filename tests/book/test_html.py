"""The book as a static site, read as text; test_html_browser.py reads it in a real browser."""

import json
import posixpath
import re
from html.parser import HTMLParser

import pytest

from ledger.book import svg
from ledger.book.blocks import (
    VERDICT,
    Axis,
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
    Picture,
    Plot,
    Prose,
    SmallPlots,
    Station,
    Strong,
    Table,
    Text,
    Walk,
    beneath,
    pictures_of,
    right,
)
from ledger.book.html import body, html_address
from ledger.book.html_site import POLICY, render_site
from ledger.files.book_files import has_marker


def site_of(pages, **more):
    pictures = {one.path: svg.draw(one) for page in pages for one in pictures_of(page.blocks)}
    return render_site(pages, pictures, site_name="Harrow Lane wash", **more)


def shown(*blocks, path="due.md"):
    page = Page(path=path, title="Due work", blocks=blocks)
    return body(page, {}).split("</h1>\n", 1)[1]


class Tags(HTMLParser):
    """Every opening tag with its attributes."""

    def __init__(self, text):
        super().__init__()
        self.found = []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.found.append((tag, dict(attrs)))


@pytest.fixture
def site(book):
    return site_of(book, extra_links=(("Walk", "round.html"),))


@pytest.fixture
def html_pages(site):
    return {path: text for path, text in site.items() if path.endswith(".html")}


def test_a_page_is_as_reviewed(site, golden):
    golden("brush-p2.html", site["html/machines/brush-p2.html"])


def test_every_page_picture_and_asset_is_there(book, site):
    assert set(site) == {
        "html/book.css",
        "html/book.js",
        "html/index.js",
        "html/plots/speed-brush-p2.svg",
        "html/plots/2026/small-brush-p2.svg",
        *(f"html/{html_address(page.path)}" for page in book),
    }
    assert "html/index.html" in site
    assert all(has_marker(text) for text in site.values())


def test_every_page_has_language_policy_title_one_heading_and_landmarks(html_pages):
    for text in html_pages.values():
        tags = Tags(text).found
        names = [name for name, _ in tags]
        assert ("html", {"lang": "en"}) in tags
        assert ("meta", {"http-equiv": "Content-Security-Policy", "content": POLICY}) in tags
        assert names.count("h1") == names.count("main") == names.count("nav") == 1
        assert ("a", {"class": "skip", "href": "#content"}) in tags


def test_nothing_that_the_policy_would_block_and_nothing_from_elsewhere(site):
    for path, text in site.items():
        assert not re.search(r"https?://(?!www\.w3\.org/2000/svg)", text), path
        if path.endswith(".html"):
            for name, attributes in Tags(text).found:
                assert name not in {"style", "iframe", "object", "base"}
                assert not [key for key in attributes if key == "style" or key.startswith("on")]
                assert name != "script" or "src" in attributes


def test_every_link_leads_to_a_page_and_a_heading_of_the_site(html_pages, site):
    ids = {
        path: {a["id"] for _, a in Tags(text).found if "id" in a}
        for path, text in html_pages.items()
    }
    for path, text in html_pages.items():
        for name, attributes in Tags(text).found:
            address = attributes.get("href") or attributes.get("src")
            if address is None or (name == "link" and address == "data:,"):
                continue
            target, _, anchor = address.partition("#")
            target = (
                posixpath.normpath(posixpath.join(posixpath.dirname(path), target))
                if target
                else path
            )
            assert target in site or target == "html/round.html", (path, address)
            assert not anchor or anchor in ids[target], (path, address)


def test_the_page_that_is_open_is_marked_in_the_navigation(html_pages):
    marked = {
        path: [a["href"] for _, a in Tags(text).found if "aria-current" in a]
        for path, text in html_pages.items()
    }
    assert marked["html/due.html"] == ["due.html"] * 2, "at the head and among all"
    assert marked["html/machines/conveyor.html"] == []


def test_typed_words_never_become_markup():
    evil = '<script>alert(1)</script>" onload="x'
    page = Page(
        path="machines/a.md",
        title=evil,
        blocks=[Heading(2, evil), Paragraph(evil), Prose(evil), Table((Column(evil),), [(evil,)])],
    )
    site = render_site([page], {}, site_name=evil)
    tags = Tags(site["html/machines/a.html"]).found
    assert [a for name, a in tags if name == "script"] == [
        {"src": "../index.js", "defer": None},
        {"src": "../book.js", "defer": None},
    ]
    assert not [a for _, a in tags if "onload" in a]


def test_the_search_index_is_plain_json_and_knows_points(site):
    script = site["html/index.js"]
    found = json.loads(script.split("const things = ", 1)[1].removesuffix(";\n"))
    (brush,) = (entry for entry in found if entry["page"] == "machines/brush-p2.html")
    assert brush["title"] == "Lower side brush, passenger"
    assert (brush["kind"], brush["words"].split()[0]) == ("machine", "brush-p2")
    assert {"12,", "passenger"} <= set(brush["words"].split())
    assert {(entry["kind"], entry["title"]) for entry in found} >= {
        ("page", "Due work"),
        ("task", "Check the brush speed"),
    }


def test_the_rows_of_a_table_of_named_things_are_found_one_by_one():
    table = Table(
        (Column("Part"), Column("Place")), [("Grease", "Shelf 2")], names=("part", "Part")
    )
    pages = [Page(path="parts.md", title="Parts", blocks=[table])]
    script = site_of(pages)["html/index.js"]
    assert '{"title": "Grease", "page": "parts.html", "kind": "part", "words": "grease shelf 2"}' in script  # fmt: skip


def test_boxes_to_tick_are_real_and_escaped_ones_are_not():
    assert shown(Checklist(("grease",))) == (
        '<ul class="ticks">\n<li><label><input type="checkbox"><span>grease</span></label></li>\n</ul>\n'
    )
    assert "<input" not in shown(Bullets(("[ ] typed",)), Prose("- [ ] typed"))


def test_lines_beneath_a_box_have_their_place():
    assert shown(Checklist((Lines("Grease", ["At: Wrap; Top brush"]),))) == (
        '<ul class="ticks">\n<li><label><input type="checkbox"><span>Grease'
        '<span class="beneath">At: Wrap; Top brush</span></span></label></li>\n</ul>\n'
    )


def test_a_walk_shows_a_word_or_two_beside_each_box_and_folds_the_rest():
    """Of each item what is brief shows, and what it leaves out is folded below."""
    text = shown(
        Walk(
            claim="Round",
            exceptions=[Lines("Look <b>", ["At: 1 Wrap"], brief="At 1")],
            alone=[Lines("Stops", ["At: 2 Eye"], brief="At 2")],
            stations=[Station("1", Link("Wrap", "machines/w.md"), [Lines("Grease: top", brief="grease")])],
        )
    )  # fmt: skip
    on_top, folded = text.split('<details class="in-full">')
    assert on_top.count('<input type="checkbox"') == 4
    assert '<label class="claim"><input type="checkbox"><span>Round</span></label>' in on_top
    assert 'aria-label="Not in order: Look &lt;b&gt;"' in on_top
    assert 'aria-label="1 Wrap: Grease: top"><span>grease</span>' in on_top
    assert all(said in on_top for said in ("At 1", "At 2"))
    assert not any(said in on_top for said in ("At: 1 Wrap", "At: 2 Eye"))
    assert all(said in folded for said in ("At: 1 Wrap", "At: 2 Eye", "Grease: top"))


def test_a_column_of_lesser_weight_stands_beneath_the_one_before_it():
    columns = (Column("Task"), beneath("Where"), beneath("By"), right("Places"))
    text = shown(Table(columns, [("Grease", "Wrap", "–", "2")]))
    assert '<th scope="col">Task<span class="beneath">Where · By</span></th>' in text
    assert '<td>Grease<span class="beneath">Wrap</span></td>\n<td class="number">2</td>' in text


def test_parts_that_may_stand_beside_each_other_are_kept_whole():
    text = shown(
        Heading(2, "Last", in_columns=True), Heading(3, "A"), Paragraph("a"), Heading(3, "B"),
        Heading(2, "Next"),
    )  # fmt: skip
    assert '<div class="parts">\n<div>\n<h3 id="a">A</h3>\n<p>a</p>\n</div>\n<div>\n<h3 id="b">B</h3>\n</div>\n</div>\n<h2' in text  # fmt: skip


def test_small_plots_share_one_row_of_months():
    plot = Plot(title="t", summary="Falls.", x=Axis(label="x"), y=Axis(label="y"))
    text = shown(SmallPlots(2026, [(Lines("Wrap"), Picture("a.svg", plot, is_small=True))] * 2))
    assert text.count("<i>J</i>") == 3
    assert text.count('<li><span>Wrap</span><img src="a.svg" alt="Falls."></li>') == 2


def test_a_caution_is_set_apart_and_a_quote_is_not():
    assert shown(Caution(["Hot.", "Wait."])) == (
        '<div class="caution" role="note">\n<p><strong>Caution.</strong> Hot.</p>\n<p>Wait.</p>\n</div>\n'
    )
    assert "<blockquote>" in (text := shown(Prose("> **Caution.** Hot.")))
    assert 'role="note"' not in text


def test_tables_scroll_alone_are_named_and_keep_their_sides():
    text = shown(
        Heading(2, "Drives & limits"),
        Table(
            (Column("A"), right("Hz"), Column("B")), [("a", "44.5", "words that need more room")]
        ),
    )
    assert 'role="region" tabindex="0" aria-label="Table 1: Drives &amp; limits"' in text
    assert '<th class="number" scope="col">Hz</th>' in text
    assert '<td>a</td>\n<td class="number">44.5</td>\n<td class="words">words' in text


def test_words_links_and_code_stand_side_by_side():
    text = shown(
        Paragraph(("See ", Link("a & b", "machines/a.md#x"), " of ", Code("a|`b`"), Strong("!"))),
        Paragraph((Text("76.0"), " ± 2.2", Strong("a"), Strong("b"), "\u202e")),
        Paragraph(""),
        Bullets([]),
        path="tasks/b.md",
    )
    assert text == (
        '<p>See <a href="../machines/a.html#x">a &amp; b</a> of <code>a|`b`</code>'
        "<strong>!</strong></p>\n"
        '<p><span class="whole">76.0 ± 2.2</span><strong>ab</strong>⟨202E⟩</p>\n'
    )


def test_prose_goes_below_its_heading_and_nothing_in_it_acts():
    text = shown(Heading(3, "Steps"), Prose("# Steps\n\n&#x202e;[a](x.md) ![b](c.png) | 13 min"))
    assert text == (
        '<h3 id="steps">Steps</h3>\n<h4 id="steps-1">Steps</h4>\n<p>⟨202E⟩<a href="x.html">a</a> '
        '<a href="c.png">b</a> | <span class="whole">13 min</span></p>\n'
    )


def test_a_page_begins_with_its_title_and_day():
    page = Page(path="due.md", title="Due <work>", blocks=(), as_of="As of 2026-11-25.")
    assert body(page, {}) == (
        '<h1 id="due-work">Due &lt;work&gt;</h1>\n'
        '<p>As of <span class="whole">2026-11-25</span>.</p>\n'
    )


def test_days_uncertain_values_and_minutes_stay_on_one_line():
    text = shown(
        Paragraph("76.0 ± 2.2 r/min on 2026-11-25, entry 2026-11-23T0640-m-osterby#2 (13 min)"),
        Paragraph("2 h 05 min in all, 75 r/min and 3 minutes"),
    )
    whole = re.findall('<span class="whole">(.*?)</span>', text)
    assert whole == ["76.0 ± 2.2", "2026-11-25", "13 min", "2 h 05 min"]


def test_a_picture_has_its_size_its_words_and_a_link_to_itself(site):
    text = site["html/machines/brush-p2.html"]
    size = re.search(r'viewBox="0 0 (\S+) (\S+)"', site["html/plots/speed-brush-p2.svg"])
    image = next(a for name, a in Tags(text).found if name == "img")
    assert (image["width"], image["height"]) == size.groups()
    assert image["alt"].startswith("49 readings")
    assert f'<figure><a href="{image["src"]}"><img' in text


@pytest.mark.parametrize(
    ("markdown_address", "expected"),
    [
        ("README.md", "index.html"),
        ("../README.md#today", "../index.html#today"),
        ("due.md#the-walk", "due.html#the-walk"),
        ("#points", "#points"),
        ("plots/a.svg", "plots/a.svg"),
        ("https://maker.example/README.md", "https://maker.example/README.md"),
    ],
)
def test_addresses(markdown_address, expected):
    assert html_address(markdown_address) == expected


def test_links_to_elsewhere_tell_nobody_where_they_stood():
    assert shown(Paragraph(Link("maker", "https://maker.example/"))) == (
        '<p><a href="https://maker.example/" rel="noreferrer">maker</a></p>\n'
    )


@pytest.mark.parametrize(
    ("columns", "classes"),
    [(10, "scroll stack"), (11, "scroll wide")],
    ids=["upright", "on its side"],
)
def test_a_table_too_wide_for_an_upright_sheet_is_printed_on_its_side(columns, classes):
    heads = [right(f"2026-{n:02}") for n in range(columns)]
    text = shown(Table(heads, [["–"] * columns]))
    assert f'<div class="{classes}" role' in text
    assert (', slides sideways"' in text) is (columns == 11)


@pytest.mark.parametrize(
    ("heads", "row", "stacks"),
    [
        (("Date", "Read", "Verdict"), ("2026-11-18", "38", "in band"), False),
        (
            ("Date", "Read", "r/min ± U", "Verdict"),
            ("2026-11-18", "38 passes in 30 s, by a mark", "76.0 ± 1.7", "in band"),
            False,
        ),
        (
            ("Date", "Read", "r/min ± U", "Verdict", "Band"),
            ("2026-11-18", "38 passes in 30 s, by a mark", "76.0 ± 1.7", "in band", "74–86"),
            True,
        ),
        (
            ("Machines", "Before"),
            ("Soak arch; Pump stand 1; Reclaim", "Clean all strainers"),
            False,
        ),
        ([f"2026-{n:02}" for n in range(1, 12)], ["100 (104/104)"] * 11, False),
    ],
    ids=[
        "fits a phone",
        "four columns fold",
        "too wide for a phone",
        "two columns fold",
        "too many for a card",
    ],
)
def test_rows_that_a_phone_cannot_show_side_by_side_become_cards(heads, row, stacks):
    text = shown(Table([Column(head) for head in heads], [row]))
    assert ('class="scroll stack"' in text) is stacks
    assert (f'data-head="{heads[1]}"' in text) is stacks


def test_a_card_leaves_out_what_is_empty_and_knows_its_verdict():
    text = shown(
        Table(
            [Column("Where"), Column("Read"), Column("New"), Column("Outlook"), VERDICT],
            [("Side brush P2, passenger: nozzle 1", "0.52 gpm at 40 psi", "0.5", "–", "worn")],
        )
    )
    assert '<td class="none" data-head="Outlook">–</td>' in text
    assert '<td class="verdict" data-head="Verdict">worn</td>' in text


def day_table(days, *, newest_first=True):
    table = Table([Column("Date"), right("r/min")], [(d, "75") for d in days], newest_first)
    return shown(Heading(2, "Wrap"), table)


def test_of_a_long_table_of_days_the_newest_rows_show_and_the_older_are_folded():
    days = [f"2026-11-{30 - n}" for n in range(12)]
    newest, older = day_table(days).split("<details")
    assert re.findall(r"2026-11-\d\d", newest) == days[:6]
    assert "<summary>6 earlier, back to 2026-11-19</summary>" in older
    assert re.findall(r"2026-11-\d\d", older.split("</summary>")[1]) == days[6:]
    assert 'aria-label="Table 1: Wrap, earlier"' in older
    assert older.count('<th scope="col">Date</th>') == 1


@pytest.mark.parametrize(
    ("rows", "newest_first"), [(11, True), (20, False)], ids=["short", "mixed"]
)
def test_other_tables_stay_whole(rows, newest_first):
    days = [f"2026-11-{30 - n}" for n in range(rows)]
    assert "<details" not in day_table(days, newest_first=newest_first)


def test_of_a_history_the_newest_parts_show_and_the_older_are_folded():
    parts = [(Heading(3, f"2026-{11 - n}"), Paragraph(f"Work {n}.")) for n in range(4)]
    text = shown(
        Heading(2, "History", newest_first=True),
        *(block for part in parts for block in part),
        Heading(2, "Next"),
        Heading(3, "Whole"),
    )
    newest, older = text.split('<details class="earlier">\n<summary>')
    assert "Work 0" in newest
    assert older.startswith('Earlier, from 2026-10 back</summary>\n<h3 id="2026-10">2026-10</h3>')
    assert all(f"Work {n}." in older for n in (1, 2, 3))
    assert older.endswith('</details>\n<h2 id="next">Next</h2>\n<h3 id="whole">Whole</h3>\n')

"""Pages as Markdown: whatever people typed, the page keeps its shape and shows their words."""

import pytest
from campaign import examples
from hypothesis import example, given, settings
from hypothesis import strategies as st
from markdown_it import MarkdownIt
from markdown_it.tree import SyntaxTreeNode

from ledger.book.blocks import (
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
    right,
)
from ledger.book.escape import visible
from ledger.book.markdown import render
from ledger.files.book_files import MARKER, has_marker, version_in

HOST = MarkdownIt("commonmark", {"html": True}).enable(["table", "strikethrough"])
"""As a host reads it: raw HTML, tables and strike-through on."""

NASTY = st.text("ab1 \n\t|\\`*_[](){}<>!#&;:~^=+-.'\"/@é±\x07\u202e", max_size=24)
SPAN = st.one_of(
    NASTY,
    NASTY.map(Text),
    NASTY.map(Strong),
    NASTY.map(Code),
    st.builds(Link, NASTY, st.sampled_from(["due.md", "machines/brush-p2.md", "due.md#the-walk"])),
)
SPANS = st.one_of(SPAN, st.lists(SPAN, max_size=4).map(tuple))


PLOT = Plot(title="t", summary="Falls [to] 75.", x=Axis(label="x"), y=Axis(label="y"))


def page_of(*blocks, path="due.md", as_of=""):
    return Page(path=path, title="Due work", blocks=blocks, as_of=as_of)


def written(*blocks, path="due.md"):
    """What stands below the marker and the title."""
    head = f"<!-- {MARKER} -->\n\n# Due work\n\n"
    text = render(page_of(*blocks, path=path))
    assert text.startswith(head)
    return text.removeprefix(head).removesuffix("\n")


def parsed(text):
    return SyntaxTreeNode(HOST.parse(text))


def words_of(node):
    if node.type in ("text", "code_inline", "fence", "code_block", "image"):
        return node.content
    if node.type in ("softbreak", "hardbreak"):
        return " "
    return "".join(map(words_of, node.children))


def same_words(shown, typed):
    return "".join(shown.split()) == "".join(visible(typed).split())


def typed_words(spans):
    if isinstance(spans, tuple):
        return "".join(map(typed_words, spans))
    if isinstance(spans, Link):
        return spans.text if spans.text.strip() else spans.to
    return spans if isinstance(spans, str) else spans.text


@pytest.mark.parametrize(
    "path",
    ["README.md", "due.md", "setpoints.md", "machines/brush-p2.md", "tasks/check-brush-speed.md"],
)
def test_a_page_is_as_reviewed(book, golden, path):
    (page,) = (page for page in book if page.path == path)
    golden(path.replace("/", "-"), render(page))


def test_marker_title_and_day_come_first():
    text = render(page_of(as_of="As of 2026-11-25 (Wednesday)."))
    assert text == f"<!-- {MARKER} -->\n\n# Due work\n\nAs of 2026-11-25 (Wednesday).\n"


@pytest.mark.parametrize(
    ("block", "expected"),
    [
        (Heading(3, "12 · Brush #"), "### 12 · Brush \\#"),
        (Paragraph("1. not a list"), "1\\. not a list"),
        (Paragraph("# not a heading"), "\\# not a heading"),
        (Paragraph("- not a list"), "\\- not a list"),
        (Paragraph("> not a quote"), "\\> not a quote"),
        (Paragraph("---"), "\\---"),
        (Paragraph(("Stop!", Link("due", "due.md"))), "Stop\\![due](due.md)"),
        (Paragraph(("a", Strong("(b)"), "c")), "&#97;**(b)**&#99;"),
        (Paragraph(("a ", Strong(" b "), "c")), "a  **b** c"),
        (Paragraph(("a ", Strong("b"), Strong("c"))), "a **bc**"),
        (Paragraph(Code("a`b")), "``a`b``"),
        (Paragraph(Code("`a`")), "`` `a` ``"),
        (Bullets(("a", ("b ", Strong("c")))), "- a\n- b **c**"),
        (Bullets(("[ ] no box",)), "- \\[ \\] no box"),
        (Checklist(("grease\nit",)), "- [ ] grease it"),
        (
            Checklist((Lines("grease", ("- hot", "", "# at")),)),
            "- [ ] grease\\\n  \\- hot\\\n  \\# at",
        ),
        (Checklist((Lines("", ("hot\\",)),)), "- [ ] hot\\\\"),
        (
            Walk(
                claim="Round",
                exceptions=[Lines("look", ["At: *"], brief="At 1")],
                alone=[Lines("stops")],
                stations=[Station("10", Link("Wrap", "machines/w.md"), [Lines("oil", brief="o")])],
            ),
            (
                "- [ ] Round\n  - [ ] look\\\n    At: \\*\n- [ ] stops\n"
                "- **10** [Wrap](machines/w.md)\n  - [ ] oil"
            ),
        ),
        (
            SmallPlots(
                2026, [(Lines("Wrap", ["in | band"]), Picture("plots/a.svg", PLOT, is_small=True))]
            ),
            "|  | 2026 |\n| --- | --- |\n| Wrap · in \\| band | ![Falls \\[to\\] 75.](plots/a.svg) |",
        ),
        (Caution(("Lock out.", "1. Wait.")), "> **Caution.** Lock out.\n>\n> 1\\. Wait."),
        (
            Picture("plots/a.svg", PLOT),
            "![Falls \\[to\\] 75.](plots/a.svg)",
        ),
    ],
)
def test_blocks(block, expected):
    assert written(block) == expected


@pytest.mark.parametrize(
    ("path", "to", "expected"),
    [
        ("due.md", "setpoints.md", "setpoints.md"),
        ("due.md", "machines/a.md#points", "machines/a.md#points"),
        ("machines/a.md", "setpoints.md", "../setpoints.md"),
        ("machines/a.md", "machines/b.md", "b.md"),
        ("machines/a.md", "machines/a.md#points", "#points"),
        ("due.md", "#the-walk", "#the-walk"),
        ("due.md", "parts/a (b).md", "parts/a%20%28b%29.md"),
        ("due.md", "https://wash.example/m?a=1#b", "https://wash.example/m?a=1#b"),
    ],
)
def test_links_start_from_the_pages_own_folder(path, to, expected):
    assert written(Paragraph(Link("x", to)), path=path) == f"[x]({expected})"


def test_a_table_has_one_row_a_line_and_no_padding():
    table = Table((Column("Drive"), right("Hz")), [("brush-p2", "44.5"), ("a | b", Code("c|d"))])
    assert (
        written(table)
        == "| Drive | Hz |\n| --- | ---: |\n| brush-p2 | 44.5 |\n| a \\| b | `c\\|d` |"
    )


def test_one_more_row_is_one_more_line():
    rows = [("a", "1"), ("a much longer cell than the others", "2")]
    before = written(Table((Column("A"), Column("B")), rows[:1])).splitlines()
    after = written(Table((Column("A"), Column("B")), rows)).splitlines()
    assert after[:-1] == before


@given(st.lists(st.tuples(SPANS, SPANS), min_size=1, max_size=3))
def test_a_table_keeps_its_cells_and_shows_their_words(rows):
    text = render(page_of(Table((Column("A"), right("B")), rows), Paragraph("after")))
    _, _, table, after = parsed(text).children
    assert (table.type, after.type) == ("table", "paragraph")
    cells = [[words_of(cell) for cell in row.children] for row in table.children[1].children]
    assert len(cells) == len(rows)
    for shown, typed in zip(cells, rows, strict=True):
        assert all(same_words(a, typed_words(b)) for a, b in zip(shown, typed, strict=True))


@given(st.lists(SPANS, min_size=1, max_size=3))
def test_lists_and_paragraphs_keep_their_shape_and_show_their_words(lines):
    lines = [("x", line) for line in lines]
    flat = [(first, *(rest if isinstance(rest, tuple) else (rest,))) for first, rest in lines]
    text = render(page_of(Bullets(flat), Paragraph(flat[0]), Caution(flat), Paragraph("end")))
    kinds = [node.type for node in parsed(text).children]
    assert kinds == ["html_block", "heading", "bullet_list", "paragraph", "blockquote", "paragraph"]
    items = parsed(text).children[2].children
    assert all(
        same_words(words_of(item), typed_words(line))
        for item, line in zip(items, flat, strict=True)
    )


@given(SPANS)
@example(Code("1``"))
@example(Code("``"))
@example("```\nx")
def test_a_paragraph_is_a_paragraph_however_it_begins(spans):
    nodes = parsed(render(page_of(Paragraph(spans), Heading(2, "next")))).children[2:-1]
    typed = typed_words(spans)
    assert [node.type for node in nodes] == (["paragraph"] if typed.strip() else [])
    assert same_words("".join(map(words_of, nodes)), typed)


@given(st.lists(SPAN, min_size=1, max_size=4).map(tuple))
@example(("\\!", Link("", "due.md")))
def test_bold_words_and_links_stay_what_they_are(spans):
    tree = parsed(render(page_of(Paragraph(("x ", *spans)))))
    links = [node for node in tree.walk() if node.type == "link"]
    assert len(links) == sum(isinstance(span, Link) for span in spans)
    bold = "".join(words_of(node) for node in tree.walk() if node.type == "strong")
    assert same_words(bold, "".join(span.text for span in spans if isinstance(span, Strong)))
    assert not any(node.type in ("image", "html_inline", "em", "s") for node in tree.walk())


def test_two_lists_in_a_row_stay_two():
    tree = parsed(render(page_of(Bullets(("a",)), Checklist(("b",)), Bullets(("c",)))))
    assert [node.type for node in tree.children[2:]] == ["bullet_list"] * 3


@pytest.mark.parametrize(
    ("typed", "expected"),
    [
        ("Wipe it.\nThree strokes.", "Wipe it.\nThree strokes."),
        ("# Arm\n\n### Level", "### Arm\n\n#### Level"),
        ("Arm\n===\n", "### Arm"),
        ("```\nnever closed", "```\nnever closed\n```"),
        ("    indented", "```\nindented\n```"),
        ("<b>bold</b> & <!-- hidden", "\\<b>bold\\</b> & \\<!-- hidden"),
        ("a | b\n--- | ---\nc | d", "a \\| b\n--- \\| ---\nc \\| d"),
        (
            "see [the manual][m]\n\n[m]: https://maker.example/m",
            "see [the manual](<https://maker.example/m>)",
        ),
        ("![arm](https://maker.example/a.png)", "[arm](<https://maker.example/a.png>)"),
        ("[x](javascript:alert)", "\\[x\\](javascript:alert)"),
        ("- a\n- b\n* c", "* a\n* b\n\n+ c"),
        ("2. a\n3. b\n   - c", "2. a\n3. b\n   * c"),
        ("- a\n\n- b", "* a\n\n* b"),
        ("> a\n\n***", "> a\n\n___"),
        ("a  \nb", "a\\\nb"),
        ("- [ ] no box", "* \\[ \\] no box"),
        ("*a* __b__ ***c*** `d|e`", "*a* __b__ ***c*** `d|e`"),
        ("", ""),
        ("[m]: https://maker.example/m", ""),
    ],
)
def test_prose_is_written_anew_below_the_pages_headings(typed, expected):
    shown = written(Heading(2, "Notes"), Prose(typed)).removeprefix("## Notes").lstrip("\n")
    assert shown == expected


@pytest.mark.parametrize(
    "typed",
    [
        "![arm](https://maker.example/a.png)",
        '![arm](<https://maker.example/a.png> "the arm")',
        "![arm](//maker.example/a.png)",
        "![arm](data:image/png;base64,AAAA)",
        "![arm][a]\n\n[a]: https://maker.example/a.png",
        "![arm][]\n\n[arm]: https://maker.example/a.png",
        "![arm]\n\n[arm]: https://maker.example/a.png",
        "![](https://maker.example/a.png)",
        "![![arm](https://maker.example/b.png)](https://maker.example/a.png)",
        "[![arm](https://maker.example/a.png)](https://maker.example/)",
        "# ![arm](https://maker.example/a.png)",
        "> 1. **![arm](https://maker.example/a.png)**",
        "!\\![arm](https://maker.example/a.png)",
        "&#33;[arm](https://maker.example/a.png)",
        "!**[arm](https://maker.example/a.png)**",
        "!<https://maker.example/a.png>",
        '<img alt="arm" src="https://maker.example/a.png">',
        '<picture><source srcset="https://maker.example/a.png"></picture>',
        '<div\nstyle="background: url(https://maker.example/a.png)">\n\narm',
        "```mermaid\nA@{ img: 'https://maker.example/a.png' }\n```",
    ],
)
def test_no_prose_makes_a_page_load_from_elsewhere(typed):
    """A picture is a link with its words; what a host would draw by itself is shown as typed."""
    page = page_of(Heading(2, "Notes"), Prose(typed), Table((Column("A"),), [(typed,)]))
    tree = parsed(render(page).replace("<!-- Rendered", "Rendered"))
    assert not [n.type for n in tree.walk() if n.type in ("image", "html_inline", "html_block")]
    assert not [node.info for node in tree.walk() if node.type == "fence" and node.info]
    if "](" in typed and not typed.startswith(("&", "!*")):
        assert any(node.type == "link" for node in tree.walk())


PROSE = st.lists(
    st.one_of(
        st.sampled_from(
            [
                "# ",
                "- ",
                "1. ",
                "> ",
                "```\n",
                "\n",
                "\n\n",
                "    ",
                "<div>\n",
                "[a]: /u\n",
                "***\n",
                "| a | b |\n| - | - |\n",
                "===\n",
                "<!--",
                "* ",
                "  ",
                "[a]",
                "![b](c)",
                "**",
                "_",
                "~~~\n",
                "~~x~~",
                "&nbsp;",
                "&lt;i>",
                "\\",
                "`",
                "</p>",
                "http://x.example",
                "<http://y.example>",
                "\t",
            ]
        ),
        st.text("ab 1.|*_#>\n", max_size=8),
    ),
    max_size=12,
).map("".join)


@settings(max_examples=examples(200))
@given(PROSE)
def test_no_prose_breaks_its_page(typed):
    """What follows and goes before stands as it would without it; no raw HTML gets through."""
    text = render(
        page_of(
            Paragraph("before"),
            Heading(2, "Notes"),
            Prose(typed),
            Heading(2, "After"),
            Paragraph("[a]"),
        )
    )
    tree = parsed(text)
    nodes = tree.children
    assert [words_of(node) for node in nodes[2:4]] == ["before", "Notes"]
    assert [words_of(node) for node in nodes[-2:]] == ["After", "[a]"]
    kinds = {node.type for node in tree.walk()}
    assert not kinds & {"html_inline", "table", "s", "image"}
    assert [node.type for node in nodes].count("html_block") == 1
    assert all(int(node.tag[1:]) > 2 for node in nodes[4:-2] if node.type == "heading")


@settings(max_examples=examples(200))
@given(PROSE)
def test_prose_shows_the_words_that_commonmark_would_show_or_else_all_that_was_typed(typed):
    """The reference is the library's own reading of what the person typed."""
    reading = SyntaxTreeNode(MarkdownIt("commonmark", {"html": False}).parse(typed))
    after = parsed(render(page_of(Prose(typed)))).children[2:]
    is_as_typed = [node.type for node in after] == ["fence"] and same_words(after[0].content, typed)
    assert is_as_typed or _shown(after) == _shown([reading])


def _shown(nodes):
    return "".join(words for node in nodes for words in words_of(node).split())


def test_a_page_names_the_version_that_rendered_it_only_where_asked():
    named, plain = render(page_of(), version="0.1.0"), render(page_of())
    assert (version_in(named), version_in(plain)) == ("0.1.0", "")
    assert has_marker(named)
    assert named.partition("\n")[2] == plain.partition("\n")[2]

"""Whatever a person types is shown as typed: in Markdown, HTML, XML, on a terminal, in a log."""

import json
import re
import xml.etree.ElementTree as ET
from html.parser import HTMLParser

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from markdown_it import MarkdownIt

from ledger.book.escape import (
    defused,
    github_command_property,
    github_command_text,
    html_text,
    json_text,
    log_text,
    markdown_text,
    terminal_text,
    visible,
    xml_text,
)

MARKDOWN = MarkdownIt("commonmark", {"html": False}).enable(["table", "strikethrough"])
RAW_HTML = MarkdownIt("commonmark", {"html": True}).enable(["table", "strikethrough"])

signs = st.sampled_from(
    [
        *"\\`*_[]()<>!|~#&-+=.:;'\"1aé \n\t\r\0\x1b\x85",
        "&amp;",
        "<b>",
        "](",
        "**",
        "~~",
        "http://a.b",
        "\u202e",
        "::",
        "##[",
    ]
)
typed = st.lists(signs, max_size=20).map("".join) | st.text(max_size=30)


def words_of(tokens):
    """The text that a reader sees, and the markup other than text that was found."""
    inline = [child for token in tokens if token.type == "inline" for child in token.children]
    odd = {child.type for child in inline} - {"text", "text_special"}
    return "".join(child.content for child in inline), odd


@given(typed)
@example("a | b")
@example("trailing \\")
@example("&lt;script&gt;")
@example("<http://a.b>")
@example("snake_case_name _x_ __y__")
def test_markdown_shows_the_text_in_a_paragraph(text):
    for markdown in (MARKDOWN, RAW_HTML):
        shown, odd = words_of(markdown.parse(f"x{markdown_text(text)}x"))
        assert shown == f"x{terminal_text(text)}x"
        assert odd == set()


@given(typed, typed)
def test_one_cell_stays_one_cell(left, right):
    for markdown in (MARKDOWN, RAW_HTML):
        tokens = markdown.parse(
            f"| a | b |\n| --- | --- |\n| {markdown_text(left)} | {markdown_text(right)} |\n"
        )
        assert [token.type for token in tokens if token.type in ("table_open", "td_open", "tr_open")] == [
            "table_open", "tr_open", "tr_open", "td_open", "td_open",
        ]  # fmt: skip
        cells = [token for token in tokens if token.type == "inline"][2:]
        for cell, text in zip(cells, (left, right), strict=True):
            shown, odd = words_of([cell])
            assert shown == terminal_text(text).strip()
            assert odd == set()


def test_words_are_left_readable():
    assert (
        markdown_text("found_hz 44.5 (was 40) - see #3 & ask!")
        == "found_hz 44.5 (was 40) - see #3 & ask!"
    )


class Reader(HTMLParser):
    def __init__(self):
        super().__init__()
        self.seen = []

    def handle_starttag(self, tag, attrs):
        self.seen.append((tag, dict(attrs)))

    def handle_data(self, data):
        self.seen.append(data)


@given(typed)
def test_html_shows_the_text_between_tags_and_in_attributes(text):
    reader = Reader()
    reader.feed(f'<p title="{html_text(text)}">{html_text(text)}</p>')
    reader.close()
    start, *pieces = reader.seen
    assert start == ("p", {"title": visible(text)})
    assert "".join(pieces) == visible(text)


@given(typed)
def test_xml_shows_the_text_between_tags_and_in_attributes(text):
    element = ET.fromstring(f'<t a="{xml_text(text)}">{xml_text(text)}</t>')
    assert (element.text or "") == visible(text)
    assert element.get("a") == visible(text)


@given(st.text())
def test_a_terminal_gets_one_line_and_no_controls(text):
    shown = terminal_text(text)
    assert not re.search(
        "[\x00-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069\ud800-\udfff]", shown
    )


def test_controls_are_made_visible():
    assert visible("a\x1b[31m\x7f\u202e\ttab\nline") == "a␛[31m␡⟨202E⟩\ttab\nline"
    assert terminal_text("a\r\nb\tc\rd") == "a b c d"


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("##[error]x", "#♯[error]x"),
        ("say ##vso[task.setvariable]x", "say #♯vso[task.setvariable]x"),
        ("::error::x", ":∶error::x"),
        ("  ::error::x", "  :∶error::x"),
        ("## heading a::b", "## heading a::b"),
    ],
)
def test_no_log_reader_finds_a_command(text, shown):
    assert log_text(text) == shown


@given(typed)
def test_defused_text_keeps_the_place_of_every_character(text):
    assert len(defused(text)) == len(text)


@given(typed)
def test_workflow_commands_carry_the_text_whole_on_one_line(text):
    message, value = github_command_text(text), github_command_property(text)
    assert "\n" not in message
    assert "\r" not in message
    assert not set(value) & set("\n\r:,")
    decoded = value.replace("%3A", ":").replace("%2C", ",")
    for written in (message, decoded):
        assert written.replace("%0A", "\n").replace("%25", "%") == visible(text)


@given(st.dictionaries(typed, typed, max_size=3))
def test_json_is_ascii_and_reads_back(document):
    written = json_text(document)
    assert written.isascii()
    assert "##" not in written
    assert not any(line.lstrip().startswith("::") for line in written.splitlines())
    assert json.loads(written) == document


@given(st.dictionaries(typed, typed, max_size=3))
def test_json_that_keeps_its_letters_reads_back_and_holds_nothing_to_obey(document):
    written = json_text(document, ascii_only=False)
    assert visible(written) == written
    assert "##" not in written
    assert json.loads(written) == document


def test_json_escapes_what_a_terminal_obeys_and_no_letter():
    """U+009B begins a command of a terminal, U+202E turns the rest of the line around."""
    written = json_text(["Müller \x9b31m\u202e"], ascii_only=False)
    assert written == '[\n  "Müller \\u009b31m\\u202e"\n]\n'

"""Drive cards: what they say, that their code opens the page, and that they fit either paper."""

import base64
import hashlib
import re
from xml.etree import ElementTree as ET

import numpy as np
import pytest
import segno
import zxingcpp
from hypothesis import given
from hypothesis import strategies as st
from small_site import ledger_of, setpoint, visit

from ledger.book.addresses import html_address
from ledger.upkeep.register import cards as cards_svg
from ledger.upkeep.register.cards import (
    CAUTION,
    QUIET,
    DriveCard,
    code_path,
    drive_cards,
    matrix,
    render_page,
    revision_of,
)
from ledger.upkeep.register.found import register
from ledger.upkeep.speeds.found import speed_results

ADDRESS = "https://book.example/wash/machines/brush.html"
PIXELS = 4
"""Of one module in the picture that the reader of codes gets."""


def card(**told) -> DriveCard:
    return DriveCard(
        **{
            "machine": "brush",
            "name": "Side brush",
            "value": "44.5",
            "unit": "Hz",
            "band": "74–86 r/min",
            "line_rate": "110 vehicles an hour",
            "since": "2026-01-05",
            "approver": "B. Marsh",
            "revision": "0a1b2c3d",
            "address": ADDRESS,
            **told,
        }
    )


def words_of(svg: str) -> list[str]:
    found = ET.fromstring(svg).iter("{http://www.w3.org/2000/svg}text")
    return ["".join(text.itertext()) for text in found]


def painted(path: str, size: float, modules: int) -> np.ndarray:
    """The path as a picture of `modules` across, white 255 and black 0, as a printer would fill it."""
    across = modules * PIXELS
    picture = np.full((across, across), 255, dtype=np.uint8)
    for x, y, width, height in re.findall(r"M([\d.]+) ([\d.]+)h([\d.]+)v([\d.]+)h-[\d.]+z", path):
        left, top, right, bottom = (
            round(v / size * across)
            for v in (float(x), float(y), float(x) + float(width), float(y) + float(height))
        )
        picture[top:bottom, left:right] = 0
    return picture


def test_a_card_for_each_drive_with_an_approved_setting():
    waiting = {k: v for k, v in setpoint(9, 47).items() if k != "approved_by"}
    ledger = ledger_of(
        [visit(0, {"at": "brush", "turns": 40, "seconds": 30, "found_hz": 44.5})],
        setpoints=[setpoint(0, 44.5), waiting],
        site={"address": "https://book.example/wash/"},
    )
    lines = register(ledger, speed_results(ledger))
    (found,) = drive_cards(ledger, lines, {"setpoints/brush.yaml": b"abc"})
    # FIPS 180-4, the example of one block: SHA-256 of "abc" begins with ba7816bf.
    assert found == card(revision="ba7816bf")


def test_the_revision_is_that_of_the_file_and_of_no_day():
    """The two published examples of SHA-256 (FIPS 180-4; recalled: the empty text's)."""
    assert revision_of(b"abc") == "ba7816bf"
    assert revision_of(b"") == "e3b0c442"


@pytest.mark.parametrize(
    ("site", "page"),
    [
        ("https://book.example/", "https://book.example/machines/brush.html"),
        ("https://book.example", "https://book.example/machines/brush.html"),
        ("https://book.example/a/b", "https://book.example/a/b/machines/brush.html"),
        ("https://book.example/a/?key=1", "https://book.example/a/machines/brush.html?key=1"),
        ("", ""),
    ],
)
def test_where_the_code_leads(site, page):
    assert html_address(site, "machines/brush.md") == page


def test_the_words_of_a_card():
    *shown, below_the_code = words_of(cards_svg.render(card()))
    assert shown[:7] == [
        "Side brush",
        "44.5 Hz",
        "Band 74–86 r/min",
        "For 110 vehicles an hour",
        "In force from 2026-01-05",
        "Approved by B. Marsh",
        "Register 0a1b2c3d · brush",
    ]
    assert " ".join(shown[7:]) == CAUTION
    assert CAUTION.startswith("CAUTION: lock out")
    assert below_the_code == "This machine's page"


def test_without_an_address_there_is_no_code():
    svg = cards_svg.render(card(address=""))
    assert "<path" not in svg
    assert "page" not in words_of(svg)[-1]


def test_what_people_typed_is_shown_and_makes_no_markup():
    name = "<script>alert('x')</script> & \x1b[31m"
    svg = cards_svg.render(card(name=name, approver="O'Hara & Sons"))
    assert "<script" not in svg
    shown = words_of(svg)
    assert shown[0].startswith("<script>alert('x')</script> & ␛[31")
    assert "Approved by O'Hara & Sons" in shown


@given(st.text(st.characters(codec="utf-8"), min_size=1, max_size=200), st.integers(0, 300))
def test_any_name_stays_on_its_card(name, letters):
    """By the generous width of a letter that the layout reckons with."""
    svg = cards_svg.render(card(name=name, approver="n" * letters))
    for text in ET.fromstring(svg).iter("{http://www.w3.org/2000/svg}text"):
        if text.get("text-anchor") == "middle" or list(text):
            continue
        width = 0.55 * float(text.get("font-size")) * len("".join(text.itertext()))
        assert float(text.get("x")) + width <= cards_svg.WIDTH_MM


def test_the_path_draws_the_modules_that_the_library_states():
    rows = [
        [bool(m) for m in row]
        for row in segno.make_qr(ADDRESS, error="m", boost_error=False).matrix
    ]
    modules = len(rows) + 2 * QUIET
    picture = painted(code_path(ADDRESS, 26.0), 26.0, modules)
    middle = picture[PIXELS // 2 :: PIXELS, PIXELS // 2 :: PIXELS] == 0
    assert middle[QUIET:-QUIET, QUIET:-QUIET].tolist() == rows
    assert not middle[:QUIET].any()
    assert not middle[:, :QUIET].any()


@given(
    st.text("abcdefghijklmnopqrstuvwxyz0123456789-./~%ABC", min_size=1, max_size=240).map(
        lambda path: f"https://book.example/{path}"
    )
)
def test_a_reader_of_codes_reads_the_address(address):
    """Decoded by another library than the one that encodes."""
    modules = len(matrix(address)) + 2 * QUIET
    (read,) = zxingcpp.read_barcodes(painted(code_path(address, 26.0), 26.0, modules))
    assert read.text == address


def test_the_same_cards_give_the_same_bytes():
    assert render_page([card()], site_name="Wash") == render_page([card()], site_name="Wash")


def test_the_page_allows_its_own_style_and_nothing_else():
    page = render_page([card(), card(machine="other", address="")], site_name="A & B")
    style = re.search(r"<style>(.*?)</style>", page, re.DOTALL)[1]
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', page)[1]
    assert policy == (
        f"default-src 'none'; style-src 'sha256-{digest}'; form-action 'none'; base-uri 'none'"
    )
    assert "style=" not in page
    assert "<script" not in page
    assert "Drive cards · A &amp; B" in page
    assert page.count("<svg ") == 2


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize(("cards", "sheets"), [(1, 1), (8, 1), (9, 2), (16, 2), (17, 3)])
def test_eight_cards_fit_a_sheet(browser, paper, cards, sheets, tmp_path):
    path = tmp_path / "cards.html"
    path.write_text(render_page([card()] * cards, site_name="Wash"), encoding="utf-8")
    page = browser.new_page()
    complaints = []
    page.on("console", lambda message: complaints.append(message.text))
    try:
        page.goto(path.as_uri())
        printed = page.pdf(format=paper)
    finally:
        page.close()
    assert complaints == []
    assert len(re.findall(rb"/Type\s*/Page\b", printed)) == sheets


def test_a_card_is_as_large_as_it_says_and_nothing_leaves_it(browser, tmp_path):
    """With long words too: by what the browser really draws, not by the layout's own reckoning."""
    long = card(name="Side brush number two, passenger, behind the arch " * 3, approver="W" * 80)
    path = tmp_path / "cards.html"
    path.write_text(render_page([card(), long], site_name="Wash"), encoding="utf-8")
    page = browser.new_page()
    try:
        page.goto(path.as_uri())
        page.emulate_media(media="print")
        boxes = page.evaluate(
            """() => [...document.querySelectorAll('li svg')].map(svg => {
                const outer = svg.getBoundingClientRect();
                const texts = [...svg.querySelectorAll('text')].map(t => t.getBoundingClientRect());
                return [outer.width, outer.height, ...texts.map(
                    t => Math.min(t.left - outer.left, outer.right - t.right,
                                  t.top - outer.top, outer.bottom - t.bottom))];
            })"""
        )
    finally:
        page.close()
    for width, height, *margins in boxes:
        assert width == pytest.approx(92 / 25.4 * 96, abs=0.5)
        assert height == pytest.approx(60 / 25.4 * 96, abs=0.5)
        assert min(margins) > 0

"""The text of the page: one file, the same bytes each time, and nothing that can break out of it."""

import base64
import dataclasses
import hashlib
import json
import re
from html import unescape
from pathlib import Path

import pytest

from ledger.pocket import page
from ledger.pocket.page import SCRIPTS, entry_fields, published, render

ASSETS = Path(page.__file__).parent / "assets"
ELEMENT = re.compile(r"<(script|style)([^>]*)>(.*?)</\1>", re.DOTALL)


def test_the_same_walk_gives_the_same_page(walk):
    assert render(walk) == render(walk)


def test_every_asset_is_in_the_page(walk):
    texts = {path.name: path.read_text(encoding="utf-8") for path in ASSETS.glob("*.*s")}
    of_server = {name: texts.pop(name) for name in ("sw.js", "worker.js")}
    assert {name.removesuffix(".js") for name in texts} == {*SCRIPTS, "round.css"}
    assert all(text in render(walk) for text in texts.values())
    files = published(walk, "round.html")
    assert of_server["worker.js"] in files["round.html"].decode()
    assert of_server["sw.js"] in files["sw.js"].decode()


@pytest.mark.parametrize("path", sorted(ASSETS.iterdir()), ids=lambda path: path.name)
def test_assets_read_the_same_after_an_html_parser(path):
    # A parser turns CR into LF and ends a script at the first end tag, and the hash would not fit.
    raw = path.read_bytes()
    assert b"\r" not in raw
    if path.suffix in {".js", ".css"}:
        assert not re.search(rb"</(script|style)|<!--|@@", raw, re.IGNORECASE)


@pytest.mark.parametrize("path", sorted(ASSETS.glob("*.js")), ids=lambda path: path.name)
def test_people_s_text_never_becomes_markup(path):
    sinks = re.compile(
        r"innerHTML|outerHTML|insertAdjacentHTML|document\.write|\beval\(|new Function|srcdoc"
    )
    assert not sinks.search(path.read_text(encoding="utf-8"))


def test_the_policy_allows_this_style_and_this_script_and_nothing_else(walk):
    text = render(walk)
    policy = unescape(re.search(r'Content-Security-Policy" content="([^"]*)"', text).group(1))
    directives = dict(part.split(" ", 1) for part in policy.split("; "))
    assert directives["default-src"] == "'none'"
    for kind, attributes, content in ELEMENT.findall(text):
        if "application/json" in attributes:
            continue
        digest = base64.b64encode(hashlib.sha256(content.encode()).digest()).decode()
        assert directives[f"{kind}-src"] == f"'sha256-{digest}'"
    assert "unsafe" not in policy
    assert "http" not in policy


def test_hostile_texts_stay_inside_their_payload(hostile_walk, hostile_text):
    text = render(hostile_walk)
    elements = ELEMENT.findall(text)
    assert [kind for kind, _, _ in elements] == ["style", "script", "script", "script"]
    payload = json.loads(elements[1][2])
    assert payload["site"] == hostile_text
    assert payload["due"][0]["steps"] == hostile_text


def test_days_are_iso_8601_and_missing_values_null(walk):
    payload = json.loads(walk.to_json())
    assert payload["as_of"] == "2026-11-23"
    assert payload["machines"][1]["approved"] == {"value": 44.5, "since": "2026-11-10"}
    assert payload["meters"][1]["last"] is None


def test_a_number_that_is_none_is_refused(walk):
    with pytest.raises(ValueError, match="JSON"):
        render(dataclasses.replace(walk, timing_u_s=float("nan")))


def test_limits_come_from_the_schema_of_visits():
    fields = entry_fields()
    assert fields["found_hz"] == {
        "label": "As-found frequency, Hz",
        "type": "number",
        "minimum": 0,
        "maximum": 400,
    }
    assert fields["finding"]["maxLength"] == 500
    assert fields["start"]["enum"] == ["random", "on-pass"]

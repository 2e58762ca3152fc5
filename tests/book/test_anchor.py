"""Anchors of headings, as the usual git hosts form them (recalled from their pages, no standard)."""

import pytest

from ledger.book.blocks import anchor_of, anchors_of


@pytest.mark.parametrize(
    ("heading", "anchor"),
    [
        ("Lock out first", "lock-out-first"),
        ("12 · Lower side brush, passenger", "12--lower-side-brush-passenger"),
        ("2026-11", "2026-11"),
        ("Größe_x", "größe_x"),
        ("", ""),
    ],
)
def test_anchor(heading, anchor):
    assert anchor_of(heading) == anchor


def test_repeated_headings_are_counted_and_never_share_an_anchor():
    assert list(anchors_of(["Speed", "Speed", "Speed 1", "Speed"])) == [
        "speed",
        "speed-1",
        "speed-1-1",
        "speed-2",
    ]

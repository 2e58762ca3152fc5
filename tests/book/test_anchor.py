"""Anchors of headings, as the usual git hosts form them (recalled from their pages, no standard)."""

import pytest

from ledger.book.blocks import anchor_of, next_anchor


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
    taken = []
    for heading in ("Speed", "Speed", "Speed 1", "Speed"):
        taken.append(next_anchor(heading, taken))
    assert taken == ["speed", "speed-1", "speed-1-1", "speed-2"]

"""Tables of a page as HTML: wide ones slide, those of words become cards on a phone, long ones
of days show the newest rows and fold the older.

What a table is, is read from its own cells, so that the Markdown needs no marks for it.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from copy import deepcopy
from dataclasses import dataclass
from itertools import pairwise

from markdown_it.token import Token

from ledger.write.escape import html_text

_SHORT = 20
_FIT_A_SHEET = 10
# Characters that a phone shows side by side, and what a column of words is folded to.
_FIT_A_PHONE = 45
_FOLDED_WORDS = 16
_GAP = 1

# A table of days is folded where it saves more than a screen.
_NEWEST_ROWS = 6
_FEWEST_TO_FOLD = 6
_DAY = re.compile(r"\d{4}-\d\d(-\d\d)?( \d\d:\d\d)?")
_NOTHING = frozenset({"", "\N{EN DASH}"})
_ROLES: Mapping[str, str] = {
    "table_open": "table",
    "thead_open": "rowgroup",
    "tbody_open": "rowgroup",
    "tr_open": "row",
    "th_open": "columnheader",
    "td_open": "cell",
}


def plain(inline: Token) -> str:
    """The words of an inline token, without their markup."""
    return "".join(child.content for child in inline.children or ())


@dataclass(frozen=True, slots=True)
class _Cell:
    opening: Token
    text: str


def adapt_table(tokens: Sequence[Token], label: str) -> Iterator[Token]:
    """The tokens of one table, from its opening to its closing, with what goes around them.

    `label` names the table to those who cannot see it.
    """
    rows = _cells(tokens)
    stacks = _becomes_cards(rows)
    for column in zip(*rows, strict=True):
        _class_column(column, for_cards=stacks)
    if stacks:
        for token in tokens:
            if token.type in _ROLES:
                # Laid out as a card, a table would no longer be one to a screen reader.
                token.attrSet("role", _ROLES[token.type])
    is_wide = len(rows[0]) > _FIT_A_SHEET
    classes = "scroll" + (" stack" if stacks else "") + (" wide" if is_wide else "")
    label += ", slides sideways" if is_wide else ""
    older = _first_older(tokens, [row[0].text for row in rows[1:]])
    if older is None:
        yield from _in_region(tokens, classes, label)
        return
    body = next(at for at, token in enumerate(tokens) if token.type == "tbody_open")
    head = deepcopy(tokens[: body + 1])
    ending = tokens[-2:]
    yield from _in_region([*tokens[:older], *ending], classes, label)
    left = len(rows) - 1 - _NEWEST_ROWS
    said = html_text(f"{left} earlier, back to {rows[-1][0].text}")
    yield _html(f'<details class="earlier">\n<summary>{said}</summary>\n')
    yield from _in_region([*head, *tokens[older:]], classes, f"{label}, earlier")
    yield _html("</details>\n")


def _cells(tokens: Sequence[Token]) -> list[list[_Cell]]:
    rows: list[list[_Cell]] = []
    for at, token in enumerate(tokens):
        if token.type == "tr_open":
            rows.append([])
        elif token.type in ("th_open", "td_open"):
            rows[-1].append(_Cell(token, plain(tokens[at + 1])))
    return rows


def _becomes_cards(rows: Sequence[Sequence[_Cell]]) -> bool:
    """Whether a phone could not show the columns side by side, and a card could hold a row."""
    if not 2 < len(rows[0]) <= _FIT_A_SHEET:
        return False
    widths = [max(len(cell.text) for cell in column) for column in zip(*rows, strict=True)]
    needed = sum(w if w <= _SHORT else _FOLDED_WORDS for w in widths)
    return needed + _GAP * (len(widths) - 1) > _FIT_A_PHONE


def _class_column(column: Sequence[_Cell], *, for_cards: bool) -> None:
    """Numbers to the right, room for words, and what a card needs to know of each cell.

    Classes, since the policy of the page allows no style attributes.
    """
    head, *cells = column
    is_long = max(len(cell.text) for cell in column) > _SHORT
    for cell in column:
        if cell.opening.attrs.pop("style", "") == "text-align:right":
            cell.opening.attrJoin("class", "number")
        elif is_long:
            cell.opening.attrJoin("class", "words")
    head.opening.attrSet("scope", "col")
    for cell in cells:
        if head.text == "Verdict":
            cell.opening.attrJoin("class", "verdict")
        if for_cards:
            _fit_for_card(cell, head.text)


def _fit_for_card(cell: _Cell, head: str) -> None:
    if len(cell.text) > _SHORT:
        cell.opening.attrJoin("class", "long")
    elif cell.text in _NOTHING:
        cell.opening.attrJoin("class", "none")
    cell.opening.attrSet("data-head", head)


def _first_older(tokens: Sequence[Token], first_cells: Sequence[str]) -> int | None:
    """Where the older rows begin, in a table whose rows run back in time; None where none fold."""
    if len(first_cells) < _NEWEST_ROWS + _FEWEST_TO_FOLD:
        return None
    if not all(_DAY.fullmatch(text) for text in first_cells):
        return None
    if not all(newer >= older for newer, older in pairwise(first_cells)):
        return None
    rows = [at for at, token in enumerate(tokens) if token.type == "tr_open"]
    return rows[1 + _NEWEST_ROWS]


def _in_region(tokens: Sequence[Token], classes: str, label: str) -> Iterator[Token]:
    yield _html(
        f'<div class="{classes}" role="region" tabindex="0" aria-label="{html_text(label)}">\n'
    )
    yield from tokens
    yield _html("</div>\n")


def _html(text: str) -> Token:
    return Token("html_block", "", 0, content=text)

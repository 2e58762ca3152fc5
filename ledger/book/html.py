"""The blocks of a page as HTML.

Wide tables slide, those of words become cards on a phone; of what runs back in time the newest
shows and the older is folded.
"""

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import pairwise, repeat

from markdown_it.token import Token

from ledger.book import blocks
from ledger.book.escape import html_text
from ledger.book.markdown import merged, relative_address
from ledger.book.prose import READER, prose_tokens
from ledger.book.terminal import plain

_SHORT = 20

_FIT_A_SHEET = 10

# Characters that a phone shows side by side, and what a column of words is folded to.
_FIT_A_PHONE = 45

_FOLDED_WORDS = 16

_MOST_SIDE_BY_SIDE = 4

_GAP = 1


# A table of days is folded where it saves more than a screen.
_NEWEST_ROWS = 6

_FEWEST_TO_FOLD = 6

_PART_LEVEL = 3

_NOTHING = frozenset({"", "\N{EN DASH}"})

_FOLD = '<details class="earlier">\n<summary>'

_FOLD_END = "</details>\n"

_FIRST_PART = '<div class="parts">\n<div>\n'

_NEXT_PART = "</div>\n<div>\n"

_PARTS_END = "</div>\n</div>\n"

_BOX = '<input type="checkbox">'

_ELSEWHERE = re.compile(r"[a-z][a-z0-9+.-]*:|//", re.IGNORECASE)

_KEPT_WHOLE = re.compile(
    r"(\b\d{4}-\d\d-\d\d(?!\w)|[−-]?\d[\d.]* ± \d[\d.]*\d|\d ± \d|\b(?:\d+ h )?\d+ min\b)"
)


def body(page: blocks.Page, picture_sizes: Mapping[str, tuple[str, str]]) -> str:
    """HTML inside the `<main>` of a page. `picture_sizes`: width and height by a picture's path."""
    every = [blocks.Heading(1, page.title), blocks.Paragraph(page.as_of), *page.blocks]
    return "".join(_Body(page.path, picture_sizes).render(every))


def html_address(address: str) -> str:
    """The address in the HTML book of what `address` is in the Markdown book."""
    if _ELSEWHERE.match(address):
        return address
    path, hash_sign, anchor = address.partition("#")
    if path == "README.md" or path.endswith("/README.md"):
        path = path.removesuffix("README.md") + "index.html"
    elif path.endswith(".md"):
        path = path.removesuffix(".md") + ".html"
    return f"{path}{hash_sign}{anchor}"


class _Body:
    """Writes blocks in the order of the page; keeps what the next one needs of those before."""

    def __init__(self, path: str, picture_sizes: Mapping[str, tuple[str, str]]) -> None:
        self._path = path
        self._sizes = picture_sizes
        self._anchors: set[str] = set()
        self._heading = ""
        self._level = 1
        self._tables = 0

    def render(self, every: Iterable[blocks.Block]) -> Iterator[str]:
        """Each block; of the parts below a heading that runs newest first one is not folded."""
        closes = ""
        runs_back = in_columns = False
        parts = 0
        for block in every:
            if not isinstance(block, blocks.Heading) or block.level > _PART_LEVEL:
                yield self._block(block)
                continue
            if block.level < _PART_LEVEL or block.is_folded:
                yield closes
                closes = _FOLD_END if block.is_folded else ""
                runs_back, in_columns, parts = block.newest_first, block.in_columns, 0
                yield self._titled(block, is_folded=block.is_folded)
                continue
            parts += 1
            if runs_back and parts == 2:
                closes = _FOLD_END
                yield f"{_FOLD}Earlier, from {html_text(block.text)} back</summary>\n"
            elif in_columns:
                yield _NEXT_PART if closes else _FIRST_PART
                closes = _PARTS_END
            yield self._titled(block, is_folded=False)
        yield closes

    def _block(self, block: blocks.Block) -> str:
        match block:
            case blocks.Heading():
                return self._titled(block, is_folded=False)
            case blocks.Paragraph(spans=spans):
                words = self._inline(spans)
                return f"<p>{words}</p>\n" if words else ""
            case blocks.Bullets(items=items):
                return _list("<ul>", map(self._inline, items))
            case blocks.Checklist(items=items):
                return _list('<ul class="ticks">', map(self._item, items))
            case blocks.Walk():
                return self._walk(block)
            case blocks.Caution(lines=lines):
                first, *others = map(self._inline, lines or [""])
                shown = [f"<strong>{blocks.CAUTION_WORDS}</strong> {first}".rstrip(), *others]
                words = "".join(f"<p>{line}</p>\n" for line in shown)
                return f'<div class="caution" role="note">\n{words}</div>\n'
            case blocks.Prose(commonmark=text):
                return self._prose(text)
            case blocks.Table(columns=columns):
                return self._table(block) if columns else ""
            case blocks.Picture():
                return self._picture(block)
            case blocks.SmallPlots():
                return self._small_plots(block)

    def _titled(self, heading: blocks.Heading, *, is_folded: bool) -> str:
        self._level = heading.level
        anchor = self._anchor(plain(heading.text))
        tag, words = f"h{heading.level}", self._inline(heading.text)
        if is_folded:
            # A link to what is folded opens it; one to the summary would not.
            return f'{_FOLD}<{tag}>{words}</{tag}>\n</summary>\n<div id="{anchor}"></div>\n'
        return f'<{tag} id="{anchor}">{words}</{tag}>\n'

    def _anchor(self, heading: str) -> str:
        self._heading = heading
        anchor = blocks.next_anchor(heading, self._anchors)
        self._anchors.add(anchor)
        return html_text(anchor)

    def _inline(self, spans: blocks.Spans) -> str:
        return "".join(map(self._span, merged(spans))).strip()

    def _span(self, span: blocks.Span) -> str:
        match span:
            case blocks.Text(text=text):
                return _unbroken(text)
            case blocks.Code(text=text):
                return f"<code>{html_text(text)}</code>"
            case blocks.Strong(text=text):
                return f"<strong>{_unbroken(text)}</strong>"
            case blocks.Link(text=text, to=to):
                # What lies beside the book lies one folder further from the HTML in it.
                beside = f"../{to}" if to.startswith("../") else to
                address = html_address(relative_address(beside, self._path))
                rel = ' rel="noreferrer"' if _ELSEWHERE.match(address) else ""
                words = _unbroken(plain(text.strip() or to))
                return f'<a href="{html_text(address)}"{rel}>{words}</a>'

    def _item(self, item: blocks.Spans | blocks.Lines) -> str:
        return f"<label>{_BOX}<span>{self._lines(blocks.lines_of(item)) or '–'}</span></label>"

    def _lines(self, lines: Sequence[blocks.Spans]) -> str:
        """Lines beneath the first get a place of their own."""
        first, *beneath = map(self._inline, lines)
        return first + "".join(f'<span class="beneath">{line}</span>' for line in beneath if line)

    def _walk(self, walk: blocks.Walk) -> str:
        """Boxes with as few words as will do; folded the same in full, which is printed."""
        claim = f'<label class="claim">{_BOX}<span>{self._inline(walk.claim)}</span></label>\n'
        shown = [
            claim if walk.claim else "",
            _list('<ul class="buts">', map(self._but, walk.exceptions)),
            _list(
                '<ul class="ticks">',
                (self._item(blocks.Lines(one.first, [one.brief])) for one in walk.alone),
            ),
            _list('<ul class="walk">', map(self._station, walk.stations)),
        ]
        rows = [self._lines(blocks.lines_of(item)) for item in (*walk.exceptions, *walk.alone)]
        for station in walk.stations:
            items = "".join(
                f'<span class="beneath">{self._lines(blocks.lines_of(item))}</span>'
                for item in station.items
            )
            rows.append(
                f"{self._inline((blocks.Strong(station.number), ' ', station.name))}{items}"
            )
        return (
            f'<div class="pass">\n{"".join(shown)}</div>\n<details class="in-full">\n'
            f"<summary>In full: places, points, minutes, last done</summary>\n"
            f"{_list('<ul>', rows)}{_FOLD_END}"
        )

    def _but(self, item: blocks.Lines) -> str:
        label = html_text(f"Not in order: {plain(item.first)}")
        return (
            f'<label><input type="checkbox" aria-label="{label}">'
            '<span aria-hidden="true">not</span>'
            f"</label><span>{self._lines((item.first, item.brief))}</span>"
        )

    def _station(self, station: blocks.Station) -> str:
        label = html_text(f"{station.number} {plain(station.name)}: ")
        boxes = "".join(
            f'<label><input type="checkbox" aria-label="{label}{html_text(plain(item.first))}">'
            f"<span>{self._inline(item.brief or item.first)}</span></label>"
            for item in station.items
        )
        return (
            f'<b>{html_text(station.number)}</b><span class="at">{self._inline(station.name)}'
            f'</span><span class="boxes">{boxes}</span>'
        )

    def _small_plots(self, block: blocks.SmallPlots) -> str:
        months = "".join(f"<i>{letter}</i>" for letter in "JFMAMJJASOND")
        axis = f'<li class="axis"><b>{block.year}</b><span aria-hidden="true">{months}</span></li>'
        rows = "".join(
            f"<li><span>{self._lines(blocks.lines_of(text))}</span>{self._image(picture)}</li>\n"
            for text, picture in block.rows
        )
        return f'<ul class="plots">\n{axis}\n{rows}</ul>\n'

    def _picture(self, picture: blocks.Picture) -> str:
        """A phone shows the picture small; a tap on it shows the picture alone."""
        address = html_text(relative_address(picture.path, self._path))
        return f'<figure><a href="{address}">{self._image(picture)}</a></figure>\n'

    def _image(self, picture: blocks.Picture) -> str:
        address = html_text(relative_address(picture.path, self._path))
        words = html_text(plain(picture.plot.summary or picture.plot.title).strip())
        size = self._sizes.get(picture.path)
        fitted = "" if size is None else f' width="{size[0]}" height="{size[1]}"'
        return f'<img src="{address}" alt="{words}"{fitted}>'

    def _prose(self, commonmark: str) -> str:
        tokens = prose_tokens(commonmark, self._level)
        for at, token in enumerate(tokens):
            if token.type == "heading_open":
                words = "".join(child.content for child in tokens[at + 1].children or ())
                token.attrSet("id", self._anchor(words))
            token.children = token.children and list(map(_adapted, token.children))
        return str(READER.renderer.render(tokens, READER.options, {}))

    def _table(self, table: blocks.Table) -> str:
        self._tables += 1
        all_columns = list(zip((c.title for c in table.columns), *table.rows, strict=True))
        at = [n for n, column in enumerate(table.columns) if not (n and column.is_beneath)]
        by_column = [all_columns[n] for n in at]
        beneath = [all_columns[n + 1 : end] for n, end in pairwise((*at, len(all_columns)))]
        texts = [[plain(cell).strip() for cell in cells] for cells in by_column]
        as_cards = not table.is_strip and not any(beneath) and _becomes_cards(texts)
        is_wide = len(texts) > _FIT_A_SHEET
        classes = "scroll" + " stack" * as_cards + " wide" * is_wide + " strip" * table.is_strip
        label = f"Table {self._tables}: {self._heading}" + (", slides sideways" * is_wide)
        written = [
            self._column(table.columns[n], *of_column, as_cards=as_cards)
            for n, *of_column in zip(at, by_column, beneath, texts, strict=True)
        ]
        head, *rows = (f"<tr>\n{''.join(row)}</tr>\n" for row in zip(*written, strict=True))

        def region(label: str, rows: Sequence[str]) -> str:
            below = f"<tbody>\n{''.join(rows)}</tbody>\n" if rows else ""
            return (
                f'<div class="{classes}" role="region" tabindex="0" '
                f'aria-label="{html_text(label)}">\n<table>\n'
                f"<thead>\n{head}</thead>\n{below}</table>\n</div>\n"
            )

        if not table.newest_first or len(rows) < _NEWEST_ROWS + _FEWEST_TO_FOLD:
            return region(label, rows)
        shown, older = rows[:_NEWEST_ROWS], rows[_NEWEST_ROWS:]
        summary = html_text(f"{len(older)} earlier, back to {texts[0][-1]}")
        folded = region(f"{label}, earlier", older)
        return f"{region(label, shown)}{_FOLD}{summary}</summary>\n{folded}{_FOLD_END}"

    def _column(
        self,
        column: blocks.Column,
        cells: Sequence[blocks.Spans],
        beneath: Sequence[Sequence[blocks.Spans]],
        texts: Sequence[str],
        *,
        as_cards: bool,
    ) -> Iterator[str]:
        """Numbers to the right, room for words, and what a card needs to know of each cell.

        Classes, since the policy of the page allows no style attributes.
        """
        is_long = max(map(len, texts)) > _SHORT
        side = "number" if column.align is blocks.Align.RIGHT else "words" if is_long else ""
        small = zip(*beneath, strict=True) if beneath else repeat(())
        title, *words = (
            self._lines((cell, _in_one_line(lesser)))
            for cell, lesser in zip(cells, small, strict=False)
        )
        yield f'<th{_classes(side)} scope="col">{title}</th>\n'
        head = f' data-head="{html_text(texts[0])}"' * as_cards
        for cell, text in zip(words, texts[1:], strict=True):
            size = "long" if len(text) > _SHORT else "none" if text in _NOTHING else ""
            classes = _classes(side, "verdict" * column.is_verdict, size * as_cards)
            yield f"<td{classes}{head}>{cell}</td>\n"


def _in_one_line(cells: Sequence[blocks.Spans]) -> blocks.Spans:
    shown = [cell for cell in cells if plain(cell).strip() not in _NOTHING]
    spans = (cell if isinstance(cell, tuple) else (cell,) for cell in shown)
    return tuple(span for part in spans for span in (" · ", *part))[1:]


def _becomes_cards(columns: Sequence[Sequence[str]]) -> bool:
    """Whether a phone could not show the columns side by side, and a card could hold a row."""
    if not _MOST_SIDE_BY_SIDE < len(columns) <= _FIT_A_SHEET:
        return False
    widths = [max(map(len, texts)) for texts in columns]
    needed = sum(w if w <= _SHORT else _FOLDED_WORDS for w in widths)
    return needed + _GAP * (len(widths) - 1) > _FIT_A_PHONE


def _classes(*classes: str) -> str:
    named = " ".join(filter(None, classes))
    return f' class="{named}"' if named else ""


def _list(opening: str, items: Iterable[str]) -> str:
    lines = "".join(f"<li>{item}</li>\n" for item in items)
    return f"{opening}\n{lines}</ul>\n" if lines else ""


def _adapted(child: Token) -> Token:
    """A token of prose: links lead to the HTML book, words are written as in every block."""
    if child.type == "text":
        return Token("html_inline", "", 0, content=_unbroken(child.content))
    if child.type == "link_open":
        address = str(child.attrs["href"])
        child.attrSet("href", html_address(address))
        if _ELSEWHERE.match(address):
            child.attrSet("rel", "noreferrer")
    return child


def _unbroken(text: str) -> str:
    """A day, a value with its uncertainty and a span of minutes stay on one line."""
    return _KEPT_WHOLE.sub(r'<span class="whole">\1</span>', html_text(text))

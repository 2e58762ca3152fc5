"""The guide: what people come to do, part by part; its commands are run by the tests."""

import re
from pathlib import Path

from ledger.book.blocks import Block, Heading, Page, Prose

TITLE = "Guide"
PATH = "guide.md"
_TEXT = Path(__file__).with_name(PATH)


def parts() -> dict[str, str]:
    """The text of each part by its title, and of the beginning by the guide's own."""
    text = _TEXT.read_text(encoding="utf-8")
    beginning, *rest = re.split(r"^## (.+)\n", text, flags=re.MULTILINE)
    found = {TITLE: beginning, **dict(zip(rest[::2], rest[1::2], strict=True))}
    return {title: body.strip() for title, body in found.items()}


def guide_page() -> Page:
    (title, beginning), *rest = parts().items()
    blocks: list[Block] = [Prose(beginning)]
    for heading, text in rest:
        blocks += [Heading(2, heading), Prose(text)]
    return Page(path=PATH, title=title, blocks=blocks)

"""How the numbers are worked out: each method in a few lines, with formula and source.

What is said of them stands in the `methods.md` of each subject. `{compute.trend.MIN_TREND}` there
is a number of the program, `{compute.band.SURE%}` one in percent.
"""

import re
from collections.abc import Mapping
from functools import cache
from importlib import import_module
from pathlib import Path

from ledger.book.addresses import METHODS_PAGE, METHODS_TITLE
from ledger.book.blocks import Block, Bullets, Code, Heading, Page, Paragraph, Span
from ledger.values import dataclass

# In the order of the page.
_SUBJECTS = (
    "speeds tuning line load grease parts wear water duty drift reliability downtime intime ahead"
).split()

NO_SOURCE = "common practice; no published source"

_NUMBER = re.compile(r"\{([a-z_.]+)\.([A-Z_]+)(%?)\}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Method:
    """`says` what it means to a reader; `lacking` when there is no answer.

    `sources` stand in the docstrings of `code`, functions named as `module.function` of compute;
    `NO_SOURCE` stands alone where nothing is published.
    """

    title: str
    says: str
    formula: str
    sources: tuple[str, ...]
    lacking: str
    code: tuple[str, ...]


@cache
def groups() -> Mapping[str, tuple[Method, ...]]:
    """The methods by the page that shows their numbers."""
    upkeep = Path(__file__).parents[1] / "upkeep"
    found = {}
    for subject in _SUBJECTS:
        text = (upkeep / subject / "methods.md").read_text(encoding="utf-8")
        _, title, *sections = re.split("^#+ ", _NUMBER.sub(_number, text), flags=re.MULTILINE)
        found[title.strip()] = tuple(map(_method, sections))
    return found


def _number(named: re.Match[str]) -> str:
    value = getattr(import_module(f"ledger.{named[1]}"), named[2])
    return f"{100 * value:g} %" if named[3] else f"{value:g}"


def _method(section: str) -> Method:
    title, _, body = section.partition("\n")
    says, *parts = (" ".join(part.split()) for part in body.split("\n- "))
    told = dict(part.split(": ", 1) for part in parts)
    source = told["Source"]
    return Method(
        title=title,
        says=says,
        formula=told["Formula"],
        sources=(source,) if source == NO_SOURCE else tuple(source.split("; ")),
        lacking=told["No answer"],
        code=tuple(told["In the program"].split(", ")),
    )


def methods_page() -> Page:
    """The same in every book: it depends on the program alone."""
    blocks: list[Block] = [
        Paragraph(
            "How the numbers of this book are worked out: what each means, its formula, its "
            "source, and when it gives no answer. Nobody needs this page to do the work; it is "
            "for those who want to check. The functions named last stand in the program's folder "
            "ledger/compute."
        )
    ]
    for group, methods in groups().items():
        blocks.append(Heading(2, group))
        for method in methods:
            blocks.append(Heading(3, method.title))
            blocks.append(Paragraph(method.says))
            blocks.append(
                Bullets(
                    [
                        ("Formula: ", Code(method.formula)),
                        _source(method),
                        f"No answer: {method.lacking}",
                        ("In the program: ", *_code(method)),
                    ]
                )
            )
    return Page(path=METHODS_PAGE, title=METHODS_TITLE, blocks=blocks)


def _source(method: Method) -> str:
    if method.sources == (NO_SOURCE,):
        return f"{NO_SOURCE.capitalize()}."
    return f"Source: {'; '.join(method.sources)}."


def _code(method: Method) -> tuple[str | Span, ...]:
    parts: list[str | Span] = []
    for name in method.code:
        parts.extend((", ", Code(name)) if parts else (Code(name),))
    return tuple(parts)

"""How the numbers are worked out: each method in a few lines, with formula and source."""

from collections.abc import Mapping

from ledger.book.addresses import METHODS_PAGE, METHODS_TITLE
from ledger.book.blocks import Block, Bullets, Code, Heading, Page, Paragraph, Span
from ledger.book.method import NO_SOURCE, Method
from ledger.upkeep.ahead.methods import WORK_AHEAD
from ledger.upkeep.downtime.methods import DOWNTIME
from ledger.upkeep.drift.methods import DRIFT
from ledger.upkeep.duty.methods import DUTY
from ledger.upkeep.grease.methods import LUBRICATION
from ledger.upkeep.intime.methods import IN_TIME
from ledger.upkeep.line.methods import LINE
from ledger.upkeep.load.methods import LOAD
from ledger.upkeep.parts.methods import PARTS
from ledger.upkeep.reliability.methods import RELIABILITY
from ledger.upkeep.speeds.methods import SPEEDS
from ledger.upkeep.tuning.methods import SETTINGS
from ledger.upkeep.water.methods import WATER
from ledger.upkeep.wear.methods import WEAR

GROUPS: Mapping[str, tuple[Method, ...]] = {
    "Speeds": SPEEDS,
    "Settings": SETTINGS,
    "Line and cloth": LINE,
    "Load and conversion": LOAD,
    "Lubrication": LUBRICATION,
    "Parts": PARTS,
    "Wear": WEAR,
    "Water and chemistry": WATER,
    "Pumps, worn cloth and energy": DUTY,
    "Drift": DRIFT,
    "Reliability": RELIABILITY,
    "Down time": DOWNTIME,
    "Work done in time": IN_TIME,
    "Work ahead": WORK_AHEAD,
}
"""The methods by the page that shows their numbers."""


def methods_page() -> Page:
    """The same in every book: it depends on the program alone."""
    blocks: list[Block] = [
        Paragraph(
            "What stands behind the numbers of this book: what each says, its formula, its "
            "source, and when it gives no answer. Nobody needs this page to do the work; it is "
            "for those who want to check. The functions named last stand in the program's folder "
            "ledger/compute."
        )
    ]
    for group, methods in GROUPS.items():
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

"""Wear: the last reading of nozzles, chain, belts, cloth and dampers against their limits."""

from ledger.assess.drift_limits import FORCE_PER_NORMAL
from ledger.assess.wear import ALLOWED_BOUNCES, Wear
from ledger.compute.rounding import fixed
from ledger.compute.spray import SOUND_SHARE
from ledger.compute.wear import DamperVerdict
from ledger.model.ledger import Ledger
from ledger.report import words
from ledger.report.blocks import (
    Block,
    Bullets,
    Caution,
    Heading,
    Page,
    Paragraph,
    Spans,
    Strong,
)
from ledger.report.pages.method import pointer
from ledger.report.pages.wear_details import details
from ledger.report.pages.wear_tables import last_readings_table

PATH = "wear.md"

_CAUTION: tuple[Spans, ...] = (
    words.SAFETY[0],
    (
        "Never catch or touch the jet of a high-pressure nozzle: it cuts and injects. Chains and "
        "belts are measured with the drive locked out; a chain keeps its tension when it stands."
    ),
)

_NOZZLE = (
    "caught flow, carried to the nozzle's rated pressure by the root of the pressures, as a share "
    f"of a new one: {fixed(100 * SOUND_SHARE.low, 0)} to {fixed(100 * SOUND_SHARE.high, 0)} % is "
    "sound, above is worn, below is clogged. Each nozzle is judged alone, for a clogged one hides "
    "wear in an average."
)

_CHAIN = (
    "elongation against the new length of as many pitches. The limit is 3 % where the centres can "
    "be adjusted and 1.5 % where they are fixed (chain makers' pages, after ASME B29.1); the "
    "maker's own limit comes first."
)

_BELT = (
    "a belt should give 1/64 of its span in the middle (TM 5-4310-339-15), under a force between "
    "the maker's normal and half as much again. The force noted is taken as the middle of that "
    f"range, {words.number_words(FORCE_PER_NORMAL)} times normal (common practice, no source). A "
    "belt just fitted is set tighter to run in."
)

_CLOTH = (
    "strips wear by vehicles washed, so the pace is per thousand vehicles and a quiet season is "
    "not better cloth. The date follows the meter's recent rate, at 95 % confidence."
)

_DAMPER = (
    "bounces counted when the arm is let go. It may settle "
    f"{'once' if ALLOWED_BOUNCES == 1 else f'{ALLOWED_BOUNCES} times'}; more means a weak damper "
    "(common practice, no source)."
)

_NAMES = {
    "nozzle": ("nozzle", "never caught"),
    "chain": ("chain", "never measured"),
    "belt": ("belt", "never measured"),
    "cloth": ("cloth point", "never measured"),
    "damper": ("damper", "never checked"),
}


def wear_page(ledger: Ledger, found: Wear, *, in_full: bool = False) -> Page:
    """Depends on the sources only: it says dates, never how far off they are.

    Pictures and earlier readings stand for what is past its limit, near it or moves at a new pace;
    `in_full` for everything found.
    """
    blocks: list[Block] = [
        Paragraph(
            "The last reading of everything that wears, its limit and a verdict. ± U holds the "
            "true value in about 95 of 100 cases. A verdict is given where the chance of being on "
            "one side is at least 95 %; otherwise it says cannot tell."
        ),
        pointer("Wear"),
        Caution(_CAUTION),
        Heading(2, "Needs work"),
        _to_see_to(ledger, found),
        *_last_readings(ledger, found),
        *details(ledger, found, in_full=in_full),
        *_never(ledger, found),
    ]
    return Page(path=PATH, title="Nozzles, chain, belts, cloth and dampers", blocks=blocks)


def _to_see_to(ledger: Ledger, found: Wear) -> Block:
    said: list[Spans] = [
        (
            Strong(item.judgement.value.capitalize()),
            ": ",
            words.place_link(ledger, item.place),
            f", read {words.day_words(item.last.entry.day)}",
        )
        for item in found.items
        if item.needs_work
    ]
    said.extend(
        (
            Strong(damper.verdict.value.capitalize()),
            ": ",
            words.place_link(ledger, damper.place),
            f", checked {words.day_words(damper.last.day)}",
        )
        for damper in found.dampers
        if damper.verdict is DamperVerdict.BOUNCES
    )
    return Bullets(said) if said else Paragraph("No last reading is beyond its limit.")


def _last_readings(ledger: Ledger, found: Wear) -> list[Block]:
    judged = (
        ("Nozzles", _NOZZLE, found.nozzles),
        ("Chain", _CHAIN, found.chains),
        ("Belts", _BELT, found.belts),
        ("Cloth", _CLOTH, found.cloth),
        ("Dampers", _DAMPER, found.dampers),
    )
    how: list[Spans] = [(Strong(title), f": {method}") for title, method, items in judged if items]
    if not how:
        return []
    return [
        Heading(2, "Last readings"),
        Paragraph(
            "Limit reached is the likeliest day at the pace of the readings, and a month where "
            "they are vague. A date needs readings on five days. Earlier readings stand on the "
            "page of the machine."
        ),
        last_readings_table(ledger, found),
        Heading(3, "How each is judged"),
        Bullets(how),
    ]


def _never(ledger: Ledger, found: Wear) -> list[Block]:
    if not found.never:
        return []
    items = []
    for kind, places in found.never.items():
        noun, what = _NAMES[kind]
        machines = dict.fromkeys(ledger.machines[place.machine].name for place in places)
        items.append(f"{words.count_words(len(places), noun)} {what}: {'; '.join(machines)}")
    return [Heading(2, "Without a reading"), Bullets(items)]

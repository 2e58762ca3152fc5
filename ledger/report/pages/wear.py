"""Wear: nozzles one by one, chain, belts, cloth and dampers, against their limits."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from ledger.assess.drift_limits import FORCE_PER_NORMAL
from ledger.assess.drift_outlook import Crossing
from ledger.assess.wear import (
    ALLOWED_BOUNCES,
    DamperItem,
    NozzleGroup,
    Wear,
    WearItem,
)
from ledger.compute.rounding import fixed
from ledger.compute.spray import SOUND_SHARE
from ledger.compute.strip_wear import StripForecast
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
    Picture,
    Spans,
    Strong,
    Table,
    left,
    right,
)
from ledger.report.pages import methods
from ledger.report.pages.drift_words import outlook_words, when_words
from ledger.report.pages.wear_plot import cloth_plot, nozzle_plot, series_plot
from ledger.report.pages.wear_tables import catch_table, item_table, latest_table, share_table
from ledger.report.pages.wear_words import view_of_item

PATH = "wear.md"

_CAUTION: tuple[Spans, ...] = (
    words.SAFETY[0],
    (
        "Never catch or touch the jet of a high-pressure nozzle: it cuts and injects. Chains and "
        "belts are measured with the drive locked out; a chain keeps its tension when it stands."
    ),
)

_CLOTH = (
    "Strips wear by vehicles washed, so the pace is per thousand vehicles and a quiet season is "
    "not better cloth. The date follows the meter's recent rate, at 95 % confidence."
)

_CHAIN = (
    "Elongation against the new length of as many pitches. The limit is 3 % where the centres can "
    "be adjusted and 1.5 % where they are fixed (chain makers' pages, after ASME B29.1); the "
    "maker's own limit comes first."
)

_BELT = (
    "A belt should give 1/64 of its span in the middle (TM 5-4310-339-15), under a force between "
    "the maker's normal and half as much again. The force noted is taken as the middle of that "
    f"range, {words.number_words(FORCE_PER_NORMAL)} times normal (common practice, no source). A "
    "belt just fitted is set tighter to run in."
)

_DAMPER = (
    "Bounces counted when the arm is let go. It may settle "
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


@dataclass(frozen=True, slots=True, kw_only=True)
class _Dated:
    """When the limit of a point is reached at its pace: the day to sort by, and its words."""

    on: date
    about: str
    item: WearItem


def wear_page(ledger: Ledger, found: Wear) -> Page:
    """Depends on the sources only: it says dates, never how far off they are."""
    blocks: list[Block] = [
        Paragraph(
            "The last reading of everything that wears, its limit and a verdict. ± U holds the "
            "true value in about 95 of 100 cases. A verdict is given where the chance of being on "
            "one side is at least 95 %; otherwise it says cannot tell."
        ),
        methods.pointer("Wear"),
        Caution(_CAUTION),
        Heading(2, "Needs work"),
        _to_see_to(ledger, found),
        *_next(ledger, found),
        *_nozzles(ledger, found.nozzles),
        *_items(ledger, "Chain", _CHAIN, found.chains),
        *_items(ledger, "Belts", _BELT, found.belts),
        *_cloth(ledger, found),
        *_dampers(ledger, found.dampers),
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


def _next(ledger: Ledger, found: Wear) -> list[Block]:
    """What is reached by date, the soonest first."""
    dated: list[_Dated] = []
    for item in found.items:
        outlook = item.result.outlook
        match outlook:
            case Crossing(on=date() as on):
                about = when_words(on, outlook.earliest, outlook.latest)
            case StripForecast(reached_on=date() as on):
                about = when_words(on, outlook.earliest_on, outlook.latest_on)
            case _:
                continue
        dated.append(_Dated(on=on, about=about, item=item))
    if not dated:
        return []
    dated.sort(key=lambda one: one.on)
    passed = [one for one in dated if one.on <= one.item.last.entry.day]
    ahead = [one for one in dated if one.on > one.item.last.entry.day]
    blocks: list[Block] = [Heading(2, "Limits by date")]
    if passed:
        blocks.extend((Heading(3, "Passed by the last reading"), _dated_table(ledger, passed)))
    if ahead:
        blocks.extend((Heading(3, "Ahead of the last reading"), _dated_table(ledger, ahead)))
    return blocks


def _dated_table(ledger: Ledger, dated: Sequence[_Dated]) -> Table:
    return Table(
        (left("About"), left("Where"), left("What"), left("Outlook")),
        [
            (
                one.about,
                words.place_link(ledger, one.item.place),
                one.item.result.series.kind.name,
                outlook_words(one.item.result, view_of_item(one.item, ledger.site)),
            )
            for one in dated
        ],
    )


def _nozzles(ledger: Ledger, groups: Sequence[NozzleGroup]) -> list[Block]:
    if not groups:
        return []
    low, high = (fixed(100 * share, 0) for share in (SOUND_SHARE.low, SOUND_SHARE.high))
    blocks: list[Block] = [
        Heading(2, "Nozzles"),
        Paragraph(
            "Caught flow, carried to the nozzle's rated pressure by the root of the pressures, as "
            f"a share of a new one. {low} to {high} % is sound, above is worn, below is clogged. "
            "Each nozzle is judged alone, for a clogged one hides wear in an average."
        ),
    ]
    for group in groups:
        blocks.extend(
            (
                Heading(3, ledger.machines[group.machine].name),
                Paragraph(_average_words(ledger, group)),
                catch_table(ledger, group),
                Picture(f"plots/nozzles-{group.machine}.svg", nozzle_plot(ledger, group)),
                share_table(ledger, group),
            )
        )
    return blocks


def _average_words(ledger: Ledger, group: NozzleGroup) -> str:
    said = f"On average {fixed(100 * group.mean_share, 0)} % of new"
    if not group.hides:
        return f"{said}."
    faulty = words.in_words(
        [
            f"{words.point_words(ledger, item.place)} ({item.judgement.value})"
            for item in group.items
            if item.needs_work
        ]
    )
    return f"{said}: the average looks sound and hides {faulty}."


def _items(ledger: Ledger, title: str, method: str, items: Sequence[WearItem]) -> list[Block]:
    if not items:
        return []
    blocks: list[Block] = [Heading(2, title), Paragraph(method), item_table(ledger, items)]
    for item in items:
        blocks.extend(
            (
                Heading(3, ledger.place_name(item.place)),
                Picture(f"plots/wear-{item.result.series.ident}.svg", series_plot(ledger, item)),
                latest_table(ledger, item, None),
            )
        )
    return blocks


def _cloth(ledger: Ledger, found: Wear) -> list[Block]:
    if not found.cloth:
        return []
    blocks: list[Block] = [
        Heading(2, "Cloth"),
        Paragraph(_CLOTH),
        item_table(ledger, found.cloth),
    ]
    for item in found.cloth:
        path = f"plots/wear-{item.result.series.ident}.svg"
        plot = (
            cloth_plot(ledger, item, found.vehicles)
            if len(found.vehicles.days) > 1
            else series_plot(ledger, item)
        )
        blocks.extend(
            (
                Heading(3, ledger.place_name(item.place)),
                Picture(path, plot),
                latest_table(ledger, item, found.vehicles if found.vehicles.days else None),
            )
        )
    return blocks


def _dampers(ledger: Ledger, dampers: Sequence[DamperItem]) -> list[Block]:
    if not dampers:
        return []
    rows: list[tuple[Spans, ...]] = [
        (
            words.place_link(ledger, damper.place),
            words.day_words(damper.last.day),
            str(damper.last.readings.bounces),
            _damper_verdict(damper),
            str(len(damper.readings)),
            str(max(entry.readings.bounces or 0 for entry in damper.readings)),
            words.entry_link(ledger, damper.last.ref),
        )
        for damper in dampers
    ]
    return [
        Heading(2, "Dampers"),
        Paragraph(_DAMPER),
        Table(
            (
                left("Where"),
                left("Checked"),
                right("Bounces"),
                left("Verdict"),
                right("Checks"),
                right("Most ever"),
                left("Entry"),
            ),
            rows,
        ),
    ]


def _damper_verdict(damper: DamperItem) -> str:
    match damper.verdict:
        case None:
            return "renewed since, not checked yet"
        case DamperVerdict.GOOD:
            return "good"
        case DamperVerdict.BOUNCES:
            return damper.verdict.value


def _never(ledger: Ledger, found: Wear) -> list[Block]:
    if not found.never:
        return []
    items = []
    for kind, places in found.never.items():
        noun, what = _NAMES[kind]
        machines = dict.fromkeys(ledger.machines[place.machine].name for place in places)
        items.append(f"{words.count_words(len(places), noun)} {what}: {'; '.join(machines)}")
    return [Heading(2, "Without a reading"), Bullets(items)]

"""Checked documents become one frozen ledger; broken links become diagnostics."""

from collections.abc import Iterable
from collections.abc import Set as AbstractSet
from functools import cache
from pathlib import Path
from zoneinfo import TZPATH, ZoneInfo, available_timezones

from ledger.files.diagnostics import Diagnostic
from ledger.files.document import Document
from ledger.files.paths import Kind, Source
from ledger.files.survey import content_hash
from ledger.model.build_machine import build_machine, build_setpoints
from ledger.model.build_site import build_instrument, build_site
from ledger.model.build_task import build_task
from ledger.model.build_visit import Surroundings, build_visit
from ledger.model.consistency import check_consistency
from ledger.model.ledger import Ledger
from ledger.model.links import check_links
from ledger.model.problems import Faults, Problems, name_meant
from ledger.model.quantities import filled
from ledger.model.references import EntryRef
from ledger.model.renames import with_names_of_today
from ledger.model.site import Part, Site
from ledger.model.visits import Entry, Visit


def build_ledger(
    documents: Iterable[Document],
    unread: Iterable[Source] = (),
    refused: Iterable[Document] = (),
    photos: AbstractSet[str] = frozenset(),
) -> tuple[Ledger | None, tuple[Diagnostic, ...]]:
    """The ledger of documents that have passed their schemas, and what is wrong between them.

    It is None only where there is no usable site.yaml.

    Every link that leads nowhere is reported, and what holds it is left out, so that one run
    shows all of them. `refused` are the documents that did not pass, `unread` the files of which
    no document could be made: neither is part of the ledger, and a link to one is not reported.
    `photos` are the paths of the pictures there are.
    """
    sound, unfit = list(documents), list(refused)
    problems = Problems([one for one in sound if one.kind is not Kind.VISIT])
    sound, unfit = with_names_of_today(sound, unfit, problems)
    check_links(sound, unfit, unread, photos, problems)
    of_kind: dict[Kind, list[Document]] = {kind: [] for kind in Kind}
    for document in sorted(sound, key=lambda document: document.ident):
        of_kind[document.kind].append(document)
    site = _site(of_kind[Kind.SITE], problems)
    if site is None:
        return None, tuple(problems.kept())
    built = {
        d.ident: build_machine(d.ident, d.value, site.in_service) for d in of_kind[Kind.MACHINE]
    }
    machines = dict(sorted(built.items(), key=lambda item: (item[1].station, item[0])))
    tasks = {d.ident: build_task(d, site, machines, problems) for d in of_kind[Kind.TASK]}
    around = Surroundings(site=site, machines=machines, tasks=tasks)
    visits = [build_visit(d, around, problems) for d in of_kind[Kind.VISIT]]
    visits.sort(key=lambda visit: (visit.when, visit.ident))
    digests = sorted(one.digest for one in sound if one.kind is not Kind.VISIT)
    ledger = Ledger(
        site=site,
        machines=machines,
        tasks=tasks,
        setpoints={d.ident: build_setpoints(d, site) for d in of_kind[Kind.SETPOINTS]},
        parts={d.ident: filled(Part, d.value, ident=d.ident) for d in of_kind[Kind.PART]},
        instruments={d.ident: build_instrument(d.ident, d.value) for d in of_kind[Kind.INSTRUMENT]},
        visits=tuple(visits),
        corrections=_linked_corrections(visits),
        surroundings=content_hash("".join(digests).encode()),
    )
    check_consistency(ledger, {document.path: document for document in sound}, problems)
    return ledger, tuple(problems.kept())


def _site(documents: list[Document], problems: Problems) -> Site | None:
    for document in documents:
        zone = document.value["time_zone"]
        faults = problems.of(document)
        _check_days(faults)
        if _is_time_zone(zone):
            return build_site(document.value, ZoneInfo(zone))
        faults.add(
            ("time_zone",),
            rule="unknown-time-zone",
            message=f"there is no time zone `{zone}`",
            expected="a name of the IANA time zone database",
            remedy="use an IANA name such as America/Chicago",
            nearest=name_meant(zone, _time_zones()),
        )
    return None


def _is_time_zone(name: str) -> bool:
    """Whether the time zone database has it, mostly without a walk through all of its folders."""
    area, _, place = name.partition("/")
    # Listed, as a disk may take one spelling for another.
    for folder in (Path(top, area) for top in TZPATH if place and area not in _NO_AREAS):
        file = folder / place
        if file in folder.glob("*") and file.is_file():
            with file.open("rb") as opened:
                return opened.read(4) == b"TZif"
    return name in _time_zones()


# Folders of the database that hold all of it once more.
_NO_AREAS = frozenset({"posix", "right"})


@cache
def _time_zones() -> frozenset[str]:
    # Asked for once: the folders of the database are walked each time.
    return frozenset(available_timezones())


def _check_days(faults: Faults) -> None:
    keys = faults.document.value
    opened, begins = keys["in_service"], keys.get("record_begins", keys["in_service"])
    if begins < opened:  # ISO dates sort as text
        faults.add(
            ("record_begins",),
            rule="ends-before-start",
            message=f"the record begins on {begins}, before the site opened on {opened}",
            expected=f"{opened} or later",
            remedy="correct one of the two days",
        )
    for index, closure in enumerate(keys.get("closures", ())):
        if closure.get("to", closure["from"]) < closure["from"]:
            faults.add(
                ("closures", index, "to"),
                rule="ends-before-start",
                message=f"the closure ends on {closure['to']}, before it begins",
                expected=f"{closure['from']} or later",
                remedy="swap the two days, or correct the year",
            )


def _linked_corrections(visits: Iterable[Visit]) -> dict[EntryRef, Entry]:
    """The correction of each corrected entry, the first where there are two.

    Only a correction that comes after its original counts, so that a chain always ends.
    """
    found: dict[EntryRef, Entry] = {}
    corrected = {entry.content.corrects for visit in visits for entry in visit.entries} - {None}
    before: set[EntryRef] = set()
    for entry in (one for visit in visits if corrected for one in visit.entries):
        if entry.corrects in before:
            found.setdefault(entry.corrects, entry)
        if entry.ref in corrected:
            before.add(entry.ref)
    return found

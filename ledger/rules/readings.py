"""Readings that make no physical sense, and counts too short to tell anything."""

from collections.abc import Mapping
from datetime import date

from ledger.compute.band import Verdict
from ledger.files.document import Document
from ledger.model.ledger import Ledger
from ledger.model.machines import ChainRating, ClothRating, NozzleRating
from ledger.model.problems import Problems
from ledger.model.readings import CATCH, CHAIN_LENGTH, STRIP, TURNING
from ledger.model.visits import Entry, PassCount
from ledger.upkeep.speeds.found import advice, speed_results

SHORT_COUNT_S = 15.0
"""A hand count below this has U of 4 r/min or more (JCGM 100; see compute.speed)."""


def reading_warnings(
    ledger: Ledger, documents: Mapping[str, Document], _as_of: date, problems: Problems
) -> None:
    """Each standing reading against physics, against its rating and against its band."""
    timing = ledger.site.policy.timing_u_s
    for result in speed_results(ledger):
        entry = result.entry
        document = documents[ledger.path_of_visit[entry.ref.visit]]
        pointer = ("entries", entry.ref.number - 1)
        plausible = ledger.machines[result.machine].plausible_rpm
        if result.speed is None:
            problems.warning(
                document,
                pointer,
                rule="no-speed",
                message=f"these numbers give no speed: {result.flaw}",
                expected="a count or time that a turning shaft can give",
                remedy="read again, and correct the entry",
            )
        elif plausible and not plausible[0] <= result.speed.rpm <= plausible[1]:
            problems.warning(
                document,
                pointer,
                rule="implausible-reading",
                message=f"{result.speed.rpm:.4g} r/min is no speed of such a shaft",
                expected=f"{plausible[0]:g} to {plausible[1]:g} r/min",
                remedy="look at the count, the seconds and passes_per_turn",
            )
        elif (
            result.verdict is Verdict.CANNOT_TELL
            and isinstance(entry.speed, PassCount)
            and entry.speed.seconds < SHORT_COUNT_S
        ):
            problems.warning(
                document,
                (*pointer, "seconds"),
                rule="count-too-short",
                message=(
                    f"{entry.speed.passes} passes in {entry.speed.seconds:g} s are "
                    f"{result.speed.rpm:.3g} ± {result.speed.expanded():.2g} r/min, "
                    "which cannot tell whether it is in band"
                ),
                expected="a longer count",
                remedy=advice(result, timing_u_s=timing) or "count for 60 s",
            )
    for entry in ledger.standing:
        _one_point(documents[ledger.path_of_visit[entry.ref.visit]], entry, problems)
        _against_rating(ledger, documents, entry, problems)


def _one_point(document: Document, entry: Entry, problems: Problems) -> None:
    """A task done on a whole machine stands for all its points, but a reading is of one."""
    if len(entry.places) < 2 or entry.readings.by_word.keys() <= {TURNING.word}:
        return
    problems.warning(
        document,
        ("entries", entry.ref.number - 1, "at"),
        rule="which-point",
        message=(
            f"the entry stands for {len(entry.places)} points, but its reading is of one; "
            f"it is taken for `{entry.places[0]}`"
        ),
        expected="the point that was read",
        remedy="name the point in `at`, with an entry for each point",
    )


def _against_rating(
    ledger: Ledger, documents: Mapping[str, Document], entry: Entry, problems: Problems
) -> None:
    point = ledger.point(entry.places[0]) if entry.places else None
    rating = point.rating if point else None
    said = ""
    readings = entry.readings
    match rating:
        case ChainRating(pitch_mm=pitch_mm) if (chain := readings[CHAIN_LENGTH]) is not None:
            ratio = chain.length_mm / chain.pitches / pitch_mm
            if not 0.98 <= ratio <= 1.10:
                said = f"{100 * (ratio - 1):.3g} % longer than new is no chain elongation"
        case NozzleRating(flow_lpm=flow_lpm) if (catch := readings[CATCH]) is not None:
            caught = 60 * catch.volume_l / catch.seconds
            if caught > 4 * flow_lpm:
                said = f"{caught / flow_lpm:.2g} times the nozzle's own flow was caught"
        case ClothRating(new_length_mm=new_mm) if (length_mm := readings[STRIP]) is not None:
            if length_mm > 1.1 * new_mm:
                said = f"strips of {length_mm:.4g} mm are longer than new ones"
        case _:
            pass
    if said:
        problems.warning(
            documents[ledger.path_of_visit[entry.ref.visit]],
            ("entries", entry.ref.number - 1),
            rule="implausible-reading",
            message=said,
            expected="a reading that the part can give",
            remedy="measure again, and mind the unit in the key",
        )

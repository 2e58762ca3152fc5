"""Readings that make no physical sense, and counts too short to tell anything."""

from ledger.compute.band import Verdict
from ledger.compute.wear import WearVerdict
from ledger.model.machines import ChainRating, ClothRating, NozzleRating
from ledger.model.readings import CATCH, CHAIN_LENGTH, STRIP, TURNING
from ledger.model.visits import Entry, PassCount
from ledger.rules.site_check import SiteCheck
from ledger.upkeep.drift.series import chain_wear
from ledger.upkeep.instruments.found import doubts_of, instrument_states
from ledger.upkeep.speeds.found import advice, speed_results

SHORT_COUNT_S = 15.0
"""A hand count below this has U of 4 r/min or more (JCGM 100; see compute.speed)."""


def reading_warnings(check: SiteCheck) -> None:
    """Each standing reading against physics, against its rating and against its band."""
    ledger = check.ledger
    timing = ledger.site.policy.timing_u_s
    for result in speed_results(ledger):
        entry = result.entry
        plausible = ledger.machines[result.machine].plausible_rpm
        if result.speed is None:
            check.warn_of_entry(
                entry,
                rule="no-speed",
                message=f"these numbers give no speed: {result.flaw}",
                expected="a count or time that a turning shaft can give",
                remedy="read again, and correct the entry",
            )
        elif plausible and not plausible[0] <= result.speed.rpm <= plausible[1]:
            check.warn_of_entry(
                entry,
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
            check.warn_of_entry(
                entry,
                "seconds",
                rule="count-too-short",
                message=(
                    f"{entry.speed.passes} passes in {entry.speed.seconds:g} s are "
                    f"{result.speed.rpm:.3g} ± {result.speed.expanded():.2g} r/min, "
                    "which cannot tell whether it is in band"
                ),
                expected="a longer count",
                remedy=advice(result, timing_u_s=timing) or "count for 60 s",
            )
    for state in instrument_states(ledger, check.as_of):
        if state.overdue_since is not None:
            check.warn(
                f"instruments/{state.instrument.ident}.yaml",
                ("checks",),
                rule="instrument-overdue",
                message=f"{state.instrument.name} was due for its check by {state.overdue_since}",
                expected="a check in time, or another instrument",
                remedy="have it checked and put the check under `checks`",
            )
    for entry in ledger.detailed:
        for doubt in doubts_of(ledger, entry):
            check.warn_of_entry(
                entry,
                rule="instrument-in-doubt",
                message=f"{doubt}, and this was read with it",
                expected="an instrument within its limits and in time",
                remedy="read again with one, and judge what was decided on this reading",
            )
        _one_point(check, entry)
        _against_rating(check, entry)


def _one_point(check: SiteCheck, entry: Entry) -> None:
    """A task done on a whole machine stands for all its points, but a reading is of one."""
    if len(entry.places) < 2 or entry.readings.by_word.keys() <= {TURNING.word}:
        return
    check.warn_of_entry(
        entry,
        "at",
        rule="which-point",
        message=(
            f"the entry names {len(entry.places)} points, but one reading is of one point; "
            f"it is counted for `{entry.places[0]}`"
        ),
        expected="the point that was read",
        remedy="name the point in `at`, with an entry for each point",
    )


def _against_rating(check: SiteCheck, entry: Entry) -> None:
    point = check.ledger.point(entry.places[0]) if entry.places else None
    rating = point.rating if point else None
    doubt = ""
    readings = entry.readings
    match rating:
        case ChainRating() if (chain := readings[CHAIN_LENGTH]) is not None:
            found = chain_wear(chain, rating)
            if found.verdict is WearVerdict.TOO_SHORT or found.elongation_percent > 10:
                doubt = f"{found.elongation_percent:.3g} % longer than new is no chain elongation"
        case NozzleRating(flow_lpm=flow_lpm) if (catch := readings[CATCH]) is not None:
            caught = 60 * catch.volume_l / catch.seconds
            if caught > 4 * flow_lpm:
                doubt = f"{caught / flow_lpm:.2g} times the nozzle's own flow was caught"
        case ClothRating(new_length_mm=new_mm) if (length_mm := readings[STRIP]) is not None:
            if length_mm > 1.1 * new_mm:
                doubt = f"strips of {length_mm:.4g} mm are longer than new"
    if doubt:
        check.warn_of_entry(
            entry,
            rule="implausible-reading",
            message=doubt,
            expected="a reading that the part can give",
            remedy="measure again, and check the unit in the key",
        )

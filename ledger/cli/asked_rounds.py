"""Rounds that a phone sent, held against the places that its page asked about."""

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any

from ledger.cli.command import OpenSite
from ledger.history.git import GitProblem
from ledger.history.repository import open_repository, resolve
from ledger.model.ledger import Ledger
from ledger.pocket.fill import DAYS
from ledger.proof.sites import site_at
from ledger.upkeep.due.rounds import asked_about, asked_of, list_of
from ledger.values import dataclass, field


@dataclass(slots=True, kw_only=True)
class Rounds:
    """What is said of the rounds of a visit, why they cannot be filed, and whether some was cut."""

    said: list[str] = field(default_factory=list)
    fault: str = ""
    is_cut: bool = False


def hold_rounds(
    site: OpenSite, ledger: Ledger, entries: Sequence[dict[str, Any]], day: date, *, may_cut: bool
) -> Rounds:
    """Where the files name other places than a round asked about, the page's commit tells which.

    What has come since is left out of the round where that is allowed, as nobody looked at it.
    """
    rounds = Rounds()
    for claim in entries:
        if "in_order" not in claim or not ledger.tasks.keys() >= {*claim["tasks"]}:
            continue
        count, digits = list_of(ledger, claim["tasks"], day)
        if (count, digits) == (claim["of"], claim.get("list", digits)):
            continue
        of = f"its round was asked of {claim['of']} places"
        then, source = _source(site, claim)
        # A page serves for some days.
        days = [day - timedelta(days=ago) for ago in range(DAYS)]
        asked = None if then is None else asked_about(then, claim, days)
        if asked is None:
            other = f"name {count}" if count != claim["of"] else "name others"
            rounds.fault = (
                f"{of}, and the files of this site {other}; {source}: "
                "make the pocket page anew, and walk the round again with it"
            )
            break
        left = set(claim.get("except", ()))
        new = {
            place
            for task in claim["tasks"]
            for place in asked_of(ledger, task, day)
            if (task, place) not in asked and not left & {place, place.partition("/")[0]}
        }
        since = ", ".join(sorted(new)) or "nothing"
        if new and not may_cut:
            rounds.fault = (
                f"{of} {source}, and not of {since}: give what was added its `in_service` in "
                "equipment/, or say --accept-changed, and the round leaves it out"
            )
            break
        if new:
            claim["except"] = [*claim.get("except", ()), *sorted(new)]
            rounds.is_cut = True
        rounds.said.append(f"{of} {source}; left out as added since: {since}")
    return rounds


def _source(site: OpenSite, claim: dict[str, Any]) -> tuple[Ledger | None, str]:
    """The ledger of the page's commit, and how it is named; without one, why."""
    commit = claim.get("commit", "")
    if not commit:
        return None, "it does not say of which commit its page was made"
    try:
        repository = open_repository(site.root)
        then = site_at(repository, resolve(repository, commit)).loaded.ledger
    except GitProblem as problem:
        return None, f"commit {commit} of its page cannot be read here ({problem.message})"
    return then, f"by commit {commit}"

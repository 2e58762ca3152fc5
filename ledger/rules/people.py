"""Who did what, and whether the site says that they may."""

from collections.abc import Sequence
from itertools import product

from ledger.files.names import SITE_FILE
from ledger.model.policy import IDENTITY, ApprovalFlaw
from ledger.model.site import Person
from ledger.model.visits import Entry, Visit
from ledger.rules.site_check import SiteCheck


def people_warnings(check: SiteCheck) -> None:
    """Work without the qualification it needs, people not here or hard to tell apart, approvals.

    An address or a key shows who wrote a commit: one that two people have shows neither.
    """
    site = check.ledger.site
    _shared(check)
    for visit in check.ledger.visits:
        people = [site.people[p] for p in (visit.by, *visit.helpers) if p in site.people]
        for index, person in enumerate(people):
            if not person.is_here(visit.day):
                check.warn(
                    visit.path,
                    ("by" if index == 0 and person.ident == visit.by else "with",),
                    rule="person-not-here",
                    message=f"`{person.ident}` was not with the site on {visit.day}",
                    expected="a person who is here that day",
                    remedy="correct the person or the day, or `from` and `until` in site.yaml",
                )
        _visit(check, visit, people)
    needing = {task.ident for task in check.ledger.tasks.values() if task.needs}
    for entry in check.ledger.standing:
        if entry.content.task in needing and entry.did_work:
            _qualified(check, entry)
    _approvals(check)


def _shared(check: SiteCheck) -> None:
    owners: dict[tuple[str, str], str] = {}
    people = check.ledger.site.people.values()
    for person, (field, words_of) in product(people, IDENTITY.items()):
        what = "address" if field == "emails" else "key"
        for at, word in enumerate(words_of(person)):
            other = owners.setdefault((field, word), person.ident)
            if other != person.ident:
                check.warn(
                    SITE_FILE,
                    ("people", person.ident, field, at),
                    rule=f"shared-{what}",
                    message=f"`{other}` has the same {what}, so it proves neither person",
                    expected=f"one that is `{person.ident}`'s own",
                    remedy=f"remove it from one of the two, or give each their own {what}",
                )


def _visit(check: SiteCheck, visit: Visit, people: Sequence[Person]) -> None:
    """A contractor works under a permit, and who returns to service did not do the work."""
    if visit.returned_by in {visit.by, *visit.helpers}:
        check.warn(
            visit.path,
            ("returned_by",),
            rule="returned-by-who-worked",
            message=f"`{visit.returned_by}` did the work and returned it to service",
            expected="a second person",
            remedy="name who looked it over and put it back, or leave the key out",
        )
    contractor = next((one for one in people if "contractor" in one.roles), None)
    tasks = (check.ledger.tasks.get(entry.task) for entry in visit.entries)
    if contractor and not visit.permit and any(task and task.needs for task in tasks):
        check.warn(
            visit.path,
            ("by",),
            rule="contractor-without-permit",
            message=f"`{contractor.ident}` is a contractor, and the visit names no permit",
            expected="the number of the permit the work was done under",
            remedy="write it in `permit`",
        )


def _qualified(check: SiteCheck, entry: Entry) -> None:
    ledger = check.ledger
    # Who corrects an entry need not have done the work, and may name who did.
    first = ledger.origin(entry)
    names = {entry.by, *entry.helpers, first.by, *first.helpers}
    people = (ledger.site.people[name] for name in names if name in ledger.site.people)
    needs = ledger.tasks[entry.task].needs
    lacking = needs.difference(*(one.qualified_on(entry.day, names) for one in people))
    if lacking:
        missing = ", ".join(sorted(lacking))
        check.warn_of_entry(
            entry,
            "task",
            rule="not-qualified",
            message=f"nobody of this visit was qualified for {missing} on that day",
            expected=f"a person qualified for {missing}",
            remedy="name who did it in `by` or `with`, or correct `qualified` or `training` in "
            "site.yaml",
        )


FLAWS = {
    ApprovalFlaw.SELF_APPROVED: (
        "approves their own proposal",
        "a second person, as the site's policy asks",
        "let somebody else who may approve do so",
    ),
    ApprovalFlaw.APPROVER_NOT_HERE: (
        "was not with the site on {day}",
        "an approver who is here that day",
        "correct `from` and `until` in site.yaml, or have somebody who was here then approve it",
    ),
    ApprovalFlaw.MAY_NOT_APPROVE: (
        "is not marked to approve settings",
        "a person with `approves: [setpoints]`",
        (
            "correct `approves` in site.yaml (a person who left keeps it, and gets `until`), or "
            "have somebody who is marked approve it"
        ),
    ),
}

"""What is wrong, what was expected, and the remedy. That nobody knows an approver is an error."""

_AGAIN = "once filed, this needs the same change again at the end of the file"


def _approvals(check: SiteCheck) -> None:
    for drive in check.ledger.setpoints.values():
        standing = {change.number for change in drive.pending_claims}
        for change in drive.claims:
            for flaw in (flaw for flaw in change.flaws if flaw in FLAWS):
                what, expected, remedy = FLAWS[flaw]
                what = what.format(day=change.approval_day)
                check.warn(
                    drive.path,
                    (change.number - 1, "approved_by"),
                    rule=flaw.value,
                    message=f"`{change.approved_by}` {what}: this approval does not count",
                    expected=expected,
                    remedy=f"{remedy}; {_AGAIN}"
                    if change.number in standing
                    else "nothing more to do: a later change has been approved properly since",
                )

"""Who did what, and whether the site says that they may."""

from collections.abc import Mapping
from datetime import date

from ledger.model.ledger import Ledger
from ledger.model.problems import Problems
from ledger.model.visits import Entry
from ledger.source.document import Document


def people_warnings(
    ledger: Ledger, documents: Mapping[str, Document], _as_of: date, problems: Problems
) -> None:
    """Work without the qualification it needs, people who are not here, approvals."""
    site = ledger.site
    for visit in ledger.visits:
        document = documents[visit.path]
        people = [site.people[p] for p in (visit.by, *visit.helpers) if p in site.people]
        for index, person in enumerate(people):
            if not person.is_here(visit.day):
                problems.warning(
                    document,
                    ("by",) if index == 0 and person.ident == visit.by else ("with",),
                    rule="person-not-here",
                    message=f"`{person.ident}` was not with the site on {visit.day}",
                    expected="a person who is here that day",
                    remedy="mend the person or the day, or `from` and `until` in site.yaml",
                )
    for entry in ledger.standing:
        _qualified(ledger, documents[ledger.path_of_visit[entry.ref.visit]], entry, problems)
    _approvals(ledger, documents, problems)


def _qualified(ledger: Ledger, document: Document, entry: Entry, problems: Problems) -> None:
    task = ledger.tasks.get(entry.task)
    if task is None or not entry.did_work:
        return
    # Who corrects an entry need not have done the work, and may name who did.
    first = ledger.origin(entry)
    names = {entry.by, *entry.helpers, first.by, *first.helpers}
    people = (ledger.site.people[name] for name in names if name in ledger.site.people)
    lacking = task.needs.difference(*(person.qualified for person in people))
    if lacking:
        missing = ", ".join(sorted(lacking))
        problems.warning(
            document,
            ("entries", entry.ref.number - 1, "task"),
            rule="not-qualified",
            message=f"nobody of this visit is marked qualified for {missing}",
            expected=f"a person qualified for {missing}",
            remedy="name who did it in `by` or `with`, or mend `qualified` in site.yaml",
        )


def _approvals(ledger: Ledger, documents: Mapping[str, Document], problems: Problems) -> None:
    people = ledger.site.people
    for drive in ledger.setpoints.values():
        for change in drive.changes:
            approver = people.get(change.approved_by)
            if approver is None:
                continue
            pointer = (change.number - 1, "approved_by")
            if ledger.site.policy.approver_differs and change.approved_by == change.proposed_by:
                problems.warning(
                    documents[drive.path],
                    pointer,
                    rule="self-approved",
                    message=f"`{change.approved_by}` approves their own proposal",
                    expected="a second person, as the site's policy asks",
                    remedy="let another person who may approve look at it",
                )
            if "setpoints" not in approver.approves:
                problems.warning(
                    documents[drive.path],
                    pointer,
                    rule="may-not-approve",
                    message=f"`{change.approved_by}` is not marked to approve settings",
                    expected="a person with `approves: [setpoints]`",
                    remedy="let one of them approve, or mend site.yaml",
                )

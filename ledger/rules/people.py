"""Who did what, and whether the site says that they may."""

from collections.abc import Mapping
from datetime import date

from ledger.files.document import Document
from ledger.files.names import SITE_FILE
from ledger.model.ledger import Ledger
from ledger.model.problems import Problems
from ledger.model.setpoints import Change
from ledger.model.site import ApprovalFlaw, Site
from ledger.model.visits import Entry


def people_warnings(
    ledger: Ledger, documents: Mapping[str, Document], _as_of: date, problems: Problems
) -> None:
    """Work without the qualification it needs, people not here or not told apart, approvals.

    Who wrote a commit is told by an address or a key: one that two people have tells neither.
    """
    site = ledger.site
    _shared(site, documents[SITE_FILE], problems)
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
                    remedy="correct the person or the day, or `from` and `until` in site.yaml",
                )
    for entry in ledger.standing:
        _qualified(ledger, documents[ledger.path_of_visit[entry.ref.visit]], entry, problems)
    _approvals(ledger, documents, problems)


def _shared(site: Site, document: Document, problems: Problems) -> None:
    owners: dict[tuple[str, str], str] = {}
    for person in site.people.values():
        # The comment behind a key is no part of it.
        keys = [" ".join(line.split()[:2]) for line in person.signing_keys]
        told = [("emails", at, email.casefold()) for at, email in enumerate(person.emails)]
        told += [("signing_keys", at, key) for at, key in enumerate(keys)]
        for field, at, word in told:
            other = owners.setdefault((field, word), person.ident)
            if other != person.ident:
                what = "address" if field == "emails" else "key"
                problems.warning(
                    document,
                    ("people", person.ident, field, at),
                    rule=f"shared-{what}",
                    message=f"`{other}` has the same {what}, so it proves neither of the two",
                    expected=f"one that is `{person.ident}`'s own",
                    remedy=f"take it away from one of the two, or give each their own {what}",
                )


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
            remedy="name who did it in `by` or `with`, or correct `qualified` in site.yaml",
        )


def _approvals(ledger: Ledger, documents: Mapping[str, Document], problems: Problems) -> None:
    for drive in ledger.setpoints.values():
        standing = {change.number for change in drive.pending_claims}
        for change in drive.claims:
            for flaw in change.flaws:
                if flaw is ApprovalFlaw.UNKNOWN_APPROVER:
                    continue  # an error already: the word leads nowhere
                said, expected, remedy = _of_flaw(change, flaw)
                problems.warning(
                    documents[drive.path],
                    (change.number - 1, "approved_by"),
                    rule=flaw.value,
                    message=f"{said}: this approval does not count",
                    expected=expected,
                    remedy=remedy
                    if change.number in standing
                    else "nothing more to do: a later change has been approved properly since",
                )


def _of_flaw(change: Change, flaw: ApprovalFlaw) -> tuple[str, str, str]:
    """What is wrong, what was expected, and the remedy."""
    approver = change.approved_by
    again = "once filed, that takes the same change again at the end of the file"
    match flaw:
        case ApprovalFlaw.SELF_APPROVED:
            return (
                f"`{approver}` approves their own proposal",
                "a second person, as the site's policy asks",
                f"have another person approve it who may; {again}",
            )
        case ApprovalFlaw.APPROVER_NOT_HERE:
            return (
                f"`{approver}` was not with the site on {change.approval_day}",
                "an approver who is here that day",
                f"correct `from` and `until` in site.yaml, or have one who was approve; {again}",
            )
        case _:
            return (
                f"`{approver}` is not marked to approve settings",
                "a person with `approves: [setpoints]`",
                (
                    "correct `approves` in site.yaml (who has left keeps it, and gets `until`), or "
                    f"have one approve it who is marked; {again}"
                ),
            )

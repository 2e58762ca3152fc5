"""The verdict of an audit in one sentence, with what it leaves open."""

from ledger.proof.audit import Audit, Verdict
from ledger.report import plain


def verdict_words(found: Audit) -> str:
    """The same sentence for the page and for programs."""
    if found.verdict is Verdict.CLEAN and not found.counts.commits:
        return f"Nothing to judge: nothing was committed after {(found.since or '')[:12]}."
    return f"{_judged(found)}{_offences(found)}{_not_compared(found)}."


def _judged(found: Audit) -> str:
    match found.verdict:
        case Verdict.PARTIAL if found.moved_from:
            return (
                f"Partial: the records were moved here from {found.moved_from}, and what was done "
                "to them there was not read"
            )
        case Verdict.PARTIAL:
            return "Partial: this clone does not hold all of history, so no verdict on it"
        case Verdict.FINDINGS:
            return "Not clean"
        case Verdict.CLEAN if found.counts.other_books:
            return "Clean as far as was compared"
        case Verdict.CLEAN:
            return "Clean: no rule of the record is broken in what was read"


def _offences(found: Audit) -> str:
    count = len(found.offences)
    if not count:
        return ""
    commits = {item.commit.oid for item in found.offences if item.commit is not None}
    where = f" in {plain.count_words(len(commits), 'commit')}" if commits else ""
    return f": {plain.count_words(count, 'offence')}{where}"


def _not_compared(found: Audit) -> str:
    count = sum(found.counts.other_books.values())
    was = "was" if count == 1 else "were"
    return f"; {plain.count_words(count, 'book')} of another version {was} not" if count else ""

"""An audit as one page, the verdict and the gravest first, and as plain values for JSON."""

import shlex
from collections.abc import Iterator, Sequence
from datetime import datetime, tzinfo
from itertools import groupby
from typing import Any

from ledger.book.blocks import (
    Block,
    Bullets,
    Code,
    Heading,
    Page,
    Paragraph,
    Spans,
    Strong,
    Table,
    right,
)
from ledger.book.flat import fields_of
from ledger.book.short_words import NONE, format_count, format_person
from ledger.history.commit import Commit
from ledger.history.repository import Remembered
from ledger.history.verification import Outcome
from ledger.proof.audit import Audit, Verdict
from ledger.proof.audit_items import REMEDY, Irregularity, Item, Note
from ledger.proof.records import compared_texts
from ledger.values import dataclass

_GROUPS_SHOWN = 20

_TEXTS_SHOWN = 3

_NAMES_SHOWN = 3

_REMEMBERED = {
    None: (
        "No remembered head was given, so a history rewritten as a whole would not show. Nor would "
        "a merge with its sides swapped, if neither its message nor a recorded audit shows it: "
        "what was on the line before it is then judged as if that merge had brought it."
    ),
    Remembered.HELD: "The head builds on the one remembered.",
    Remembered.REWRITTEN: "The head does NOT build on the one remembered.",
    Remembered.CANNOT_TELL: (
        "This clone cannot show whether the head builds on the one remembered."
    ),
}

WHAT_IT_PROVES = (
    "Names and dates in commits are claims of whoever made them; only a verified signature ties a "
    "commit to a key that site.yaml named before it. The audit proves what changed after it "
    "was committed, in the history that this clone holds. Only a remembered head shows whether "
    "that history is the one of last time. Who proposed a setting is such a claim too, whatever "
    "proof its approval needs. A date set back does not show where nothing else was committed "
    "since. "
    "Whether the files of the head are sound is the work of tunnelbook check."
)


TO_CLOSE = (
    "What is done about an irregularity does not remove it from history. Once it was looked into, "
    "somebody who approves or audits, and who did not make it, may accept it by its id, in square "
    "brackets above. That is an entry of its own; each later audit shows both, and counts only "
    "open ones."
)


def format_verdict(found: Audit) -> str:
    """The same sentence for the page and for programs, with what it leaves open."""
    if found.verdict is Verdict.CLEAN and not found.counts.commits:
        return f"Nothing to judge: nothing was committed after {(found.since or '')[:12]}."
    return f"{_judged(found)}{_irregularities(found)}{_not_compared(found)}."


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
        case Verdict.CLEAN if found.irregularities:
            return "Nothing open: everything found was looked into and accepted"
        case Verdict.CLEAN if found.counts.other_books:
            return "Clean, as far as compared"
        case Verdict.CLEAN:
            return "Clean: no rule of the record is broken in what was read"


def _irregularities(found: Audit) -> str:
    count = len(found.irregularities)
    if not count:
        return ""
    commits = _commit_count(found.irregularities)
    where = f" in {format_count(commits, 'commit')}" if commits else ""
    closed = count - len(found.open)
    accepted = f", {closed:,} of them accepted" if closed and found.open else ""
    return f": {format_count(count, 'irregularity', 'irregularities')}{where}{accepted}"


def _commit_count(items: Sequence[Item]) -> int:
    return len({item.commit.oid for item in items if item.commit is not None})


def _not_compared(found: Audit) -> str:
    count = sum(found.counts.other_books.values())
    was = "was" if count == 1 else "were"
    return f"; {format_count(count, 'book')} of another version {was} not" if count else ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Items of one kind, all of one commit, or all of none."""

    commit: Commit | None
    items: tuple[Item, ...]

    @property
    def about(self) -> str:
        """The one thing that it is about, or the first few by their short names."""
        if len(self.items) == 1:
            return self.items[0].about
        names = list(dict.fromkeys(_short(item.about) for item in self.items if item.about))
        more = len(names) - _NAMES_SHOWN
        return "; ".join(names[:_NAMES_SHOWN]) + (f" and {more:,} more" if more > 0 else "")

    @property
    def words(self) -> str:
        """What was found of all, or else of the first."""
        first = self.items[0].words
        alike = all(item.words == first for item in self.items)
        return first if alike else f"of the first: {first}"


def _short(path: str) -> str:
    """The name of a file without its folders, which for a visit says when and by whom."""
    return path.rpartition("/")[2].replace(".yaml", "")


def _grouped(items: Sequence[Item], *, every: bool) -> list[Group]:
    """One commit's items as one group, in the order they come in; `every` leaves each alone."""
    by_commit: dict[object, list[Item]] = {}
    for number, item in enumerate(items):
        key = number if every or item.commit is None else item.commit.oid
        by_commit.setdefault(key, []).append(item)
    return [Group(commit=one[0].commit, items=tuple(one)) for one in by_commit.values()]


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """When somebody looked, who they are, and by which versions of the programs."""

    at: datetime
    by: str
    tool: str


def audit_page(
    found: Audit, *, every: bool = False, site: str = "", look: Look | None = None
) -> Page:
    """The verdict, irregularities counted gravest first, what was read, then each kind in turn.

    One commit's items of one kind share a line, and long lists end early, unless `every` is
    asked for. `site` is the folder as the reader named it, for the command of next time.
    """
    blocks: list[Block] = [Paragraph(Strong(format_verdict(found)))]
    kinds = [(kind, list(items)) for kind, items in groupby(found.items, lambda item: item.kind)]
    irregularities = [one for one in kinds if isinstance(one[0], Irregularity)]
    notes = [one for one in kinds if isinstance(one[0], Note)]
    if irregularities:
        blocks.append(Heading(2, "Look at these first"))
        blocks.append(_counts("Irregularity, most serious first", irregularities))
    blocks.append(Heading(2, "What was read"))
    blocks.append(Bullets([*_looked(found, look), *_read(found)]))
    place = f" {shlex.quote(site)}" if site else ""
    blocks.extend(_next_time(found, place))
    for kind, items in irregularities:
        blocks.append(Heading(2, kind.value))
        blocks.append(Paragraph(REMEDY[kind]))
        if all(item.closed for item in items):
            blocks.append(Paragraph("All of them were looked into and accepted."))
        blocks.extend(_listed(items, found.site.zone, every=every))
    if found.open:
        blocks.append(Heading(2, "To accept what was looked into"))
        blocks.append(Paragraph(TO_CLOSE))
        ident = found.open[0].ident
        blocks.append(Paragraph(Code(f'tunnelbook audit{place} --accept {ident} --why "..."')))
    if notes:
        blocks.append(Heading(2, "Not irregular, but worth knowing"))
        blocks.append(_counts("Note", notes))
    for kind, items in notes:
        blocks.append(Heading(3, kind.value))
        blocks.extend(_listed(items, found.site.zone, every=every))
    blocks.append(Heading(2, "What an audit proves"))
    blocks.append(Paragraph(WHAT_IT_PROVES))
    return Page(path="audit.md", title=f"Audit of {found.site.name}", blocks=blocks)


def _counts(title: str, kinds: Sequence[tuple[Irregularity | Note, list[Item]]]) -> Table:
    rows: list[tuple[Spans, ...]] = []
    for kind, items in kinds:
        commits = _commit_count(items)
        rows.append((kind.value, f"{len(items):,}", f"{commits:,}" if commits else NONE))
    return Table((title, right("Count"), right("Commits")), rows)


def _looked(found: Audit, look: Look | None) -> Iterator[Spans]:
    """Who looked when and with what, and by which rules, so that the page speaks for itself."""
    if look is not None:
        at = look.at.astimezone(found.site.zone).isoformat(" ", "minutes")
        yield f"Looked at on {at} by {look.by or 'nobody known to git'}, with {look.tool}"
    policy = found.policy
    differs = "needed" if policy.approver_differs else "not needed"
    plan = "" if policy.plan_needs_approval else "not "
    others = "" if policy.filed_for_others else "not "
    yield (
        f"Rules in force at the head: proof of approval {policy.approval_proof.value}; a second "
        f"person {differs}, for a weaker plan {plan}asked for; visits within "
        f"{format_count(policy.entry_within_days, 'working day')}, {others}filed for others"
    )
    if found.recorded is not None:
        record = found.recorded
        who = format_person(record.by, found.site)
        yield (
            f"Last recorded: {record.verdict or 'no verdict'} by {who} on {record.at[:10]}, head ",
            Code(record.head[:12]),
        )


def _read(found: Audit) -> Iterator[Spans]:
    counts = found.counts
    after = "" if found.since is None else f" after {found.since[:12]}"
    yield (
        (
            f"Read: {format_count(counts.commits, 'commit')}{after}, of them "
            f"{format_count(counts.merges, 'merge')}, up to "
        ),
        Code(found.head[:12]),
    )
    yield (
        f"Filed in them: {format_count(counts.visits, 'visit')}, "
        f"{format_count(counts.approvals, 'approval')} of settings"
    )
    signatures = [
        f"{count:,} {outcome}"
        for outcome in Outcome
        if (count := counts.signatures.get(outcome, 0))
    ]
    yield f"Signatures: {', '.join(signatures) or 'none'}"
    if counts.books:
        yield f"Rendered again and compared: {format_count(counts.books, 'book')}"
    for version, count in counts.other_books.items():
        yield f"Not compared, of tunnelbook {version}: {format_count(count, 'book')}"


def _next_time(found: Audit, place: str) -> Iterator[Block]:
    yield Paragraph(
        f"{_REMEMBERED[found.remembered]} Write this head down outside the repository, "
        f"{found.head}, and next time run:"
    )
    yield Paragraph(Code(f"tunnelbook audit{place} --head {found.head}"))


def _listed(items: Sequence[Item], zone: tzinfo, *, every: bool) -> Iterator[Block]:
    groups = _grouped(items, every=every)
    shown = groups if every else groups[:_GROUPS_SHOWN]
    yield Bullets([_line(group, zone) for group in shown])
    if len(groups) > len(shown):
        yield Paragraph((f"And {len(groups) - len(shown):,} more: ", Code("--all"), "."))
    touched = [item for group in groups for item in group.items if item.old_text is not None]
    texts = touched if every else touched[:_TEXTS_SHOWN]
    for item in texts:
        where = f" in {item.commit.oid[:12]}" if item.commit else ""
        yield Heading(4, f"{item.about}{where}")
        yield compared_texts(item.old_text or "", item.new_text)
    if len(touched) > len(texts):
        yield Paragraph((f"The texts of {len(touched) - len(texts):,} more: ", Code("--all"), "."))


def _line(group: Group, zone: tzinfo) -> Spans:
    """Which commit, when and whose; how many, of what, and in which words."""
    commit = group.commit
    about = group.about or (f"“{commit.subject}”" if commit else "")
    text = f"{about}: {group.words}" if about else group.words
    if commit is not None and len(group.items) > 1:
        text = f"{len(group.items):,} of them: {about}. Found {group.words}"
    ids = [item.ident for item in group.items if item.ident and not item.closed]
    closed = next((item.closed for item in group.items if item.closed), "")
    if ids:
        text += f" [{', '.join(ids[:_NAMES_SHOWN])}{', …' if len(ids) > _NAMES_SHOWN else ''}]"
    elif closed:
        text += f" ({closed})"
    if commit is None:
        return text
    name, email, at = commit.author.name, commit.author.email, commit.committer.at
    who = f"{name} <{email}>" if email else name or "nobody named"
    local = None if at is None else at.astimezone(zone)
    when = "" if local is None else f"on {local.isoformat(' ', 'minutes')} "
    return Code(commit.oid[:12]), f" {when}by {who}: {text}"


def audit_rows(found: Audit) -> dict[str, Any]:
    """Every irregularity and note singly, with both texts of every touched record."""
    counts = found.counts
    return {
        "verdict": found.verdict.value,
        "verdict_words": format_verdict(found),
        "head": found.head,
        "since": found.since,
        "remembered_head": None if found.remembered is None else found.remembered.value,
        "moved_from": found.moved_from or None,
        "rules": {
            "approval_proof": found.policy.approval_proof.value,
            **fields_of(found.policy, "approver_differs", "plan_needs_approval"),
            **fields_of(found.policy, "entry_within_days", "filed_for_others"),
            "questions": dict(found.policy.rules),
        },
        "shallow_at": list(found.state.shallow_at),
        "counts": {
            **fields_of(counts, "commits", "merges", "visits", "approvals", "books"),
            "books_of_other_versions": dict(counts.other_books),
            "signatures": {
                outcome.name.lower(): counts.signatures.get(outcome, 0) for outcome in Outcome
            },
            "irregularities": len(found.irregularities),
            "open": len(found.open),
        },
        "irregularities": [_row(item) for item in found.irregularities],
        "notes": [_row(item) for item in found.items if isinstance(item.kind, Note)],
    }


def _row(item: Item) -> dict[str, Any]:
    commit = item.commit
    at = None if commit is None else commit.committer.at
    return {
        "kind": item.kind.name.lower().replace("_", "-"),
        "id": item.ident or None,
        "closed": item.closed or None,
        "title": item.kind.value,
        **fields_of(item, "about", "words"),
        "commit": None
        if commit is None
        else {
            "oid": commit.oid,
            "committed_at": None if at is None else at.isoformat(),
            "author": commit.author.name,
            "email": commit.author.email,
            "subject": commit.subject,
        },
        **fields_of(item, "old_text", "new_text"),
    }

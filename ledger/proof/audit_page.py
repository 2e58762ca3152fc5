"""An audit as one page: the verdict, what to look at first, then each offence and note.

The verdict of an audit in one sentence, with what it leaves open.

An audit as plain names and values, for JSON.
"""

import shlex
from collections.abc import Iterator, Sequence
from datetime import tzinfo
from typing import Any

from ledger.book import words
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
    left,
    right,
)
from ledger.history.repository import Remembered
from ledger.history.verification import Outcome
from ledger.proof.audit import Audit, Verdict
from ledger.proof.audit_items import (
    REMEDY,
    CommitMark,
    Group,
    Item,
    Note,
    Offence,
    commit_count,
    of_each_kind,
)
from ledger.proof.review_page import compared_texts


def format_verdict(found: Audit) -> str:
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
    where = f" in {words.format_count(len(commits), 'commit')}" if commits else ""
    return f": {words.format_count(count, 'offence')}{where}"


def _not_compared(found: Audit) -> str:
    count = sum(found.counts.other_books.values())
    was = "was" if count == 1 else "were"
    return f"; {words.format_count(count, 'book')} of another version {was} not" if count else ""


_GROUPS_SHOWN = 20

_TEXTS_SHOWN = 3


_OUTCOME = {
    Outcome.VERIFIED: "verified",
    Outcome.BAD: "bad",
    Outcome.UNKNOWN_KEY: "by an unknown key",
    Outcome.NOT_HERE: "that cannot be verified here",
}


WHAT_IT_PROVES = (
    "Names and dates in commits are claims of whoever made them; only a verified signature ties a "
    "commit to a key that site.yaml named before it. What the audit proves is what changed after "
    "it was committed, in the history that this clone holds. Whether that history is the one of "
    "last time, only a remembered head tells."
)


def audit_page(found: Audit, *, every: bool = False, site: str = "") -> Page:
    """The verdict, offences counted worst first, what was read, then each kind in turn.

    One commit's items of one kind share a line, and long lists end early, unless `every` is
    asked for. `site` is the folder as the reader named it, for the command of next time.
    """
    blocks: list[Block] = [Paragraph(Strong(format_verdict(found)))]
    kinds = list(of_each_kind(found.items, every=every))
    offences = [(kind, groups) for kind, groups in kinds if isinstance(kind, Offence)]
    notes = [(kind, groups) for kind, groups in kinds if isinstance(kind, Note)]
    if offences:
        blocks.append(Heading(2, "Look at these first"))
        blocks.append(_counts("Offence, the worst first", offences))
    blocks.append(Heading(2, "What was read"))
    blocks.append(Bullets(list(_read(found))))
    blocks.extend(_next_time(found, site))
    for offence, groups in offences:
        blocks.append(Heading(2, offence.value))
        blocks.append(Paragraph(REMEDY[offence]))
        blocks.extend(_listed(groups, found.site.zone, every=every))
    if notes:
        blocks.append(Heading(2, "No offence, but worth knowing"))
        blocks.append(_counts("Note", notes))
    for note, groups in notes:
        blocks.append(Heading(3, note.value))
        blocks.extend(_listed(groups, found.site.zone, every=every))
    blocks.append(Heading(2, "What an audit proves"))
    blocks.append(Paragraph(WHAT_IT_PROVES))
    return Page(path="audit.md", title=f"Audit of {found.site.name}", blocks=blocks)


def _counts(title: str, kinds: Sequence[tuple[Offence | Note, list[Group]]]) -> Table:
    rows: list[tuple[Spans, ...]] = [
        (
            kind.value,
            str(sum(len(group.items) for group in groups)),
            str(commit_count(groups) or words.NONE),
        )
        for kind, groups in kinds
    ]
    return Table((left(title), right("Count"), right("Commits")), rows)


def _read(found: Audit) -> Iterator[Spans]:
    counts = found.counts
    after = "" if found.since is None else f" after {found.since[:12]}"
    yield (
        (
            f"Read: {words.format_count(counts.commits, 'commit')}{after}, of them "
            f"{words.format_count(counts.merges, 'merge')}, up to "
        ),
        Code(found.head[:12]),
    )
    yield (
        f"Filed in them: {words.format_count(counts.visits, 'visit')}, "
        f"{words.format_count(counts.approvals, 'approval')} of settings"
    )
    told = [
        f"{count} {_OUTCOME[outcome]}"
        for outcome in Outcome
        if (count := counts.signatures.get(outcome, 0))
    ]
    yield f"Signatures: {', '.join(told) or 'none'}"
    if counts.books:
        yield f"Rendered again and compared: {words.format_count(counts.books, 'book')}"
    for version, count in counts.other_books.items():
        yield f"Not compared, of tunnelbook {version}: {words.format_count(count, 'book')}"


def _next_time(found: Audit, site: str) -> Iterator[Block]:
    match found.remembered:
        case None:
            said = "No remembered head was given, so a history rewritten as a whole would not show."
        case Remembered.HELD:
            said = "The head builds on the one remembered."
        case Remembered.REWRITTEN:
            said = "The head does NOT build on the one remembered."
        case Remembered.CANNOT_TELL:
            said = "Whether the head builds on the one remembered cannot be told in this clone."
    place = f" {shlex.quote(site)}" if site else ""
    yield Paragraph(
        f"{said} Write this head down outside the repository, {found.head}, and next time run:"
    )
    yield Paragraph(Code(f"tunnelbook audit{place} --head {found.head}"))


def _listed(groups: Sequence[Group], zone: tzinfo, *, every: bool) -> Iterator[Block]:
    shown = groups if every else groups[:_GROUPS_SHOWN]
    yield Bullets([_line(group, zone) for group in shown])
    if len(groups) > len(shown):
        yield Paragraph((f"And {len(groups) - len(shown)} more: ", Code("--all"), "."))
    items = [item for group in groups for item in group.items if item.old_text is not None]
    texts = items if every else items[:_TEXTS_SHOWN]
    for item in texts:
        yield from _texts(item)
    if len(items) > len(texts):
        yield Paragraph((f"The texts of {len(items) - len(texts)} more: ", Code("--all"), "."))


def _line(group: Group, zone: tzinfo) -> Spans:
    """Which commit, when and whose; how many, of what, and in which words."""
    mark = group.commit
    about = group.about or (f"“{mark.subject}”" if mark else "")
    said = f"{about}: {group.words}" if about else group.words
    if mark is None:
        return said
    if len(group.items) > 1:
        said = f"{len(group.items)} of them: {about}. Found {group.words}"
    return Code(mark.oid[:12]), f" {_made(mark, zone)}: {said}"


def _made(mark: CommitMark, zone: tzinfo) -> str:
    who = f"{mark.author} <{mark.email}>" if mark.email else mark.author or "nobody named"
    if mark.at is None:
        return f"by {who}"
    return f"on {mark.at.astimezone(zone):%Y-%m-%d %H:%M} by {who}"


def _texts(item: Item) -> Iterator[Block]:
    where = f" in {item.commit.oid[:12]}" if item.commit else ""
    yield Heading(4, f"{item.about}{where}")
    yield compared_texts(item.old_text or "", item.new_text)


def audit_rows(found: Audit) -> dict[str, Any]:
    """Every offence and note singly, with both texts of every touched record."""
    counts = found.counts
    return {
        "verdict": found.verdict.value,
        "verdict_words": format_verdict(found),
        "head": found.head,
        "since": found.since,
        "remembered_head": None if found.remembered is None else found.remembered.value,
        "moved_from": found.moved_from or None,
        "shallow_at": list(found.state.shallow_at),
        "counts": {
            "commits": counts.commits,
            "merges": counts.merges,
            "visits": counts.visits,
            "approvals": counts.approvals,
            "books": counts.books,
            "books_of_other_versions": dict(counts.other_books),
            "signatures": {
                outcome.name.lower(): counts.signatures.get(outcome, 0) for outcome in Outcome
            },
            "offences": len(found.offences),
        },
        "offences": [_row(item) for item in found.offences],
        "notes": [_row(item) for item in found.items if isinstance(item.kind, Note)],
    }


def _row(item: Item) -> dict[str, Any]:
    mark = item.commit
    return {
        "kind": item.kind.name.lower().replace("_", "-"),
        "title": item.kind.value,
        "about": item.about,
        "words": item.words,
        "commit": None
        if mark is None
        else {
            "oid": mark.oid,
            "committed_at": None if mark.at is None else mark.at.isoformat(),
            "author": mark.author,
            "email": mark.email,
            "subject": mark.subject,
        },
        "old_text": item.old_text,
        "new_text": item.new_text,
    }

"""An audit as one page: the verdict, what to look at first, then each offence and note."""

import shlex
from collections.abc import Iterator, Sequence
from datetime import tzinfo

from ledger.history.state import Remembered
from ledger.history.verification import Outcome
from ledger.proof.audit import Audit
from ledger.proof.audit_groups import Group, commit_count, of_each_kind
from ledger.proof.audit_items import CommitMark, Item, Note, Offence
from ledger.proof.audit_verdict import verdict_words
from ledger.proof.audit_words import REMEDY
from ledger.proof.printed import compared_texts
from ledger.report import plain
from ledger.report.blocks import (
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
    blocks: list[Block] = [Paragraph(Strong(verdict_words(found)))]
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
            str(commit_count(groups) or plain.NONE),
        )
        for kind, groups in kinds
    ]
    return Table((left(title), right("Count"), right("Commits")), rows)


def _read(found: Audit) -> Iterator[Spans]:
    counts = found.counts
    after = "" if found.since is None else f" after {found.since[:12]}"
    yield (
        (
            f"Read: {plain.count_words(counts.commits, 'commit')}{after}, of them "
            f"{plain.count_words(counts.merges, 'merge')}, up to "
        ),
        Code(found.head[:12]),
    )
    yield (
        f"Filed in them: {plain.count_words(counts.visits, 'visit')}, "
        f"{plain.count_words(counts.approvals, 'approval')} of settings"
    )
    told = [
        f"{count} {_OUTCOME[outcome]}"
        for outcome in Outcome
        if (count := counts.signatures.get(outcome, 0))
    ]
    yield f"Signatures: {', '.join(told) or 'none'}"
    if counts.books:
        yield f"Rendered again and compared: {plain.count_words(counts.books, 'book')}"
    for version, count in counts.other_books.items():
        yield f"Not compared, of tunnelbook {version}: {plain.count_words(count, 'book')}"


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

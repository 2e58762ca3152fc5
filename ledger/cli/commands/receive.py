"""`tunnelbook receive`: the visits in a mail, a message or a folder of them become files."""

import argparse
import sys
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ledger.cli.arguments import arg, command, flag
from ledger.cli.command import Failure, fault_text, faults_with, open_site, print_faults
from ledger.cli.filing import ledger_of
from ledger.cli.into_git import INTO_GIT, commit_filed, commit_left_over, end_filing, way_of

if TYPE_CHECKING:
    from ledger.filing.posted import Posted

_ENDINGS = (".txt", ".yaml", ".yml", ".eml", ".html")


def _receive(parsed: argparse.Namespace) -> int:
    from ledger.files.save import remove_leftovers
    from ledger.filing.posted import text_of, visits_in

    site = open_site(parsed)
    way = way_of(parsed, ledger_of(site).site)
    remove_leftovers(site.root)
    outcomes: Counter[str] = Counter()
    for name, raw in _sources(parsed.source):
        found = list(visits_in(text_of(raw)))
        if not found:
            sys.stderr.write(f"{name}: no visit in it\n")
        for posted in found:
            outcome = _file(parsed, posted, f"{name}, line {posted.line}", way)
            outcomes[outcome] += 1
    filed = "would be filed" if parsed.dry_run else "filed"
    print(
        f"{outcomes['filed']} {filed}, {outcomes['there']} there already, "
        f"{outcomes['refused']} refused"
    )
    # What is there already may be what could not be pushed last time.
    is_ended = not parsed.dry_run and (outcomes["filed"] or outcomes["there"])
    status = end_filing(site.root, way, ledger_of(site).site.zone) if is_ended else 0
    return 1 if outcomes["refused"] or not outcomes else status


def _sources(name: str) -> Iterator[tuple[str, bytes]]:
    """What was sent, with its name: a file, each text in a folder, or standard input."""
    if name == "-":
        yield "standard input", _limited(name, sys.stdin.buffer)
        return
    path = Path(name)
    try:
        is_folder = path.is_dir()
        paths = sorted(path.iterdir()) if is_folder else [path]
        for one in paths:
            if not is_folder or one.name.lower().endswith(_ENDINGS):
                with one.open("rb") as opened:
                    yield str(one), _limited(str(one), opened)
    except OSError as error:
        raise Failure(f"it cannot be read: {fault_text(error)}") from None


def _limited(name: str, opened: Any) -> bytes:
    from ledger.filing.posted import MOST_BYTES

    raw: bytes = opened.read(MOST_BYTES + 1)
    if len(raw) > MOST_BYTES:
        raise Failure(f"{name} is larger than {MOST_BYTES // 2**20} MiB, and no visit is")
    return raw


def _file(parsed: argparse.Namespace, posted: "Posted", where: str, way: str) -> str:
    """File one visit: `filed`, `there` or `refused`, after saying so."""
    from ledger.cli.environment import filed_by
    from ledger.files.save import UnconfirmedError
    from ledger.filing.visit_file import entered_at, filed_already, visit_file, write_new
    from ledger.model.build_visit import local_instant
    from ledger.upkeep.due.walk import asked_of

    def refuse(why: str) -> str:
        sys.stderr.write(f"{where}: not filed: {why}\n")
        return "refused"

    if posted.fault:
        return refuse(posted.fault)
    if not posted.is_whole and not parsed.accept_changed:
        return refuse(
            "it is not what was sent: it was changed on the way, or by hand; look at it, and if "
            "it is right as it stands, say --accept-changed"
        )
    value = _value(posted, where)
    if value is None:
        return "refused"
    # What was filed just now is part of the site that this one is checked with.
    site = open_site(parsed)
    ledger = ledger_of(site)
    when = local_instant(value["at"], ledger.site)
    there = filed_already(site.root, value, when)
    person = ledger.site.people.get(value["by"])
    state = "as it was sent" if posted.is_whole else "changed since it was sent"
    message = (
        f"File a visit of {person.name if person else value['by']}, {when:%Y-%m-%d %H:%M}\n\n"
        f"Visit-by: {value['by']}\nReceived: {state}\n"
    )
    if there:
        print(f"{where}: there already: {there}")
        if way != "files" and not parsed.dry_run:
            commit_left_over(site.root, there, message, parsed.clock)
        return "there"
    head: dict[str, Any] = {key: value[key] for key in ("at", "by", "with") if key in value}
    crew = (value["by"], *value.get("with", ()))
    filer = filed_by(ledger.site, site.root, crew)
    # Who files it is told by git here, and by nothing that was sent.
    value.pop("filed_by", None)
    visit = {**head, **filer, **entered_at(when, parsed.clock(ledger.site.zone)), **value}
    try:
        file = visit_file(site.root, visit, when)
    except FileExistsError as error:
        return refuse(str(error))
    day = when.astimezone(ledger.site.zone).date()
    for entry in value["entries"]:
        if "in_order" in entry and all(task in ledger.tasks for task in entry["tasks"]):
            of_files = asked_of(ledger, entry["tasks"], day)
            if of_files != entry["of"]:
                return refuse(
                    f"its round was asked of {entry['of']} places, and the files of this site "
                    f"name {of_files}: make the pocket page anew, and answer the round on it"
                )
    found = [*file.diagnostics] or faults_with(site, file.path, file.text)
    print_faults(found)
    if any(one.is_error for one in found):
        return refuse("the site would have errors with it")
    repaired = f" (repaired: {', '.join(dict.fromkeys(posted.repairs))})" if posted.repairs else ""
    print(f"{where}: {file.path}{repaired}")
    if parsed.dry_run:
        print(file.text)
        return "filed"
    try:
        write_new(site.root, file.path, file.text)
    except UnconfirmedError as error:
        raise Failure(f"filed, but look whether it is there: {fault_text(error)}") from None
    except OSError as error:
        raise Failure(f"nothing was filed of {where}: {fault_text(error)}") from None
    parsed.answer.written.append(file.path)
    if filer and not ledger.site.policy.filed_for_others:
        sys.stderr.write(
            f"{where}: filed by `{filer['filed_by']}` for another; an audit takes that only where "
            "site.yaml says `filed_for_others: true` under policy\n"
        )
    if way != "files":
        commit_filed(site.root, {file.path: file.text.encode()}, message, parsed.clock)
    return "filed"


def _value(posted: "Posted", where: str) -> dict[str, Any] | None:
    """The visit's values; None, after saying why, where they are no visit by the schema."""
    from ledger.files.paths import Kind, Source
    from ledger.files.reading import parse_document
    from ledger.files.schemas import check_document

    source = Source(kind=Kind.VISIT, path=where, ident="")
    document, found = parse_document(source, posted.yaml.encode())
    if document is not None:
        found = (*found, *check_document(document))
    print_faults(found)
    return None if document is None or found else dict(document.value)


COMMANDS = {
    "receive": command(
        _receive,
        "File the visits that a phone sent: from a mail, a message, or a folder of them. "
        "Changes that mail and messengers make to a text are undone and reported. A text that is "
        "not what was sent is refused.",
        """\
  tunnelbook receive -                   paste the message, then Ctrl-D
  tunnelbook receive visit.eml --push
  tunnelbook receive ~/inbox --commit    every text in a folder, the same one never twice

The pocket page writes a check below each visit it sends. It finds what went wrong on
the way; it is no signature, and proves nothing of who wrote it. The commit is yours,
and the visit says that you filed it for its person; an audit takes that where
site.yaml says filed_for_others. Nothing but visits is taken.
""",
        arg("source", "FILE|FOLDER|-", "a text, a mail, a folder of them, or - for what is pasted"),
        flag("--accept-changed", "file it also where it is not what was sent"),
        *INTO_GIT,
        takes="dry-run",
    )
}

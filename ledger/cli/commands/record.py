"""`tunnelbook record`, `correct`, `receive` and `photo`: what people file.

A visit, an entry that puts an earlier one right, the visits that a phone sent, and pictures.
"""

from argparse import Namespace
from collections import Counter
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import Any

from ledger.cli.arguments import WHY, arg, command, flag, several
from ledger.cli.command import Failure, failing_on, known, open_site, site_root
from ledger.cli.conversation import someone_is_there
from ledger.cli.environment import require
from ledger.cli.filing import Filing, file_visit, named, start_filing
from ledger.cli.into_git import INTO_GIT, commit_left_over, end_filing, way_of
from ledger.cli.receiving import Branch, Folder, file_texts, read_limited, texts_in
from ledger.files.save import remove_leftovers
from ledger.values import fields


def _record(parsed: Namespace) -> int:
    from ledger.filing.options import Options, entries_of, meters_of

    filing = start_filing(parsed, names_entries=bool(parsed.close))
    options = Options(**{one.name: getattr(parsed, one.name) for one in fields(Options)})
    with failing_on(ValueError):
        meters = meters_of(parsed.meter)
        entries = entries_of(filing.ledger, options, filing.when.date())
        entries = [*_in_order(filing, parsed), *entries]
        _add_photos(filing, entries, parsed.photo)
    if entries:
        return file_visit(filing, filing.visit(meters=meters, note=parsed.note, entries=entries))
    from ledger.cli.dialogue import VisitByQuestions

    tune = None
    if parsed.tune is not None:
        tune = filing.ledger.machines[known(parsed.tune, filing.ledger.machines, "machine")]
        if not tune.has_setpoint:
            raise Failure(f"nothing can be set on `{tune.ident}`: its file gives no limits")
    return VisitByQuestions(filing, meters, parsed.note, tune).file()


def _add_photos(filing: Filing, entries: list[dict[str, Any]], photos: Sequence[str]) -> None:
    """`PLACE=FILE`: a picture goes with the finding at that place."""
    for text in photos:
        place, _, file = text.partition("=")
        found = [one for one in entries if "finding" in one and one["at"] == place.strip()]
        if not found or not file:
            raise Failure(f"`--photo {text}`: write PLACE=FILE, and --finding PLACE=TEXT beside it")
        path, content = _small_photo(file, filing.when.date())
        filing.photos[path] = content
        found[-1].setdefault("photos", []).append(path)


def _in_order(filing: Filing, parsed: Namespace) -> list[dict[str, Any]]:
    """The daily rounds said to be in order, once it is said what was seen at the drawn places.

    What no option answers is asked at a terminal, unless --yes says to ask nothing.
    """
    if not parsed.in_order and not parsed.seen:
        return []
    from ledger.cli.round_answers import asked_now, entries_by_option, said_by_option

    ledger, person, day = filing.ledger, filing.person, filing.when.date()
    answers: dict[str, list[str]] = {}
    for text in parsed.seen:
        place, sign, answer = text.partition("=")
        if not sign:
            raise Failure(f"`--seen {text}`: write PLACE=ANSWER")
        answers.setdefault(place.strip(), []).append(answer.strip())
    entries: list[dict[str, Any]] = []
    for text in parsed.in_order:
        said = said_by_option(ledger, person, day, text)
        found, lacking = entries_by_option(ledger, person, day, said, answers, parsed.urgency)
        if lacking and someone_is_there() and not filing.yes:
            found = asked_now(ledger, person, day, said)
        elif lacking:
            raise Failure(
                f"the round {said.of_pass.value} needs what is seen at two drawn places, and how "
                "long it took; say also\n  " + "\n  ".join(lacking)
            )
        entries += found
    drawn = {place for one in entries for place in one.get("drawn", ())}
    if strays := sorted(answers.keys() - drawn):
        raise Failure(f"no round of this call was drawn to look at {', '.join(strays)}")
    return entries


def _correct(parsed: Namespace) -> int:
    from ledger.filing.options import correction, entry_to_correct, hold_to_order, void

    if parsed.void and (parsed.changes or parsed.removals):
        raise Failure("--void leaves nothing to set; give one of the two")
    filing = start_filing(parsed, names_entries=True)
    remove_leftovers(filing.site.root)
    with failing_on(ValueError):
        named_entry, original = entry_to_correct(filing.ledger, parsed.entry)
        entry = (
            void(original, parsed.why)
            if parsed.void
            else correction(filing.ledger, original, parsed.why, parsed.changes, parsed.removals)
        )
        visit = filing.visit(entries=[entry])
        hold_to_order(original, filing.when, named(filing, visit).ident)
    if original != named_entry:
        print(
            f"{named_entry.ref} was corrected already, by {original.ref} on "
            f"{original.when:%Y-%m-%d %H:%M}; this corrects {original.ref}."
        )
    return file_visit(filing, visit)


def _receive(parsed: Namespace) -> int:
    remove_leftovers(site_root(parsed.site))
    place = Branch(parsed, parsed.branch) if parsed.branch else Folder(parsed)
    outcomes: Counter[str] = Counter()
    with failing_on(OSError, after="it cannot be read: "):
        is_folder = parsed.source != "-" and Path(parsed.source).is_dir()
        for name in texts_in(Path(parsed.source)) if is_folder else [parsed.source]:
            raw = read_limited(name)
            source = "standard input" if name == "-" else name
            outcomes += file_texts(parsed, place, source, raw)
    filed = "would be filed" if parsed.dry_run else "filed"
    print(
        f"{outcomes['filed']} {filed}, {outcomes['there']} there already, "
        f"{outcomes['refused']} refused"
    )
    # What is there already may be what could not be pushed last time.
    is_ended = not parsed.dry_run and (outcomes["filed"] or outcomes["there"])
    status = place.end() if is_ended else 0
    return 1 if outcomes["refused"] or not outcomes else status


def _small_photo(file: str, day: date) -> tuple[str, bytes]:
    """The path in a site and the content of a picture made small; Failure where it is none."""
    require("PIL", "pictures")
    from ledger.filing.visit_file import photo_path, shrunk

    try:
        content = shrunk(Path(file).read_bytes())
    except ValueError as error:
        raise Failure(f"`{file}`: {error}") from None
    return photo_path(day, content), content


def _photo(parsed: Namespace) -> int:
    from ledger.filing.visit_file import photos_beside

    site = open_site(parsed)
    day = parsed.clock(site.ledger.site.zone).date()
    made = dict(_small_photo(file, day) for file in parsed.files)
    if not parsed.dry_run:
        remove_leftovers(site.root)
        with photos_beside(site.root, made):
            pass
        parsed.answer.written.extend(made)
    for path, content in made.items():
        print(f"{path}  {len(content) / 1000:.0f} kB")
    print("Name it under `photos` of a machine or a point in equipment/.")
    way = way_of(parsed, site.ledger.site)
    if parsed.dry_run or way == "files":
        return 0
    commit_left_over(site.root, made, "Add photos\n", parsed.clock)
    return end_filing(site.root, way, site.ledger.site.zone)


_FILING = (
    arg("--by", "PERSON", "who did it; by default the person git knows"),
    arg(
        "--at", "TIME", "when, such as 06:40, 'yesterday 06:40' or 2026-11-23T06:40; by default now"
    ),
    several("--helper|--with", "PERSON", "who helped", dest="helpers"),
    flag("--yes", "file it without asking, even with warnings"),
    *INTO_GIT,
)


COMMANDS = {
    "record": command(
        _record,
        "File one visit: what was done, read and found. If the options name no work, it lists the "
        "work that is due and asks.",
        """\
  tunnelbook record                              asks; counts with the space bar
  tunnelbook record --done look-at-nozzles --done grease-shaft-bearings@brush-1
  tunnelbook record --in-order 'before-opening 12 min but brush-1/cloth'   what is only
                                                 looked at; asks at two places drawn by lot,
                                                 which --seen brush-1/nozzle-1=Even answers
  tunnelbook record --speed brush-1=43/30@44     43 passes in 30 s, drive found at 44
  tunnelbook record --speed brush-1=43/30/on-pass   the watch was started on a pass, not counted
  tunnelbook record --speed brush-1=20/14.1/turns   whole turns, timed from pass to pass
  tunnelbook record --tune brush-1               count, set, count again: what to set next
  tunnelbook record --not-done grease-shaft-bearings@brush-1='line could not be stopped'
  tunnelbook record --finding brush-1/nozzle-1='sprays aside' --urgency now
  tunnelbook record --finding brush-1='cloth torn' --photo brush-1=IMG_0417.jpg
  tunnelbook record --stop vehicle=12            `tunnelbook explain stop` lists the causes
  tunnelbook record --tied-back brush-1='arm bent'   its work waits until that is closed
  tunnelbook record --close 2026-11-23T0640-m-osterby#3
  tunnelbook record --entry '{at: brush-1, temperature_f: 126}' --at 06:40

The whole site is checked with the new visit in it before anything is written.
Nothing is ever overwritten. A count with SETTING notes the drive as found, in
Hz, or in the site's unit of flow.
""",
        *_FILING,
        several("--in-order", "PASS[ N min][ but PLACE,...]", "the daily round, in one answer"),
        several("--seen", "PLACE=ANSWER", "what is seen where the round was drawn to look"),
        several("--done", "TASK[@PLACE,...]", "work done"),
        several("--not-done", "TASK[@PLACE,...]=REASON", "work that stays due"),
        several("--speed", "PLACE=PASSES/SECONDS[/on-pass][@SETTING]", "passes counted"),
        arg("--tune", "MACHINE", "ask for a tuning session: count, set, count again"),
        several("--finding", "PLACE=TEXT", "what is wrong"),
        arg(
            "--urgency",
            None,
            "of the findings",
            choices=("now", "soon", "planned"),
            default="soon",
        ),
        several("--photo", "PLACE=FILE", "a picture of the finding at that place"),
        several("--stop", "CAUSE=MINUTES[@MACHINE]", "a stop of the line, such as vehicle=12"),
        several("--tied-back", "MACHINE=WHY", "out of action while the line runs"),
        several("--close", "VISIT#N", "a finding put right, or a machine that is back"),
        several("--entry", "{YAML}", "any other entry"),
        several("--meter", "NAME=VALUE", "what a counter shows"),
        arg("--note", "TEXT", "about the visit as a whole", default=""),
        takes="dry-run",
    ),
    "correct": command(
        _correct,
        "File a correction of an entry: the whole entry as it should read, and the reason.",
        """\
  tunnelbook correct 2026-11-23T0640-m-osterby#2 --why 'misread 43 as 48' --set counted=43
  tunnelbook correct 2026-11-23T0640-m-osterby#1 --why 'other brush' --set at=brush-p1
  tunnelbook correct 2026-11-23T0640-m-osterby#3 --why 'filed twice' --void

The original is never touched, and the book shows both.
""",
        arg("entry", "VISIT#N", "the entry, as the book names it"),
        arg(WHY, "TEXT", "why it was wrong", required=True),
        several("--set", "KEY=VALUE", "as it should read", dest="changes"),
        several("--unset", "KEY", "leave out", dest="removals"),
        flag("--void", "nothing takes its place"),
        *_FILING,
        takes="dry-run",
    ),
    "receive": command(
        _receive,
        "File the visits that a phone sent: from a mail, a message, or a folder of them. "
        "Changes that mail and messengers make to a text are undone and reported. A text that is "
        "not what was sent is refused.",
        """\
  tunnelbook receive -                   paste the message, then Ctrl-D
  tunnelbook receive visit.eml --push
  tunnelbook receive ~/inbox --commit    every text in a folder, the same one never twice
  tunnelbook receive ~/inbox --branch received    commits on that branch; your files stay

The pocket page writes a check below each visit it sends. It finds what went wrong on
the way; it is no signature, and proves nothing of who wrote it. The commit is yours,
and the visit says that you filed it for its person; an audit takes that where
site.yaml says filed_for_others. Nothing but visits is taken.
""",
        arg("source", "FILE|FOLDER|-", "a text, a mail, a folder of them, or - for what is pasted"),
        flag(
            "--accept-changed",
            "file it also if it is not what was sent, but for what a round did not ask about",
        ),
        arg("--branch", "NAME", "commit it to this branch, which is not the one checked out"),
        *INTO_GIT,
        takes="dry-run",
    ),
    "photo": command(
        _photo,
        "Put pictures into the site, each as a JPEG of at most 300 kB without what the camera "
        "wrote beside it: place, time, make.",
        """\
  tunnelbook photo IMG_0417.jpg plate.png
  tunnelbook record --finding brush-1='cloth torn' --photo brush-1=IMG_0418.jpg

Git does not forget: a picture that was committed and pushed stays in the
history of every clone, also when its file is deleted. No faces, no plates.
""",
        arg("files", "FILE", "a picture", nargs="+"),
        *INTO_GIT,
        takes="dry-run",
    ),
}

"""`tunnelbook receive`: the visits in a mail, a message or a folder of them become files."""

import argparse
from collections import Counter
from pathlib import Path

from ledger.cli.arguments import arg, command, flag
from ledger.cli.command import Failure, failing_on, fault_text, site_root
from ledger.cli.into_git import INTO_GIT
from ledger.cli.receiving import Branch, Folder, file_texts, read_limited, texts_in


def _receive(parsed: argparse.Namespace) -> int:
    from ledger.files.save import remove_leftovers
    from ledger.history.git import GitProblem

    remove_leftovers(site_root(parsed.site))
    with failing_on(GitProblem):
        place = Branch(parsed, parsed.branch) if parsed.branch else Folder(parsed)
    outcomes: Counter[str] = Counter()
    try:
        is_folder = parsed.source != "-" and Path(parsed.source).is_dir()
        for name in texts_in(Path(parsed.source)) if is_folder else [parsed.source]:
            raw = read_limited(name)
            source = "standard input" if name == "-" else name
            outcomes += file_texts(parsed, place, source, raw)
    except OSError as error:
        raise Failure(f"it cannot be read: {fault_text(error)}") from None
    filed = "would be filed" if parsed.dry_run else "filed"
    print(
        f"{outcomes['filed']} {filed}, {outcomes['there']} there already, "
        f"{outcomes['refused']} refused"
    )
    # What is there already may be what could not be pushed last time.
    is_ended = not parsed.dry_run and (outcomes["filed"] or outcomes["there"])
    status = place.end() if is_ended else 0
    return 1 if outcomes["refused"] or not outcomes else status


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
    )
}

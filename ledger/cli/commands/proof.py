"""`tunnelbook review` and `audit`: what git's history says of a branch, and of the whole record."""

from argparse import Namespace
from functools import partial
from typing import TYPE_CHECKING

from ledger import __version__
from ledger.cli.arguments import WHY, arg, command, flag, whole
from ledger.cli.command import Failure, give, open_site, say_written, site_root
from ledger.cli.environment import KEY, free_name, git_user, signature_of
from ledger.cli.filing import ledger_of, person_who
from ledger.files.save import create_file
from ledger.history.repository import Repository, main_branch, open_repository

if TYPE_CHECKING:
    from ledger.book.blocks import Page
    from ledger.model.site import Site
    from ledger.proof.audit import Audit


def _review(parsed: Namespace) -> int:
    from ledger.proof.review import review
    from ledger.proof.review_page import review_page
    from ledger.proof.review_table import review_rows

    repository = open_repository(site_root(parsed.site))
    base = parsed.base or main_branch(repository)
    found = review(
        repository, base, parsed.head, merged_at=parsed.clock(None), anchor=parsed.anchor
    )
    _note_site(parsed, found.ledger.site)
    give(parsed, lambda: _text(parsed, review_page(found)), partial(review_rows, found))
    return 1 if found.breaches else 0


def _audit(parsed: Namespace) -> int:
    from ledger.history.log import History

    known = () if parsed.head is None else (parsed.head,)
    repository = open_repository(site_root(parsed.site))
    with History(repository, remembered=known) as history:
        # Git lists the commits while the rest of the program is imported.
        from ledger.proof.audit import Verdict, audit

        found = audit(
            history,
            since=parsed.since,
            remembered=parsed.head,
            every_book=parsed.pages,
            anchor=parsed.anchor,
        )
    if parsed.accept or parsed.record:
        return _record(parsed, repository, found)
    from ledger.proof.audit_page import Look, audit_page, audit_rows

    look = Look(
        at=parsed.clock(found.site.zone), by=git_user(repository.top).name, tool=_tool(repository)
    )
    looked = {"looked_at": look.at.isoformat(), "looked_by": look.by or None, "tool": look.tool}
    _note_site(parsed, found.site)
    give(
        parsed,
        lambda: _text(
            parsed, audit_page(found, every=parsed.all, site=parsed.site or "", look=look)
        ),
        lambda: {**audit_rows(found), **looked},
    )
    return 0 if found.verdict is Verdict.CLEAN else 1


def _tool(repository: Repository) -> str:
    return f"tunnelbook {__version__}, {repository.git.line('version')}"


def _record(parsed: Namespace, repository: Repository, found: "Audit") -> int:
    """Write down what the audit found, or why some of it is accepted, as a file to commit."""
    from ledger.proof.audit import why_not_closed
    from ledger.proof.dispositions import NAMESPACE, record_text

    site = open_site(parsed)
    person = person_who(parsed, site, ledger_of(site))
    why = " ".join((parsed.why or "").split())
    if parsed.accept and not why:
        raise Failure('say why it is accepted, with --why "..."')
    for ident in parsed.accept:
        wrong = why_not_closed(found, ident, person.ident)
        if wrong:
            raise Failure(f"`{ident}` cannot be accepted: {wrong}")
    text = record_text(
        by=person.ident,
        at=parsed.clock(found.site.zone),
        accepts=dict.fromkeys(parsed.accept, why),
        head=found.head if parsed.record else "",
        verdict=found.verdict.value if parsed.record else "",
        tool=_tool(repository) if parsed.record else "",
    )
    raw = text.encode()
    signature = signature_of(raw, NAMESPACE, parsed.key, repository, found.site, person.ident)
    name = free_name(site.root, f"audits/{site.as_of}-{person.ident}")
    files = {name: raw, **({f"{name}.sig": signature} if signature else {})}
    for path, content in files.items():
        if not parsed.dry_run:
            create_file(site.root / path, content)
        say_written(parsed, path)
    if parsed.dry_run:
        print(f"\n{text}", end="")
        return 0
    rule = found.site.policy.approval_proof.value
    print(f"\nCommit it, and bring it to the main line as approvals are here (rule: {rule}):")
    print(f"  git add {' '.join(files)}\n  git commit -m 'Record an audit'")
    return 0


def _text(parsed: Namespace, page: "Page") -> str:
    if parsed.format == "markdown":
        from ledger.proof.review_page import markdown_alone

        return markdown_alone(page, at_most=getattr(parsed, "at_most", None))
    from ledger.book import terminal

    return terminal.render(page)


def _note_site(parsed: Namespace, site: "Site") -> None:
    """Note for the answer the site that was judged, and the day when."""
    answer = parsed.answer
    answer.site, answer.units = site_root(parsed.site), site.units.value
    answer.day = parsed.clock(site.zone).date()


_FORMS = ("markdown",)

_ANCHOR = arg(
    "--anchor",
    "REV",
    "commit of the line from which its people, keys and rules are trusted as they stand: after the "
    "last key was lost; agree on it outside the repository",
)

COMMANDS = {
    "review": command(
        _review,
        "Say what a branch would change: settings with prediction, evidence and "
        "policy, visits added, old records touched, tasks loosened. Read from git's commits, never "
        "from the working copy.",
        """\
  tunnelbook review                             what HEAD would change on the remote's main
  tunnelbook review main                        on the main of this clone
  tunnelbook review origin/main my-branch
  tunnelbook review main --format markdown      for a pull request's comment

The review judges a merge with the tip of BASE as if it were made now. What
`tunnelbook audit` would report after the merge is reported here before it.
Exit status: 0 no breach; 1 a rule is broken or a filed record was touched.
""",
        arg("base", "BASE", "what to merge into; by default the remote's main", nargs="?"),
        arg("head", "HEAD", "what is to be merged; default HEAD", nargs="?", default="HEAD"),
        _ANCHOR,
        arg("--at-most", "BYTES", "of Markdown, for a comment; cut between blocks", type=whole),
        forms=_FORMS,
    ),
    "audit": command(
        _audit,
        "Read the whole history and say what was edited, deleted, re-dated, filed late "
        "or by somebody else, approved without a second person, rewritten, or rendered falsely.",
        """\
  tunnelbook audit                              all of history
  tunnelbook audit --since 2026-10-01           what was committed from that day on
  tunnelbook audit --since v3                   what was committed after a tag
  tunnelbook audit --head 4f0c...               with the full id of the last head
  tunnelbook audit --pages                      also render every book ever committed
  tunnelbook audit --all                        one line per irregularity, not per commit
  tunnelbook audit --accept 3f9a12bc77 --why "The clock of the tablet was off."
  tunnelbook audit --record                     keep head and verdict in audits/

The audit judges each change when it came to the main line: by a commit, a merge
or a squash. SSH signatures are verified with the keys under
signing_keys of site.yaml, as they counted before that; other signatures are
counted, and prove nothing.

Exit status: 0 clean, or all that was found was accepted by a file in audits/;
1 an irregularity is open, or history is not whole here: a shallow clone, or a
site that was moved from another folder.
""",
        arg(
            "--since",
            "REV|DATE",
            "report only what was committed after a revision, or from a day on",
        ),
        arg("--head", "OID", "full id of a head written down at an earlier audit"),
        _ANCHOR,
        flag("--pages", "compare the book at every commit that touched it"),
        flag("--all", "list each irregularity, with its texts"),
        arg(
            "--accept",
            "ID",
            "accept these irregularities, which were looked into; with --why",
            nargs="+",
            action="extend",
            default=[],
        ),
        arg(WHY, "TEXT", "why they are accepted, on one line"),
        flag("--record", "file the head and the verdict in audits/"),
        arg("--by", "PERSON", "who accepts or records; by default the person git knows"),
        KEY,
        takes="site-here dry-run",
        forms=_FORMS,
    ),
}

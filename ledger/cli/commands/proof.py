"""`tunnelbook review`, `audit` and `approve`: what git's history says, and approvals.

Of a branch, and of the whole record; an approval is written and signed after its review.
"""

import shlex
from argparse import Namespace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from ledger import __version__
from ledger.book.blocks import Page
from ledger.book.terminal import render
from ledger.cli import command as cli
from ledger.cli.arguments import WHY, arg, command, flag, whole
from ledger.cli.command import Failure, FaultyFiles, OpenSite
from ledger.cli.conversation import ask, someone_is_there
from ledger.cli.environment import KEY, free_name, git_user, signature_of, user_of
from ledger.files.save import create_file, remove_leftovers, replace_file
from ledger.history.objects import BlobReader
from ledger.history.repository import Repository, main_branch, open_repository, resolve
from ledger.model.policy import PROOF_RULES, judge_approval
from ledger.model.site import ApprovalProof, Person, Site
from ledger.values import replace

if TYPE_CHECKING:
    from ledger.proof.audit import Audit


def _review(parsed: Namespace) -> int:
    from ledger.proof.review import review
    from ledger.proof.review_page import review_page
    from ledger.proof.review_table import review_rows

    repository = open_repository(cli.site_root(parsed.site))
    base = parsed.base or main_branch(repository)
    found = review(
        repository, base, parsed.head, merged_at=parsed.clock(None), anchor=parsed.anchor
    )
    _note_site(parsed, found.ledger.site)
    cli.give(parsed, lambda: _text(parsed, review_page(found)), partial(review_rows, found))
    return 1 if found.breaches else 0


def _audit(parsed: Namespace) -> int:
    from ledger.history.log import History

    remembered = () if parsed.head is None else (parsed.head,)
    repository = open_repository(cli.site_root(parsed.site))
    with History(repository, remembered=remembered) as history:
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

    user = user_of(repository.git)
    look = Look(at=parsed.clock(found.site.zone), by=user.name, tool=_tool(repository))
    looked = {"looked_at": look.at.isoformat(), "looked_by": look.by or None, "tool": look.tool}
    _note_site(parsed, found.site)
    cli.give(
        parsed,
        lambda: _text(
            parsed, audit_page(found, every=parsed.all, site=parsed.site or "", look=look)
        ),
        lambda: {**audit_rows(found), **looked},
    )
    return 0 if found.verdict is Verdict.CLEAN else 1


def _tool(repository: Repository) -> str:
    return f"tunnelbook {__version__}, {repository.git.version}"


def _record(parsed: Namespace, repository: Repository, found: "Audit") -> int:
    """Write down what the audit found, or why some of it is accepted, as a file to commit."""
    from ledger.cli.filing import ledger_of, person_who
    from ledger.proof.audit import why_not_closed
    from ledger.proof.dispositions import NAMESPACE, record_text

    site = cli.open_site(parsed)
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
        cli.say_written(parsed, path)
    if parsed.dry_run:
        print(f"\n{text}", end="")
        return 0
    rule = found.site.policy.approval_proof.value
    print(f"\nCommit it, and bring it to the main line as approvals are here (rule: {rule}):")
    print(f"  git add {' '.join(files)}\n  git commit -m 'Record an audit'")
    return 0


def _text(parsed: Namespace, page: Page) -> str:
    if parsed.format == "markdown":
        from ledger.proof.review_page import markdown_alone

        return markdown_alone(page, at_most=getattr(parsed, "at_most", None))
    return render(page)


def _note_site(parsed: Namespace, site: Site) -> None:
    """Note for the answer the site that was judged, and the day when."""
    answer = parsed.answer
    answer.site, answer.units = cli.site_root(parsed.site), site.units.value
    answer.day = parsed.clock(site.zone).date()


def _approve(parsed: Namespace) -> int:
    from ledger.cli.filing import ledger_of, person_who
    from ledger.proof.review import review
    from ledger.proof.review_page import review_page
    from ledger.proof.sites import site_in
    from ledger.proof.statements import NAMESPACE, hash_of, statement_file

    site = cli.open_site(parsed)
    remove_leftovers(site.root)
    person = person_who(parsed, site, ledger_of(site))
    repository = open_repository(site.root)
    base, path = parsed.base or main_branch(repository), _path(parsed.what, site)
    begun = resolve(repository, base)
    with BlobReader(repository) as blobs:
        trusted = site_in(repository, begun, blobs)
    before, after = (
        repository.git.attempt("cat-file", "blob", f"{one}:{repository.prefix}{path}")
        for one in (begun, "HEAD")
    )
    found = review(repository, base, "HEAD", merged_at=parsed.clock(None))
    if before == after:
        raise Failure(
            f"`{path}` is the same on this branch as on {base}; there is nothing to approve"
        )
    if (site.root / path).exists() and (site.root / path).read_bytes() != after:
        raise Failure(f"`{path}` has changes that are not committed; commit them first")
    print(render(review_page(found)), flush=True)
    _refuse_what_does_not_count(path, person.ident, site, trusted)
    if parsed.dry_run:
        return 1 if found.breaches else 0
    if not parsed.yes and not _is_agreed(path):
        print("nothing was written")
        return 1
    approved = _approved(after, path, person.ident, site)
    hashes = hash_of(before), hash_of(approved)
    at = parsed.clock(None).replace(microsecond=0).isoformat()
    text = statement_file(person.ident, found.began_as, at, path, hashes).encode()
    signature = signature_of(text, NAMESPACE, parsed.key, repository, trusted, person.ident)
    files = {} if approved is None or approved == after else {path: approved}
    if signature is not None:
        name = free_name(site.root, f"approvals/{site.as_of}-{Path(path).stem}")
        files |= {name: text, f"{name}.sig": signature}
    elif not files:
        raise Failure(
            "only a signature can approve this here; name your SSH key with --key, or let the "
            "approver merge it where the site asks for a commit"
        )
    for written, raw in files.items():
        put = replace_file if written == path else create_file
        put(site.root / written, raw)
        cli.say_written(parsed, written)
    proof = "" if signature is not None else _proof_by_commit(site, trusted, person)
    print(f"{_next(site, path, list(files))}{proof}")
    return 0


def _path(what: str, site: OpenSite) -> str:
    """The file that is meant: of a drive's settings by its machine, or any of the site's."""
    ledger = site.ledger
    if "/" in what or what.endswith(".yaml"):
        return Path(what).as_posix()
    drive = ledger.setpoints.get(cli.known(what, ledger.machines, "machine"))
    return f"setpoints/{what}.yaml" if drive is None else drive.path


def _refuse_what_does_not_count(path: str, by: str, site: OpenSite, trusted: Site) -> None:
    """Failure where this person's approval of a setting breaks a rule of the site."""
    from ledger.rules.people import FLAWS

    drive = site.ledger.setpoints.get(Path(path).stem) if path.startswith("setpoints/") else None
    if drive is None or not drive.changes:
        return
    approval = replace(drive.changes[-1], approved_by=by, approved_on=site.as_of).approval
    for flaw in judge_approval(approval, trusted).flaws:
        if flaw in FLAWS:
            what, _, remedy = FLAWS[flaw]
            raise Failure(
                f"`{by}` {what.format(day=site.as_of)}, so this approval would not count; "
                f"{remedy}; nothing was written"
            )


def _is_agreed(path: str) -> bool:
    if not someone_is_there():
        raise Failure("nobody is at the terminal to agree; look at the review, then use --yes")
    return ask(f"Approve {path} as described above? [y/N] ").strip().casefold() in ("y", "yes")


def _approved(after: bytes | None, path: str, by: str, site: OpenSite) -> bytes | None:
    """A drive's file with its last change approved; as it is where that person approved it.

    Any other file as it is.
    """
    from ledger.upkeep.tuning.proposal_file import with_approval

    drive = site.ledger.setpoints.get(Path(path).stem)
    is_approved = drive is not None and drive.changes and drive.changes[-1].approved_by == by
    if after is None or is_approved or not path.startswith("setpoints/"):
        return after
    try:
        return with_approval(after, by, site.as_of, Path(path).stem)
    except ValueError as error:
        raise FaultyFiles(f"{path}: {error}") from None


def _next(site: OpenSite, path: str, files: list[str]) -> str:
    from ledger.cli.into_git import git_in_words

    git = git_in_words(site.root)
    return f"""
Next, commit it to this branch, so that it comes with the change:
  {git} add {" ".join(files)}
  {git} commit -m {shlex.quote(f"Approve {path}")}
  {git} push"""


def _proof_by_commit(site: OpenSite, trusted: Site, person: Person) -> str:
    """What the site takes for a proof where nothing was signed, and who commits here."""
    proof, email = trusted.policy.approval_proof, git_user(site.root).email
    rule = f"\nNothing was signed. The rule of this site: {PROOF_RULES[proof]}."
    if proof is ApprovalProof.FILE:
        return rule
    if person.has_address(email):
        return f"{rule}\nGit commits here as {email}, which is yours."
    return (
        f"{rule}\nGit commits here as {email or 'nobody'}, which is no address of {person.name}: "
        "let them make the commit, or the merge."
    )


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
    "approve": command(
        _approve,
        "Show the review of this branch, then approve one file of it. That writes approved_by into "
        "a drive's settings, and a statement with your signature. The statement stays valid "
        "however the branch is merged.",
        """\
  tunnelbook approve brush-p2                 the setting proposed for a drive
  tunnelbook approve site.yaml                a change of people or rules
  tunnelbook approve tasks/grease.yaml --key ~/.ssh/id_ed25519.pub
  tunnelbook approve brush-p2 --dry-run       look, and write nothing

The statement lies in approvals/ on the branch, with your SSH signature beside
it, and names the site and the file as it was and as it becomes: a later change
needs another. It counts by the keys that site.yaml had before. An approval
says that a change was agreed to, never that a machine is safe.
""",
        arg("what", "DRIVE|PATH", "machine whose setting it is, or a file of the site"),
        arg("--base", "BASE", "branch that it is to be merged into; by default the remote's main"),
        arg("--by", "PERSON", "who approves; by default the person git knows"),
        KEY,
        flag("--yes", "approve without being asked again"),
        takes="dry-run",
    ),
}

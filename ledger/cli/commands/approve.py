"""`tunnelbook approve`: what a review says of a change, then its approval, written and signed."""

import shlex
from argparse import Namespace
from pathlib import Path
from typing import TYPE_CHECKING

from ledger.cli.arguments import arg, command, flag
from ledger.cli.command import Failure, FaultyFiles, OpenSite, known, open_site, say_written
from ledger.cli.conversation import ask, someone_is_there
from ledger.cli.environment import KEY, free_name, git_user, signature_of
from ledger.cli.filing import ledger_of, person_who
from ledger.cli.into_git import git_in_words
from ledger.files.save import create_file, remove_leftovers, replace_file
from ledger.history.objects import BlobReader
from ledger.history.repository import main_branch, open_repository, resolve
from ledger.values import replace

if TYPE_CHECKING:
    from ledger.model.site import Person, Site


def _approve(parsed: Namespace) -> int:
    from ledger.book.terminal import render
    from ledger.proof.review import review
    from ledger.proof.review_page import review_page
    from ledger.proof.sites import site_in
    from ledger.proof.statements import NAMESPACE, hash_of, statement_file

    site = open_site(parsed)
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
        say_written(parsed, written)
    proof = "" if signature is not None else _proof_by_commit(site, trusted, person)
    print(f"{_next(site, path, list(files))}{proof}")
    return 0


def _path(what: str, site: OpenSite) -> str:
    """The file that is meant: of a drive's settings by its machine, or any of the site's."""
    ledger = site.ledger
    if "/" in what or what.endswith(".yaml"):
        return Path(what).as_posix()
    drive = ledger.setpoints.get(known(what, ledger.machines, "machine"))
    return f"setpoints/{what}.yaml" if drive is None else drive.path


def _refuse_what_does_not_count(path: str, by: str, site: OpenSite, trusted: "Site") -> None:
    """Failure where this person's approval of a setting breaks a rule of the site."""
    from ledger.model.policy import judge_approval
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
    git = git_in_words(site.root)
    return f"""
Next, commit it to this branch, so that it comes with the change:
  {git} add {" ".join(files)}
  {git} commit -m {shlex.quote(f"Approve {path}")}
  {git} push"""


def _proof_by_commit(site: OpenSite, trusted: "Site", person: "Person") -> str:
    """What the site takes for a proof where nothing was signed, and who commits here."""
    from ledger.model.policy import PROOF_RULES
    from ledger.model.site import ApprovalProof

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


COMMANDS = {
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
    )
}

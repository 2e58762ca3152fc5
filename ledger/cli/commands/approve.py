"""`tunnelbook approve`: what a review says of a change, then its approval, written and signed."""

import argparse
import shlex
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from ledger.cli.arguments import arg, command, flag
from ledger.cli.command import (
    Failure,
    FaultyFiles,
    OpenSite,
    failing_on,
    fault_text,
    known,
    open_site,
    say_written,
)
from ledger.cli.conversation import ask, someone_is_there
from ledger.cli.into_git import git_in_words
from ledger.cli.signing import KEY, free_name, signature_of

if TYPE_CHECKING:
    from ledger.history.repository import Repository
    from ledger.model.site import Site

_BASES = ("origin/HEAD", "origin/main", "origin/master", "main", "master")


def _approve(parsed: argparse.Namespace) -> int:
    from ledger.book.terminal import render
    from ledger.cli.filing import ledger_of, person_who
    from ledger.files.save import create_file, remove_leftovers, replace_file
    from ledger.history.git import GitProblem
    from ledger.history.repository import open_repository
    from ledger.proof.review import review
    from ledger.proof.review_page import review_page
    from ledger.proof.statements import NAMESPACE, hash_of, statement_file

    site = open_site(parsed)
    remove_leftovers(site.root)
    person = person_who(parsed, site, ledger_of(site))
    with failing_on(GitProblem):
        repository = open_repository(site.root)
        base = parsed.base or next(filter(repository.git.object_id, _BASES), "")
        if not base:
            raise Failure("name the branch that it is to be merged into with --base")
        path = _path(parsed.what, site)
        before, after = (_bytes_at(repository, one, path) for one in (base, "HEAD"))
        trusted = _site_at(repository, base)
        found = review(repository, base, "HEAD", merged_at=parsed.clock(None))
    if before == after:
        raise Failure(
            f"`{path}` is the same on this branch as on {base}; there is nothing to approve"
        )
    if (site.root / path).exists() and (site.root / path).read_bytes() != after:
        raise Failure(f"`{path}` has changes that are not committed; commit them first")
    print(render(review_page(found)), flush=True)
    if parsed.dry_run:
        return 1 if found.breaches else 0
    if not parsed.yes and not _is_agreed(path):
        print("nothing was written")
        return 1
    approved = after
    if path.startswith("setpoints/") and after is not None:
        approved = _approved(after, path, person.ident, site)
    hashes = hash_of(before), hash_of(approved)
    at = parsed.clock(None).replace(microsecond=0)
    statement = statement_file(person.ident, found.began_as, at.isoformat(), path, hashes)
    signature = signature_of(
        statement.encode(), NAMESPACE, parsed, repository, trusted, person.ident
    )
    name = free_name(site.root, f"approvals/{site.as_of}-{Path(path).stem}")
    files: dict[str, bytes] = {}
    if approved is not None and approved != after:
        files[path] = approved
    if signature is not None:
        files |= {name: statement.encode(), f"{name}.sig": signature}
    elif not files:
        raise Failure(
            "only a signature can approve this here; name your SSH key with --key, or let the "
            "approver merge it where the site asks for a commit"
        )
    try:
        for written, raw in files.items():
            put = replace_file if written == path else create_file
            put(site.root / written, raw)
            say_written(parsed, written)
    except OSError as error:
        raise Failure(fault_text(error)) from None
    print("\n".join(_next(site, path, list(files), trusted, is_signed=signature is not None)))
    return 0


def _path(what: str, site: OpenSite) -> str:
    """The file that is meant: of a drive's settings by its machine, or any of the site's."""
    ledger = site.ledger
    if "/" in what or what.endswith(".yaml"):
        return Path(what).as_posix()
    drive = ledger.setpoints.get(known(what, ledger.machines, "machine"))
    return f"setpoints/{what}.yaml" if drive is None else drive.path


def _bytes_at(repository: "Repository", revision: str, path: str) -> bytes | None:
    from ledger.history.objects import BlobReader

    oid = repository.git.object_id(f"{revision}:{repository.prefix}{path}")
    if oid is None:
        return None
    with BlobReader(repository) as blobs:
        return blobs.read(oid)


def _site_at(repository: "Repository", revision: str) -> "Site":
    from ledger.history.objects import BlobReader
    from ledger.history.repository import resolve
    from ledger.proof.sites import site_in

    with BlobReader(repository) as blobs:
        return site_in(repository, resolve(repository, revision), blobs)


def _is_agreed(path: str) -> bool:
    if not someone_is_there():
        raise Failure("nobody is at the terminal to agree; look at the review, then use --yes")
    return ask(f"Approve {path} as described above? [y/N] ").strip().casefold() in ("y", "yes")


def _approved(after: bytes, path: str, by: str, site: OpenSite) -> bytes:
    """The drive's file with its last change approved; as it is where that person approved it."""
    from ledger.upkeep.tuning.proposal_file import with_approval

    drive = site.ledger.setpoints.get(Path(path).stem)
    if drive is not None and drive.changes and drive.changes[-1].approved_by == by:
        return after
    try:
        return with_approval(after, by, site.as_of, Path(path).stem)
    except ValueError as error:
        raise FaultyFiles(f"{path}: {error}") from None


def _next(
    site: OpenSite, path: str, files: list[str], trusted: "Site", *, is_signed: bool
) -> Iterator[str]:
    git = git_in_words(site.root)
    yield "\nNext, commit it to this branch, so that it comes with the change:"
    yield f"  {git} add {' '.join(files)}"
    yield f"  {git} commit -m {shlex.quote(f'Approve {path}')}\n  {git} push"
    if not is_signed:
        rule = trusted.policy.approval_proof.value
        yield f"Nothing was signed: this site asks for {rule}, so commit it yourself, as you."


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

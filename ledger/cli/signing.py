"""Signing what a person states: with which key, and whether the site will know it as theirs."""

from argparse import Namespace
from itertools import chain, count
from pathlib import Path
from typing import TYPE_CHECKING

from ledger.cli.arguments import arg
from ledger.cli.command import Failure, failing_on

if TYPE_CHECKING:
    from ledger.history.repository import Repository
    from ledger.model.site import Site

KEY = arg(
    "--key",
    "FILE",
    "your SSH key, or the .pub file of one that your agent holds; by default git's own",
)


def free_name(root: Path, stem: str) -> str:
    """The path in a site of a new file: the stem, with a number behind it where that is taken."""
    names = chain((f"{stem}.yaml",), (f"{stem}-{number}.yaml" for number in count(2)))
    return next(name for name in names if not (root / name).exists())


def signature_of(
    payload: bytes,
    namespace: str,
    parsed: Namespace,
    repository: "Repository",
    site: "Site",
    by: str,
) -> bytes | None:
    """The signature of a person over what they state; None where no key is at hand.

    Failure where the key is not one that the site has of them: it would prove nothing.
    """
    from ledger.cli.environment import git_user
    from ledger.history.git import GitProblem
    from ledger.history.signing import sign
    from ledger.history.verification import Outcome, Verifier, detached_signature

    named = parsed.key or git_user(repository.top).key
    if not named or named.startswith(("key::", "ssh-")):
        return None
    with failing_on(GitProblem):
        armour = sign(payload, Path(named).expanduser(), namespace)
        keys = {person.ident: person.signing_keys for person in site.people.values()}
        signature = detached_signature(payload, armour, namespace)
        found = Verifier(repository.git).verify(signature, keys)
    if found.outcome is not Outcome.VERIFIED or found.signer != by:
        raise Failure(
            f"{found.words}; put your key under signing_keys of `{by}` in site.yaml, and let that "
            "come to the line first. Nothing was written"
        )
    return armour

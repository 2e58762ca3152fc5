"""What the machine knows: how this program was installed, whom git knows and how they sign."""

import importlib.util
import os
import shlex
import sys
from argparse import Namespace
from collections.abc import Collection, Sequence
from datetime import UTC
from itertools import chain, count
from pathlib import Path
from typing import TYPE_CHECKING

from ledger.cli.arguments import arg
from ledger.cli.command import Failure, failing_on
from ledger.values import dataclass, replace

if TYPE_CHECKING:
    from ledger.history.repository import Repository
    from ledger.model.site import Site
    from ledger.site.roll_up import Order


@dataclass(frozen=True, slots=True, kw_only=True)
class Installation:
    """What the installer left beside the program; None and empty for a program not installed.

    `prefix` is the environment's folder, `requires` the requirements as the program states them.
    """

    python: str
    prefix: Path
    version: str | None = None
    direct_url: str | None = None
    installer: str = ""
    requires: tuple[str, ...] = ()


def this_installation() -> Installation:
    """The installation that runs."""
    # Who only asks whom git knows need not wait for it.
    from importlib.metadata import PackageNotFoundError, distribution

    bare = Installation(python=sys.executable, prefix=Path(sys.prefix))
    try:
        found = distribution("tunnelbook")
    except PackageNotFoundError:
        return bare
    return replace(
        bare,
        version=found.version,
        direct_url=found.read_text("direct_url.json"),
        installer=(found.read_text("INSTALLER") or "").strip(),
        requires=tuple(found.requires or ()),
    )


def pin_of_tool() -> str:
    """What the jobs of a site that is started now are to install."""
    from ledger.filing.new_site import tool_pin

    installed = this_installation()
    return tool_pin(installed.direct_url, installed.version)


def require(library: str, extra: str) -> None:
    """Failure, with the line that installs it, where a library of an extra is missing."""
    if importlib.util.find_spec(library) is None:
        line = install_line(library, this_installation())
        raise Failure(f"{extra} needs {library}; install it with: {line}")


def install_line(library: str, installed: Installation) -> str:
    """The line that adds a library to the program's own environment, by what made that.

    The library itself is named, never this program: its bare name may be anybody's on an index.
    """
    stated = (line.partition(";")[0].strip() for line in installed.requires)
    requirement = shlex.quote(next((one for one in stated if one.startswith(library)), library))
    if (installed.prefix / "pipx_metadata.json").is_file():
        return f"pipx inject tunnelbook {requirement}"
    python = shlex.quote(installed.python)
    if installed.installer == "uv":
        return f"uv pip install --python {python} {requirement}"
    return f"{python} -m pip install {requirement}"


def orders_of(parsed: Namespace, roots: Sequence[Path], out: Path) -> "list[Order]":
    """What to renew of the exports of some sites in a folder, as the call asks.

    The key of the codes of people is made on the first time that one is asked for.
    """
    from ledger.cli.kept import program_now
    from ledger.files.people_key import people_key
    from ledger.site.roll_up import Order, asks_for_codes, site_id

    key = ""
    if parsed.without_people or any(map(asks_for_codes, roots)):
        with failing_on(ValueError):
            key = people_key(make=not parsed.dry_run)
    program = program_now()
    return [
        Order(
            root=root,
            ident=site_id(root, out),
            out=out,
            now=parsed.clock(UTC),
            day=parsed.as_of,
            without_people=parsed.without_people,
            program=program,
            people_key=key,
        )
        for root in roots
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class GitUser:
    """As commits would be signed; empty where git does not know.

    `key` is the file of the SSH key that they would be signed with.
    """

    name: str = ""
    email: str = ""
    key: str = ""


def git_user(folder: Path) -> GitUser:
    """The name and address that git would sign a commit with in a folder; empty without git.

    Reading configuration runs nothing. The user's own configuration counts here, which the other
    commands keep off.
    """
    from ledger.history.git import GitProblem, git_in

    try:
        git = git_in(folder)
    except GitProblem:
        return GitUser()
    own = {k: v for k, v in git.environment.items() if not k.startswith("GIT_CONFIG")}
    own |= {k: v for k, v in os.environ.items() if k.startswith("GIT_CONFIG")}
    users_git = replace(git, environment=own)

    keys = r"^(gpg\.format|user\.(name|email|signingkey))$"
    listed = (users_git.attempt("config", "-z", "--get-regexp", keys) or b"").decode(
        "utf-8", "replace"
    )
    # The last value of a key counts.
    found = dict(entry.split("\n", 1) for entry in listed.split("\0") if "\n" in entry)
    key = found.get("user.signingkey", "") if found.get("gpg.format") == "ssh" else ""
    name, email = (found.get(f"user.{part}", "").strip() for part in ("name", "email"))
    return GitUser(name=name, email=email, key=key.strip())


def person_of(site: "Site", user: GitUser) -> str:
    """The id of the person of a site whom git knows, by address and else by name; or nothing.

    Nothing also where several have the address and none of them the name.
    """
    name = user.name.casefold()
    people = list(site.people.values())
    by_address = [person for person in people if person.has_address(user.email)]
    by_name = [p for p in by_address or people if name in {p.name.casefold(), p.ident}]
    found = by_address if len(by_address) == 1 else by_name
    return found[0].ident if found else ""


def filed_by(site: "Site", root: Path, crew: Collection[str]) -> dict[str, str]:
    """The key that says who files a visit, where git knows them and they were not there."""
    ident = person_of(site, git_user(root))
    return {"filed_by": ident} if ident and ident not in crew else {}


def machine_zone() -> str:
    """The time zone of this machine by its IANA name; Etc/UTC where it does not say."""
    from zoneinfo import available_timezones

    link = str(Path("/etc/localtime").resolve()).rpartition("zoneinfo/")[2]
    names = (os.environ.get("TZ", "").removeprefix(":"), link)
    return next((name for name in names if name in available_timezones()), "Etc/UTC")


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
    payload: bytes, namespace: str, key: str | None, repository: "Repository", site: "Site", by: str
) -> bytes | None:
    """The signature of a person over what they state; None where no key is at hand.

    `key` is the one that they name; by default it is git's own.

    Failure where the key is not one that the site has of them: it would prove nothing.
    """
    from ledger.history.signing import sign
    from ledger.history.verification import Outcome, Verifier, detached_signature

    named = key or git_user(repository.top).key
    if not named or named.startswith(("key::", "ssh-")):
        return None
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
